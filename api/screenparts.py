"""Screen parts: a long list of finds screened part by part, several at a time, so that memory hardly grows with it.

The parts may be kept in a folder as Parquet. One that is there and was made of the same rows, figures and terms is not
worked out again: a run that was stopped goes on where it was.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO, TextIO

import pandas as pd

from api.cells import ONE_SIGN, Written
from api.crew import work_on
from api.days import ONE_ORDER
from api.findlist import FindList, read_finds
from api.findrows import ToldOfFinds
from api.findtable import figures
from api.leftout import HEADERS, left_out_csv
from api.library import texts
from api.parts import Part, parts_of
from api.ranked import Ranked
from api.screenfiles import pyarrow
from api.screening import Desk, known_of, learn, notes_of, one_currency, screener
from api.whole import put
from econ import __version__
from econ.problems import BadInput, Problem
from econ.rulebook import Shelf
from econ.shortlist import Brief, Limits, brief, joined, shortlist_of


@dataclass(frozen=True)
class Done:
    """What comes of a part. rest: its rows at fault as CSV; the other fields are those of `FindList` and `Ranked`."""

    table: pd.DataFrame
    rest: str
    currencies: tuple[str, ...]
    read: int
    left_out: int
    notes: tuple[str, ...]
    written: Mapping[str, Written]


def screen_part(
    part: Part,
    name: str,
    told: ToldOfFinds,
    today: date,
    overlays: tuple[str, ...],
    book: Path | None,
    common: Mapping[str, Any],
) -> Done:
    """Return what comes of a part: all that is known of it goes in, so that any worker anywhere may do it.

    Raises BadInput where the part as a whole can't be used.
    """
    by = screener(overlays, book, common)
    found = _read(part, name, told, today, by.classes)
    table, late = by.screen(found)
    found = found.without(late)
    rest = left_out_csv(found.left_out) if found.bad else ""
    currencies = tuple(str(x) for x in found.rows["currency"].unique())
    return Done(table, rest, currencies, found.read, found.bad, notes_of(found), found.written)


def _read(part: Part, name: str, told: ToldOfFinds, today: date, classes: Shelf) -> FindList:
    """Return a part as a list. Raises BadInput where it can't be used, with where it begins."""
    try:
        return read_finds(part.body, name, told, classes, today, before=part.before)
    except BadInput as error:
        where = f" (the part of it from row {part.before + 2:,})" if part.before else ""
        raise BadInput(replace(p, path=f"{p.path}{where}") for p in error.problems) from None


@dataclass
class _Sum:
    """The parts so far."""

    tables: dict[int, Callable[[], pd.DataFrame]] = field(default_factory=dict)
    rests: dict[int, Callable[[], str]] = field(default_factory=dict)
    briefs: dict[int, Brief] = field(default_factory=dict)
    currencies: set[str] = field(default_factory=set)
    notes: dict[str, None] = field(default_factory=dict)
    written: dict[str, dict[str, Written]] = field(default_factory=dict)
    read: int = 0
    left_out: int = 0

    def add(self, number: int, done: Done, table: Callable[[], pd.DataFrame], rest: Callable[[], str]) -> None:
        self.tables[number], self.briefs[number] = table, brief(figures(done.table))
        if done.rest:
            self.rests[number] = rest
        self.currencies.update(done.currencies)
        self.notes |= dict.fromkeys(done.notes)
        for header, written in done.written.items():
            self.written.setdefault(header, {}).setdefault(written.how, written)
        self.read += done.read
        self.left_out += done.left_out


class Folder:
    """A folder in which parts are kept, each under its number and what it was made of."""

    def __init__(self, path: Path, made_of: bytes) -> None:
        """made_of: whatever bears on every part. Raises BadInput where parts can't be kept there."""
        pyarrow("--parts", "parts are kept as Parquet, by pyarrow")
        self._path, self._made_of = path, made_of
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            rule = "this can't be a folder"
            raise BadInput([Problem("--parts", error.strerror or str(error), rule, "name another")]) from None

    def _place(self, part: Part) -> Path:
        of = hashlib.sha256(self._made_of + part.before.to_bytes(8, "big", signed=True) + part.body).hexdigest()
        return self._path / f"part-{part.number:06d}-{of[:16]}.parquet"

    def get(self, part: Part) -> tuple[Done, Path] | None:
        """Return what comes of a part where it is kept, and where."""
        place = self._place(part)
        try:
            table = pd.read_parquet(place)
        except (OSError, ValueError):  # not there, or no longer whole
            return None
        rest, about = _rest(place), table.attrs
        written = {header: Written(*x) for header, x in about["written"].items()}
        if about["left_out"] and not rest():
            return None
        return Done(
            table,
            rest(),
            tuple(about["currencies"]),
            about["read"],
            about["left_out"],
            tuple(about["notes"]),
            written,
        ), place

    def keep(self, part: Part, done: Done) -> Path:
        """Keep what comes of a part; what was made of other rows or terms stays beside it."""
        place = self._place(part)
        done.table.attrs = {
            "currencies": list(done.currencies), "read": done.read, "left_out": done.left_out,
            "notes": list(done.notes),
            "written": {header: [x.how, x.seen] for header, x in done.written.items()},
        }  # fmt: skip
        if done.rest:  # first, as the table says that the part is whole
            put(place.with_suffix(".left-out.csv"), lambda file: _write(file, done.rest))
        put(place, lambda file: done.table.to_parquet(file, engine="pyarrow", index=False))
        return place


def _write(file: BinaryIO, text: str) -> None:
    file.write(text.encode())


def _rest(place: Path) -> Callable[[], str]:
    def read() -> str:
        rest = place.with_suffix(".left-out.csv")
        return rest.read_bytes().decode() if rest.exists() else ""

    return read


def made_of(
    told: ToldOfFinds, today: date, overlays: Iterable[str], book: Path | None, common: Mapping[str, Any]
) -> bytes:
    """Return what bears on every part of a list, as a digest: the program, its rulebooks, terms, prices and the day."""
    day = told.seen_on or today  # of rows that name none
    digest = hashlib.sha256(repr((__version__, told, day, common)).encode())
    digest.update(repr(sorted(texts().items())).encode())
    files = [x for o in overlays for x in ([Path(o)] if Path(o).is_file() else sorted(Path(o).rglob("*.toml")))]
    for path in (*files, *([book] if book else ())):
        digest.update(path.read_bytes())
    return digest.digest()


def screen_parts(
    file: BinaryIO,
    name: str,
    told: ToldOfFinds,
    today: date,
    common: Mapping[str, Any],
    limits: Limits,
    gap: float,
    desk: Desk,
    size: int,
    folder: Path | None = None,
    passing: bool = False,
    advance: Callable[[int], None] = lambda _: None,
) -> tuple[Ranked, Callable[[TextIO], None]]:
    """Return a long list screened and ranked, and what writes its rows at fault to a text file as CSV.

    file: opened at its start. common: what holds for all finds. size: of a part [bytes]. folder: where parts are kept.
    passing: for this run alone, so that parts for which there is no room there are held in memory.
    advance: is told of so many bytes that are done. Raises BadInput for the list as a whole.
    """
    whole = _Sum()
    given: list[Part] = []

    parts = parts_of(file, name, told.mapped, size)
    first = next(parts, None)
    if first is None:
        raise BadInput([Problem(name, "no rows", "a list of finds has rows below its headers", "check the file")])
    found = _read(first, name, told, today, desk.classes)
    told = replace(told, held=found.written)  # 3/4/2026 may be told by the first part alone
    kept = None if folder is None else Folder(folder, made_of(told, today, desk.overlays, desk.book, common))
    begin = None
    if desk.crew.workers > 1 and not desk.crew.scheduler and not (kept and kept.get(first)):
        # Kinds of the first part come again: each is worked out by one process, and told to all.
        known = known_of(found, common, desk)
        begin = partial(learn, desk.overlays, desk.book, common, known)
    del found  # as large as a part

    def missing() -> Iterator[Part]:
        for part in chain([first], parts):
            there = kept and kept.get(part)
            if there:
                whole.add(part.number, there[0], *_from(there[1]))
                advance(part.size)
            else:
                given.append(replace(part, body=b"") if kept is None else part)
                yield part

    do = partial(screen_part, name=name, told=told, today=today, overlays=desk.overlays, book=desk.book, common=common)
    for number, done in work_on(missing(), do, desk.crew, begin):
        part, given[number] = given[number], replace(given[number], body=b"")  # what is done need not be held
        whole.add(part.number, done, *_put(part, done, kept, passing))
        one_currency(sorted(whole.currencies), name, limits)
        one_way(whole.written, name)
        advance(part.size)
    one_way(whole.written, name)
    return _ranked(whole, name, limits, gap), partial(_write_rests, [whole.rests[n] for n in sorted(whole.rests)])


def _put(
    part: Part, done: Done, kept: Folder | None, passing: bool
) -> tuple[Callable[[], pd.DataFrame], Callable[[], str]]:
    """Keep what comes of a part, and return what gives its table and its rows at fault."""
    try:
        if kept is not None:
            return _from(kept.keep(part, done))
    except OSError:
        if not passing:
            raise
    return partial(_it, done.table), partial(_it, done.rest)


def one_way(written: Mapping[str, Mapping[str, Written]], name: str) -> None:
    """Raise BadInput where a column that the first part leaves open is not written one way in all others."""
    problems = []
    for header, ways in written.items():
        if len(ways) > 1:
            rule = ONE_SIGN if "comma" in ways else ONE_ORDER
            value = ", ".join(x.seen for x in ways.values())
            problems.append(Problem(f"{name}: {header}", value, rule, "write the whole column one way"))
    if problems:
        raise BadInput(problems)


def _it(x: Any) -> Any:
    return x


def _from(place: Path) -> tuple[Callable[[], pd.DataFrame], Callable[[], str]]:
    return partial(pd.read_parquet, place), _rest(place)


def _ranked(whole: _Sum, name: str, limits: Limits, gap: float) -> Ranked:
    currency = one_currency(sorted(whole.currencies), name, limits)
    numbers = sorted(whole.tables)
    sizes = tuple(whole.briefs[n].amount.size for n in numbers)
    every = joined(whole.briefs.pop(n) for n in numbers)
    short, order = shortlist_of(every, currency, limits, gap)
    tables = [whole.tables[n] for n in numbers]
    return Ranked(currency, limits, short, order, tables, sizes, whole.read, whole.left_out, None, tuple(whole.notes))


def _write_rests(rests: Sequence[Callable[[], str]], file: TextIO) -> None:
    """Write rows at fault of all parts under the headers of the first; where there are none, the headers alone."""
    if not rests:
        csv.writer(file).writerow(HEADERS)
    for n, rest in enumerate(rests):
        text = rest()
        file.write(text if n == 0 else text.partition("\r\n")[2])
