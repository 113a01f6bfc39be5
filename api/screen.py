"""Screen: `mendworth screen`, a list of finds to those worth buying. Heavy imports wait until the command runs."""

from __future__ import annotations

import os
import sys
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Mapping

    from econ.rulebook import MachineClass

from api.prices import Day, _Whole, as_json


class _Amount(click.ParamType):  # type: ignore[type-arg, unused-ignore]  # generic in some versions only
    """An amount of money or another decimal number, exactly, not below zero."""

    name = "amount"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Decimal:
        """Return the number; fail where it is none."""
        try:
            found = Decimal(value)
        except InvalidOperation:
            found = Decimal("NaN")
        if not found.is_finite() or found < 0 or found > 10**9:
            self.fail(f'got "{value}"; this is a number such as 800 or 12.50', param, ctx)
        return found


Amount = _Amount()


BOOK = "Price book to take prices from; else MENDWORTH_BOOK, else the one in your own folder, if there is one."
OVERLAY = "Figures of your own, a TOML file or a folder (docs/rulebooks.md). May be given again."
TERMS = "JSON with terms, tools and prices that hold for all finds, as in a case."
LEFT_OUT = "Where rows at fault go, with the reasons.  [default: beside FINDS, by its name and .left-out.csv]"


@click.command()
@click.argument("finds", metavar="FINDS", type=click.Path(dir_okay=False, allow_dash=True))
@click.option("--hours", type=Amount, metavar="H", help="Bench hours there are.")
@click.option("--cash", type=Amount, metavar="C", help="Cash there is, for prices, trips and parts.")
@click.option("--places", type=_Whole(0), metavar="N", help="Places for machines in the yard.")
@click.option("--km", type=Amount, metavar="K", help="Kilometres that may be driven in all.")
@click.option("--top", type=_Whole(0), default=10, show_default=True, metavar="N", help="Finds to print.")
@click.option("--exact", is_flag=True, help="Search until the choice is proven best; else to within 0.1 %.")
@click.option("--terms", "terms", metavar="FILE", type=click.Path(dir_okay=False), help=TERMS)
@click.option("--per-km", type=Amount, metavar="M", help="What a kilometre costs.  [default: 0.30]")
@click.option("--currency", default="", metavar="CODE", help="Currency of rows that name none, such as USD.")
@click.option("--as-of", type=Day, metavar="DAY", help="The day of the decision where a row names none; else today.")
@click.option("--decimal", type=click.Choice(["comma", "point"]), help="Decimal sign, where no cell tells.")
@click.option("--dates", type=click.Choice(["day", "month"]), help="What comes first in 3/4/2026.")
@click.option("--encoding", default="", metavar="NAME", help="Encoding of a CSV file, such as iso-8859-15.")
@click.option("--sheet", default="", metavar="NAME", help="Sheet of an XLSX file; else its first.")
@click.option(
    "--map", "mapped", multiple=True, metavar="HEADER=COLUMN", help="What a header means; nothing: ignore it."
)
@click.option("--csv", "csv", metavar="FILE", type=click.Path(allow_dash=True), help="Write all as CSV; - prints it.")
@click.option("--workbook", metavar="FILE", type=click.Path(dir_okay=False), help="Write all finds as XLSX.")
@click.option("--parquet", metavar="FILE", type=click.Path(dir_okay=False), help="Write all finds as Parquet.")
@click.option("--left-out", metavar="FILE", type=click.Path(dir_okay=False), help=LEFT_OUT)
@click.option("--workers", type=_Whole(1), metavar="N", help="Processes to work with.  [default: one a processor]")
@click.option("--overlay", "overlays", metavar="FILE", type=click.Path(), multiple=True, help=OVERLAY)
@click.option("--book", "book", metavar="FILE", type=click.Path(), help=BOOK)
@as_json
def screen(
    finds: str,
    hours: Decimal | None,
    cash: Decimal | None,
    places: int | None,
    km: Decimal | None,
    top: int,
    exact: bool,
    terms: str | None,
    per_km: Decimal | None,
    currency: str,
    as_of: Any,
    decimal: str | None,
    dates: str | None,
    encoding: str,
    sheet: str,
    mapped: tuple[str, ...],
    csv: str | None,
    workbook: str | None,
    parquet: str | None,
    left_out: str | None,
    workers: int | None,
    overlays: tuple[str, ...],
    book: str | None,
    as_json: bool,
) -> None:
    """Which of many finds to buy: FINDS, a list as CSV, XLSX or Parquet, or - for standard input.

    Of each: what to do with it, the most to offer, what it leaves, how likely it loses, what to ask and to look at.
    """
    from api.answer import to_json
    from api.command import _print_json, _print_text, _say_error
    from api.findheads import read_find_map
    from api.findlist import read_finds
    from api.findrows import PER_KM, ToldOfFinds
    from api.importing import bar
    from api.library import open_shelf, today
    from api.screenfiles import as_csv, as_parquet, as_workbook, put, write_csv, write_rest
    from api.screening import Desk, screen_list
    from api.screenlist import screened_list
    from api.screentext import screen_text
    from api.sheets import MOST_BYTES
    from api.supply import book_at
    from econ.problems import BadInput, Problem
    from econ.selection import GAP
    from econ.shortlist import Limits

    classes, prices = open_shelf(overlays), book_at(book)
    name = "standard input" if finds == "-" else click.format_filename(finds)
    try:
        with click.open_file(finds, "rb") as file:
            body: bytes = file.read(8 * MOST_BYTES + 1)
    except OSError as error:
        raise BadInput(
            [Problem(name, error.strerror or str(error), "this can't be read", "correct the path")]
        ) from None
    told = ToldOfFinds(
        currency.upper(), as_of.date() if as_of else None, decimal or "", dates or "", encoding, sheet,
        read_find_map(mapped, classes), PER_KM if per_km is None else per_km,
    )  # fmt: skip
    found = read_finds(body, name, told, classes, today())
    common = _read_terms(terms, [classes[i] for i in found.rows["machine_class"].unique()])
    limits = Limits(None if hours is None else float(hours), cash, places, None if km is None else float(km))
    count = len(found.rows)
    with bar("Screening", count, count > 20) as advance:
        desk = Desk(classes, overlays, prices, workers or os.cpu_count() or 1)
        answer = screen_list(found, common, limits, 0.0 if exact else GAP, desk, advance)
    if csv == "-":
        as_csv(answer, sys.stdout)
    elif csv:
        put(Path(csv), lambda file: write_csv(answer, file))
    if workbook:
        put(Path(workbook), lambda file: as_workbook(answer, file))
    if parquet:
        put(Path(parquet), lambda file: as_parquet(answer, file))
    if as_json:
        _print_json(to_json(screened_list(found, answer)))
    elif csv != "-":
        _print_text(screen_text(answer, top))
    if answer.left_out:
        where = Path(left_out) if left_out else Path(f"{finds if finds != '-' else 'finds'}.left-out.csv")
        put(where, lambda file: write_rest(found, answer, file))
        said = f"{answer.left_out:,} of {answer.read:,} rows are at fault and left out"
        _say_error(f"{said}: see {click.format_filename(where)}.")


def _read_terms(path: str | None, classes: list[MachineClass]) -> Mapping[str, Any]:
    """Return what holds for all finds, of a JSON file. Raises BadInput."""
    from api.common import read_common
    from api.strictjson import NotJson, read_json
    from econ.problems import BadInput, Problem

    if path is None:
        return {}
    try:
        return read_common(read_json(Path(path).read_bytes()), classes)
    except OSError as error:
        raise BadInput(
            [Problem("--terms", error.strerror or str(error), "this can't be read", "correct the path")]
        ) from None
    except NotJson as error:
        raise BadInput(error.problems) from None
