"""The 0/1 knapsack problems P01 to P08 of Burkardt's collection, through the program of a basket and by selection."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from econ.integer import Row, solve
from econ.selection import select

from .figures import entry

INSTANCES: dict[str, Any] = entry("knapsack_examples", "knapsack_01")["values"]


@pytest.mark.parametrize("name", INSTANCES)
def test_knapsack(name: str) -> None:
    v = INSTANCES[name]
    fits = Row(dict(enumerate(v["weights"])), most=v["capacity"])
    found = solve([-p for p in v["profits"]], [1] * len(v["profits"]), [fits])
    assert found is not None
    assert -found.cost == v["optimal_profit"]
    assert found.proven
    assert list(found.values) == v["selection"]
    assert sum(w for w, x in zip(v["weights"], found.values, strict=True) if x) == v["optimal_weight"]


@pytest.mark.parametrize("name", INSTANCES)
def test_knapsack_by_selection(name: str) -> None:
    v = INSTANCES[name]
    found = select(np.array(v["profits"]), np.array([v["weights"]]), np.array([v["capacity"]]), gap=0.0)
    assert (found.value, found.bound) == (v["optimal_profit"], v["optimal_profit"])
    assert tuple(found.chosen) == tuple(i for i, x in enumerate(v["selection"]) if x)
    assert found.used == (v["optimal_weight"],)
