"""How long a selection takes. Run by hand from the project folder: ``python -m tests.bench.bench_selection``.

Invented finds, weakly correlated: hours even from 0.25 to 6, cash from 10 to 400, places 1 to 3, and the value 50 an
hour + half the cash + 20 a place, give or take 50 (even). Limits are a quarter of what all finds need.
"""

from __future__ import annotations

import statistics
import time

import numpy as np
import scipy.optimize

from econ.money import IntArray
from econ.selection import GAP, select

SIZES, TIMES = (100, 1_000, 10_000), 3
PATIENCE = 60  # the bare search is stopped after it [s]


def market(n: int, seed: int) -> tuple[IntArray, IntArray, IntArray]:
    """Return value [cents], needs [thousandths of an hour, cents, places] and limits."""
    draw = np.random.default_rng(seed)
    hours, cash, places = draw.integers(250, 6001, n), draw.integers(1000, 40_001, n), draw.integers(1, 4, n)
    value = 5 * hours + cash // 2 + 2000 * places + draw.integers(-5000, 5001, n)
    needs = np.stack([hours, cash, places])
    return value, needs, needs.sum(axis=1) // 4


def bare(value: IntArray, needs: IntArray, limits: IntArray, gap: float) -> tuple[float, bool]:
    """Return the value that one call of HiGHS finds, and whether it ended within its time."""
    found = scipy.optimize.milp(
        -value.astype(float),
        integrality=np.ones(len(value)),
        bounds=scipy.optimize.Bounds(0, 1),
        constraints=scipy.optimize.LinearConstraint(needs.astype(float), -np.inf, limits.astype(float)),
        options={"mip_rel_gap": gap, "time_limit": PATIENCE},
    )
    return -found.fun, found.status == 0


def measure(n: int, gap: float) -> None:
    """Print the times of some markets, each beside the bare search, and what was left to search."""
    ratios = []
    for seed in range(1, TIMES + 1):
        problem = market(n, seed)
        begin = time.perf_counter()
        found = select(*problem, gap=gap)
        ours = time.perf_counter() - begin
        begin = time.perf_counter()
        value, done = bare(*problem, gap)
        ratios.append((time.perf_counter() - begin) / ours)
        ended = "" if done else " and not at its end"
        print(
            f"{n:6} finds, gap {gap:g}: {ours:.3f} s, proven to {found.gap:.1e}; bare {ratios[-1] * ours:.3f} s"
            f"{ended}, {ratios[-1]:.1f} times ours, its value {value / found.value:.7f} of ours; in {found.fixed_in}, "
            f"out {found.fixed_out}, dominated {found.dominated}, searched {found.searched}; ranked by the hour "
            f"{found.ranked_value / found.value:.3f} of ours",
            flush=True,
        )
    print(f"{n:6} finds, gap {gap:g}: bare takes {statistics.median(ratios):.1f} times ours (median)", flush=True)


if __name__ == "__main__":
    select(*market(50, 0))  # to warm up
    for size in SIZES:
        for share in (GAP, 0.0):
            measure(size, share)
