"""Inputs: every figure that may be changed, with what the answer takes it as, what may stand there, and its source."""

from __future__ import annotations

from dataclasses import dataclass

from openpyxl.worksheet.datavalidation import DataValidation

from api.wording import LABELS
from api.workbook.formula import millionths, minor
from api.workbook.page import Book, Page
from econ.life import CONDITION_KAPPA
from econ.market import AGE_SHARE
from econ.money import to_minor
from econ.terms import STATED, life_figures, price_source
from econ.workings import Workings

HEADS = ("", ">in the answer", ">change to", ">counts", "", "may be", "where the answer has it from")
WIDTHS = (42, 12, 12, 12, 8, 18, 46)
YES_NO = ("yes", "no")
LONGEST = 12  # years that the months of the workbook go to at least
MOST_MONEY = 999_999_999.0  # as much as a case may state
OWN = "the case's own default"


@dataclass(frozen=True)
class Line:
    """One input. answer: value, or a formula where it follows from others, or None where nothing is stated.

    first: what the formula comes to in the answer.
    """

    name: str
    label: str
    shape: str
    unit: str
    answer: float | str | None
    source: str
    least: float = 0.0
    most: float = MOST_MONEY
    options: tuple[str, ...] = ()
    first: float | None = None


def longest(x: Workings) -> int:
    """Return for how many years the workbook reckons by months."""
    return max(LONGEST, int(-(-x.terms["horizon_years"] // 1)))


def name_of(part: str) -> str:
    """Return the name of the cell that holds a part's price."""
    return f"price_{part}"


def hours_of(operation: str) -> str:
    """Return the name of the cell that holds an operation's hours."""
    return f"hours_{operation}"


def chance_of(fault: str) -> str:
    """Return the name of the cell that holds a fault's chance."""
    return f"chance_{fault}"


class _Maker:
    def __init__(self, x: Workings, scale: int) -> None:
        self.x, self.scale = x, scale
        self.groups: list[tuple[str, list[Line]]] = []
        self._sources = {a.name: a.source for a in (*x.terms.assumptions, *x.market.assumptions, *x.bench.assumptions)}

    def group(self, title: str) -> None:
        self.groups.append((title, []))

    def add(
        self,
        name: str,
        shape: str,
        answer: float | str | None,
        label: str = "",
        unit: str = "",
        source: str = "",
        least: float = 0.0,
        most: float = MOST_MONEY,
        options: tuple[str, ...] = (),
        first: float | None = None,
    ) -> None:
        label = label or LABELS.get(name, (name.replace("_", " "), ""))[0]
        source = source or self._sources.get(name, STATED)
        self.groups[-1][1].append(Line(name, label, shape, unit, answer, source, least, most, options, first))

    def term(self, name: str, shape: str, label: str = "", unit: str = "", least: float = 0.0, most: float = 0) -> None:
        """Add a term of the case or its default."""
        figure = self.x.terms.figures.get(name)
        money = shape == "money"
        answer = None if figure is None else float(figure) / (self.scale if money else 1.0)
        stated = name in self.x.case.terms.model_fields_set
        source = STATED if stated else self._sources.get(name, "" if figure is None else OWN)
        self.add(name, shape, answer, label, unit, source or "not stated", least, most or MOST_MONEY)

    def yes(self, name: str, said: bool, label: str, term: str) -> None:
        """Add a term that is so or not. term: of the case that says so."""
        source = self.told(term in self.x.case.terms.model_fields_set)
        self.add(name, "text", "yes" if said else "no", label, "", source, options=YES_NO)

    @staticmethod
    def told(stated: bool) -> str:
        """Return where a figure is from that the case states or leaves at what it takes by itself."""
        return STATED if stated else OWN


def inputs_of(x: Workings, scale: int) -> list[tuple[str, list[Line]]]:
    """Return the inputs in groups."""
    m = _Maker(x, scale)
    _prices(m, x)
    _hours(m, x)
    _charges(m, x)
    _market(m, x)
    _time(m, x)
    m.group("Chances: what may be wrong")
    told = "worked out from what was heard and found; odds times as many where it is changed, the others follow"
    for fault in x.faults[: x.in_play]:
        title = x.machine_class.faults[fault].title
        m.add(chance_of(fault), "share", x.chances[fault], title, "", told, 0.0, 0.999)
    if x.terms.perspective == "reseller":
        find = x.case.find
        m.group("The find")
        asked = None if find.asking_price is None else to_minor(find.asking_price, x.case.currency) / scale
        m.add("asking_price", "money", asked, "asked for it", "", STATED if asked is not None else "not stated")
        m.add(
            "travel_cost",
            "money",
            to_minor(find.travel_cost, x.case.currency) / scale,
            "the trip",
            "",
            m.told("travel_cost" in find.model_fields_set),
        )
        trip = m.told("travel_hours" in find.model_fields_set)
        m.add("travel_hours", "hours", find.travel_hours, "hours of the trip", "h", trip, 0.0, 100.0)
    return [(title, lines) for title, lines in m.groups if lines]


def _prices(m: _Maker, x: Workings) -> None:
    first = set() if x.estimate is None else {p for p, _ in x.tickets[x.estimate].fitted}
    every = first | {p for t in x.tickets for p, _ in (*t.fitted, *t.charged, *t.ordered)}
    every |= {p for t in x.tickets for o, _ in t.operations for p, _ in x.operations[o].trouble_parts}
    groups = (
        ("Prices of parts: for the estimate", sorted(first)),
        ("Prices of parts: what may follow", sorted(every - first)),
    )
    for title, parts in groups:
        m.group(title)
        for p in parts:
            part = x.bench.parts[p]
            known = x.machine_class.parts[part]
            booked = x.terms.priced.get(part)
            source = f"typical price, {known.source}"
            if booked is not None and booked.unit_cost is not None:
                source = f"{price_source(booked)}; what sending it costs does not follow"
            if part in x.case.prices:
                source = STATED
            label = f"{known.title} ({known.designation})" if known.designation else known.title
            m.add(name_of(part), "money", float(x.bench.unit_cost[p]) / m.scale, label, "each", source)


def _hours(m: _Maker, x: Workings) -> None:
    m.group("Hours of the work in the estimate, by the book")
    if x.estimate is not None:
        for o, _ in x.tickets[x.estimate].operations:
            op = x.operations[o]
            source = x.machine_class.operations[op.id].source
            m.add(hours_of(op.id), "hours", op.hours, op.title, "h", source, 0.0, 100.0)
    m.group("Work")
    m.term("hours_factor", "times", "hours of all work over those of the book", "times", 0.1, 10.0)
    if x.terms.by_shop:
        m.term("shop_rate", "money", "", "an hour")
        m.term("billing_step_hours", "hours", "", "h", 0.0, 4.0)
        m.term("minimum_charge", "money", "least that is charged for labour")
        m.term("queue_weeks", "years", "", "weeks", 0.0, 104.0)
    else:
        m.term("slowness", "times", "", "times", 0.5, 10.0)
        if "queue_weeks" in x.case.terms.model_fields_set:
            m.term("queue_weeks", "years", "", "weeks", 0.0, 104.0)
    if x.terms.perspective == "shop":
        m.term("mechanic_wage", "money", "", "an hour")
    m.term("hour_worth", "money", "", "an hour")
    m.term("bench_hour_worth", "money", "an hour at the bench, where it is scarce; else as any hour", "an hour")


def _charges(m: _Maker, x: Workings) -> None:
    given = x.case.terms
    m.group("What else is charged")
    m.term("parts_shipping", "money", "sending one order of parts")
    m.term("parts_lead_days", "count", "", "days", 0.0, 730.0)
    if x.bench.wrong:
        m.term("wrong_part_chance", "share", "", "", 0.0, 1.0)
        m.term("return_loss", "share", "", "", 0.0, 1.0)
    if x.terms.by_shop:
        for n, tier in enumerate(given.parts_markup, 1):
            top = None if tier.up_to is None else to_minor(tier.up_to, x.case.currency) / m.scale
            if top is not None:
                m.add(f"markup_{n}_up_to", "money", top, f"mark-up {n} on parts that cost up to", "each")
            m.add(f"markup_{n}_rate", "share", tier.rate, f"mark-up {n}" + ("" if top else ", above"), "", "", 0.0, 5.0)
        m.term("supplies_rate", "share", "shop supplies, share of labour", "", 0.0, 1.0)
        cap = None if given.supplies_cap is None else float(x.terms["supplies_cap"]) / m.scale
        m.add("supplies_cap", "money", cap, "shop supplies at most", "", STATED if cap is not None else "no cap")
        m.term("diagnosis_fee", "money")
        m.yes(
            "diagnosis_credited",
            given.diagnosis_credited,
            "diagnosis fee credited when it is repaired",
            "diagnosis_credited",
        )
        m.term("pickup_delivery", "money", "collection and delivery")
        m.term("storage_per_day", "money", "storage a day")
        m.term("storage_free_days", "years", "days of storage that are free", "days", 0.0, 3650.0)
        m.term("storage_days", "years", "days of storage", "days", 0.0, 3650.0)
        m.term("deposit", "money", "deposit in advance")
        m.term("card_fee_rate", "share", "card fee", "", 0.0, 0.2)
    m.term("disposal_fee", "money", "disposal of oil, fuel and waste")
    m.term("tax_rate", "share", "tax", "", 0.0, 1.0)
    m.yes("tax_inclusive", given.tax_inclusive, "prices include the tax", "tax_inclusive")
    for kind in ("labour", "parts", "supplies", "fees"):
        m.yes(f"tax_on_{kind}", kind in given.taxable, f"tax on {kind}", "taxable")


def _market(m: _Maker, x: Workings) -> None:
    c, stated, scale, k = x.machine_class, x.case.market, m.scale, x.market
    reseller = x.terms.perspective == "reseller"
    m.group("What machines bring and cost")
    told = x.case.machine.new_price is not None
    taxed = "with" if x.case.terms.tax_inclusive else "without"
    m.add(
        "new_price", "money", x.terms.new_price / scale, f"a new one like it, {taxed} tax", "",
        STATED if told else c.about.new_price_source, 1.0,
    )  # fmt: skip
    curve = f"remaining value by age ({c.value.source}), times the month's factor"
    worked = "" if stated.comparables else f"new_price*MIN(share_now*{c.season.resale[x.terms.month]!r},1)"
    running: float | str = f"={worked}" if worked else float(k.running) / scale
    source = "comparables: log price regressed on age; it does not follow" if stated.comparables else curve
    if stated.running is not None:
        running, source = float(k.running) / scale, STATED
    m.add("running", "money", running, "this one if it ran as it should", "", source, first=float(k.running) / scale)
    as_is = None if stated.as_is is None else float(x.terms.figures["as_is"]) / scale
    m.add("as_is", "money", as_is, "this one as it stands", "", STATED if stated.as_is is not None else "not stated")
    parts: float | str = f"={c.value.part_out_share!r}*new_price"
    source = c.value.part_out_source
    if stated.part_out is not None:
        parts, source = float(k.part_out) / scale, STATED
    m.add("part_out", "money", parts, "its parts sold singly", "", source, first=float(k.part_out) / scale)
    per_kg = float(x.terms["scrap_per_kg"]) / scale
    scrap: float | str = f"={float(c.about.weight_kg * x.terms['scrap_per_kg']) / scale!r}-disposal_fee"
    source = f"{c.about.weight_kg:g} kg at {per_kg:g} a kilogram, less disposal"
    if stated.scrap is not None:
        scrap, source = float(k.scrap) / scale, STATED
    m.add("scrap", "money", scrap, "scrap", "", source, -MOST_MONEY, first=float(k.scrap) / scale)
    if not reseller:
        used: float | str = "=share_used*new_price*(1+used_premium)"
        source = "remaining value at its age, and the premium for finding it and its risk"
        first = float(k.used_price) * (1.0 + x.terms["used_premium"]) / scale
        if stated.used_price is not None:
            used, source = float(k.used_price) / scale, STATED
        m.add("used_price", "money", used, "a used replacement", "", source, 0.01, first=first)
        if stated.used_price is None:
            m.term("used_premium", "share", "", "", 0.0, 2.0)
        m.term("replacement_delivery", "money", "bringing a replacement")
        m.term("replacement_days", "count", "", "days", 0.0, 730.0)
    m.term("selling_fee_rate", "share", "", "", 0.0, 1.0)
    m.term("selling_cost", "money", "costs of a sale")
    m.term("selling_hours", "hours", "", "h", 0.0, 100.0)
    if reseller:
        m.term("cleaning_hours", "hours", "", "h", 0.0, 100.0)
        m.term("holding_per_week", "money", "a week in store until it is sold")
        m.term("unsold_chance", "share", "", "", 0.0, 1.0)


def _time(m: _Maker, x: Workings) -> None:
    case, figures = x.case.machine, life_figures(x.case, x.machine_class)
    m.group("Age, life and time")
    neither = case.age_years is None and case.hours is None
    age: float | str | None = f"={AGE_SHARE!r}*median_life" if neither else case.age_years
    source = "half the median life, as none was stated: judgement" if neither else "not stated"
    m.add(
        "age_years",
        "years",
        age,
        "its age",
        "years",
        STATED if case.age_years is not None else source,
        0.0,
        80.0,
        first=AGE_SHARE * float(x.market.life.median_years) if neither else None,
    )
    m.add(
        "machine_hours", "count", case.hours, "hours on the machine", "h",
        STATED if case.hours is not None else "not stated", 0.0, 50_000.0,
    )  # fmt: skip
    own = m.told("condition" in case.model_fields_set)
    m.add("condition", "text", case.condition, "condition", "", own, options=tuple(CONDITION_KAPPA))
    life = case.life_hours if case.life_hours is not None else figures.median_hours
    source = STATED if case.life_hours is not None else figures.median_hours_source
    m.add(
        "life_hours", "count", life, "hours by which half of such machines are past repair", "h", source, 10.0, 50_000.0
    )
    if x.terms.perspective == "reseller":
        return
    use = x.terms.figures.get("hours_per_year")
    source = STATED if use is not None else figures.hours_per_year_source
    use = figures.hours_per_year if use is None else use
    m.add("hours_per_year", "count", use, "own use", "h/year", source, 0.1, 8_760.0)
    m.term("horizon_years", "years", "", "years", 0.5, float(longest(x)))
    m.term("real_rate", "share", "", "a year", 0.0, 1.0)
    m.term("upkeep_rate", "share", "", "a year", 0.0, 1.0)
    m.term("upkeep_growth", "share", "", "", 0.0, 1.0)
    m.term("downtime_per_week", "money", "", "a week")
    if "do_without_per_year" in x.terms.figures:  # else it is no course of the answer
        m.term("do_without_per_year", "money", "a year of hiring or doing without", "a year")


def write_inputs(book: Book, x: Workings, groups: list[tuple[str, list[Line]]]) -> Page:
    """Write the sheet of inputs; every one gets a named cell that formulas read."""
    page = book.page("Inputs", [WIDTHS[0], *map(book.wide, WIDTHS[1:4]), *WIDTHS[4:]])
    page.line("Inputs: what may be changed", role="title")
    page.block(
        'Write a figure into a framed cell of the column "change to": everything else follows. Empty it, and what the '
        "answer takes counts again. Slanted figures on grey, on other sheets, were worked out with the answer and do "
        "not follow; for those decide the changed case anew."
    )
    page.heads(*HEADS)
    page.sheet.freeze_panes = page.sheet.cell(page.next, 2)
    page.sheet.print_title_rows = f"{page.next - 1}:{page.next - 1}"
    rules: dict[tuple[float, float, tuple[str, ...]], DataValidation] = {}
    for title, lines in groups:
        page.gap()
        page.line(title, role="strong")
        for line in lines:
            _write(page, line, rules)
    for rule in rules.values():
        page.sheet.add_data_validation(rule)
    book.define("changed_figures", "0")
    cells = f"Inputs!$C$4:$C${page.next}"
    book.define("changed_figures", cells)
    return page


def _write(page: Page, line: Line, rules: dict[tuple[float, float, tuple[str, ...]], DataValidation]) -> None:
    row = page.next
    page.put(row, 1, line.label, "general", "wrap")
    if isinstance(line.answer, str) and line.answer.startswith("="):
        page.live(row, 2, line.answer[1:], line.shape, first=line.first)
    elif line.answer is not None:
        page.put(row, 2, line.answer, line.shape)
    page.put(row, 3, None, line.shape, "input")
    first = line.first if isinstance(line.answer, str) and line.answer.startswith("=") else line.answer
    empty = '""' if line.answer is None else f"B{row}"
    changed = f"ROUND(C{row},{page.book.digits})" if line.shape == "money" else f"C{row}"
    page.live(
        row, 4, f"IF({'ISTEXT' if line.options else 'ISNUMBER'}(C{row}),{changed},{empty})", line.shape, "strong", first
    )
    page.put(row, 5, line.unit)
    key = (line.least, line.most, line.options)
    if key not in rules:
        rules[key] = _rule(line)
    rules[key].add(f"C{row}")
    page.put(row, 6, _may_be(page, line), "general", "note")
    page.put(row, 7, line.source, "general", "note")
    page.fit(row, (line.label, None, None, None, None, None, line.source))
    page.book.define(line.name, page.place(row, 4))
    page.book.counts[line.name] = first
    page.next += 1


def _rule(line: Line) -> DataValidation:
    if line.options:
        rule = DataValidation("list", formula1=f'"{",".join(line.options)}"', allow_blank=True)
        rule.error = f"One of: {', '.join(line.options)}."
    else:
        rule = DataValidation(
            "decimal", operator="between", formula1=f"{line.least!r}", formula2=f"{line.most!r}", allow_blank=True
        )
        rule.error = f"A figure from {line.least:,.10g} to {line.most:,.10g}."
    rule.errorTitle, rule.showErrorMessage = "That can't stand here", True
    return rule


def _may_be(page: Page, line: Line) -> str:
    if line.options:
        return " or ".join(line.options)
    if line.shape == "share":
        return f"{line.least * 100:g} to {line.most * 100:g} %"
    if line.most == MOST_MONEY:
        return "any amount" if line.least < 0 else f"{line.least:g} or more"
    return f"{line.least:g} to {line.most:g}"


def markup(x: Workings, cost: str, scale: int) -> str:
    """Return the mark-up on a part, in millionths: of the tier that its cost in minor units falls in."""
    rate = "0"
    for n, tier in reversed(list(enumerate(x.case.terms.parts_markup, 1))):
        own = millionths(f"markup_{n}_rate")
        rate = own if tier.up_to is None else f"IF({cost}<={minor(f'markup_{n}_up_to', scale)},{own},{rate})"
    return rate if x.terms.by_shop else "0"
