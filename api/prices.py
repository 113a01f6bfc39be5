"""Prices: `mendworth prices`, the commands that keep the price book. Heavy imports wait until a command runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from econ.problems import Problem


class _Day(click.DateTime):
    """A day, its faults in our own words."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return a day; fail where it is none."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f'got "{value}"; a day is written 2026-05-10', param, ctx)


class _Whole(click.IntRange):
    """A whole number, called so."""

    name = "whole number"


Day = _Day(["%Y-%m-%d"])
as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
in_book = click.option(
    "--book",
    "book",
    metavar="FILE",
    type=click.Path(dir_okay=False),
    help="The price book; else the environment's MENDWORTH_BOOK, else one in your own folder.",
)
as_of = click.option("--as-of", type=Day, metavar="DAY", help="The day to look from, YYYY-MM-DD; else today.")
at_revision = click.option("--revision", type=_Whole(1), metavar="N", help="The book as it was after import N.")
limited = click.option("--limit", type=_Whole(0), default=50, show_default=True, help="Most offers to print.")


@click.group()
def prices() -> None:
    """Keep a price book: import price lists, list, find, see what is stale."""


def _path(book: str | None) -> Path:
    from api.book import default_path

    return Path(book) if book else default_path()


def _day(said: datetime | None) -> date:
    from api.library import today

    return said.date() if said else today()


@prices.command("import")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(dir_okay=False, allow_dash=False))
@click.option("--allow-private", is_flag=True, help="Read feeds from this machine and its own network, too.")
@click.option("--keep-good", is_flag=True, help="Keep the good rows of a list that has bad ones.")
@click.option("--dry-run", is_flag=True, help="Read and check only; write nothing.")
@click.option("--seller", default="", metavar="NAME", help="Seller of rows that name none.")
@click.option("--currency", default="", metavar="CODE", help="Currency of rows that name none, such as USD.")
@click.option("--seen-on", type=Day, metavar="DAY", help="Day of rows that name none, YYYY-MM-DD.")
@click.option("--decimal", type=click.Choice(["comma", "point"]), help="Decimal sign, where no cell tells.")
@click.option("--dates", type=click.Choice(["day", "month"]), help="What comes first in 3/4/2026.")
@click.option("--encoding", default="", metavar="NAME", help="Encoding of a CSV file, such as iso-8859-15.")
@click.option("--sheet", default="", metavar="NAME", help="Sheet of an XLSX file; else its first.")
@click.option(
    "--map", "mapped", multiple=True, metavar="HEADER=COLUMN", help="What a header means; nothing: ignore it."
)
@in_book
@as_json
def import_(
    files: tuple[str, ...],
    allow_private: bool,
    keep_good: bool,
    dry_run: bool,
    seller: str,
    currency: str,
    seen_on: datetime | None,
    decimal: str | None,
    dates: str | None,
    encoding: str,
    sheet: str,
    mapped: tuple[str, ...],
    book: str | None,
    as_json: bool,
) -> None:
    """Add price lists to the book: CSV or XLSX files, or feeds by their http address, CSV or JSON.

    All come in, or none where one has bad rows (see --keep-good).
    """
    from api.command import _say_error
    from api.headers import read_map
    from api.importing import import_lists, read_sources
    from api.pricelist import Told
    from api.pricetext import imported_text
    from econ.problems import BadInput

    problems: list[Problem] = []
    map_: Mapping[str, str] = {}
    try:
        map_ = read_map(mapped)
    except BadInput as error:
        problems += error.problems
    day = seen_on.date() if seen_on else None
    problems += _odd_day(day)
    told = Told(seller, currency.upper(), day, decimal or "", dates or "", encoding, sheet, map_)
    copies = Path(click.get_app_dir("mendworth")) / "feeds"
    found, unread = read_sources(files, copies, allow_private, told, keep_good)
    problems += unread
    for source in found:
        if source.note:
            _say_error(f"{source.name}: {source.note}")
    answer = import_lists(found, problems, told, keep_good, _path(book), dry_run)
    _print(answer, imported_text, as_json)
    for problem in answer.problems:
        _say_error(f"left out: {problem.sentence()}")


def _odd_day(day: date | None) -> Iterator[Problem]:
    """Yield what is wrong with a day that no price can have been seen on."""
    from api.days import EARLIEST
    from api.library import today
    from econ.problems import Problem

    if day is not None and not EARLIEST <= day <= today():
        rule = f"a price was seen on a day from {EARLIEST} to today"
        yield Problem("--seen-on", str(day), rule, "give the day the prices were seen")


def _print(answer: Any, text: Callable[[Any], str], as_json: bool) -> None:
    from api.answer import to_json
    from api.command import _print_json, _print_text

    _print_json(to_json(answer)) if as_json else _print_text(text(answer))


@prices.command("list")
@click.option("--seller", default="", metavar="NAME", help="Only this seller's offers.")
@as_of
@at_revision
@limited
@in_book
@as_json
def list_(
    seller: str, as_of: datetime | None, revision: int | None, limit: int, book: str | None, as_json: bool
) -> None:
    """List the offers that hold on a day. Of each part and seller that is the newest."""
    from api.book import Book
    from api.listings import list_offers
    from api.pricetext import listing_text

    with Book(_path(book)) as opened:
        found = list_offers(opened, _day(as_of), revision, seller, limit)
    _print(found, listing_text, as_json)


@prices.command()
@click.argument("text", nargs=-1, required=True)
@as_of
@at_revision
@limited
@in_book
@as_json
def find(
    text: tuple[str, ...], as_of: datetime | None, revision: int | None, limit: int, book: str | None, as_json: bool
) -> None:
    """Find parts by id, title or designation, and who sells them."""
    from api.book import Book
    from api.listings import find_offers
    from api.pricetext import listing_text

    with Book(_path(book)) as opened:
        found = find_offers(opened, _day(as_of), revision, " ".join(text), limit)
    _print(found, listing_text, as_json)


@prices.command()
@click.option("--days", type=_Whole(0), metavar="N", help="Older than so many days.  [default: 120]")
@as_of
@at_revision
@limited
@in_book
@as_json
def stale(
    days: int | None, as_of: datetime | None, revision: int | None, limit: int, book: str | None, as_json: bool
) -> None:
    """List the offers that have grown old. They are to be looked up again."""
    from api.book import Book
    from api.listings import stale_offers
    from api.pricetext import listing_text
    from econ.pricebook import STALE_DAYS

    with Book(_path(book)) as opened:
        found = stale_offers(opened, _day(as_of), revision, STALE_DAYS if days is None else days, limit)
    _print(found, listing_text, as_json)


@prices.command()
@in_book
@as_json
def revisions(book: str | None, as_json: bool) -> None:
    """List the imports that made the book what it is."""
    from api.book import Book
    from api.listings import Revisions
    from api.pricetext import revisions_text

    path = _path(book)
    with Book(path) as opened:
        found = Revisions(str(path), opened.revisions())
    _print(found, revisions_text, as_json)


@prices.command()
@click.argument("revision", type=_Whole(1))
@in_book
@as_json
def withdraw(revision: int, book: str | None, as_json: bool) -> None:
    """Take back an import that was a mistake. REVISION: its number, as `revisions` tells."""
    from api.book import Book
    from api.listings import Withdrawn
    from api.pricetext import withdrawn_text

    path = _path(book)
    if not path.is_file():
        Book(path)  # says that there is none
    with Book(path, writable=True) as opened, opened.writing():
        done = opened.withdraw(revision)
        taken = next(r for r in opened.revisions() if r.number == revision)
    _print(Withdrawn(str(path), done, taken), withdrawn_text, as_json)
