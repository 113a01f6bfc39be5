"""Screening: the rows of a list of finds to a ranked answer, on one processor, several, or a cluster.

Finds that differ in price and trip alone are of a kind, and appraised once. What follows for each is arrays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from api.common import with_common
from api.crew import Crew, work_on
from api.findlist import FindList, Patterned, case_document
from api.findtable import FindTable, IntArray, figures, joined
from api.findtold import Pattern
from api.library import defaults, open_shelf
from api.ranked import Ranked
from api.screenlist import ScreenedList
from api.supply import supply_of
from econ.buying import Asking
from econ.case import Case
from econ.money import DIGITS, to_decimal, to_minor
from econ.problems import BadInput, Problem
from econ.reading import read_case
from econ.rulebook import MachineClass, Shelf
from econ.screening import Appraisal, Screening, screened
from econ.shortlist import Limits, shortlist

AT_ONCE = 32  # kinds of finds given to a worker together, or as many more as are believed alike
ENOUGH = 100  # finds from which starting workers pays; judgement
SHORT = np.iinfo(np.uint16).max
CASH = "--cash"  # the option that names it
UNKNOWN_WAY = "where a find names no kilometres none are counted for it, and within a limit of them it is not bought"
KEPT = 8_192  # appraisals kept for later rows: some 20 kB each
OF_KIND = (
    "age_years", "hours", *(f"{x}_{kind}" for x in ("new_price", "running", "as_is") for kind in ("minor", "stated"))
)  # fmt: skip


@dataclass(frozen=True)
class Desk:
    """What finds are screened with. overlays: paths of those that `classes` holds, for the workers."""

    classes: Shelf
    overlays: tuple[str, ...] = ()
    book: Path | None = None
    crew: Crew = field(default_factory=Crew)


@dataclass(frozen=True)
class Rows:
    """Good rows of a list of finds by themselves, and their patterns, as `FindList` has them."""

    rows: pd.DataFrame
    patterns: tuple[Pattern, ...]


Told = tuple[Any, ...]  # what tells finds of a kind from others
Known = dict[Told, Appraisal | tuple[Problem, ...]]  # of kinds


class Screener:
    """Screens rows of lists; what it appraised before it knows again, however far down the list."""

    def __init__(self, classes: Shelf, book: Path | None, common: Mapping[str, Any]) -> None:
        self.classes, self._book, self._common = classes, book, common
        self._screening = Screening(defaults())
        self._known: Known = {}

    def screen(
        self, found: Patterned, advance: Callable[[int], None] = lambda _: None
    ) -> tuple[pd.DataFrame, dict[int, tuple[Problem, ...]]]:
        """Return rows screened, as `FindTable` has them, and what is wrong with those that can't be, by their number.

        advance: is told of so many rows more that are done.
        """
        rows = found.rows
        table, late = FindTable(rows), {}
        asking = _asking(rows)
        for _, at, known in self._each(found):
            if isinstance(known, Appraisal):
                table.put(at, screened(known, asking.some(at)))
            else:
                late.update(dict.fromkeys(rows["row"].to_numpy()[at].tolist(), known))
            advance(at.size)
        return table.frame(), late

    def appraised(self, found: Patterned) -> Known:
        """Return what the kinds of some rows are worth, or what is wrong with them, by what tells them from others."""
        return {told: known for told, _, known in self._each(found)}

    def learn(self, known: Known) -> None:
        """Take over what was appraised elsewhere."""
        self._known.update(known)

    def _each(self, found: Patterned) -> Iterator[tuple[Told, IntArray, Appraisal | tuple[Problem, ...]]]:
        """Yield what tells each kind, the places of its rows, and what it is worth, or what is wrong with it."""
        kinds = list(_kinds(found, self._book is not None))
        told = list(self._told(found, np.array([at[0] for at in kinds], dtype=np.int64)))
        for _, some in groupby(range(len(kinds)), lambda n: believed_alike(told[n][0])):
            those = list(some)
            for start in range(0, len(those), AT_ONCE):
                part = those[start : start + AT_ONCE]
                known = self._appraised(found, {told[n]: int(kinds[n][0]) for n in part})
                yield from ((told[n], kinds[n], known[told[n]]) for n in part)

    def _told(self, found: Patterned, first: IntArray) -> Iterator[Told]:
        """Yield what tells the kinds of some rows from others. first: their places."""
        rows = found.rows.iloc[first]
        days = rows["seen_on"].astype(object)
        columns = [rows[x].astype(object).where(rows[x].notna(), None) for x in (*OF_KIND, "currency")]
        columns.append(days if self._book is not None else days.str[:7])
        for pattern, *told in zip(rows["pattern"], *columns, strict=True):
            yield found.patterns[pattern], *told

    def _appraised(self, found: Patterned, kinds: Mapping[Told, int]) -> Known:
        """Return what kinds believed alike are worth, or what is wrong with them.

        kinds: by what tells one from others the place of a row.
        """
        known = {told: self._known[told] for told in kinds if told in self._known}
        cases: dict[Told, Case] = {}
        for told, i in kinds.items():
            if told not in known:
                try:
                    cases[told], c = self._case(found, i)
                except BadInput as error:
                    known[told] = tuple(error.problems)
        if cases:
            supplies = [supply_of(case, c, self._book) for case in cases.values()]
            try:
                worth = self._screening.appraise_alike(list(cases.values()), c, supplies)
            except BadInput as error:
                worth = [error] * len(cases)
            for told, x in zip(cases, worth, strict=True):
                known[told] = tuple(x.problems) if isinstance(x, BadInput) else x
        self._known |= known
        for told in list(self._known)[: max(len(self._known) - KEPT, 0)]:
            del self._known[told]
        return known

    def _case(self, found: Patterned, i: int) -> tuple[Case, MachineClass]:
        """Return a row as a case that costs nothing to fetch, and its machine class. Raises BadInput."""
        document = case_document(found, i)
        document["find"] = {}
        c = self.classes[document["machine"]["class"]]
        return read_case(with_common(document, self._common, c), self.classes)


def _asking(rows: pd.DataFrame) -> Asking:
    """Return what the rows are to be had for."""
    hours = rows["travel_minutes"].fillna(0.0).to_numpy() / 60
    price, named, trip = (rows[x].to_numpy() for x in ("asking_price_minor", "asking_price_stated", "trip_minor"))
    return Asking(price, named, trip, hours)


def _kinds(found: Patterned, by_day: bool) -> Iterator[IntArray]:
    """Yield the places of the rows of each kind, those that are believed alike one after the other.

    by_day: the day bears on a find, not only the month.
    """
    rows = found.rows
    if rows.empty:
        return
    codes = rank_of(found.patterns)[rows["pattern"].to_numpy()]
    days, distinct = pd.factorize(rows["seen_on"])
    months = days if by_day else pd.factorize(distinct.astype(object).str[:7])[0][days]
    columns: list[Any] = [*(rows[x] for x in OF_KIND), rows["currency"], months]
    for column in columns:
        places, values = pd.factorize(column)
        if len(values) > 1 or (places < 0).any():
            codes = pd.factorize(codes * (len(values) + 1) + places + 1, sort=True)[0].astype(np.int64)
    short = codes.astype(np.uint16) if codes.max() <= SHORT else codes  # sorted by its digits
    order = np.argsort(short, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(codes[order])) + 1)


def believed_alike(p: Pattern) -> tuple[str, ...]:
    """Return what patterns tell alike of which the same is believed."""
    return (p.machine_class, *map(repr, (p.complaints, p.history, p.findings)), p.use)


def rank_of(patterns: Sequence[Pattern]) -> IntArray:
    """Return the place of each pattern where those that are believed alike follow each other."""
    order = sorted(range(len(patterns)), key=lambda i: (believed_alike(patterns[i]), repr(patterns[i])))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return rank


_mine: dict[str, Screener] = {}  # of a process that works for others: the one that it used last


def screener(overlays: tuple[str, ...], book: Path | None, common: Mapping[str, Any]) -> Screener:
    """Return the screener of this process with these overlays, prices and what holds for all finds."""
    key = repr((overlays, book, common))
    if key not in _mine:
        _mine.clear()
        _mine[key] = Screener(open_shelf(overlays), book, common)
    return _mine[key]


def _screen(
    rows: Rows, overlays: tuple[str, ...], book: Path | None, common: Mapping[str, Any]
) -> tuple[pd.DataFrame, dict[int, tuple[Problem, ...]]]:
    return screener(overlays, book, common).screen(rows)


def _appraise(rows: Rows, overlays: tuple[str, ...], book: Path | None, common: Mapping[str, Any]) -> Known:
    return screener(overlays, book, common).appraised(rows)


def learn(overlays: tuple[str, ...], book: Path | None, common: Mapping[str, Any], known: Known) -> None:
    """Have the screener of this process take over what was appraised elsewhere."""
    screener(overlays, book, common).learn(known)


def known_of(found: FindList, common: Mapping[str, Any], desk: Desk) -> Known:
    """Return what the kinds of a list are worth, each worked out by one process."""
    do = partial(_appraise, overlays=desk.overlays, book=desk.book, common=common)
    known: Known = {}
    for _, some in work_on(_tasks(found, desk.book is not None), do, desk.crew):
        known |= some
    return dict(list(known.items())[:KEPT])


def _tasks(found: FindList, by_day: bool) -> list[Rows]:
    """Return the rows of a list in parts, those that are believed alike in one unless they are many."""
    parts: list[list[IntArray]] = []
    last: object = None
    for at in _kinds(found, by_day):
        alike = believed_alike(found.patterns[found.rows["pattern"].iloc[at[0]]])
        if not parts or (len(parts[-1]) >= AT_ONCE and alike != last) or len(parts[-1]) >= 4 * AT_ONCE:
            parts.append([])
        parts[-1].append(at)
        last = alike
    return [Rows(found.rows.iloc[np.concatenate(p)].reset_index(drop=True), found.patterns) for p in parts]


def screen_finds(
    found: FindList, common: Mapping[str, Any], desk: Desk, advance: Callable[[int], None] = lambda _: None
) -> tuple[pd.DataFrame, dict[int, tuple[Problem, ...]]]:
    """Return what each find is worth, in a table, and what is wrong with the others; how many work changes nothing.

    advance: is told of so many that are done.
    """
    several = bool(desk.crew.scheduler) or (desk.crew.workers > 1 and len(found.rows) >= ENOUGH)
    tasks = _tasks(found, desk.book is not None) if several else []
    if not tasks:
        return Screener(desk.classes, desk.book, common).screen(found, advance)
    do = partial(_screen, overlays=desk.overlays, book=desk.book, common=common)
    tables, late = {}, {}
    for number, (table, odd) in work_on(tasks, do, desk.crew):
        tables[number] = table
        late.update(odd)
        advance(len(tasks[number].rows))
    return joined([tables[i] for i in range(len(tasks))]), dict(sorted(late.items()))


def one_currency(currencies: Sequence[str], name: str, limits: Limits) -> str:
    """Return the currency of a list. Raises BadInput where it has several, which can't be weighed together.

    Also where the cash there is is no amount of that currency.
    """
    codes = sorted(set(currencies))
    if len(codes) > 1:
        rule = "finds that are weighed together are in one currency"
        raise BadInput([Problem(f"{name}: currency", ", ".join(codes), rule, "make a list of each")])
    currency = codes[0] if codes else "USD"
    if limits.cash is not None and to_decimal(to_minor(limits.cash, currency), currency) != limits.cash:
        rule = f"an amount in {currency} has {DIGITS[currency] or 'no'} digits after the point"
        raise BadInput([Problem(CASH, str(limits.cash), rule, "round it")])
    return currency


def notes_of(found: FindList) -> tuple[str, ...]:
    """Return what is to be said of a list; no number of finds, as parts of a long one say it alike."""
    unknown = found.rows["travel_km"].isna().any()
    return (*found.notes, *((UNKNOWN_WAY,) if unknown else ()))


def rank_list(
    found: FindList,
    common: Mapping[str, Any],
    limits: Limits,
    gap: float,
    desk: Desk,
    advance: Callable[[int], None] = lambda _: None,
) -> Ranked:
    """Return a list of finds screened and ranked. common: as `read_common` has it. Raises BadInput for all of it.

    gap: as for `shortlist`.
    """
    currency = one_currency([str(x) for x in found.rows["currency"].unique()], found.name, limits)
    table, late = screen_finds(found, common, desk, advance)
    short, order = shortlist(figures(table), currency, limits, gap)
    left, tables = found.without(late), (lambda: table,)
    return Ranked(
        currency, limits, short, order, tables, (len(table),), left.read, left.bad, left.left_out, notes_of(found)
    )


def screen_list(found: FindList, common: Mapping[str, Any], limits: Limits, gap: float, desk: Desk) -> ScreenedList:
    """Return the answer to a list of finds, with all of them. Arguments and errors are those of `rank_list`."""
    return rank_list(found, common, limits, gap, desk).answer()
