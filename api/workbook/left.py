"""Left: which faults may be there, what each repair leaves of them, what follows, and what all of it is worth."""

from __future__ import annotations

from dataclasses import dataclass

from api.wording import short
from api.workbook.page import Book, Row, Table
from api.workbook.tickets import Tickets
from econ.states import numbers_in
from econ.words import listed
from econ.workings import Workings

STATES, LEFT = "States", "Left"
TOP = 5


@dataclass(frozen=True)
class Left:
    """Where the tables of states, of machines in service, of what repairs leave and of what fails are."""

    states: Table
    service: Table
    left: Table
    groups: Table
    failing: tuple[int, ...]
    renewals: tuple[float, ...]


def _way(r: int, w: int) -> str:
    return f"left_{r}_{w}"


def left_tables(x: Workings) -> Left:
    """Return where the tables are."""
    columns = ["number", "what", "told", "raw", "chance", "service", "survive", "price", "parts", "disclosed"]
    if x.terms.perspective == "reseller":
        columns += ["seen", "unclaimed"]
    columns += [f"has_{i}" for i in range(x.in_play)]
    columns += [f"needs_{j}" for j in sorted({a.job for r in x.repairs for a in r.again})]
    columns += [_way(r, w) for r, repair in enumerate(x.repairs) for w in range(len(repair.ways))]
    states = Table(STATES, TOP, len(x.states), columns)
    in_service = ["number", "what", "service", "survive", "price", "disclosed", "worth", "years"]
    if x.terms.perspective == "reseller":
        in_service += ["seen", "unclaimed"]
    service = Table(LEFT, TOP, len(x.in_service), in_service)
    failing = tuple(sorted({v.failing for v in x.leftovers if v.failing}))
    names = [
        "number",
        "what",
        "group",
        "cured",
        "after",
        "worth",
        "price",
        "disclosed",
        "parts",
        "let_go",
        "follow",
        "ticket",
        "add",
        "adds",
    ]
    names += ["traced", "given_up", "added", "years", "margin", "hours"] + [
        f"chance_{r}" for r in range(len(x.repairs))
    ]
    left = Table(LEFT, TOP + len(x.in_service) + 4, len(x.leftovers), names)
    groups = Table(
        LEFT, left.top + left.rows + 4, len(failing), ["group", "what", *(f"chance_{r}" for r in range(len(x.repairs)))]
    )
    renewals = tuple(sorted({0.0, *(v.renewal for v in x.in_service)}))
    return Left(states, service, left, groups, failing, renewals)


def faults_in(x: Workings, mask: int) -> str:
    """Return a set of faults in words."""
    return listed([short(x.machine_class.faults[x.faults[i]].title) for i in numbers_in(mask)]) or "nothing of this"


def write_states(book: Book, x: Workings, at: Left) -> None:
    """Write the sheet of states: the sets of faults that may be there, and their chances."""
    page = book.page(STATES, [6, 60, *([10] * (len(at.states.columns) - 2))])
    page.line("Workings: what may be wrong, all faults together", role="title")
    page.block(
        f"The {len(x.states)} likeliest sets of faults, with {x.whole:.2%} of all that is believed. Their chances "
        "were worked out with the answer, and raised so that each fault is as likely as over all; what is missed for "
        "all that counts as it does in the answer. A chance that is changed on the sheet of inputs multiplies the "
        "odds of its fault. To the right: the row of sheet Left that each repair leaves.",
        "note", 8,
    )  # fmt: skip
    page.next = TOP - 1
    titles = {"told": "chance in the answer", "raw": "as changed", "chance": "chance now", "what": "what is wrong"}
    page.heads(*(titles.get(n, _named(n, x)) for n in at.states.columns))
    page.sheet.freeze_panes = page.sheet.cell(TOP, 3)
    total = at.states.column("raw")
    for i, (state, weight) in enumerate(zip(x.states, x.weights.tolist(), strict=True)):
        r = Row(page, at.states, i)
        r.told("number", i + 1)
        r.told("what", faults_in(x, state.faults), "general")
        r.told("told", weight, "figure", "told")
        factors = "".join(f"*odds_{x.faults[f]}" for f in numbers_in(state.faults) if f < x.in_play)
        r.live("raw", f"{r.here('told')}{factors}", "figure")
        r.live("chance", f"{r.here('raw')}/SUM({total})", "figure")
        for name, value in (
            ("service", state.service),
            ("survive", state.survive),
            ("price", state.price),
            ("parts", state.parts),
        ):
            r.told(name, value, "figure")
        r.live("disclosed", f"{r.here('price')}^steepness", "figure")
        if at.states.has("seen"):
            r.told("seen", state.seen_price, "figure")
            r.told("unclaimed", state.unclaimed, "figure")
        for f in numbers_in(state.faults):
            if f < x.in_play:
                r.told(f"has_{f}", 1)
        for a in {a.job: a for v in x.repairs for a in v.again}.values():
            if a.clears & state.faults:
                r.told(f"needs_{a.job}", 1)
        for n, repair in enumerate(x.repairs):
            for w, (_, rows) in enumerate(repair.ways):
                r.told(_way(n, w), rows[i] + 1)


def _named(column: str, x: Workings) -> str:
    kind, _, rest = column.partition("_")
    if kind == "has":
        return short(x.machine_class.faults[x.faults[int(rest)]].title)
    if kind == "needs":
        return f"needs: {x.machine_class.jobs[x.bench.jobs[int(rest)]].title}"
    if kind == "left":
        r, w = map(int, rest.split("_"))
        ways = x.repairs[r].ways
        chance = f", with {ways[w][0]:.1%}" if len(ways) > 1 else ""
        return f"left by course {r + 1}{chance}"
    if kind == "chance" and rest:
        return f"chance, course {int(rest) + 1}"
    titles = {
        "survive": "life left", "price": "price, all told", "disclosed": "price, marked down", "parts": "parts left",
        "seen": "price, seen alone", "unclaimed": "nobody comes back", "cured": "nothing costly left",
        "after": "in service", "let_go": "let go", "follow": "jobs to follow cost", "ticket": "their ticket",
        "add": "worth if added", "adds": "added?", "given_up": "given up", "group": "what fails, no.",
        "service": "service left", "what": "faults", "number": "no.",
    }  # fmt: skip
    return titles.get(column, column.replace("_", " "))


def write_left(book: Book, x: Workings, at: Left, tickets: Tickets, months: Table) -> None:
    """Write the sheet of what repairs leave and what it is worth."""
    page = book.page(LEFT, [6, 60, *([book.wide(11)] * (len(at.left.columns) - 2))])
    page.line("Workings: what repairs leave, and what that is worth", role="title")
    page.block(
        "Back in use, or sold as working, with these faults still in it: worth and years of service when it is kept "
        "as long "
        "as is best." if x.terms.perspective != "reseller" else "Sold as working with these faults still in it.",
        "note", 8,
    )  # fmt: skip
    page.next = TOP - 1
    page.heads(*(_named(n, x) for n in at.service.columns))
    for i in range(at.service.rows):
        _service(Row(page, at.service, i), x, at, months)
    page.next = at.left.top - 3
    page.gap()
    page.block(
        "What a repair leaves: where it passes the test run that is its worth; where something fails, the better of "
        "adding the cheapest jobs and letting it go.",
        "note", 8,
    )  # fmt: skip
    page.next = at.left.top - 1
    page.heads(*(_named(n, x) for n in at.left.columns))
    for i in range(at.left.rows):
        _leftover(Row(page, at.left, i), x, at, tickets)
    page.next = at.groups.top - 1
    page.heads(*(_named(n, x) for n in at.groups.columns))
    for i, mask in enumerate(at.failing):
        r = Row(page, at.groups, i)
        r.told("group", i + 1)
        r.told("what", faults_in(x, mask), "general")
        for n in range(len(x.repairs)):
            r.live(
                f"chance_{n}",
                f"SUMIF({at.left.column('group')},{r.here('group')},{at.left.column(f'chance_{n}')})",
                "figure",
            )


def _service(r: Row, x: Workings, at: Left, months: Table) -> None:
    v = x.in_service[r.number]
    r.told("number", r.number + 1)
    renewed = f"; {v.renewal:.0%} of its age taken off" if v.renewal else ""
    r.told("what", faults_in(x, v.share.faults) + renewed, "general")
    for name, value in (("service", v.share.service), ("survive", v.share.survive), ("price", v.share.price)):
        r.told(name, value, "figure")
    r.live("disclosed", f"{r.here('price')}^steepness", "figure")
    if x.terms.perspective == "reseller":
        r.told("seen", v.share.seen_price, "figure")
        r.told("unclaimed", v.share.unclaimed, "figure")
        price = f"running*{r.here('seen')}"
        stands = f"{r.here('disclosed')}*running*{x.kept!r}"
        claims = f"(1-{r.here('unclaimed')})*MAX({price}-{stands},0)"
        r.live("worth", f"({price}*(1-selling_fee_rate)-{claims})*(1-unsold_chance)-working_costs")
        r.told("years", 0, "years")
        return
    n = at.renewals.index(v.renewal)
    by_month = _by_month(r, months, n)
    r.live("worth", f"SUMPRODUCT(MAX({by_month}))")
    near = f"((({by_month})>={r.here('worth')}-0.000000001)*{months.column(f'years_{n}')})"
    first = f"{r.here('service')}*(1-{r.here('survive')})*first_years"
    best = f"SUMPRODUCT(MAX{near})"
    r.live("years", f"{r.here('service')}*{r.here('survive')}*{best}+IF({best}>0,{first},0)", "years")


def _by_month(r: Row, months: Table, n: int) -> str:
    """Return the worth by the month in which its use ends, as an array."""
    service, survive = r.here("service"), r.here("survive")
    later = months.column("later")
    first = f"first_years*(service_year-{months.cell(f'upkeep_{n}', 1)})"
    sold = f"{r.here('disclosed')}*{months.column('sale')}"
    price = f"({sold}+scrap+ABS({sold}-scrap))/2"
    return (
        f"{service}*{survive}*{months.column(f'gains_{n}')}"
        f"+{later}*(1-{survive})*({service}*{first}+first_scrap)"
        f"+{survive}*{months.column(f'ends_{n}')}"
        f"+{months.column(f'held_{n}')}*(1-{later}*(1-{survive}))*{price}-{months.column('late')}"
    )


def let_go_ways(disclosed: str, parts: str, x: Workings) -> dict[str, str]:
    """Return what each way of letting the machine go brings. disclosed, parts: shares left of its price and parts."""
    unsold, holding = ("*(1-unsold_chance)", "-holding") if x.terms.perspective == "reseller" else ("", "")
    costs = "stands_costs" if x.terms.perspective == "reseller" else "sale_costs"
    return {
        "sell_as_stands": f"{disclosed}*running*{x.kept!r}*(1-selling_fee_rate){unsold}-{costs}",
        "part_out": f"{parts}*part_out*(1-selling_fee_rate)-apart_hours*bench_hour{holding}",
        "scrap": "scrap",
    }


def _leftover(r: Row, x: Workings, at: Left, tickets: Tickets) -> None:
    v = x.leftovers[r.number]
    r.told("number", r.number + 1)
    r.told("what", faults_in(x, v.share.faults), "general")
    r.told("cured", int(v.cured))
    r.told("after", v.after + 1)
    served = at.service.cell("years", v.after)
    r.live("worth", at.service.cell("worth", v.after))
    if not v.failing:
        for name in ("traced", "given_up"):
            r.live(name, r.here("worth"))
        r.live("years", served, "years")
    else:
        r.told("group", at.failing.index(v.failing) + 1)
        r.told("price", v.share.price, "figure")
        r.live("disclosed", f"{r.here('price')}^steepness", "figure")
        r.told("parts", v.share.parts, "figure")
        ways = let_go_ways(r.here("disclosed"), r.here("parts"), x)
        r.live("let_go", f"MAX({','.join(ways.values())})+instead")
        if v.ways:
            costs = [tickets.cell("waited", w) for w in v.ways]
            r.live("follow", f"MIN({','.join(costs)})")
            number = str(v.ways[-1] + 1)
            for way, cost in reversed(list(zip(v.ways[:-1], costs[:-1], strict=True))):
                number = f"IF({cost}={r.here('follow')},{way + 1},{number})"
            r.live("ticket", number, "count")
            r.live("add", f"{r.here('worth')}-{r.here('follow')}")
            r.live("adds", f"({r.here('add')}>={r.here('let_go')})*1", "count")
            r.live("traced", f"MAX({r.here('add')},{r.here('let_go')})")
            r.live("added", f"{r.here('adds')}*{r.here('follow')}")
            r.live("years", f"{r.here('adds')}*{served}", "years")
            r.live("hours", f"{r.here('adds')}*INDEX({tickets.table.column('hours')},{r.here('ticket')})/1000", "hours")
            if x.terms.perspective == "shop":
                r.live("margin", f"{r.here('adds')}*INDEX({tickets.table.column('margin')},{r.here('ticket')})")
        else:
            r.live("traced", r.here("let_go"))
        r.live("given_up", r.here("let_go"))
    for n, repair in enumerate(x.repairs):
        terms = [
            (f"{chance!r}*" if len(repair.ways) > 1 else "")
            + f"SUMIF({at.states.column(_way(n, w))},{r.here('number')},{at.states.column('chance')})"
            for w, (chance, rows) in enumerate(repair.ways)
            if r.number in rows
        ]
        if terms:
            r.live(f"chance_{n}", "+".join(terms), "figure")


def mean_ways(x: Workings, left: Left) -> dict[str, str]:
    """Return formulas of what each way of letting it go brings on average."""
    chances = left.states.column("chance")
    disclosed, parts = (
        f"(SUMPRODUCT({chances},{left.states.column(name)})+{rest!r})"
        for name, rest in zip(("disclosed", "parts"), x.shares_rest, strict=True)
    )
    return let_go_ways(disclosed, parts, x)
