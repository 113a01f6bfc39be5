"""Find list: the bytes of a CSV, XLSX or Parquet file in, its good rows as columns and all that is wrong with it out.

The columns are those of `api.findheads`; what they may hold is in `sample_prices/README.md`. A row is held to what a
case is held to: `case_document` gives the case of a good row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Protocol

import numpy as np
import pandas as pd

from api.cells import EveryFault, Written
from api.figures import IntArray
from api.findheads import COLUMNS, FINDS, OF_MONEY, heads_for
from api.findrows import FRAME, PER_KM, FindRows, ToldOfFinds
from api.findtold import Pattern, finding_document
from api.headers import Matched, match, matches
from api.leftout import HEADERS, LeftOut, left_out, read_back
from api.parquet import BEGINS, read_parquet
from api.refusal import plain
from api.rows import below, beside, unknown_currency
from api.sheets import ROWS, Counted, Kind, Sheet, read_sheet
from econ.money import to_decimal
from econ.problems import BadInput, Problem, shown
from econ.rulebook import Shelf

KIND = Kind(FINDS.called, 400_000_000)
MOST_PER_KM = 1_000_000  # [currency/km]


@dataclass(frozen=True)
class FindList:
    """A list of finds read.

    rows: the good ones, a column for each of FRAME: `row` as messages count; `id` text; `title`, `note`,
    `machine_class`, `currency` and `seen_on` (YYYY-MM-DD) categories; `pattern` the place in patterns; `age_years`
    [years], `hours` [h], `travel_km` [km] and `travel_minutes` [min] floats, not a number where unknown; each of
    OF_MONEY in whole `_minor` units of the row's currency, 0 where it is not `_stated`; `trip_minor` the stated cost of
    travel and that of the kilometres.
    patterns: the distinct ones of the good rows. left_out: the rows at fault. problems: the first ones of these; count:
    of all of them. read: rows that are not blank; bad: rows at fault. ignored: headers that mean nothing here. notes:
    how the file was read. written: by header, how columns are written, where cells tell. leave_out: gives the rows at
    fault with those of more problems, by row.
    """

    name: str
    rows: pd.DataFrame
    patterns: tuple[Pattern, ...]
    left_out: LeftOut
    problems: tuple[Problem, ...]
    count: int
    read: int
    bad: int
    blank: int
    ignored: tuple[str, ...]
    notes: tuple[str, ...]
    written: Mapping[str, Written]
    leave_out: Callable[[Mapping[int, Sequence[Problem]]], LeftOut] = field(compare=False, repr=False)

    def without(self, late: Mapping[int, Sequence[Problem]]) -> FindList:
        """Return the list with more of its good rows left out; `rows` keeps them. late: what is wrong, by row."""
        return replace(self, left_out=self.leave_out(late), bad=self.bad + len(late)) if late else self

    def told(self) -> tuple[Problem, ...]:
        """Return the problems with a last one for those that are not told one by one."""
        more = self.count - len(self.problems)
        if not more:
            return self.problems
        rule = f"the first {len(self.problems)} are told one by one"
        remedy = "put these right first; the rows left out tell all of them"
        return (*self.problems, Problem(self.name, f"{more:,} more values at fault", rule, remedy))


class Patterned(Protocol):
    """Rows of a list of finds, a column for each of FRAME, and their patterns."""

    @property
    def rows(self) -> pd.DataFrame:
        """The rows."""

    @property
    def patterns(self) -> tuple[Pattern, ...]:
        """The patterns that they tell the places of."""


def read_finds(
    body: bytes | Sheet,
    name: str,
    told: ToldOfFinds,
    classes: Shelf,
    today: date,
    counted: Counted = ROWS,
    kind: Kind = KIND,
    before: int = 0,
) -> FindList:
    """Return a list of finds.

    body: the bytes of a CSV, XLSX or Parquet file, or rows that came otherwise; name: for its problems. classes: all
    machine classes. today: the day of the decision where neither a row nor the user names one. counted: what its rows
    are called and how they are counted in problems. kind: how large it may be. before: added to the numbers of its
    rows, where it is part of a longer one.
    Raises BadInput, with every problem, where the list as a whole can't be used (Oversized where it is the size); a row
    at fault is only left out.
    """
    _check(told)
    sheet = body if isinstance(body, Sheet) else read_back(_sheet(body, name, told, kind))
    heads = heads_for((*sheet.headers, *told.mapped.values()), classes)
    matched = match(sheet.headers, told.mapped, f"{name}: {counted.headers(sheet.header_row)}", heads)
    if matched.problems:
        raise BadInput(matched.problems)
    under = below(sheet, matched, name, counted)
    under = replace(under, numbers=under.numbers + before) if before else under
    n = len(under.rows)
    if n > kind.most_rows:
        raise kind.oversized(name, f"{n:,} rows")
    faults = EveryFault(name, under.headers, under.numbers, np.zeros(n, bool), counted.word, held=told.held)
    aside = beside(sheet, under.rows, faults)
    found = FindRows(under, faults, told, matched, classes)
    frame = found.frame(told.seen_on or today)
    codes, pattern = found.patterns()
    if faults.whole:
        raise BadInput([*faults.whole, *faults.told()])
    kept = frame[~faults.bad].reset_index(drop=True) if faults.bad.any() else frame
    places, distinct = pd.factorize(codes[~faults.bad])
    kept.insert(FRAME.index("pattern"), "pattern", places.astype(np.int32))
    return FindList(
        name, kept, tuple(pattern(x) for x in distinct.tolist()),
        left_out(sheet, under.rows, faults, found.ids, found.titles), faults.told(), faults.count, n,
        int(faults.bad.sum()), sheet.rows - n, matched.ignored,
        (*sheet.notes, *matched.notes(), *_unread(matched), *aside, *found.notes), faults.written,
        lambda late: _with_late(late, sheet, under.rows, faults, found),
    )  # fmt: skip


def _unread(matched: Matched) -> tuple[str, ...]:
    """Return what is to be said of headers that mean nothing here; those of rows left out before are our own."""
    names = [x for x in matched.ignored if x and x not in HEADERS and x not in matched.near]
    return (f"headers left out: {', '.join(map(plain, names))}",) if names else ()


def _with_late(
    late: Mapping[int, Sequence[Problem]], sheet: Sheet, rows: IntArray, faults: EveryFault, found: FindRows
) -> LeftOut:
    """Return the rows at fault with those that were found so later, each problem told of its column."""
    place = {int(number): i for i, number in enumerate(faults.numbers)}
    of: dict[tuple[Problem, ...], list[int]] = {}
    for number, problems in late.items():
        of.setdefault(tuple(problems), []).append(place[number])
    there = list(faults.headers.values())
    for problems, which in of.items():
        faults.bad[which] = True
        for p in problems:
            column = p.path.rpartition(".")[2]
            header = faults.header(column) if column in COLUMNS else p.path
            at = there.index(header) if header in there else len(there)

            def problem(row: int, p: Problem = p, header: str = header) -> Problem:
                return Problem(faults.at(row, header), p.value, p.rule, p.remedy)

            faults.note(np.array(which), at, problem)
    return left_out(sheet, rows, faults, found.ids, found.titles)


def _check(told: ToldOfFinds) -> None:
    problems = [*unknown_currency(told.currency)]
    if not told.per_km.is_finite() or not 0 <= told.per_km <= MOST_PER_KM:
        rule = f"a kilometre costs from 0 to {MOST_PER_KM:,}"
        problems.append(Problem("--per-km", shown(told.per_km), rule, f"correct it, or leave it out for {PER_KM}"))
    if problems:
        raise BadInput(problems)


def _sheet(body: bytes, name: str, told: ToldOfFinds, kind: Kind) -> Sheet:
    if not body.startswith(BEGINS):
        return read_sheet(body, name, lambda c: matches(c, told.mapped, FINDS), told.encoding, told.sheet, kind)
    said = (("--encoding", told.encoding, "CSV"), ("--sheet", told.sheet, "XLSX"))
    problems = [Problem(o, shown(v), f"{name} is no {format_} file", "leave it out") for o, v, format_ in said if v]
    if problems:
        raise BadInput(problems)
    return read_parquet(body, name, kind)


def case_document(found: Patterned, i: int) -> dict[str, Any]:
    """Return a good row as a case document, for `econ.read_case`. i: its place among the good ones.

    What the row leaves open is left out. The cost of travel is that of the whole trip.
    """
    row: Mapping[Any, Any] = found.rows.iloc[i].to_dict()
    pattern = found.patterns[row["pattern"]]
    currency = str(row["currency"])
    money = {name: f"{to_decimal(int(row[f'{name}_minor']), currency):f}" for name in OF_MONEY if row[f"{name}_stated"]}
    machine = {
        "class": pattern.machine_class, "condition": pattern.condition, "use": pattern.use, "rusty": pattern.rusty
    }  # fmt: skip
    machine |= {x: float(row[x]) for x in ("age_years", "hours") if not np.isnan(row[x])}
    if row["title"]:
        machine["name"] = str(row["title"])
    find: dict[str, Any] = {"travel_cost": f"{to_decimal(int(row['trip_minor']), currency):f}"}
    if not np.isnan(row["travel_minutes"]):
        find["travel_hours"] = float(row["travel_minutes"]) / 60
    return {
        "perspective": "reseller",
        "currency": currency,
        "as_of": str(row["seen_on"]),
        "machine": machine | {x: money[x] for x in ("new_price",) if x in money},
        "history": dict(pattern.history),
        "complaints": list(pattern.complaints),
        "findings": [finding_document(s) for s in pattern.findings],
        "market": {x: money[x] for x in ("running", "as_is") if x in money},
        "find": find | {x: money[x] for x in ("asking_price",) if x in money},
    }
