"""How long a decision takes. Run by hand from the project folder: ``python -m tests.bench.bench_decision``."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from typing import Any
from unittest.mock import patch

import econ
from econ import verdict
from econ.breakeven import BreakEven
from econ.evidence import condition, prior_states
from econ.findings import hear
from tests.econ.network import network, pgmpy_engine, pgmpy_marginals
from tests.strategies import CLASS_IDS, QUICK_IDS, defaults, drawn_evidence, machine_class, read, rulebook_texts

CASES = 100
STARTS = 7
SEED = 0  # of a case with sixteen faults in play


def seconds(work: Callable[[], object], times: int) -> list[float]:
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        found.append(time.perf_counter() - begin)
    return found


def decisions() -> None:
    """Print the median and the 99th percentile of warm decisions over random cases of every class."""
    given = [read(drawn_evidence(i, seed, 1 + seed % 2, seed % 4)) for i in QUICK_IDS for seed in range(CASES)]
    econ.decide(*given[0], defaults())
    spent = sorted(seconds(lambda pair=pair: econ.decide(*pair, defaults()), 1)[0] for pair in given)
    at99 = spent[int(0.99 * (len(spent) - 1))]
    print(
        f"decision, warm, {len(spent)} cases: median {statistics.median(spent) * 1e3:.0f} ms, p99 {at99 * 1e3:.0f} ms"
    )


def largest() -> None:
    """Print the median warm decision of the class with the most faults and checks beside that of the others."""
    sizes = {i: len(machine_class(i).faults) + len(machine_class(i).checks) for i in CLASS_IDS}
    big = max(sizes, key=lambda i: sizes[i])
    took = {}
    for name, ids in ((big, [big]), ("the first three", QUICK_IDS)):
        given = [read(drawn_evidence(i, seed, 1, 1)) for i in ids for seed in range(30 // len(ids))]
        took[name] = statistics.median(
            seconds(lambda pair=pair: econ.decide(*pair, defaults()), 1)[0] for pair in given
        )
    both = ", ".join(f"{name} {x * 1e3:.0f} ms" for name, x in took.items())
    print(f"decision of the largest class ({sizes[big]} faults and checks) and of others: {both}")


def break_evens() -> None:
    """Print how long what would change the answer takes, as a ratio to the rest of the same decision."""
    given = [read(drawn_evidence(i, seed, 1 + seed % 2, seed % 4)) for i in QUICK_IDS for seed in range(CASES // 4)]
    ratios, spent, inputs = [], [], []
    real = verdict.turns

    def timed(*of: Any) -> BreakEven:
        begin = time.process_time()
        found = real(*of)
        spent.append(time.process_time() - begin)
        inputs.append(len(found.inputs))
        return found

    with patch.object(verdict, "turns", timed):
        for pair in given:
            begin = time.process_time()
            econ.decide(*pair, defaults())
            ratios.append(spent[-1] / (time.process_time() - begin - spent[-1]))
    ratios.sort()
    print(
        f"break-even of {statistics.median(inputs):.0f} inputs, {len(ratios)} cases: median "
        f"{statistics.median(spent) * 1e3:.0f} ms, {statistics.median(ratios):.1f} times the rest of the decision, "
        f"{ratios[int(0.99 * (len(ratios) - 1))]:.1f} times at p99, {ratios[-1]:.1f} at most"
    )


def posteriors() -> None:
    """Print the posterior of all faults in play beside pgmpy's variable elimination, same network and findings."""
    warnings.simplefilter("ignore")
    case, c = read(drawn_evidence("mower_blade_clutch", SEED, 1, 3))
    heard = hear(case, c)
    nodes, seen = network(case, c, heard.faults, {x.name: x.leak for x in heard.clues if x.leak})
    engine = pgmpy_engine(nodes)

    def ours() -> object:
        return condition(prior_states(heard.base_odds, heard.causes), heard.clues).marginal

    def theirs() -> object:
        return pgmpy_marginals(engine, seen, heard.faults)

    gap = float(abs(ours() - theirs()).max())
    a, b = statistics.median(seconds(ours, 15)), statistics.median(seconds(theirs, 3))
    print(
        f"posterior, {len(heard.faults)} faults, {len(heard.clues)} findings: {a * 1e3:.1f} ms; "
        f"pgmpy {b * 1e3:.0f} ms, {b / a:.0f} times as long; largest difference {gap:.1e}"
    )


def rulebooks() -> None:
    """Print how long reading and checking takes: one class of a new shelf, all of them, and all under an overlay."""
    overlay = '[overlay]\nid = "x"\ntitle = "x"\nsource = "x y"\n'
    overlay += '[change.class]\nweight_kg = 30\nweight_source = "x y"\n'
    ways = {
        "one class": lambda: econ.Shelf(rulebook_texts())[CLASS_IDS[0]],
        f"all {len(CLASS_IDS)} classes": lambda: list(econ.Shelf(rulebook_texts()).values()),
        "all of them with an overlay": lambda: econ.Shelf(rulebook_texts(), {"x.toml": overlay}),
    }
    for name, way in ways.items():
        print(f"rulebooks, {name}: {statistics.median(seconds(way, 15)) * 1e3:.0f} ms")


def starts() -> None:
    """Print start-up times as ratios: the command's help to an empty program, econ to numpy."""
    programs = {
        "python -c pass": ["-c", "pass"],
        "import numpy": ["-c", "import numpy"],
        "import econ": ["-c", "import econ"],
        "import econ and all it decides with": ["-c", "import econ; econ.decide; econ.read_case"],
        "mendworth --help": [
            "-c",
            "import sys; from api.command import main; sys.argv = ['mendworth', '--help']; main()",
        ],
    }
    took = {}
    for name, arguments in programs.items():
        run = [sys.executable, *arguments]
        if subprocess.run(run, capture_output=True, check=False).returncode:  # noqa: S603
            print(f"{name}: does not run")
            continue
        took[name] = statistics.median(seconds(lambda run=run: subprocess.run(run, capture_output=True), STARTS))  # noqa: S603
        print(f"{name}: {took[name] * 1e3:.0f} ms")
    for name, beside in (("mendworth --help", "python -c pass"), ("import econ", "import numpy")):
        if name in took:
            print(f"{name} / {beside}: {took[name] / took[beside]:.2f}")


if __name__ == "__main__":
    decisions()
    largest()
    break_evens()
    posteriors()
    rulebooks()
    starts()
