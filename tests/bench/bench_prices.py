"""How long a price list of 200,000 rows takes. Run by hand: ``python -m tests.bench.bench_prices``.

Each way is run in a process of its own, so that its largest resident size, less what it had before, is its own.
"""

from __future__ import annotations

import csv
import random
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

ROWS = 200_000
TIMES = 7
HEADERS = (
    "part", "title", "designation", "seller", "status", "pack", "price", "currency", "core_charge", "weight_kg",
    "lead_days", "return_loss", "seen_on", "superseded_by", "machine_class", "shipping", "free_from", "minimum_order",
)  # fmt: skip
START = """
import os, resource, sqlite3, sys, time
from datetime import date
from pathlib import Path
import openpyxl, pandas
from api.book import Book
from api.pricelist import Told, read_prices
file, folder = sys.argv[1], Path(sys.argv[2])
read_prices(b"part,price\\na,1\\n", "a", Told("A", "USD", date(2026, 6, 1)), date(2026, 6, 1))
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
begin = time.process_time(), time.perf_counter()
"""
WAYS = {
    "bare pandas.read_csv(dtype=str)": "kept = pandas.read_csv(file, dtype=str)",
    "read and check": "kept = read_prices(Path(file).read_bytes(), file, Told(), date(2026, 6, 1))",
    "read, check and store": """
body = Path(file).read_bytes()
kept = read_prices(body, file, Told(), date(2026, 6, 1))
with Book(folder / f"{os.getpid()}.db", writable=True) as book, book.writing():
    book.add(kept, body, Told())
""",
}
END = """
print(time.process_time() - begin[0], time.perf_counter() - begin[1])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


def write_list(file: Path, rows: int) -> None:
    """Write an invented price list: each part at four sellers."""
    rng = random.Random(0)  # noqa: S311 - invented prices
    terms = (("7.95", "75.00", ""), ("5.00", "", ""), ("9.50", "150.00", "20.00"), ("0.00", "", ""))
    with file.open("w", newline="", encoding="utf-8") as opened:
        writer = csv.writer(opened)
        writer.writerow(HEADERS)
        for i in range(rows):
            part, seller = divmod(i, 4)
            writer.writerow(
                (
                    f"part_{part:06d}", f"title of part {part}", "6203-2RS" if part % 9 == 0 else "",
                    f"Seller {seller} (invented)", rng.choice(("new",) * 8 + ("back-ordered", "used")),
                    rng.choice((1, 1, 1, 4, 10)), f"{rng.randint(100, 50_000) / 100:.2f}", "USD",
                    "15.00" if part % 30 == 0 else "", f"{rng.randint(1, 900) / 100:.2f}", rng.randint(1, 20), "0.15",
                    f"2026-{rng.randint(2, 5):02d}-{rng.randint(1, 28):02d}", "", "", *terms[seller],
                )
            )  # fmt: skip


def main() -> None:
    """Print a line for each way, with the median of its ratios to the first."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "list.csv"
        write_list(file, ROWS)
        print(f"{ROWS:,} rows of {len(HEADERS)} columns, {file.stat().st_size / 1e6:.0f} MB")
        found: dict[str, list[list[float]]] = {name: [] for name in WAYS}
        for _ in range(TIMES):  # in turn, so that a busy time of the machine meets all alike
            for name, way in WAYS.items():
                call = [sys.executable, "-c", "\n".join((START, way, END)), str(file), folder]
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
