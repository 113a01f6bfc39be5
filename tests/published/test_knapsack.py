"""The 0/1 knapsack problems P01 to P08 of Burkardt's collection, through the same program that chooses a basket."""

from __future__ import annotations

from typing import Any

import pytest

from econ.integer import Row, solve

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
