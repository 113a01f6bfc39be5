"""How long it takes to name bearings. Run by hand from the project folder: ``python -m tests.bench.bench_bearings``."""

from __future__ import annotations

import statistics
import time

import numpy as np

from econ.bearing_fit import match
from econ.bearing_sizes import SIZES
from econ.bearings import find_bearing

ROWS = 1_000_000
TIMES = 300


def main() -> None:
    """Print the time of one look-up, words and all, and of a million rows of measures, in one run."""
    find_bearing("17x40x12")
    found = []
    for _ in range(TIMES):
        begin = time.perf_counter()
        find_bearing("17x40x12")
        found.append(time.perf_counter() - begin)
    one = statistics.median(found)
    rng = np.random.default_rng(0)
    nominal = np.array([(s.bore, s.outside, s.width) for s in SIZES])
    measured = nominal[rng.integers(0, len(SIZES), ROWS)] + rng.uniform(-0.1, 0.1, (ROWS, 3))
    begin = time.perf_counter()
    fitted = match(measured)
    many = time.perf_counter() - begin
    print(f"one look-up: {one * 1e3:.2f} ms; {ROWS:,} rows: {many:.1f} s, {many / ROWS * 1e6:.1f} us a row")
    print(
        f"a row by itself takes {one / (many / ROWS):.0f} times as long; two sizes fit {(fitted.count > 1).mean():.2%}"
    )


if __name__ == "__main__":
    main()
