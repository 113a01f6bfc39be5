"""Screen: `mendworth screen`, a list of finds to those worth buying. Heavy imports wait until the command runs."""

from __future__ import annotations

import os
import sys
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import TextIO

    from api.findrows import ToldOfFinds
    from api.ranked import Ranked
    from api.screening import Desk
    from econ.rulebook import MachineClass
    from econ.shortlist import Limits

from api.prices import Day, _Whole, as_json

MOST = 10**9  # of a limit, as over HTTP


class _Amount(click.ParamType):  # type: ignore[type-arg, unused-ignore]  # generic in some versions only
    """An amount of money or another decimal number, exactly, not below zero."""

    name = "amount"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Decimal:
        """Return the number; fail where it is none."""
        try:
            found = Decimal(value)
        except InvalidOperation:
            found = Decimal("NaN")
        if not found.is_finite():
            self.fail(f'got "{value}"; this is a number such as 800 or 12.50', param, ctx)
        if not 0 <= found <= MOST:
            self.fail(f'got "{value}"; this is from 0 to {MOST:,}', param, ctx)
        return found


Amount = _Amount()


BOOK = "Price book to take prices from; else MENDWORTH_BOOK, else the one in your own folder, if there is one."
OVERLAY = "Figures of your own, a TOML file or a folder (docs/rulebooks.md). May be given again."
TERMS = "JSON with terms, tools and prices that hold for all finds, as in a case."
PARTS = "Keep the parts of a long list in a folder, as Parquet; a run that was stopped goes on there."
SCHEDULER = "Work on a Dask cluster: the address of its scheduler, or local for one on this machine."
LEFT_OUT = "Where rows at fault go, with the reasons.  [default: beside FINDS, by its name and .left-out.csv]"


@click.command()
@click.argument("finds", metavar="FINDS", type=click.Path(dir_okay=False, allow_dash=True))
@click.option("--hours", type=Amount, metavar="H", help="Bench hours there are.")
@click.option("--cash", type=Amount, metavar="C", help="Cash there is, for prices, trips and parts.")
@click.option("--places", type=_Whole(0, MOST), metavar="N", help="Places for machines in the yard.")
@click.option("--km", type=Amount, metavar="K", help="Kilometres that may be driven in all.")
@click.option("--top", type=_Whole(0, MOST), default=10, show_default=True, metavar="N", help="Finds to print.")
@click.option(
    "--exact", is_flag=True, help="Search until the choice among more than 500 is proven best; else to within 0.1 %."
)
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
@click.option(
    "--workers", type=_Whole(1, 1024), metavar="N", help="Processes to work with.  [default: one a processor]"
)
@click.option("--parts", metavar="FOLDER", type=click.Path(file_okay=False), help=PARTS)
@click.option("--scheduler", default="", metavar="ADDRESS", help=SCHEDULER)
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
    parts: str | None,
    scheduler: str,
    overlays: tuple[str, ...],
    book: str | None,
    as_json: bool,
) -> None:
    """Which of many finds to buy: FINDS, a list as CSV, XLSX or Parquet, or - for standard input.

    Of each: what to do with it, the most to offer, what it leaves, how likely it loses, what to ask and to look at.
    """
    from api.answer import to_json
    from api.command import _print_json, _print_text, _say_error
    from api.crew import Crew
    from api.findheads import read_find_map
    from api.findrows import PER_KM, ToldOfFinds
    from api.library import open_shelf
    from api.quiet import quiet
    from api.screenfiles import as_csv, as_parquet, as_text
    from api.screening import Desk
    from api.screentext import screen_text
    from api.supply import book_at
    from api.whole import put
    from econ.selection import GAP
    from econ.shortlist import Limits

    _check_outputs(
        {"--csv": csv, "--workbook": workbook, "--parquet": parquet, "--left-out": left_out},
        as_json,
        (finds, terms, book, *overlays),
    )
    classes, prices = open_shelf(overlays), book_at(book)
    told = ToldOfFinds(
        currency.upper(), as_of.date() if as_of else None, decimal or "", dates or "", encoding, sheet,
        read_find_map(mapped, classes), PER_KM if per_km is None else per_km,
    )  # fmt: skip
    limits = Limits(None if hours is None else float(hours), cash, places, None if km is None else float(km))
    desk = Desk(classes, overlays, prices, Crew(workers or os.cpu_count() or 1, scheduler))
    try:
        with quiet():
            ranked, write_rest = _screened(finds, told, terms, limits, 0.0 if exact else GAP, desk, parts)
    except KeyboardInterrupt:
        kept = f" What was done is in {click.format_filename(parts)}: run it again to go on." if parts else ""
        _say_error(f"Stopped.{kept}")
        sys.exit(1)
    if csv == "-":
        as_csv(ranked, sys.stdout.buffer)
    elif csv:
        put(Path(csv), lambda file: as_csv(ranked, file))
    if workbook:
        from api.screenbook import as_workbook

        put(Path(workbook), lambda file: as_workbook(ranked, file))
    if parquet:
        put(Path(parquet), lambda file: as_parquet(ranked, file))
    if as_json:
        _print_json(to_json(ranked.answer(top if ranked.in_parts else None)))
    elif csv != "-":
        _print_text(screen_text(ranked, top))
    where = Path(left_out) if left_out else _place_of_rest(finds if finds != "-" else "finds")
    if ranked.left_out or left_out:

        def write(file: Any) -> None:
            with as_text(file) as text:
                write_rest(text)

        put(where, write)
    if ranked.left_out:
        said = f"{ranked.left_out:,} of {ranked.read:,} rows are at fault and left out"
        _say_error(f"{said}: see {click.format_filename(where)}.")
    elif not left_out and _rows_of_before(where):
        _say_error(f"No row is at fault now: {click.format_filename(where)} is of an earlier run.")


def _place_of_rest(finds: str) -> Path:
    """Return where rows at fault go that nobody named a file for: not over what is of another kind."""
    where, n = Path(f"{finds}.left-out.csv"), 1
    while where.exists() and not _rows_of_before(where):
        n += 1
        where = Path(f"{finds}.left-out-{n}.csv")
    return where


def _rows_of_before(path: Path) -> bool:
    """Return whether a file holds rows that an earlier run left out; it may have been worked on since, so it stays."""
    from api.leftout import HEADERS

    try:
        with path.open("rb") as file:
            return file.readline().startswith(",".join(HEADERS).encode())
    except OSError:
        return False


def _check_outputs(paths: Mapping[str, str | None], as_json: bool, read: tuple[str | None, ...]) -> None:
    """Raise BadInput where something can't be written, as `outputs.check_outputs` does, or by nothing installed."""
    from api.outputs import check_outputs
    from api.screenfiles import pyarrow
    from econ.problems import BadInput, Problem

    problems: list[Problem] = []
    try:
        check_outputs(paths, read, as_json)
    except BadInput as error:
        problems += error.problems
    if paths["--parquet"]:
        try:
            pyarrow("--parquet", "Parquet is written by pyarrow")
        except BadInput as error:
            problems += error.problems
    if problems:
        raise BadInput(problems)


def _screened(
    finds: str, told: ToldOfFinds, terms: str | None, limits: Limits, gap: float, desk: Desk, parts: str | None
) -> tuple[Ranked, Callable[[TextIO], None]]:
    """Return a list screened and ranked, and what writes its rows at fault; a long one is read in parts."""
    from functools import partial

    from api.findlist import KIND, read_finds
    from api.importing import bar
    from api.leftout import write_left_out
    from api.library import today
    from api.parts import LONG, SMALL, begins_cuttable, opened, part_size
    from api.screening import rank_list
    from api.screenparts import screen_parts
    from econ.problems import BadInput, Problem

    name = "standard input" if finds == "-" else click.format_filename(finds)
    day = today()
    try:
        with click.open_file(finds, "rb") as file:
            start: bytes = file.read(LONG + 1)
            in_parts = bool(parts) or len(start) > LONG
            if in_parts and begins_cuttable(start, file.seekable()):
                common = _read_terms(terms, list(desk.classes.values()) if terms else [])
                size = os.fstat(file.fileno()).st_size if finds != "-" else 0
                with bar("Screening", size, size > SMALL) as advance:
                    whole, keep = opened(start, cast("BinaryIO", file)), Path(parts) if parts else _for_now()
                    return screen_parts(
                        whole, name, told, day, common, limits, gap, desk, part_size(size), keep, not parts, advance
                    )
            body = start + file.read(max(KIND.most_bytes + 1 - len(start), 0))
    except OSError as error:
        remedy = "correct the path"
        raise BadInput([Problem(name, error.strerror or str(error), "this can't be read", remedy)]) from None
    found = read_finds(body, name, told, desk.classes, day)
    common = _read_terms(terms, [desk.classes[i] for i in found.rows["machine_class"].unique()])
    count = len(found.rows)
    with bar("Screening", count, count > 20) as advance:
        ranked = rank_list(found, common, limits, gap, desk, advance)
    return ranked, partial(write_left_out, found.left_out if ranked.rest is None else ranked.rest)


def _for_now() -> Path | None:
    """Return a folder that is deleted when the command ends, however it ends; None where no parts can be kept."""
    from importlib.util import find_spec
    from tempfile import TemporaryDirectory

    if find_spec("pyarrow") is None:
        return None
    try:
        folder = TemporaryDirectory(prefix="mendworth-", ignore_cleanup_errors=True)
    except OSError:  # nowhere to write: parts are held in memory
        return None
    return Path(click.get_current_context().with_resource(folder))


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
