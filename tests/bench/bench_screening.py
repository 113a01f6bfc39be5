"""How long lists of finds take to screen. Run by hand: ``python -m tests.bench.bench_screening [ROWS ...]``.

The lists are those of `bench_finds`: 2,000 invented finds again and again, with other ids, ways and prices; and before
them one of finds no two of which are alike but in what is told of them (class, complaint, history, findings). Beside
each stands what pandas (pyarrow engine) takes just to parse the same file, in the same run; and what a few of its rows
take decided one by one in a plain loop. Processor times are those of all processes together.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.bench_finds import write_list

SIZES = (10_000, 100_000, 1_000_000)
ONE_BY_ONE = 60  # rows decided in a plain loop
KNOWN, UNLIKE = 500_000, 10_000  # finds of kinds that are known; finds no two of which are alike
TOLD = 40  # how many things are told of these
PROGRAM = "import sys; sys.argv[0] = 'mendworth'; from api.command import main; main()"
PARSE = "import sys, pandas; kept = pandas.read_csv(sys.argv[1], engine='pyarrow')"
NOTHING = "import pandas, pyarrow"
ROWS = """
import sys, time
from datetime import date
from pathlib import Path
import pandas
from api.findlist import read_finds
from api.findrows import ToldOfFinds
from api.library import shelf
from api.screening import Screener
body, day, screener = Path(sys.argv[1]).read_bytes(), date(2026, 6, 1), Screener(shelf(), None, {})
screener.screen(read_finds(body[: body.find(b"\\n", 1 << 20) + 1], "finds", ToldOfFinds(), shelf(), day))
pandas.read_csv(sys.argv[1], engine="pyarrow")
times = [time.process_time()]
pandas.read_csv(sys.argv[1], engine="pyarrow")
times.append(time.process_time())
found = read_finds(body, "finds", ToldOfFinds(), shelf(), day)
times.append(time.process_time())
screener.screen(found)
times.append(time.process_time())
print(*(b - a for a, b in zip(times, times[1:])))
"""
LOOP = """
import sys, time
from datetime import date
from pathlib import Path
from api.findlist import case_document, read_finds
from api.findrows import ToldOfFinds
from api.library import defaults, shelf
from econ.reading import read_case
from econ.verdict import decide
lines = Path(sys.argv[1]).read_bytes().splitlines(keepends=True)[: int(sys.argv[2]) + 1]
found = read_finds(b"".join(lines), "finds", ToldOfFinds(), shelf(), date(2026, 6, 1))
cases = [read_case(case_document(found, i), shelf()) for i in range(len(found.rows))]
begin = time.process_time()
for case, c in cases:
    decide(case, c, defaults())
print((time.process_time() - begin) / len(cases))
"""


def run(*args: str) -> tuple[float, float, float, str]:
    """Return processor time and time by the clock [s], peak memory of the largest process [MB], and what is printed."""
    reads, writes = os.pipe()
    begin = time.perf_counter()
    child = os.posix_spawn(
        sys.executable, [sys.executable, *args], os.environ,
        file_actions=[(os.POSIX_SPAWN_DUP2, writes, 1), (os.POSIX_SPAWN_CLOSE, reads)],
    )  # fmt: skip
    os.close(writes)
    with os.fdopen(reads) as out:
        said = out.read()
    _, status, used = os.wait4(child, 0)
    if status:
        raise SystemExit(status)
    return used.ru_utime + used.ru_stime, time.perf_counter() - begin, used.ru_maxrss / 1e3, said


def rows_alone(rows: int, folder: Path) -> None:
    """Print what rows of kinds that are known take: parsed by pandas, read and checked, and screened."""
    file = folder / "known.csv"
    write_list(file, rows, 0.0, TOLD)
    parse, read, screen = map(float, run("-c", ROWS, str(file))[3].split())
    print(
        f"{rows:,} finds of {TOLD} kinds that are known, one process: pandas parses in {parse:.2f} s; read and checked "
        f"in {read:.2f} s, {read / parse:.1f} times; screened in {screen:.2f} s, {screen / parse:.1f} times",
        flush=True,
    )


def measure(rows: int, folder: Path, told: int = 0) -> None:
    """Print what one list takes, each way. told: as `write_list` has it, and no two finds alike but in that."""
    file = folder / f"finds-{rows}-{told}.csv"
    write_list(file, rows, 0.0, told, unlike=told > 0)
    empty = run("-c", NOTHING)[0]
    cpu, wall, memory, _ = run("-c", PARSE, str(file))
    parse = cpu - empty
    size, things = file.stat().st_size / 1e6, f", {told} things told of them" if told else ""
    print(f"{rows:,} finds{things}, {size:.0f} MB: pandas parses in {parse:.2f} s, {memory:.0f} MB", flush=True)
    ways = {
        "1 process": ("--workers", "1"), "2 processes": ("--workers", "2"),
        "2 workers of Dask": ("--workers", "2", "--scheduler", "local"),
        "2 processes, kept in parts": ("--workers", "2", "--parts", str(folder / f"parts-{file.stem}")),
        "the same again": ("--workers", "2", "--parts", str(folder / f"parts-{file.stem}")),
    }  # fmt: skip
    for name, args in ways.items():
        cpu, wall, memory, _ = run("-c", PROGRAM, "screen", str(file), "--top", "1", *args)
        print(
            f"  {name}: processor time {cpu:.1f} s, {cpu / parse:.0f} times the parse; by the clock {wall:.1f} s, "
            f"{rows / wall:,.0f} finds a second; {memory:.0f} MB",
            flush=True,
        )
    each = float(run("-c", LOOP, str(file), str(ONE_BY_ONE))[3])
    print(f"  in a plain loop of decisions: {each:.3f} s a find, {each * rows:,.0f} s for all", flush=True)


def main() -> None:
    """Measure lists of the sizes asked for."""
    sizes = [int(x) for x in sys.argv[1:]] or SIZES
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory() as folder:
        rows_alone(KNOWN, Path(folder))
        measure(UNLIKE, Path(folder), TOLD)
        for rows in sizes:
            measure(rows, Path(folder))


if __name__ == "__main__":
    main()
