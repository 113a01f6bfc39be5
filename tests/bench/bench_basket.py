"""How long a basket takes. Run by hand from the project folder: ``python -m tests.bench.bench_basket``."""

from __future__ import annotations

import random
import statistics
import time
from datetime import date
from typing import Any
from unittest import mock

import scipy.optimize

from econ.basket import choose
from econ.landed import Buying
from econ.offers import Offer, Seller, Shipping

PARTS, SELLERS, TIMES = 20, 8, 50
OFFERED = 0.65  # chance that a seller has a part
SEEN = date(2026, 4, 10)
Given = tuple[dict[str, int], list[Offer], dict[str, Seller]]


def market(seed: int) -> Given:
    """Return invented needs, offers at 2 to 66 a piece in packs of one, two and five, and sellers of every kind."""
    draw = random.Random(seed)  # noqa: S311 - no secret
    sellers = {}
    for name in (f"seller {k + 1}" for k in range(SELLERS)):
        flat, per_kg = draw.choice([0, 490, 690, 990]), draw.choice([0, 0, 150, 300])
        shipping = Shipping(flat, per_kg, draw.choice([None, 5000, 9900, 15000]))
        sellers[name] = Seller(name, shipping, draw.choice([0, 0, 1500, 2500]))
    offers, needs = [], {}
    for part in (f"part {k + 1}" for k in range(PARTS)):
        usual, weight = 200 * 33 ** draw.random(), round(draw.uniform(0.05, 3), 2)
        needs[part] = draw.choice([1, 1, 1, 2, 4])
        for seller in sellers:
            if draw.random() < OFFERED:
                pack = draw.choice([1, 1, 1, 1, 2, 5])
                offer = Offer(
                    part,
                    part,
                    seller,
                    draw.choice(["new", "new", "new", "back_ordered"]),
                    int(usual * pack * draw.uniform(0.8, 1.3)),
                    SEEN,
                    pack,
                    draw.choice([0] * 9 + [1500]),
                    draw.choice([None, weight]),
                    draw.choice([None, 1.0, 2.0, 3.0, 5.0, 7.0, 14.0]),
                )
                offers.append(offer)
    return needs, offers, sellers


def measure(day_cost: int) -> None:
    """Print the processor times of baskets and how much of each is spent in the bare search on the same arrays."""
    times, ratios, searches, unproven, sellers = [], [], [], 0, []
    milp = scipy.optimize.milp
    for seed in range(TIMES):
        bare = []

        def timed(*args: Any, spent: list[float] = bare, **options: Any) -> Any:
            begin = time.process_time()
            found = milp(*args, **options)
            spent.append(time.process_time() - begin)
            return found

        with mock.patch.object(scipy.optimize, "milp", timed):
            begin = time.process_time()
            found = choose(*market(seed), "USD", Buying(day_cost=day_cost))
            times.append(time.process_time() - begin)
        ratios.append(times[-1] / sum(bare))
        searches.append(len(bare))
        unproven += bool(found.best.gap or found.least.gap)
        sellers.append(len(found.best.orders))
    print(
        f"a day costs {day_cost / 100:.2f}: median {statistics.median(times) * 1000:.0f} ms, "
        f"nine in ten within {statistics.quantiles(times, n=10)[-1] * 1000:.0f} ms, worst {max(times) * 1000:.0f} ms; "
        f"{statistics.median(ratios):.2f} times the bare search (median), {max(searches)} searches at most; "
        f"{statistics.median(sellers):g} sellers (median); not proven: {unproven}"
    )


if __name__ == "__main__":
    print(f"{PARTS} parts, {SELLERS} sellers, {TIMES} invented markets")
    choose(*market(TIMES), "USD")  # to warm up
    for cost in (0, 214, 800):
        measure(cost)
