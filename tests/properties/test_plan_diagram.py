"""The plan against the influence diagram solver of pyAgrum (Shafer-Shenoy for limited memory, nothing forgotten)."""

from __future__ import annotations

import pytest

from econ.plan import Node, make_plan

from ..econ.diagram import drawn, pyagrum_diagram, pyagrum_value

pytestmark = pytest.mark.filterwarnings("ignore")  # of the other library, as it is imported


def depth(node: Node) -> int:
    return 0 if node.check is None else 1 + max(depth(x) for _, x in node.results)


def same(faults: int, checks: int, seed: int) -> int:
    p = drawn(seed, faults, checks)
    plan = make_plan(p.weights, p.choices, p.looks, p.prices)
    assert plan.value == pytest.approx(pyagrum_value(pyagrum_diagram(p)), abs=1e-6)
    return depth(plan.tree)


def test_two_checks_of_three_faults() -> None:
    """Value to 1e-6 on a dozen invented problems; among them are all kinds: no check, one, one after another."""
    assert {same(3, 2, seed) for seed in range(12)} == {0, 1, 2}


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_three_checks_of_four_faults(seed: int) -> None:
    same(4, 3, seed)
