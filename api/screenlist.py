"""Screen list: the whole answer to a list of finds, as `mendworth screen --json` prints it and HTTP sends it.

That is what was screened, and beside it every row that was left out, with all that is wrong with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields

from api.findheads import COLUMNS
from api.findlist import FindList
from api.refusal import plain
from api.screening import Answer
from econ.problems import Problem


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
class ScreenedList(Answer):
    """The answer to a list of finds with the rows that were left out, in their order."""

    left_out_rows: tuple[LeftOutRow, ...]


def screened_list(found: FindList, answer: Answer) -> ScreenedList:
    """Return an answer with the rows that were left out of it. found: the list it answers."""
    rows = sorted((*_unread(found), *_unscreened(found, answer)), key=lambda x: x.row)
    return ScreenedList(**{f.name: getattr(answer, f.name) for f in fields(Answer)}, left_out_rows=tuple(rows))


def _unread(found: FindList) -> Iterator[LeftOutRow]:
    """Yield the rows with cells at fault."""
    faults = found.left_out.faults
    for row in found.left_out.each():
        start = f"{faults.name}: {faults.word} {row.number}, "
        yield LeftOutRow(row.number, row.id, _told((p.path.removeprefix(start), p) for p in row.problems))


def _unscreened(found: FindList, answer: Answer) -> Iterator[LeftOutRow]:
    """Yield the rows that were found to be at fault only when they were screened."""
    places = {int(row): i for i, row in enumerate(found.rows["row"])} if answer.late else {}
    for row, problems in answer.late.items():
        told = ((_column(p.path), p) for p in problems)
        yield LeftOutRow(row, str(found.rows["id"].iloc[places[row]]), _told(told))


def _column(path: str) -> str:
    """Return the column of a place in a case, such as market.running; the place itself where it is of none."""
    last = path.rpartition(".")[2]
    return last if last in COLUMNS else path


def _told(problems: Iterable[tuple[str, Problem]]) -> tuple[RowProblem, ...]:
    return tuple(RowProblem(plain(where), p.value, p.rule, p.remedy) for where, p in problems)
