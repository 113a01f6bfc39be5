"""Text: a decision as plain text for people, the answer first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from decimal import Decimal

from api.columns import bullet, table, wrap
from api.policy import plan_lines
from api.wording import (
    course_title,
    exact,
    flow,
    input_name,
    input_value,
    likelihood,
    minutes,
    money,
    resting_on,
    result_name,
    short,
    words,
)
from econ.breakeven import Change, InputLine
from econ.decision import CourseLine, Decision, FaultLine
from econ.looking import OpenCheck
from econ.outlook import LIKELY, LOOK_FROM, time_words, walk_words
from econ.release import ReleaseTest
from econ.rulebook import MachineClass
from econ.terms import STATED
from econ.words import listed, percent

REPAIRS_SHOWN = 3
CHECKS_SHOWN = 4
LIKELY_FROM = 0.02  # faults below this are left to the JSON
SECOND_FROM = 0.25  # a result names a second fault from here
MOVED_FROM = 0.05  # a result that moves the faults it names by less leaves things as they are
AS_NOW = "much as now"
RARE_BELOW = 0.05  # a check that tells something only in results rarer than this is left to the JSON
NEAR = 2.0  # a change of the answer farther off than this, over what the figure may well be off by, is not shown
TURNS_SHOWN = 4
BASELINE = {
    "owner": "handing it over for nothing and going on with the cheapest other way",
    "shop": "handing it over for nothing and going on with the cheapest other way (the customer's money)",
    "reseller": "walking away, before the asking price and the trip",
}


def _section(title: str, lines: list[str]) -> Iterator[str]:
    if lines:
        yield ""
        yield title
        yield from lines


def _holds(d: Decision, c: MachineClass) -> list[str]:
    lines = []
    for hold in d.holds:
        lines += wrap(f"DO NOT RUN IT, RETURN IT OR SELL IT AS WORKING: {hold.title}. {hold.why}", "  ")
        ways = ["put right whatever causes it"] if c.holds[hold.id].by_cause else []
        ways += [c.jobs[j].title for j in hold.cleared_by]
        cleared = ", or ".join(ways) or "nothing that can be done here"
        lines += wrap(f"Cleared by: {cleared}. ({hold.source})", "  ")
    return lines


def _next(d: Decision, c: MachineClass) -> list[str]:
    """Return what to order, and the next check with what to do at each result, or that none pays for itself."""
    step, lines = d.plan.next_check, _order(d, c)
    if step is None:
        return lines
    if step.check is None and not step.worth:
        return [*lines, "  No check would change what is best now."]
    if step.check is None and step.net >= 0:
        return lines + wrap(f'No check gains anything to speak of now; the nearest is "{step.title}".', "  ")
    if step.check is None:
        worth = f'No check pays for itself now; the nearest, "{step.title}", falls short by'
        return lines + wrap(f"{worth} {money(-step.net, d.currency)}.", "  ")
    cost = f", costs {money(step.cost, d.currency)}" if step.cost else ""
    lines += wrap(f"{step.title}: {minutes(step.minutes)}{cost}, worth {money(step.worth, d.currency)}.", "  ")
    return lines + plan_lines(d.plan.tree, c)


def _order(d: Decision, c: MachineClass) -> list[str]:
    """Return what to order before looking, or together, and why; nothing where to order after looking is as good."""
    x = next(line for line in d.plan.orders if line.order == d.plan.order)
    if not x.parts:
        return []
    own, spare = [p for p in x.parts if p not in x.spare], listed([_part(p, c) for p in x.spare])
    parts = listed([_part(p, c) for p in own])
    again = "if the test run fails there is no second order to wait for"
    if x.early:
        what = f"{parts} now, and {spare} with {'them' if len(own) > 1 else 'it'}" if own and spare else ""
        what = what or f"{parts or spare} now"
        they = "they come" if len(x.parts) > 1 else "it comes"
        why = f"{they} while the machine waits for the bench" + (f", and {again}" if own and spare else "")
    else:
        what, why = f"{spare} with {parts}", again
    lines = wrap(f"Order {what}: {why}; better by {money(x.worth, d.currency)} than ordering after looking.", "  ")
    if x.at_risk:
        lines += wrap(f"Counted in it: {money(x.at_risk, d.currency)} for what may have to go back.", "  ")
    chosen = next(line for line in d.courses if line.course == d.verdict.course)
    stops = d.plan.next_check is None or d.plan.next_check.check is None
    if stops and d.plan.then != chosen.title:
        lines += wrap(f"With that order: {d.plan.then}.", "  ")
    return lines


def _part(part: str, c: MachineClass) -> str:
    return f"the {c.parts[part].title.partition(',')[0]}"


def _turns(d: Decision, c: MachineClass) -> list[str]:
    """Return what would change the answer, the nearest first, and the figure left open that matters most.

    A change from one repair to another is left to the JSON.
    """
    titles = {x.course: x.title for x in d.courses}
    lines = d.break_even.inputs
    found = [(_distance(i, x), i, x) for i in lines for x in i.changes if _kind(x.above) != _kind(x.below)]
    found.sort(key=lambda x: x[0])
    near = [_turn(line, x, d, c, titles) for z, line, x in found if z <= NEAR][:TURNS_SHOWN]
    if near:
        return table(near, wide=1) + _missing(d, c)
    far = "No single figure within what it may well be changes the answer" + ("; the nearest:" if found else ".")
    return wrap(far, "  ") + table([_turn(i, x, d, c, titles) for _, i, x in found[:1]], wide=1) + _missing(d, c)


def _kind(course: str) -> str:
    return course.partition(":")[0]


def _distance(line: InputLine, x: Change) -> float:
    """Return how far a change is from the value now, over half of what the input may well be off by."""
    half = float(line.high.value - line.value if x.value > line.value else line.value - line.low.value)
    away = abs(float(x.value - line.value))
    return away / half if half > 0 else math.inf


def _turn(line: InputLine, x: Change, d: Decision, c: MachineClass, titles: Mapping[str, str]) -> tuple[str, str]:
    """Return one change of the answer: when, and what is best then."""
    up = x.value > line.value
    value = input_value(x.value, line.unit, d.currency)
    name = input_name(line.input, c)
    now = input_value(line.value, line.unit, d.currency)
    if line.unit == "share" and line.input.startswith(("hidden", "fault")):
        when = f"{name} {'likelier' if up else 'less likely'} than {value} (now {now})"
    else:
        when = f"{name}: {'from' if up else 'under'} {value} (now {now})"
    return when, course_title(x.above if up else x.below, c, titles)


def _missing(d: Decision, c: MachineClass) -> list[str]:
    m = d.break_even.missing
    if m is None or m.low == m.high:
        return []
    name, worth = input_name(m.input, c), money(m.worth_knowing, d.currency)
    span = f"the answer then comes out between {money(m.low, d.currency)} and {money(m.high, d.currency)}"
    line = next((x for x in d.break_even.inputs if x.input == m.input), None)
    taken = ""
    if line is not None:
        now, low, high = (input_value(x, line.unit, d.currency) for x in (line.value, line.low.value, line.high.value))
        taken = f" (taken as {now}; it may well be {low} to {high})"
    if m.worth_knowing < 1:
        shelf, _, fact = m.input.partition(".")
        name = c.facts[fact].title.lower() if shelf == "history" else name
        return wrap(f"Of what is left open nothing is worth finding out first; most bears {name}{taken}: {span}.", "  ")
    stop = "" if f"{name}{taken}".endswith("?") else "."
    return wrap(f"Most worth finding out: {name}{taken}{stop} To know it is worth {worth}; {span}.", "  ")


def _two_way(d: Decision, c: MachineClass) -> list[str]:
    """Return the table of two inputs where the case asks for it: the best course by a letter, and its worth."""
    x = d.break_even.two_way
    if x is None or not x.asked:
        return []
    units = {line.input: line.unit for line in d.break_even.inputs}

    def value(name: str, amount: Decimal) -> str:
        return f"{amount:f}" if units[name] == "times" else input_value(amount, units[name], d.currency)

    titles = {y.course: y.title for y in d.courses}
    letters = {course: chr(ord("A") + n) for n, course in enumerate(dict.fromkeys(y for row in x.courses for y in row))}
    rows = [
        [value(x.first, amount)] + [f"{letters[y]} {money(w, d.currency)}" for y, w in zip(row, worths, strict=True)]
        for amount, row, worths in zip(x.first_values, x.courses, x.net_worth, strict=True)
    ]
    heads = ["", *(value(x.second, amount) for amount in x.second_values)]
    told = "In it: the best course and by how much it is better"
    lines = wrap(f"Down: {input_name(x.first, c)}. Across: {input_name(x.second, c)}. {told}.", "  ")
    lines += table(rows, heads, right=range(len(heads)))
    return lines + table([(letter, course_title(y, c, titles)) for y, letter in letters.items()], wide=1)


def _risk(d: Decision) -> list[str]:
    """Return how the answer may turn out, and what to agree on before a repair."""
    best = next(o for o in d.risk.outturns if o.course == d.verdict.course)
    low, mid, high = (money(x, d.currency) for x in (best.p10, best.p50, best.p90))
    text = f"Half the time it comes out above {mid}; one time in ten below {low}, one in ten above {high}."
    lines = wrap(text, "  ")
    told = f"It ends below nothing with a chance of {percent(best.chance_of_loss)}"
    luck = "Counting luck with hours, prices and how long it lasts, another way would have been better"
    lines += wrap(f"{told}. {luck} with a chance of {percent(best.chance_of_regret)}.", "  ")
    a = d.risk.authorisation
    own = d.estimate is not None and any(x.note == "own time" for x in d.estimate.lines)
    if a is None or own or d.perspective == "reseller" or not d.verdict.course.startswith("repair"):
        return lines  # who works for himself has nobody to agree it with
    agreed = f"Agree before work: looking up to {money(a.diagnosis_up_to, d.currency)}; stop and ring before"
    lines += wrap(f"{agreed} {money(a.not_to_exceed, d.currency)}.", "  ")
    return lines + wrap(f"To decline after looking costs {money(a.decline, d.currency)}.", "  ")


def _next_time(d: Decision) -> list[str]:
    """Return a sentence for each part the repair renews: how long it lasts, and what it is worth paying for then."""
    lines = []
    for x in d.next_time:
        text = f"{x.title[:1].upper()}{x.title[1:]}: half of them last {time_words(x.median_years)}; "
        n = x.next_failure
        if n is None or n.chance < LIKELY:
            text += "it will hardly fail again while the machine is kept"
        else:
            most = f"up to {money(n.limit, d.currency)}" if n.limit > 0 else "nothing"
            text += f"{most} is worth paying at the next failure if that comes in {time_words(n.years)}"
            text += walk_words(x.walk_away_years, x.walk_away_age)
        if x.root_cause >= LOOK_FROM:
            text += f"; with a chance of {percent(x.root_cause)} something else wears it out, look for that first"
        lines += wrap(text + ".", "  ", "    ")
    return lines


def _courses(d: Decision) -> list[str]:
    able = [x for x in d.courses if not x.barred]
    open_ones = sorted(able, key=lambda x: (x.course != d.verdict.course, -x.net_worth))
    best = [x for x in open_ones if x.kind == "repair"][:REPAIRS_SHOWN]
    shown = [x for x in open_ones if x.kind != "repair" or x in best]
    yearly = any(x.cost_per_year is not None for x in shown)
    rows = [_course(x, d, yearly) for x in shown]
    heads = ["", "", "better off", "cash now", "cost in all", "cost a year"][: 6 if yearly else 5]
    lines = table(rows, heads, right=range(2, len(heads)), wide=1)
    lines += wrap(f"Better off: than {BASELINE[d.perspective]}. Cost in all: own time and waiting too.", "  ")
    for x in d.courses:
        if x.barred and (x.kind != "repair" or not best):
            lines += wrap(f"Not open: {x.title} ({x.barred}).", "  ", "    ")
    return lines


def _course(x: CourseLine, d: Decision, yearly: bool) -> list[str]:
    mark = "=>" if x.course == d.verdict.course else ""
    row = [mark, x.title, money(x.net_worth, d.currency), flow(x.cash_now, d.currency)]
    row.append(money(x.present_cost, d.currency))
    if yearly:
        row.append("-" if x.cost_per_year is None else money(x.cost_per_year, d.currency))
    return row


def _faults(d: Decision, c: MachineClass) -> list[str]:
    likely = [f for f in d.faults if f.probability >= LIKELY_FROM]
    rows = [(percent(f.probability), likelihood(f.probability), _seen(f)) for f in likely]
    lines = table(rows, right=(0,), wide=2)
    if any(f.hidden for f in d.faults):
        lines += wrap(f"Hidden damage of any kind: {percent(d.hidden_damage)}. More than one may be true.", "  ")
    if d.faults_left_out:
        left = "; ".join(c.faults[f].title for f in d.faults_left_out)
        lines += wrap(f"Not weighed, as others bear on this more: {left}.", "  ")
    return lines


def _seen(f: FaultLine) -> str:
    return f"{f.title} (inside)" if f.hidden else f.title


def _looking(d: Decision, c: MachineClass) -> list[str]:
    now = {f.id: f.probability for f in d.faults}
    ready = [(x, _results(x, now, c)) for x in d.open_checks if not x.waits_for]
    telling = [
        (x, rows)
        for x, rows in ready
        if any(row[2] != AS_NOW and r.chance >= RARE_BELOW for r, row in zip(x.results, rows, strict=True))
    ]
    by_worth = {x.check: n for n, x in enumerate(d.plan.checks)}
    telling.sort(key=lambda x: by_worth.get(x[0].id, len(by_worth)))
    lines = []
    for check, rows in telling[:CHECKS_SHOWN]:
        lines += wrap(f"{check.title}, {minutes(check.minutes)}. {check.how}".strip(), "  ")
        lines += table(rows, right=(1,), wide=2)
    return lines


def _results(check: OpenCheck, now: Mapping[str, float], c: MachineClass) -> list[tuple[str, str, str]]:
    """Return (result, chance, what it then most likely is) for each result of a check."""
    rows = []
    for r in check.results:
        named = [f for n, f in enumerate(r.faults[:2]) if n == 0 or f.probability >= SECOND_FROM]
        moved = any(abs(f.probability - now.get(f.id, 0.0)) >= MOVED_FROM for f in named)
        leading = "; ".join(f"{short(c.faults[f.id].title)} ({percent(f.probability)})" for f in named)
        rows.append((f"  {result_name(r.outcome, c)}", percent(r.chance), f"then {leading}" if moved else AS_NOW))
    return rows


def _estimate(d: Decision, c: MachineClass) -> list[str]:
    e = d.estimate
    if e is None:
        return []
    lines = wrap(f"For: {listed([c.jobs[j].title for j in e.jobs])}.", "  ") if e.jobs else []
    rows = []
    for x in e.lines:
        own = x.note == "own time"
        count = "" if x.quantity is None else f"{x.quantity:.2f}".rstrip("0").rstrip(".") + f" {x.unit}".rstrip()
        price = "" if x.unit_price is None or own else exact(x.unit_price)
        note = f" ({x.note})" if x.note and not own else ""
        rows.append((x.what + note, count, price, "own time" if own else exact(x.amount)))
    rows.append(("total", "", "", f"{d.currency} {exact(e.total)}"))
    lines += table(rows, right=(1, 2, 3))
    if e.own_time:
        worth = money(e.own_time, d.currency)
        lines += wrap(f"Beside it own time worth {worth} ({float(e.hours):.1f} h of the book).", "  ")
    if e.deposit:
        lines += wrap(f"Of it in advance: {exact(e.deposit)}.", "  ")
    return [*lines, *_limits(d)]


def _days(n: float) -> str:
    return f"{n:g} day{'' if n == 1 else 's'}"


def _purchase(d: Decision, c: MachineClass) -> list[str]:
    """Return what to order where, and how sure its prices are."""
    lines = []
    if d.purchase is not None:
        rows = []
        for o in d.purchase.orders:
            rows.append((o.seller or "own stock", "", exact(o.goods), _days(o.lead_days) if o.seller else ""))
            for x in o.lines:
                name = c.parts[x.part].title + ("" if x.sold == x.part else f" ({x.sold})")
                count = f"{x.packs}" if x.pack == 1 else f"{x.packs} x {x.pack}"
                seen = (f"{words(x.status)}, " if x.status not in ("new", "own_stock") else "") + f"seen {x.seen_on}"
                seen += ", stale" if x.stale else ""
                rows.append((f"  {name}", count, exact(x.price), seen))
            if o.shipping:
                rows.append(("  shipping", "", exact(o.shipping), ""))
        lines += table(rows, right=(1, 2), wide=0)
        for sentence in d.purchase.why[: 1 if len(d.purchase.orders) == 1 else 2]:
            lines += wrap(sentence, "  ")
        if d.purchase.core_back:
            back = f"{exact(d.purchase.core_back)} of it comes back with the old parts"
            lines += wrap(f"Paid now: {d.currency} {exact(d.purchase.cash_now)}; {back}.", "  ")
        for m in d.purchase.missing:
            lines += wrap(f"Still needed: {m.pieces} x {m.title}; {m.why}.", "  ")
        bought = {x.part for o in d.purchase.orders for x in o.lines}
        named = {c.parts[p].title for p in bought}
        parts = [x for x in d.estimate.lines if x.kind == "part"] if d.estimate else []
        rest = [x.what for x in parts if x.what.partition(" (")[0] not in named and x.what not in named]
        if rest:
            lines += wrap(f"Not in the price book, and to be had besides: {listed(rest)}.", "  ")
    lines += [x for a in d.assumptions if a.name == "purchase" for x in wrap(f"Not worked out: {a.source}.", "  ")]
    return lines


def _limits(d: Decision) -> list[str]:
    """Return the most the repair of the estimate may cost, and what a reseller may offer."""
    lines = []
    jobs = () if d.estimate is None else d.estimate.jobs
    own = next((x.repair_limit for x in d.courses if x.kind == "repair" and x.jobs == jobs), None)
    if own is not None:
        counted = ", own time counted," if d.estimate is not None and d.estimate.own_time else ""
        most = f"Up to {money(own, d.currency)}{counted} this repair by itself is the better way; above that it is not."
        lines += wrap(most if own > 0 else "At no price is this repair by itself the better way.", "  ")
    if d.offer is not None:
        said = f"Highest offer {money(d.offer.highest, d.currency)}, trip and every hour paid."
        if d.offer.asking_price is not None and d.offer.left_at_asking is not None:
            left = money(d.offer.left_at_asking, d.currency)
            said += f" At the asked {money(d.offer.asking_price, d.currency)} it leaves {left}"
            loss = d.offer.chance_of_loss
            said += "." if loss is None else f"; the chance of a loss is {percent(loss)}."
        lines += wrap(said, "  ")
    return lines


def _shop(d: Decision) -> list[str]:
    mends = [x for x in d.courses if x.kind == "repair" and not x.barred and x.gross_profit is not None]
    best = sorted(mends, key=lambda x: (x.course != d.verdict.course, -x.net_worth))[:REPAIRS_SHOWN]
    rows = [
        (
            x.title,
            money(x.gross_profit, d.currency),
            "-" if x.gross_profit_per_hour is None else money(x.gross_profit_per_hour, d.currency),
            f"{_bench_hours(x):.1f} h",
        )
        for x in best
        if x.gross_profit is not None
    ]
    return table(rows, ("", "gross profit", "per bench hour", "bench"), right=(1, 2, 3)) if rows else []


def _bench_hours(x: CourseLine) -> float:
    """Return the bench hours its profit is spread over: of the ticket and of what is added later."""
    if x.gross_profit and x.gross_profit_per_hour:
        return float(x.gross_profit / x.gross_profit_per_hour)
    return x.hours


def _release(d: Decision) -> list[str]:
    lines = []
    for t in d.release_checks:
        lines += bullet(f"{t.title}{_limit(t)}. {t.how} ({t.source})")
    return lines


def _limit(t: ReleaseTest) -> str:
    said = "" if t.limit is None else f": {'at most' if t.at_most else 'at least'} {t.limit:g} {t.unit}".rstrip()
    if t.reading is not None:
        said += f"; worked out here {t.reading:g} {t.unit}, {'within it' if t.passes else 'TOO MUCH'}"
    return said


def _rules(d: Decision) -> list[str]:
    lines = []
    for r in d.rule_of_thumb:
        differs = "The answer here agrees." if r.agrees else f"The answer here differs: {r.why}."
        lines += bullet(f"{r.name[:1].upper()}{r.name[1:]}: {r.says}. {differs} ({r.source})")
    return lines


def _books(d: Decision) -> list[str]:
    rows = [(f"year {y.year}", f"{y.percent:g} %", money(y.amount, d.currency)) for y in d.book_depreciation]
    return [*table(rows, right=(1, 2)), *wrap("Tax depreciation; no part of the answer.", "  ")] if rows else []


def _basis(d: Decision, c: MachineClass) -> list[str]:
    stated, others = [], []
    for a in d.assumptions:
        name, value = resting_on(a, c, d.currency)
        if a.source == STATED:
            stated.append(f"{name} {value}")
        else:
            others += bullet(f"{name}: {value} ({a.source})")
    lines = others + (bullet(f"stated in the case: {'; '.join(stated)}") if stated else [])
    if d.spent_so_far:
        lines += bullet(f"spent so far and not counted: {money(d.spent_so_far, d.currency)}")
    return lines


def _if_chosen(title: str, d: Decision) -> str:
    """Return a title about the repair of the estimate; it says so where the answer is another course."""
    chosen = next(x for x in d.courses if x.course == d.verdict.course)
    if d.estimate is not None and chosen.jobs != d.estimate.jobs:
        return f"{title}, if this repair were chosen"
    return title


def decision_text(d: Decision, c: MachineClass) -> str:
    """Return a decision as text, lines of at most about a hundred characters. c: its machine class."""
    sure = f"{d.verdict.confidence_word[:1].upper()}{d.verdict.confidence_word[1:]}"
    lines = wrap(d.verdict.headline)
    lines += wrap(d.warranty_first) if d.warranty_first else []
    lines += wrap(f"{sure}: the best course in {percent(d.verdict.confidence)} of what it may turn out to be.")
    book = "" if d.price_revision is None else f", prices of revision {d.price_revision} of the price book"
    lines += wrap(f"[{c.about.title}, {d.as_of}{book}]")
    sections = (
        ("Until this is cleared", _holds(d, c)),
        ("Next", _next(d, c)),
        ("This would change the answer", _turns(d, c)),
        ("Two figures at once", _two_way(d, c)),
        ("What can be done", _courses(d)),
        ("How it may turn out", _risk(d)),
        (_if_chosen("The next time round", d), _next_time(d)),
        ("What it most likely is", _faults(d, c)),
        ("What would tell more", _looking(d, c)),
        (_if_chosen("Estimate", d), _estimate(d, c)),
        (_if_chosen("What to order", d), _purchase(d, c)),
        ("What it earns the shop", _shop(d)),
        ("Before it goes back", _release(d)),
        ("Take care", [line for x in d.cautions for line in bullet(x.text)]),
        ("Rules of thumb", _rules(d)),
        ("For the books of a business that buys a new one", _books(d)),
        ("What this rests on", _basis(d, c)),
    )
    for title, found in sections:
        lines += _section(title, found)
    return "\n".join(lines) + "\n"
