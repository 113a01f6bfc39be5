"""How long a plan takes. Run by hand from the project folder: ``python -m tests.bench.bench_plan``."""

from __future__ import annotations

import resource
import statistics
import time
import tracemalloc
from unittest import mock

import numpy as np

from econ import plan as kernel
from econ.plan import make_plan
from econ.stopping import Choice, Look
from tests.econ.diagram import drawn, pyagrum_diagram, pyagrum_value

RESULTS = {4: (3, 3, 3, 2), 6: (3, 3, 3, 3, 3, 2), 8: (3, 3, 3, 2, 2, 2, 2, 2)}  # of each check; 8 just fit the lattice
FAULTS = (10, 12, 14)
REPAIRS, GROUPS = 7, 24
TIMES = 7
CAUSES = 4  # faults that a check shows
Problem = tuple[np.ndarray, list[Choice], list[Look], dict[str, float], float]


def problem(faults: int, results: tuple[int, ...], seed: int = 0) -> Problem:
    """Return an invented problem over all sets of faults: repairs with tracing, keeping, selling, scrapping; checks."""
    rng = np.random.default_rng(seed)
    states = np.arange(1 << faults)[:, None] >> np.arange(faults) & 1
    odds = rng.uniform(0.05, 0.4, faults)
    weights = np.prod(np.where(states, odds, 1 - odds), axis=1)
    harm = states @ rng.uniform(10, 60, faults)
    sale = 60.0 / (1.0 + harm / 100)
    choices = []
    for i in range(REPAIRS):
        cleared = rng.random(faults) < 0.5
        left = states & ~cleared
        paid = 20.0 + 15.0 * cleared.sum()
        group = left @ (1 << np.arange(faults)) % (GROUPS + 1)
        fails = (group[:, None] == np.arange(1, GROUPS + 1)) * rng.uniform(0.8, 1.0, (weights.size, 1))
        worth = 400.0 - paid - left @ rng.uniform(5, 60, faults)
        choices.append(Choice(f"repair{i}", worth, sale - paid if i else None, fails, {"strip": 8.0}))
    choices.append(Choice("keep", 250.0 - harm, keeps=True, shuts=True, sale=sale))
    choices.append(Choice("sell", sale, shuts=True, sale=sale))
    choices.append(Choice("scrap", np.full(weights.size, 5.0)))
    looks = []
    for j, n in enumerate(results):
        upto = np.tile(np.linspace(0.85, 0.97, n - 1)[:, None], (1, weights.size))
        for i in rng.choice(faults, CAUSES, replace=False):
            shown = np.sort(rng.uniform(0.05, 0.7, n - 1))
            upto *= np.where(states[:, i], shown[:, None], 1.0)
        rows = np.diff(np.vstack([np.zeros(weights.size), upto, np.ones(weights.size)]), axis=0)
        strips = frozenset({"strip"}) if j % 3 == 2 else frozenset()
        looks.append(Look(f"look{j}", rows, float(rng.uniform(1, 4)), strips, put_back=3.0 if strips else 0.0))
    return weights, choices, looks, {"strip": 12.0}, 6.0


def median_seconds(given: Problem, times: int = TIMES) -> float:
    """Return the median time of a plan, after one to warm up."""
    make_plan(*given)
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        make_plan(*given)
        found.append(time.perf_counter() - begin)
    return statistics.median(found)


def share_of(given: Problem, where: object, name: str) -> float:
    """Return the share of a plan's time spent in one function or method of the kernel."""
    spent, inner = [0.0], getattr(where, name)

    def timed(*args: object, **named: object) -> object:
        begin = time.perf_counter()
        try:
            return inner(*args, **named)
        finally:
            spent[0] += time.perf_counter() - begin

    with mock.patch.object(where, name, timed):
        begin = time.perf_counter()
        make_plan(*given)
        whole = time.perf_counter() - begin
    return spent[0] / whole


def peak_bytes(given: Problem) -> int:
    """Return the most memory a plan holds beyond what it was given, numpy's included."""
    tracemalloc.start()
    try:
        make_plan(*given)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def beside_a_solver() -> None:
    """Print the plan beside pyAgrum's solver of influence diagrams, building the diagram not counted."""
    for faults, checks in ((3, 2), (4, 2), (3, 3), (4, 3)):
        p = drawn(0, faults, checks)
        diagram = pyagrum_diagram(p)
        ours = median_seconds((p.weights, list(p.choices), list(p.looks), dict(p.prices), 0.0))
        found = []
        for _ in range(TIMES):
            begin = time.perf_counter()
            value = pyagrum_value(diagram)
            found.append(time.perf_counter() - begin)
        theirs = statistics.median(found)
        gap = abs(value - make_plan(p.weights, p.choices, p.looks, p.prices).value)
        print(
            f"{checks} checks, {faults} faults: {ours * 1e3:.1f} ms; pyAgrum {theirs * 1e3:.1f} ms, "
            f"{theirs / ours:.1f} times as long; difference {gap:.1e}"
        )


def sizes() -> None:
    """Print a line for each size."""
    print("checks  faults  states  lattice   median    peak  product  stopping")
    for checks, results in RESULTS.items():
        nodes = int(np.prod(np.array(results) + 1))
        for faults in FAULTS:
            given = problem(faults, results)
            took, peak = median_seconds(given), peak_bytes(given)
            product = share_of(given, kernel, "_full")
            stopping = share_of(given, kernel.Columns, "stop")
            print(
                f"{checks:6}  {faults:6}  {1 << faults:6}  {nodes:7}  {took * 1e3:4.0f} ms  {peak / 1e6:3.0f} MB"
                f"  {product:7.0%}  {stopping:8.0%}"
            )
    print(f"largest resident size of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB")


if __name__ == "__main__":
    sizes()
    beside_a_solver()
