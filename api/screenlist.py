"""Screen list: the whole answer to a list of finds, as `mendworth screen --json` prints it and HTTP sends it.

That is what was screened, and beside it every row that was left out, with all that is wrong with it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from api.findtable import ScreenedFind
from api.leftout import LeftOut
from api.refusal import plain
from econ.problems import Problem
from econ.shortlist import Limits, Shortlist


@dataclass(frozen=True)
class RowProblem:
    """A fault of a row. field: its column as the list calls it; or, of what is no cell, its place in the case.

    value, rule, remedy: as of a `Problem`.
    """

    field: str
    value: str
    rule: str
    remedy: str


@dataclass(frozen=True)
class LeftOutRow:
    """A row that was left out: its number as messages count, what the list calls it, and all that is wrong with it."""

    row: int
    id: str
    problems: tuple[RowProblem, ...]


@dataclass(frozen=True)
class ScreenedList:
    """The answer to a list: which finds to buy, the finds in their order, and the rows that were left out.

    finds: all of them; of a list that was read in parts those to buy and the first ones after them. read: rows that are
    not blank; left_out: how many of them are at fault. left_out_rows: those, in their order; none of a list in parts.
    """

    headline: str
    currency: str
    limits: Limits
    shortlist: Shortlist
    finds: tuple[ScreenedFind, ...]
    read: int
    left_out: int
    left_out_rows: tuple[LeftOutRow, ...]
    notes: tuple[str, ...]


def left_out_rows(left: LeftOut) -> tuple[LeftOutRow, ...]:
    """Return the rows of a list that were left out, in their order."""
    faults, found = left.faults, []
    for row in left.each():
        start = f"{faults.name}: {faults.word} {row.number}, "
        found.append(LeftOutRow(row.number, row.id, _told((p.path.removeprefix(start), p) for p in row.problems)))
    return tuple(found)


def _told(problems: Iterable[tuple[str, Problem]]) -> tuple[RowProblem, ...]:
    return tuple(RowProblem(plain(where), p.value, p.rule, p.remedy) for where, p in problems)
