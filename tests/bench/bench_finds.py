"""How long a list of 1,000,000 finds takes. Run by hand: ``python -m tests.bench.bench_finds [ROWS]``.

Each way is run in a process of its own, so that its largest resident size, less what it had before, is its own. The
machine classes are composed before the clock starts: they are of the program, not of the list.
"""

from __future__ import annotations

import csv
import random
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROWS = 1_000_000
TIMES = 5
SAMPLE = Path(__file__).parents[2] / "sample_prices/finds.csv"
START = """
import resource, sys, time
from datetime import date
from pathlib import Path
import pandas
from api import library
from api.findlist import ToldOfFinds, read_finds
file, day = sys.argv[1], date(2026, 6, 1)
classes = library.shelf()
read_finds(Path(sys.argv[2]).read_bytes(), "sample", ToldOfFinds(), classes, day)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
begin = time.process_time(), time.perf_counter()
"""
READ = "kept = read_finds(Path({}).read_bytes(), file, ToldOfFinds(), classes, day)"
WAYS = {
    "bare pandas.read_csv(dtype=str)": "kept = pandas.read_csv(file, dtype=str)",
    "read and check": READ.format("file"),
    "read and check, a tenth of the rows at fault": READ.format("file + '.odd'"),
}
END = """
print(time.process_time() - begin[0], time.perf_counter() - begin[1])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


def write_list(file: Path, rows: int, at_fault: float, told: int = 0, unlike: bool = False) -> None:
    """Write an invented list: the invented finds again and again, with other ids, ways and prices.

    at_fault: share of the rows whose age is none. told: of how many of the invented finds; 0: of all. unlike: each time
    with another age, condition and new price.
    """
    rng = random.Random(0)  # noqa: S311 - invented finds
    with SAMPLE.open(encoding="utf-8", newline="") as opened:
        headers, *finds = csv.reader(opened)
    at = {name: i for i, name in enumerate(headers)}
    with file.open("w", newline="", encoding="utf-8") as opened:
        writer = csv.writer(opened)
        writer.writerow(headers)
        for i in range(rows):
            row = list(rng.choice(finds[:told] if told else finds))
            if unlike:
                row[at["age_years"]], row[at["condition"]] = (
                    str(rng.randint(1, 30)),
                    rng.choice(("good", "fair", "poor")),
                )
                row[at["new_price"]] = str(rng.randint(200, 1500))
            km = rng.randint(1, 250)
            row[at["id"]] = f"f{i:07d}"
            row[at["travel_km"]], row[at["travel_minutes"]] = str(km), str(km + rng.randint(5, 45))
            if row[at["asking_price"]] and rng.random() < 0.8:
                row[at["asking_price"]] = f"{rng.randint(0, 80_000) / 100:.2f}"
            if rng.random() < at_fault:
                row[at["age_years"]] = "old"
            writer.writerow(row)


def main() -> None:
    """Print a line for each way, with the median of its ratios to the first."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "finds.csv"
        write_list(file, rows, 0.0)
        write_list(Path(f"{file}.odd"), rows, 0.1)
        print(f"{rows:,} rows, {file.stat().st_size / 1e6:.0f} MB")
        found: dict[str, list[list[float]]] = {name: [] for name in WAYS}
        for _ in range(TIMES):  # in turn, so that a busy time of the machine meets all alike
            for name, way in WAYS.items():
                call = [sys.executable, "-c", "\n".join((START, way, END)), str(file), str(SAMPLE)]
                done = subprocess.run(call, capture_output=True, text=True, check=True)  # noqa: S603 - our own program
                found[name].append([float(x) for x in done.stdout.split()])
        bare = found[next(iter(WAYS))]
        for name, rounds in found.items():
            cpu, wall, kilobytes = map(statistics.median, zip(*rounds, strict=True))
            ratios = [statistics.median(a[i] / b[i] for a, b in zip(rounds, bare, strict=True)) for i in range(3)]
            print(
                f"{name}: processor time {cpu:.2f} s, {ratios[0]:.1f} times; by the clock {wall:.2f} s, "
                f"{ratios[1]:.1f} times; {kilobytes / 1e3:.0f} MB, {ratios[2]:.1f} times"
            )


if __name__ == "__main__":
    main()
