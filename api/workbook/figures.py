"""Figures: what follows from the inputs once for all courses: ages, prices, what a year of service costs."""

from __future__ import annotations

from api.workbook.formula import even
from api.workbook.inputs import longest
from api.workbook.page import Book, Page, Table
from econ.costing import NOISE
from econ.life import CONDITION_KAPPA, WEIBULL_SHAPE
from econ.market import MOST_STEEP
from econ.terms import life_figures
from econ.workings import Workings
from econ.worth import STEPS_PER_YEAR

TITLE = "Figures"
NEWTON = 14  # steps of Newton's method that find how hard buyers mark down known faults


def share_of(x: Workings, age: str) -> str:
    """Return a formula of the value over the new price at an age, by the curve of the machine class."""
    v = x.machine_class.value
    if v.method == "geometric":
        return f"(1-{v.rate!r})^({age})"
    if v.method == "declining_balance":
        return f"MAX((1-{v.rate!r}/curve_life)^({age}),{v.salvage_share!r})"
    if v.method == "straight_line":
        return f"(1-(1-{v.salvage_share!r})*MIN(({age})/curve_life,1))"
    c1, c2, c3 = v.coefficients
    by_use = c3 * life_figures(x.case, x.machine_class).hours_per_year ** 0.5
    return f"MIN(MAX({c1!r}-{c2!r}*SQRT({age})-{by_use!r},0),1)^2"


class _Figures:
    def __init__(self, book: Book, page: Page) -> None:
        self._book, self._page = book, page

    def add(self, name: str, label: str, formula: str, shape: str = "figure") -> None:
        page, row = self._page, self._page.next
        page.put(row, 1, label)
        page.live(row, 2, formula, shape)
        page.put(row, 3, name, "general", "note")
        self._book.define(name, page.place(row, 2))
        page.next += 1


def write_figures(book: Book, x: Workings, months: Table, states: Table) -> None:
    """Write the sheet of figures that follow from the inputs."""
    page = book.page(TITLE, (58, 16, 26, 16, 16))
    page.line("Workings: figures that follow from the inputs", role="title")
    page.heads("", ">figure", "its name in formulas")
    f, c, k = _Figures(book, page), x.machine_class, x.market
    own = x.terms.perspective != "reseller"
    class_hours = life_figures(x.case, c).hours_per_year
    f.add("median_life", "median life of such machines [years]", f"life_hours/{class_hours!r}", "years")
    kappas = ",".join(repr(CONDITION_KAPPA[word]) for word in CONDITION_KAPPA)
    words = ",".join(f'"{word}"' for word in CONDITION_KAPPA)
    f.add(
        "wear_rate",
        "years it counts as for each year, by condition",
        f"INDEX({{{kappas}}},MATCH(condition,{{{words}}},0))",
    )
    use = f"IF(ISNUMBER(machine_hours),machine_hours/{class_hours!r},IF(ISNUMBER(age_years),age_years,0.5*median_life))"
    f.add("effective_age", "age it counts as [years]", f"wear_rate*{use}", "years")
    by_years = "IF(ISNUMBER(age_years),wear_rate*age_years,effective_age)"
    curve_age = f"IF(ISNUMBER(machine_hours),({by_years}+effective_age)/2,{by_years})"
    f.add("curve_age", "age a buyer goes by [years]", curve_age, "years")
    v = c.value
    life = f"{v.life_years!r}" if v.life_years is not None else f"MAX(median_life,{v.rate!r})"
    f.add("curve_life", "life over which its value falls [years]", life, "years")
    f.add("share_now", "value over new price at its age", share_of(x, "curve_age"))
    f.add("sale_costs", "a sale costs, hours counted", "selling_cost+selling_hours*hour_worth", "money")
    f.add(
        "bench_hour",
        "an hour of one's own at the bench",
        "IF(ISNUMBER(bench_hour_worth),bench_hour_worth,hour_worth)",
        "money",
    )
    f.add("apart_hours", "hours to take it to parts", repr(c.value.part_out_hours), "hours")
    taxed = 'new_price*IF(tax_inclusive="yes",1,1+tax_rate)'
    brought = "replacement_delivery" if own else repr(x.terms.money("replacement_delivery") / book.scale)
    f.add("new_total", "a new one, tax and delivery paid", f"{taxed}+{brought}", "money")
    if own:
        _owner(f, x, months)
        _kept(f, states)
    else:
        f.add("week", "a week without it (nobody waits for what is for sale)", "0", "money")
        f.add("holding", "keeping it in store until it sells", f"holding_per_week*{k.days_to_sell!r}/7", "money")
        costs = "selling_hours*hour_worth+holding+(1-unsold_chance)*selling_cost-unsold_chance*scrap"
        f.add("stands_costs", "selling it as it stands costs", costs, "money")
        f.add(
            "working_costs", "selling it working costs, cleaning counted", f"{costs}+cleaning_hours*bench_hour", "money"
        )
    f.add("instead", "worth of going on with something else", _instead(x) if own else "0", "money")
    f.add("lead_weeks", "wait for parts that take the usual time [weeks]", "parts_lead_days/7", "years")
    queue = "queue_weeks" if x.terms.by_shop or "queue_weeks" in x.case.terms.model_fields_set else "0"
    f.add("bench_weeks", "wait for the bench [weeks]", queue, "years")
    f.add("hour_cost", "an hour of the book costs", _hour_cost(x), "money")
    f.add("look_hours", "one look that halves what it may be, by the book [h]", _look_hours(x), "hours")
    f.add("look_cost", "which costs", "look_hours*hour_cost", "money")
    f.add("put_back", "closing what was opened if it is not repaired", f"{x.put_back!r}*hour_cost", "money")
    declined = "diagnosis_fee" if x.terms.by_shop else "0"
    if x.terms.by_shop:
        storage = "MAX(0,storage_days-storage_free_days)*storage_per_day"
        fixed = (
            f'IF(diagnosis_credited="yes",0,diagnosis_fee)+pickup_delivery+disposal_fee+ROUND({storage},{book.digits})'
        )
        f.add("first_fees", "fees of a first visit", fixed, "money")
    f.add("declined", "fee if it is not repaired", declined, "money")
    _steepness(f, page, x)


def _owner(f: _Figures, x: Workings, months: Table) -> None:
    k, c = x.market, x.machine_class
    class_hours = life_figures(x.case, c).hours_per_year
    f.add("pace", "own use over the usual", f"hours_per_year/{class_hours!r}")
    f.add("steps", "months looked ahead", f"MAX(1,{even('horizon_years*12')})", "count")
    share = x.terms.figures.get("used_age_years")
    age = f"{share!r}" if share is not None else f"{x.terms['used_age_share']!r}*median_life"
    f.add("used_age", "age of a used replacement [years]", age, "years")
    f.add("share_used", "value over new price at that age", share_of(x, "used_age"))
    f.add("used_total", "a used one, found and brought", "used_price+replacement_delivery", "money")
    sells = "used_price"  # a price that is stated is what it costs and what it would sell for
    if x.case.market.used_price is None:
        typical = "share_used*new_price"
        shown = f"ABS(used_price-{typical}*(1+used_premium))<{0.51 / x.scale!r}"  # that written in changes nothing
        sells = f"IF({shown},{typical},used_price)"
    f.add("used_sells", "what it would sell for, found or not", sells, "money")
    f.add("week", "a week without it in this season", f"downtime_per_week*{k.downtime_season!r}", "money")
    f.add(
        "new_year",
        "a year of service of a new one, kept as long as is best",
        f"MIN({months.column('new_cost', 1)})",
        "money",
    )
    f.add("used_year", "a year of service of a used one", f"MIN({months.column('used_cost', 1)})", "money")
    without = ",do_without_per_year" if "do_without_per_year" in x.terms.figures else ""
    f.add("service_year", "a year of service at its cheapest", f"MIN(new_year,used_year{without})", "money")
    for kind in ("new", "used"):
        at = f"MATCH({kind}_year,{months.column(f'{kind}_cost', 1)},0)"
        f.add(
            f"{kind}_years",
            f"years of service of it by then, discounted ({kind})",
            f"INDEX({months.column(f'{kind}_years', 1)},{at})",
            "years",
        )
        f.add(f"{kind}_worth", f"worth of getting a {kind} one", f"(service_year-{kind}_year)*{kind}_years", "money")
    if without:
        served = f"SUMPRODUCT({months.column('discount', 1)},{months.column('within', 1)})/12"
        f.add("without_years", "years looked ahead, discounted", served, "years")
        worth = "-(do_without_per_year-service_year)*without_years"
        f.add("without_worth", "worth of doing without", worth, "money")
    f.add("replacement_wait", "waiting for a replacement costs", "replacement_days/7*week", "money")
    f.add(
        "first_years",
        "service of the first month that no fault takes, discounted",
        f"0.5/12*{months.cell('discount', 1)}",
    )
    f.add("first_scrap", "scrap at the end of it", f"{months.cell('discount', 1)}*scrap", "money")


def _kept(f: _Figures, states: Table) -> None:
    """Write what all states leave on the mean, kept in use as it is."""
    chance, service, survive = (states.column(n) for n in ("chance", "service", "survive"))
    f.add("kept_1", "as it is: service and life left", f"SUMPRODUCT({chance},{service},{survive})")
    f.add("kept_2", "service left, its life ended at once", f"SUMPRODUCT({chance},{service})-kept_1")
    f.add("kept_3", "life left", f"SUMPRODUCT({chance},{survive})")
    f.add("kept_4", "life ended at once", "1-kept_3")


def _instead(x: Workings) -> str:
    without = ",without_worth" if "do_without_per_year" in x.terms.figures else ""
    return f"MAX(new_worth-replacement_wait,used_worth-replacement_wait{without})"


def _hour_cost(x: Workings) -> str:
    if not x.terms.by_shop:
        return "slowness*bench_hour"
    return 'shop_rate*(1+tax_rate*AND(tax_on_labour="yes",tax_inclusive<>"yes"))'


def _look_hours(x: Workings) -> str:
    base = f"ROUND({x.operations[x.tracing].hours!r}*hours_factor*1000,{NOISE})"
    return f"{even(base)}/1000"


def _steepness(f: _Figures, page: Page, x: Workings) -> None:
    """Write how hard buyers mark down known faults: found from the as-is price, or taken as usual."""
    page.gap()
    page.block(
        "How hard buyers mark down known faults: the exponent at which what the complaint makes likely brings the "
        "price as it stands, where that is stated. Each line is a step of Newton's method from the line above. The few "
        "shares beside them stand for all that the faults may leave, chosen so that no sum comes out another (Gauss "
        "quadrature).",
        "note", 3,
    )  # fmt: skip
    top = page.next
    rows = len(x.levels)
    page.put(top, 4, "log of the share", "general", "head")
    page.put(top, 5, "its chance", "general", "head")
    for i, level in enumerate(x.levels, 1):
        page.put(top + i, 4, level.log_share, "figure", "told")
        page.put(top + i, 5, level.chance, "figure", "told")
    logs, chances = (f"{TITLE}!${col}${top + 1}:${col}${top + rows}" for col in "DE")
    scale = float(page.book.scale)
    f.add(
        "as_is_ratio", "as it stands over running", f"IF(ISNUMBER(as_is),MIN(as_is/MAX(running,{1 / scale!r}),1),0.5)"
    )
    guess = "0"
    for n in range(NEWTON):
        drawn = f"SUMPRODUCT({chances},EXP({guess}*{logs}))"
        slope = f"SUMPRODUCT({chances},EXP({guess}*{logs}),{logs})"
        step = f"MAX(0,MIN({MOST_STEEP!r},{guess}+IF({slope}<0,({drawn}-as_is_ratio)/-{slope},{MOST_STEEP!r})))"
        f.add(f"steep_{n}", f"step {n + 1}", step)
        guess = f"steep_{n}"
    usual = float(x.terms["as_is_steepness"])
    found = newton(x)
    right = 0.0 if x.market.as_is is None else x.steepness - found
    f.add(
        "steepness",
        "how hard buyers mark down known faults, exponent",
        f"IF(ISNUMBER(as_is),{guess}+{right!r},{usual!r})",
    )


def newton(x: Workings) -> float:
    """Return what the steps on the sheet come to with the inputs of the answer."""
    import numpy as np

    if x.market.as_is is None:
        return x.steepness
    logs, chances = np.array([v.log_share for v in x.levels]), np.array([v.chance for v in x.levels])
    ratio, g = min(float(x.market.as_is) / max(float(x.market.running), 1.0), 1.0), 0.0
    for _ in range(NEWTON):
        drawn, slope = float(chances @ np.exp(g * logs)), float((chances * logs) @ np.exp(g * logs))
        g = max(0.0, min(MOST_STEEP, g + ((drawn - ratio) / -slope if slope < 0 else MOST_STEEP)))
    return g


def months_table(x: Workings, renewals: list[float]) -> Table:
    """Return where the sheet of months has its columns. renewals: shares of the age that jobs take off."""
    own = x.terms.perspective != "reseller"
    columns = ["month", "time", "discount", "later", "within", "late", "fall", "season", "sale"]
    if own:
        columns.append("kept_sale")
        for n in range(len(renewals)):
            columns += [f"{name}_{n}" for name in ("alive", "service", "upkeep", "years", "gains", "ends", "held")]
        for kind in ("new", "used"):
            columns += [f"{kind}_{name}" for name in ("alive", "sale", "years", "out", "cost")]
        columns += ["keep_mean", "keep_years"]
    return Table("Months", 5, 12 * longest(x) + 1, columns)


def write_months(book: Book, x: Workings, months: Table, renewals: list[float], states: Table | None) -> None:
    """Write the sheet of months: survival, service, upkeep and sale price of each machine.

    states: the table of states, for keeping the machine in use as it is.
    """
    page = book.page("Months", [book.wide(9)] * len(months.columns))
    page.line("Workings: month by month", role="title")
    page.block(
        f"Life is Weibull, shape {WEIBULL_SHAPE:g}; alive: chance that it still serves; ends, out: sums up to the "
        "month, discounted; held: chance alive, discounted. A column for each share of its age that a job takes off: "
        + ", ".join(f"{n}: {r:.0%}" for n, r in enumerate(renewals)) + ".",
        "note", min(len(months.columns), 14),
    )  # fmt: skip
    page.next = months.top - 1
    page.heads(*(name.replace("_", " ") for name in months.columns))
    page.sheet.freeze_panes = page.sheet.cell(months.top, 2)
    own = x.terms.perspective != "reseller"
    for k in range(months.rows):
        _month(page, x, months, renewals, k, own, states)


def _month(
    page: Page, x: Workings, months: Table, renewals: list[float], k: int, own: bool, states: Table | None
) -> None:
    row = months.top + k

    def here(column: str, back: int = 0) -> str:
        return months.here(column, k - back)

    def live(column: str, formula: str, shape: str = "figure") -> None:
        page.live(row, months.at(column), formula, shape)

    page.put(row, months.at("month"), k, "count")
    live("time", f"{here('month')}/12")
    page.put(row, months.at("later"), min(k, 1), "count")
    live("fall", f"IF(share_now>0,({share_of(x, 'curve_age+' + here('time'))})/share_now,1)")
    live("season", f"1+{x.market.later - 1!r}*MIN({here('time')}/0.5,1)")
    live("sale", f"MAX(running*{here('fall')}*{here('season')}*(1-selling_fee_rate)-sale_costs,scrap)", "money")
    if not own:
        return
    live("discount", f"(1+real_rate)^-{here('time')}")
    live("within", f"({here('month')}<=steps)*1", "count")
    live("late", f"IF({here('month')}<=steps,0,1E+12)", "general")
    live("kept_sale", f"MAX({here('sale')}*{x.kept!r},scrap)", "money")

    def alive(age: str, pace: str = "pace") -> str:
        hazard = (
            f"(({age}+{pace}*{here('time')})/median_life)^{WEIBULL_SHAPE!r}-(({age})/median_life)^{WEIBULL_SHAPE!r}"
        )
        return f"EXP(-LN(2)*({hazard}))"

    for n, renewal in enumerate(renewals):
        age = f"effective_age*{1 - renewal!r}"
        live(f"alive_{n}", alive(age))
        live(f"held_{n}", f"{here('discount')}*{here(f'alive_{n}')}")
        if not k:
            for name in ("years", "gains", "ends"):
                page.put(row, months.at(f"{name}_{n}"), 0, "figure")
            continue
        before, now = here(f"alive_{n}", 1), here(f"alive_{n}")
        live(f"service_{n}", f"{here('discount')}*({before}+{now})/24")
        live(
            f"upkeep_{n}",
            f"new_price*(upkeep_rate+upkeep_growth*({age}+pace*({here('time')}-1/24))/median_life)",
            "money",
        )
        live(f"years_{n}", f"{here(f'years_{n}', 1)}+{here(f'service_{n}')}")
        live(
            f"gains_{n}",
            f"{here(f'gains_{n}', 1)}+{here(f'service_{n}')}*(service_year-{here(f'upkeep_{n}')})",
            "money",
        )
        live(f"ends_{n}", f"{here(f'ends_{n}', 1)}+{here('discount')}*({before}-{now})*scrap", "money")
    for kind, age, price in (("new", "0", "new_price"), ("used", "used_age", "used_sells")):
        live(f"{kind}_alive", alive(age))
        start = share_of(x, age)
        value = f"{price}*IF({start}>0,({share_of(x, age + '+' + here('time'))})/({start}),1)"
        live(f"{kind}_sale", f"MAX({value}*(1-selling_fee_rate)-sale_costs,scrap)", "money")
        if not k:
            page.put(row, months.at(f"{kind}_years"), 0, "figure")
            page.put(row, months.at(f"{kind}_out"), 0, "figure")
            continue
        before, now, d = here(f"{kind}_alive", 1), here(f"{kind}_alive"), here("discount")
        service = f"{d}*({before}+{now})/24"
        upkeep = f"new_price*(upkeep_rate+upkeep_growth*({age}+pace*({here('time')}-1/24))/median_life)"
        live(f"{kind}_years", f"{here(f'{kind}_years', 1)}+{service}")
        live(f"{kind}_out", f"{here(f'{kind}_out', 1)}+{service}*{upkeep}-{d}*({before}-{now})*scrap", "money")
        cost = f"({kind}_total+{here(f'{kind}_out')}-{d}*{now}*{here(f'{kind}_sale')})/{here(f'{kind}_years')}"
        live(f"{kind}_cost", f'IF({here("month")}<=steps,{cost},"")', "money")
    if states is not None:
        _keeping(page, months, k, states)


def _keeping(page: Page, months: Table, k: int, states: Table) -> None:
    """Write what keeping it in use as it is brings on the mean if that ends with this month."""
    row = months.top + k

    def here(column: str) -> str:
        return months.here(column, k)

    live, survive, share = states.column("chance"), states.column("survive"), states.column("disclosed")
    sold = f"{share}*{here('kept_sale')}"
    price = f"({sold}+scrap+ABS({sold}-scrap))/2"
    later = f"(1-{here('later')}*(1-{survive}))"
    fixed = f"kept_1*{here('gains_0')}+kept_3*{here('ends_0')}"
    if k:
        fixed += f"+kept_2*first_years*(service_year-{months.cell('upkeep_0', 1)})+kept_4*first_scrap"
    page.live(
        row,
        months.at("keep_mean"),
        f"IF(AND({here('month')}<=steps,{here('month')}>=MIN({STEPS_PER_YEAR},steps)),"
        f'{fixed}+{here("held_0")}*SUMPRODUCT({live},{later},{price}),"")',
        "money",
    )
    years = f"kept_1*{here('years_0')}" + ("+kept_2*first_years" if k else "")
    page.live(row, months.at("keep_years"), years)
