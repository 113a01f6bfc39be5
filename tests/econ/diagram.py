"""A plan's problem as an ordinary influence diagram, for the solvers of other libraries.

One round for each check: a decision which check to make, or none, and a chance node with its result, "nothing" where
none is made; last the decision which course to take. Nothing is forgotten. What the diagram can't draw, a check made
twice, one whose requirement is not made, a course that a hold bars, costs more than any course brings. Faults are
nodes of their own. Tracing costs by an entropy, which no table of utilities holds: its cost must be nothing.

References: R. A. Howard and J. E. Matheson, Influence diagrams, 1984; S. L. Lauritzen and D. Nilsson, Representing and
solving decision problems with limited information, Management Science 47(9), 2001 (both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from econ.stopping import Choice, Look

FORBIDDEN = -1e5


@dataclass(frozen=True)
class Faulty:
    """A problem of the plan over all sets of n independent faults, first fault in the lowest bit of a state."""

    odds: np.ndarray
    choices: Sequence[Choice]
    looks: Sequence[Look]
    prices: Mapping[str, float]

    @property
    def weights(self) -> np.ndarray:
        bits = np.arange(1 << self.odds.size)[:, None] >> np.arange(self.odds.size) & 1
        weights: np.ndarray = np.prod(np.where(bits, self.odds, 1 - self.odds), axis=1)
        return weights


def drawn(seed: int, faults: int, checks: int) -> Faulty:
    """Return an invented problem: shared strip-down with credit, a requirement, a hold, put-back, a lost price."""
    rng = np.random.default_rng(seed)
    m = 1 << faults
    bits = np.arange(m)[:, None] >> np.arange(faults) & 1
    sale = rng.uniform(20, 60, m)
    choices = [
        Choice("some", 150 - bits @ rng.uniform(-20, 160, faults), credit={"strip": 4.0}, mends={"drips": 7.0}),
        Choice("all", 90 - bits @ rng.uniform(-40, 60, faults), sale - 25, None, {"strip": 4.0}),
        Choice("keep", 120 - bits @ rng.uniform(40, 160, faults), keeps=True, shuts=True, sale=sale),
        Choice("sell", sale, shuts=True, sale=sale),
    ]
    looks = []
    for j in range(checks):
        rows = rng.dirichlet(np.full(2 + j % 2, 0.25), size=m).T
        opens = j == checks - 1
        looks.append(
            Look(
                f"look{j}",
                rows,
                float(rng.uniform(0, 2)),
                frozenset({"strip"}) if j else frozenset(),
                frozenset({"look0"}) if opens and j and seed % 2 else frozenset(),
                (*(frozenset(),) * (rows.shape[0] - 1), frozenset({"drips"})) if j == 1 else (),
                3.0 if opens else 0.0,
                0.2 if opens else 0.0,
            )
        )
    return Faulty(rng.uniform(0.1, 0.5, faults), choices, looks, {"strip": 6.0})


def path_worth(problem: Faulty, checks: Sequence[int], results: Sequence[int], choice: Choice) -> tuple[float, float]:
    """Return what a course brings besides its worth after checks with results, and the share of its price then lost.

    checks: number of the check in each round, 0 for none, else one more than its place; results likewise.
    """
    made: list[Look] = []
    total, kept, shut = 0.0, 1.0, 0.0
    holds: set[str] = set()
    done: set[str] = set()
    for c, r in zip(checks, results, strict=True):
        if (c == 0) != (r == 0):
            continue  # has no chance
        if c == 0:
            continue
        look = problem.looks[c - 1]
        if look in made or not look.requires <= {x.id for x in made}:
            total += FORBIDDEN
            continue
        total -= look.cost + sum(problem.prices[o] for o in look.operations - done)
        done |= look.operations
        shut += look.put_back
        kept *= 1 - look.drop
        if look.holds and r <= len(look.holds):
            holds |= look.holds[r - 1]
        made.append(look)
    total += sum(x for o, x in (choice.credit or {}).items() if o in done)
    total -= shut * choice.shuts
    total -= sum((choice.mends or {}).get(hold, 0.0) for hold in holds)
    total += FORBIDDEN * (choice.keeps and bool(holds))
    return total, (1 - kept) * (choice.sale is not None)


def pyagrum_diagram(problem: Faulty) -> Any:
    """Return a problem as pyAgrum's influence diagram."""
    import pyagrum as gum

    n, rounds = problem.odds.size, len(problem.looks)
    most = max(x.rows.shape[0] for x in problem.looks)
    courses: list[tuple[Choice, np.ndarray]] = []
    for c in problem.choices:
        courses += [(c, w) for w in (c.worth, c.given_up) if w is not None]
    net = gum.InfluenceDiagram()
    faults = [net.addChanceNode(gum.LabelizedVariable(f"fault{i}", "", 2)) for i in range(n)]
    decisions, shown = [], []
    for r in range(rounds):
        decisions.append(net.addDecisionNode(gum.LabelizedVariable(f"check{r}", "", rounds + 1)))
        shown.append(net.addChanceNode(gum.LabelizedVariable(f"result{r}", "", most + 1)))
    last = net.addDecisionNode(gum.LabelizedVariable("course", "", len(courses)))
    brings = net.addUtilityNode(gum.LabelizedVariable("brings", "", 1))
    costs = net.addUtilityNode(gum.LabelizedVariable("costs", "", 1))
    for r in range(rounds):
        for parent in (*faults, decisions[r]):
            net.addArc(parent, shown[r])
        net.addArc(shown[r], decisions[r + 1] if r + 1 < rounds else last)
    for parent in (*faults, *decisions, last):
        net.addArc(parent, brings)
    for parent in (*decisions, *shown, last):
        net.addArc(parent, costs)
    for i, p in enumerate(problem.odds):
        net.cpt(faults[i]).fillWith([1 - p, p])
    names = [f"fault{i}" for i in range(n)]
    for state in range(1 << n):
        at = {name: state >> i & 1 for i, name in enumerate(names)}
        for r in range(rounds):
            for c in range(rounds + 1):
                row = np.zeros(most + 1)
                if c:
                    column = problem.looks[c - 1].rows[:, state]
                    row[1 : 1 + column.size] = column
                else:
                    row[0] = 1.0
                net.cpt(shown[r])[{**at, f"check{r}": c}] = row.tolist()
    paths = list(product(range(rounds + 1), repeat=rounds))
    for checks, (k, (choice, worth)) in product(paths, enumerate(courses)):
        chosen = {f"check{r}": c for r, c in enumerate(checks)} | {"course": k}
        lost = path_worth(problem, checks, [int(c > 0) for c in checks], choice)[1]
        for state in range(1 << n):
            sale = 0.0 if choice.sale is None else float(choice.sale[state])
            at = {name: state >> i & 1 for i, name in enumerate(names)}
            net.utility(brings)[{**at, **chosen}] = float(worth[state]) - lost * sale
        for results in product(range(most + 1), repeat=rounds):
            seen = {f"result{r}": k for r, k in enumerate(results)}
            net.utility(costs)[{**chosen, **seen}] = path_worth(problem, checks, results, choice)[0]
    return net


def pyagrum_value(net: Any) -> float:
    """Return the greatest expected utility of a diagram, every decision knowing all that came before it."""
    import pyagrum as gum

    engine = gum.ShaferShenoyLIMIDInference(net)
    rounds = sum(name.startswith("check") for name in net.names())
    engine.addNoForgettingAssumption([*(f"check{r}" for r in range(rounds)), "course"])
    engine.makeInference()
    return float(engine.MEU()["mean"])
