"""Importing: price lists from files and feeds into the price book, all of them or none."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import click

from api.book import Book
from api.library import ids, today
from api.listings import Imported, ListImported, count, imported, under_known_names
from api.pricelist import PriceList, Told, read_prices
from api.source import Sourced, is_feed, read_feed, read_file
from econ.problems import BadInput, Problem

LONG = 50_000  # rows or kilobytes that take long enough for a bar; judgement


def read_sources(
    files: Sequence[str], copies: Path, allow_private: bool, told: Told, keep_good: bool
) -> tuple[list[Sourced], list[Problem]]:
    """Return the lists that could be read, and what is wrong with the others.

    files: paths, or addresses of feeds. copies: the folder of the last good copies of feeds. allow_private: feeds of
    this machine and its own network, too. told, keep_good: as for `import_lists`; a feed that would be refused takes
    the place of no good copy.
    """

    def check(source: Sourced) -> None:
        listed = _read(source, told)
        faults = listed.told()
        if not len(listed.rows) or (faults and not keep_good):
            raise BadInput(faults or [Problem(source.name, "no rows", "a price list has rows", "ask who runs it")])

    found: list[Sourced] = []
    problems: list[Problem] = []
    with bar("Reading", len(files), any(map(is_feed, files))) as advance:
        for file in files:
            try:
                found.append(read_feed(file, copies, allow_private, check) if is_feed(file) else read_file(file))
            except OSError as error:
                shown = click.format_filename(file)
                problems.append(Problem(shown, error.strerror or str(error), "this can't be read", "correct the path"))
            except BadInput as error:
                problems += error.problems
            advance(1)
    return found, problems


@contextmanager
def bar(label: str, length: int, long: bool) -> Iterator[Callable[[int], None]]:
    """Show a bar on standard error, on a terminal and where it takes long; give what moves it on."""
    hidden = not (long and sys.stderr.isatty())
    with click.progressbar(length=length, label=label, file=sys.stderr, hidden=hidden) as shown:
        yield shown.update


def import_lists(
    found: Sequence[Sourced], problems: Sequence[Problem], told: Told, keep_good: bool, path: Path, dry_run: bool
) -> Imported:
    """Check price lists and add them to the book: all of them, or none where one is at fault.

    problems: of lists that could not be read. keep_good: leave out bad rows of a list. path: of the book. dry_run:
    only check. Raises BadInput with all that is wrong.
    """
    read: list[tuple[PriceList, Sourced]] = []
    size = sum(len(s.body) for s in found) // 1000
    with bar("Checking", size, size > LONG // 5) as advance:
        for source in found:
            try:
                read.append((_read(source, told), source))
            except BadInput as error:
                problems = [*problems, *error.problems]
            advance(len(source.body) // 1000)
    faults = [p for listed, _ in read for p in listed.told()]
    nothing_good = [
        Problem(
            listed.name, count(listed.read, "row"), "none of them is good, so that none can be kept", "put them right"
        )
        for listed, _ in read
        if not len(listed.rows) and keep_good
    ]
    if problems or (faults and not keep_good) or nothing_good:
        raise BadInput([*problems, *faults, *nothing_good])
    twice = list(_twice(found))
    if dry_run and twice:
        raise BadInput(twice)
    if dry_run:
        lists = tuple(imported(listed, None, ids()) for listed, _ in read)
        return Imported(str(path), True, lists, tuple(faults))
    rows = sum(len(listed.rows) for listed, _ in read)
    with Book(path, writable=True) as book, book.writing(), bar("Storing", rows, rows > LONG) as advance:
        if twice:  # a book that is begun is there, and empty
            raise BadInput(twice)
        lists = tuple(_added(book, listed, source, told, advance) for listed, source in read)
    return Imported(str(path), False, lists, tuple(faults))


def _read(source: Sourced, told: Told) -> PriceList:
    return read_prices(source.body, click.format_filename(source.name), _of_day(told, source), today(), source.counted)


def _twice(found: Sequence[Sourced]) -> Iterator[Problem]:
    """Yield lists that are given twice in one import."""
    first: dict[bytes, str] = {}
    for source in found:
        name, digest = click.format_filename(source.name), sha256(source.body).digest()
        if digest in first:
            yield Problem(name, f"the same as {first[digest]}", "each list is given once", "leave one out")
        first.setdefault(digest, name)


def _of_day(told: Told, source: Sourced) -> Told:
    """Return what was told, and the day a feed was read for rows that leave theirs open."""
    return replace(told, seen_on=told.seen_on or source.seen_on)


def _added(book: Book, listed: PriceList, source: Sourced, told: Told, advance: Callable[[int], None]) -> ListImported:
    """Add a list to the book and return what became of it. A feed that is unchanged is no fault: it is asked often."""
    told = _of_day(told, source) if listed.undated else told
    before = book.same(source.body, told) if is_feed(source.name) else None
    if before:
        return imported(listed, before, ids(), unchanged=True, feed=source)
    named = under_known_names(listed, book.seller_names())
    revision = book.add(named, source.body, told, advance=advance)
    circles = book.circles(named.rows["superseded_by"].unique())
    return imported(named, revision, ids(), circles, feed=source)
