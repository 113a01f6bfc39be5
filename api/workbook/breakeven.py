"""Break-even: what would change the answer, where, and how far each figure moves it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from api.wording import course_title, input_name
from api.workbook.charts import bars
from api.workbook.courses import Courses
from api.workbook.inputs import chance_of, name_of
from api.workbook.page import Book, Page, Row, Table
from econ.breakeven import Change, InputLine
from econ.decision import Decision
from econ.rulebook import MachineClass
from econ.workings import Workings

TITLE = "Break-even"
UNITS = {
    "money": "money",
    "years": "years",
    "hours": "hours",
    "days": "count",
    "weeks": "years",
    "share": "share",
    "times": "times",
}
CELLS = {
    "machine.age_years": "age_years", "machine.hours": "machine_hours", "machine.life_hours": "life_hours",
    "machine.new_price": "new_price", "market.running": "running", "market.as_is": "as_is",
    "market.part_out": "part_out",
    "market.used_price": "used_price",
    "find.asking_price": "asking_price",
}  # fmt: skip
# Inputs along which worth runs in a curve, so that a straight line would mislead.
CURVED = ("machine.", "terms.horizon_years", "terms.real_rate", "terms.upkeep")
SIDES = (6, 9)  # columns of what is best below a change and above it
_JOINS = ((SIDES[0], SIDES[1] - 1), (SIDES[1], 11))  # the columns that each of them takes
SHOWN = 12  # inputs drawn in the chart
NEAREST = 1.0  # a lead smaller than so many minor units says nothing of where it turns


def cell_of(name: str) -> str | None:
    """Return the named cell of an input of the answer; None where it has none."""
    shelf, _, key = name.partition(".")
    if shelf == "prices":
        return name_of(key)
    if shelf == "fault":
        return chance_of(key)
    return CELLS.get(name, key if shelf == "terms" else None)


def _shape(line: InputLine) -> str:
    """Return the shape of an input's figures; hours on a machine are whole."""
    return "count" if line.unit == "hours" and line.input.startswith("machine.") else UNITS[line.unit]


def _named(line: InputLine, c: MachineClass) -> str:
    """Return an input in words, with its unit where the format of its figures does not tell it."""
    name = input_name(line.input, c)
    return name if line.unit in ("money", "share") or line.unit in name else f"{name} [{line.unit}]"


def tornado_table(d: Decision) -> Table:
    """Return where the table of inputs is."""
    columns = ["input", "now", "low", "high", "at_low", "at_high", "below", "above", "swing", "best_low", "best_high"]
    return Table(TITLE, 6, len(d.break_even.inputs), columns)


def write_break_even(book: Book, d: Decision, x: Workings, at: Courses) -> None:
    """Write the sheet."""
    page = book.page(TITLE, [34, *([book.wide(11)] * 8), 28, 28])
    page.line("What would change the answer", role="title")
    page.block(
        "How much the answer's course is worth if one figure is at the low or the high end of what it may well be, "
        "those that move it most first. Worked out with the answer: this table does not follow."
        + (" What is asked for a find counts after its price and the trip, all else before them." if d.offer else ""),
        "note", 9,
    )  # fmt: skip
    table = tornado_table(d)
    page.next = table.top - 1
    page.heads(
        "figure", ">in the answer", ">low end", ">high end", ">worth at low", ">worth at high", ">less or more at low",
        ">less or more at high", ">swing", "best at low", "best at high",
    )  # fmt: skip
    titles = {c.course: c.title for c in d.courses}
    c = x.machine_class
    best = next(o.net_worth for o in d.courses if o.course == d.verdict.course)
    left = None if d.offer is None else d.offer.left_at_asking
    for i, line in enumerate(d.break_even.inputs):
        # What moves the price of a find is told after the price and the trip, all else before them.
        now = left if left is not None and line.input.startswith("find.") else best
        _line(Row(page, table, i), line, c, now, titles)
    page.next = table.top + table.rows + 1
    if table.rows > SHOWN:
        page.turn()
        page.gap()
    if d.break_even.inputs:
        shown = range(min(SHOWN, table.rows))
        bars(
            page, f"A{page.next}", table, "input", [("below", "at the low end"), ("above", "at the high end")], shown,
            "How far each figure moves what the answer is worth",
            f"Bar chart: for {len(shown)} figures how much more or less the answer is worth at the low and the high "
            "end of each.",
            across=True, size=(26.0, 10.0),
        )  # fmt: skip
        page.next += 22
    _changes(page, d, x, at, titles)
    _two_way(page, d, c, titles)
    m = d.break_even.missing
    if m is not None:
        said = f"{d.currency} {m.worth_knowing:,f}"
        page.gap()
        page.block(
            f"Of what is left open most worth finding out: {input_name(m.input, c)}; to know it is worth {said}.",
            "told",
            9,
        )


def _line(r: Row, line: InputLine, c: MachineClass, now: Decimal, titles: Mapping[str, str]) -> None:
    shape = _shape(line)
    name = _named(line, c)
    r.told("input", name, "general", "wrap")
    for name, value in (("now", line.value), ("low", line.low.value), ("high", line.high.value)):
        r.told(name, value, shape, "told")
    low, high = line.low.of_the_answer, line.high.of_the_answer
    r.told("swing", line.swing, "money", "told")
    for name, value in (("at_low", low), ("at_high", high), ("below", low - now), ("above", high - now)):
        r.told(name, value, "money", "told")
    best = course_title(line.low.course, c, titles), course_title(line.high.course, c, titles)
    for name, said in zip(("best_low", "best_high"), best, strict=True):
        r.told(name, said, "general", "told_aside")
    r.page.fit(r.table.top + r.number, (name, *((None,) * 8), *best))


def _changes(page: Page, d: Decision, x: Workings, at: Courses, titles: Mapping[str, str]) -> None:
    """Write where the best course changes: as in the answer, and with the figures as they are now."""
    page.block("Where the best course changes", "strong", 9)
    page.block(
        "In the answer: searched for to the last unit. Now, about: where the lead of the one over the other is used up "
        "with the figures as they stand, along the line from the lead in the answer to the change. It follows every "
        "input, the nearer the less is changed; it is empty where that line says nothing: where other courses lead "
        "now, beyond what was searched, and behind a change that comes before. For a sure figure decide anew.",
        "note", 9,
    )  # fmt: skip
    rows = [(line, change) for line in d.break_even.inputs for change in line.changes]
    if not rows:
        page.block("No single figure within what is searched changes the best course.", "told", 9)
        return
    heads = ("figure", ">counts now", ">changes in the answer at", ">changes now at, about", "")
    row = page.heads(*heads, "best below it", "", "", "best above it", "", "")
    _joined(page, row)
    names = {c.course: i for i, c in enumerate(d.courses)}
    for line, change in rows:
        row, shape = page.next, _shape(line)
        name = _named(line, x.machine_class)
        page.put(row, 1, name, "general", "wrap")
        cell = cell_of(line.input)
        if cell is not None:
            page.live(row, 2, cell, shape, first=page.book.counts.get(cell))
        page.put(row, 3, change.value, shape, "told")
        formula = _now(at, line, change, names, cell, page.book.scale)
        if formula:
            counts = float(page.book.counts[cell]) if cell in page.book.counts else float(line.value)
            page.live(row, 4, formula, shape, "strong", counts + float(change.value - line.value))
        best = [course_title(n, x.machine_class, titles) for n in (change.below, change.above)]
        for column, said in zip(SIDES, best, strict=True):
            page.put(row, column, said, "general", "told")
        _joined(page, row)
        joined = [sum(page.widths[a - 1 : b]) for a, b in _JOINS]
        page.fit(row, (name, *best), (page.widths[0], *joined))
        page.next += 1


def _joined(page: Page, row: int) -> None:
    """Make the cells of what is best below and above a change one each."""
    for first, last in _JOINS:
        page.sheet.merge_cells(start_row=row, end_row=row, start_column=first, end_column=last)


def _now(at: Courses, line: InputLine, change: Change, names: Mapping[str, int], cell: str | None, scale: int) -> str:
    """Return where two courses are worth the same now; empty where the sheet can't say."""
    bent = line.input.startswith(CURVED)
    if cell is None or bent or change.below not in names or change.above not in names:
        return ""
    below, above = names[change.below], names[change.above]
    lead = (at.x.courses[below].worth - at.x.courses[above].worth) / scale
    away = float(change.value - line.value)
    if abs(lead) * scale < NEAREST or not away:
        return ""
    if names[at.d.verdict.course] != (below if away > 0 else above):
        return ""  # a change beyond another one: what leads in between moves it too
    turn = f"({cell}+({at.bridge('worth', below)}-{at.bridge('worth', above)})*{away / lead!r})"
    best = f"best_course=IF({turn}>{cell},{below + 1},{above + 1})"
    # Once figures are changed: of another kind only that which is then best of those, as it would come first.
    kind = f"IF({turn}>{cell},{at.table.cell('kind', above)},{at.table.cell('kind', below)})"
    second = f"OR(COUNTA(changed_figures)=0,{kind}=best_kind,{kind}=rival_kind)"
    within = f"{turn}>={float(line.searched_from)!r},{turn}<={float(line.searched_to)!r}"
    return f'IF(AND({best},{second},{within}),{turn},"")'


def _two_way(page: Page, d: Decision, c: MachineClass, titles: Mapping[str, str]) -> None:
    t = d.break_even.two_way
    if t is None:
        return
    page.gap()
    first, second = input_name(t.first, c), input_name(t.second, c)
    page.block(
        f"Two figures at once. Down: {first}. Across: {second}. In it: the best course by a letter, and how much "
        "better off it leaves.",
        "strong",
        9,
    )
    units = {line.input: _shape(line) for line in d.break_even.inputs}
    letters = {n: chr(ord("A") + i) for i, n in enumerate(dict.fromkeys(y for row in t.courses for y in row))}
    money = page.book.formats["money"]
    row = page.next
    for j, value in enumerate(t.second_values):
        page.put(row, 2 + j, value, units[t.second], "head_right")
    for i, value in enumerate(t.first_values, 1):
        page.put(row + i, 1, value, units[t.first], "strong")
        for j, (name, worth) in enumerate(zip(t.courses[i - 1], t.net_worth[i - 1], strict=True)):
            page.put(row + i, 2 + j, worth, "money", "told")
            lead = f'"{letters[name]}  "'  # the amount stays a number
            page.shaped(row + i, 2 + j, f"{lead}{money};{lead}-{money}")
    page.next = row + len(t.first_values) + 2
    for name, letter in letters.items():
        page.block(f"{letter}: {course_title(name, c, titles)}", "plain", 9)
