"""What choosing among millions of finds takes. Run by hand: ``python -m tests.bench.bench_shortlist [FINDS ...]``.

Invented finds come in parts, as those of a long list do: 15 % without a price, hours even from 0 to 6, prices to 400,
ways to 250 km; of the highest offer each hour brings 50, give or take. Each choice is made in a process of its own, so
that its largest resident size, less what it had before, is its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from decimal import Decimal

import numpy as np

from econ.shortlist import Figures, Limits, brief, joined, shortlist_of

SIZES, PART = (1_000_000, 10_000_000), 100_000
LIMITS = {
    "without limits": Limits(),
    "40 hours, $2,000": Limits(hours=40.0, cash=Decimal(2000)),
    "400 hours, $20,000, 100 places, 5,000 km": Limits(400.0, Decimal(20_000), 100, 5000.0),
}


def drawn(n: int, seed: int) -> Figures:
    """Return the figures of invented finds [cents, thousandths of an hour, metres]."""
    draw = np.random.default_rng(seed)
    named = draw.random(n) < 0.85
    hours, price, km = draw.integers(0, 6001, n), draw.integers(0, 40_001, n), draw.integers(1, 250, n)
    highest = 5 * hours + draw.integers(-5000, 30_001, n)
    profit = np.where(named, highest - price + draw.integers(-5000, 5001, n), 0)
    cash = np.where(named, price + draw.integers(500, 10_000, n), 0)
    return Figures(named, profit, highest, hours, cash, km * 1000)


def largest() -> int:
    """Return the largest resident size so far [kB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def measure(finds: int, name: str) -> None:
    """Print what one choice takes."""
    drawn(PART, 0)
    before = largest()
    parts = [brief(drawn(PART, seed)) for seed in range(finds // PART)]
    held = largest() - before
    begin = time.perf_counter()
    whole = joined(parts.pop(0) for _ in range(len(parts)))
    short, order = shortlist_of(whole, "USD", LIMITS[name])
    took, most = time.perf_counter() - begin, largest() - before
    print(
        f"{finds:,} finds, {name}: {took:.1f} s; {held * 1e3 / finds:.0f} bytes a find while they come in, at most "
        f"{most * 1e3 / finds:.0f} ({most / 1e3:.0f} MB), {order.nbytes / finds:.0f} for the order; {short.buy:,} to "
        f"buy, proven to {short.gap:.1e}, {short.searched:,} searched"
    )


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[2] in LIMITS:
        measure(int(sys.argv[1]), sys.argv[2])
    else:
        for size in [int(x) for x in sys.argv[1:]] or SIZES:
            for limits in LIMITS:
                call = [sys.executable, "-m", "tests.bench.bench_shortlist", str(size), limits]
                subprocess.run(call, check=True)  # noqa: S603 - our own program
