"""What a workbook of screened finds takes. Run by hand: ``python -m tests.bench.bench_workbook [ROWS ...]``.

The lists are those of `bench_finds`, of forty kinds. Beside each workbook stands what openpyxl takes in its write-only
mode just to write the same values in as many cells, without any style; the values are read from a file before the clock
starts. Each way is run in a process of its own, so that its largest resident size, less what it had before, is its own.
"""

from __future__ import annotations

import io
import pickle
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

SIZES, TIMES, TOLD = (10_000, 100_000), 3, 40
LIMITS = {"40 hours": 40.0, "no limit": None}
AT_ONCE = 1_000  # rows of values read at a time


def largest() -> int:
    """Return the largest resident size so far [kB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def told(begin: tuple[float, float, int], out: Path, more: str = "") -> None:
    """Print what was taken since a beginning: processor time, time by the clock, bytes and memory [kB]."""
    took = time.process_time() - begin[0], time.perf_counter() - begin[1]
    print(*took, out.stat().st_size, largest() - begin[2], more)


def screen(rows: int, hours: str, folder: Path) -> None:
    """Screen a list, and keep what comes of it: screening itself takes memory, which is not to be counted."""
    from api.crew import Crew
    from api.findlist import read_finds
    from api.findrows import ToldOfFinds
    from api.library import shelf
    from api.screening import Desk, rank_list
    from econ.shortlist import Limits
    from tests.bench.bench_finds import write_list

    write_list(folder / "finds.csv", rows, 0.0, TOLD)
    body = (folder / "finds.csv").read_bytes()
    found = read_finds(body, "finds", ToldOfFinds(), shelf(), date(2026, 6, 1))
    desk = Desk(shelf(), (), None, Crew(1, ""))
    ranked = rank_list(found, {}, Limits(LIMITS[hours]), 0.001, desk)
    kept = {x.name: getattr(ranked, x.name) for x in fields(ranked)} | {"tables": ranked.tables[0](), "rest": None}
    (folder / "screened").write_bytes(pickle.dumps(kept))


def ours(folder: Path) -> None:
    """Write the workbook of what was screened."""
    from api.ranked import Ranked
    from api.screenbook import as_workbook

    kept, out = pickle.loads((folder / "screened").read_bytes()), folder / "finds.xlsx"  # noqa: S301 - our own
    table = kept.pop("tables")
    ranked = Ranked(**kept, tables=(lambda: table,))
    few = replace(ranked, order=ranked.order[:100], shortlist=replace(ranked.shortlist, buy=0))
    as_workbook(few, io.BytesIO())  # what is loaded once
    begin = time.process_time(), time.perf_counter(), largest()
    with out.open("wb") as file:
        as_workbook(ranked, file)
    told(begin, out, str(ranked.shortlist.buy))


def bare(folder: Path) -> None:
    """Write the values of a workbook once more, with nothing but openpyxl."""
    from openpyxl import Workbook

    out, book, begin = folder / "bare.xlsx", Workbook(write_only=True), (0.0, 0.0, largest())
    cells = 0
    for n in (0, 1):
        sheet: Any = book.create_sheet(str(n))
        for some in _values(folder / f"values-{n}"):
            start = time.process_time(), time.perf_counter()
            for row in some:
                sheet.append(row)
            begin = begin[0] + time.process_time() - start[0], begin[1] + time.perf_counter() - start[1], begin[2]
            cells += sum(x is not None for row in some for x in row)
    taken = begin
    begin = time.process_time() - taken[0], time.perf_counter() - taken[1], taken[2]
    book.save(out)
    told(begin, out, str(cells))


def _values(file: Path) -> Iterator[list[list[Any]]]:
    with file.open("rb") as opened:
        while opened.peek(1):
            yield pickle.load(opened)  # noqa: S301 - our own


def keep(folder: Path) -> None:
    """Keep the values of a workbook for the bare way, some rows at a time."""
    from openpyxl import load_workbook

    book = load_workbook(folder / "finds.xlsx", read_only=True)
    for n, sheet in enumerate(book.worksheets):
        rows = [list(row) for row in sheet.iter_rows(values_only=True)]
        with (folder / f"values-{n}").open("wb") as file:
            for start in range(0, len(rows), AT_ONCE):
                pickle.dump([[_plain(x) for x in row] for row in rows[start : start + AT_ONCE]], file)


def _plain(x: Any) -> Any:
    return f" {x}" if isinstance(x, str) and x.startswith("=") else x


def main() -> None:
    """Print what workbooks of the sizes asked for take, with the median of their ratios to the bare way."""
    sizes = [int(x) for x in sys.argv[1:]] or SIZES
    for rows in sizes:
        for hours in LIMITS:
            with tempfile.TemporaryDirectory() as folder:
                rounds = []
                _run("screen", str(rows), hours, folder)
                for n in range(TIMES):  # in turn, so that a busy time of the machine meets both alike
                    mine = _run("ours", folder)
                    if not n:
                        keep(Path(folder))
                    rounds.append((mine, _run("bare", folder)))
                _print(rows, hours, rounds)


def _run(*args: str) -> list[float]:
    call = [sys.executable, "-m", "tests.bench.bench_workbook", *args]
    done = subprocess.run(call, capture_output=True, text=True, check=True)  # noqa: S603 - our own program
    return [float(x) for x in done.stdout.split()]


def _print(rows: int, hours: str, rounds: list[tuple[list[float], list[float]]]) -> None:
    mine, other = ([statistics.median(x) for x in zip(*(r[i] for r in rounds), strict=True)] for i in (0, 1))
    ratio = statistics.median(a[0] / b[0] for a, b in rounds)
    taken = (
        f"processor time {x[0]:.1f} s, by the clock {x[1]:.1f} s, {x[2] / 1e6:.1f} MB, memory {x[3] / 1e3:.0f} MB"
        for x in (mine, other)
    )
    print(f"{rows:,} finds, {hours}, {mine[4]:,.0f} to buy: {next(taken)}")
    print(f"  bare, {other[4]:,.0f} cells: {next(taken)}; ours takes {ratio:.2f} times the processor time", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["screen"]:
        screen(int(sys.argv[2]), sys.argv[3], Path(sys.argv[4]))
    elif sys.argv[1:2] == ["ours"]:
        ours(Path(sys.argv[2]))
    elif sys.argv[1:2] == ["bare"]:
        bare(Path(sys.argv[2]))
    else:
        main()
