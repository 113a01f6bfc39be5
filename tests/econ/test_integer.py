"""Whole-number programs: against every point there is, with numbers that floating point tolerances swallow."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
import pytest
import scipy.optimize
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from econ.integer import EXACT, Row, solve


@st.composite
def programs(draw: st.DrawFn) -> tuple[list[int], list[int], list[Row]]:
    size = draw(st.sampled_from([9, 1000, 10**7, 10**10]))
    number = st.integers(-size, size)
    n = draw(st.integers(1, 5))
    most = [draw(st.integers(0, 2)) for _ in range(n)]
    rows = []
    for _ in range(draw(st.integers(0, 3))):
        factors = [draw(number) for _ in range(n)]
        at = sum(
            f * draw(st.integers(0, m)) for f, m in zip(factors, most, strict=True)
        )  # a limit that some point meets
        limit = at + draw(st.integers(-1, 1))
        up = draw(st.booleans())
        rows.append(Row(dict(enumerate(factors)), least=None if up else limit, most=limit if up else None))
    return [draw(number) for _ in range(n)], most, rows


def best(cost: Sequence[int], most: Sequence[int], rows: Sequence[Row]) -> int | None:
    points = (x for x in product(*(range(m + 1) for m in most)) if all(row.holds(x) for row in rows))
    return min((sum(c * v for c, v in zip(cost, x, strict=True)) for x in points), default=None)


@settings(max_examples=300, deadline=None)
@given(programs())
def test_against_every_point(program: tuple[list[int], list[int], list[Row]]) -> None:
    cost, most, rows = program
    try:
        found = solve(cost, most, rows)
    except ArithmeticError:  # HiGHS gave up on it, and said so
        assume(False)
    if found is None:
        assert best(cost, most, rows) is None
    else:
        assert all(row.holds(found.values) for row in rows)
        assert found.cost == sum(c * x for c, x in zip(cost, found.values, strict=True)) == best(cost, most, rows)
        assert found.proven


def lying(monkeypatch: pytest.MonkeyPatch, values: Sequence[float], bound: float, status: int = 0) -> None:
    """Let the first search claim what it is told to, as tolerances may make HiGHS do."""
    honest, told = scipy.optimize.milp, []

    def milp(*args: Any, **options: Any) -> Any:
        if told:
            return honest(*args, **options)
        told.append(1)
        return scipy.optimize.OptimizeResult(
            x=np.array(values), status=status, mip_dual_bound=bound, message="it went wrong"
        )

    monkeypatch.setattr(scipy.optimize, "milp", milp)


FITS = Row({0: 3, 1: 2, 2: 2}, most=4)


def test_what_breaks_a_rule_when_rounded_is_searched_around(monkeypatch: pytest.MonkeyPatch) -> None:
    lying(monkeypatch, [0.9999, 1.0, 0.0], -9.0)
    found = solve([-5, -4, -3], [1, 1, 1], [FITS])
    assert found is not None
    assert (found.values, found.cost, found.proven) == ((0, 1, 1), -7, True)


def test_what_costs_more_when_rounded_is_searched_around(monkeypatch: pytest.MonkeyPatch) -> None:
    lying(monkeypatch, [1.0, 0.0, 0.0], -9.0)
    found = solve([-5, -4, -3], [1, 1, 1], [FITS])
    assert found is not None
    assert (found.values, found.cost, found.proven) == ((0, 1, 1), -7, True)


def test_a_search_that_stops_early_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    lying(monkeypatch, [1.0, 0.0, 0.0], -9.0, status=1)
    found = solve([-5, -4, -3], [1, 1, 1], [FITS])
    assert found is not None
    assert (found.cost, found.bound, found.proven) == (-5, -9, False)


def test_branches_that_run_out() -> None:
    """Sixty things in three bags, which takes HiGHS thousands of branches: with one there is a choice without proof."""
    draw = random.Random(1)  # noqa: S311 - no secret
    weights = [[draw.randint(1, 1000) for _ in range(60)] for _ in range(3)]
    cost = [-sum(column) - draw.randint(-100, 100) for column in zip(*weights, strict=True)]
    bags = [Row(dict(enumerate(row)), most=sum(row) // 2) for row in weights]
    found = solve(cost, [1] * 60, bags, nodes=1)
    assert found is not None
    assert all(bag.holds(found.values) for bag in bags)
    assert found.bound < found.cost
    assert not found.proven


@pytest.mark.parametrize(("gap", "cost"), [(0.8, -5), (0.7, -7)])
def test_a_point_within_the_gap_is_enough(gap: float, cost: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first search claims 5 at a bound of 9, which is within 0.8 of 5; else there is another search."""
    lying(monkeypatch, [1.0, 0.0, 0.0], -9.0)
    found = solve([-5, -4, -3], [1, 1, 1], [FITS], gap=gap)
    assert found is not None
    assert (found.cost, found.bound) == (cost, -9 if cost == -5 else cost)


@settings(max_examples=100, deadline=None)
@given(programs(), st.sampled_from([0.01, 0.2, 1.0]))
def test_gap_against_every_point(program: tuple[list[int], list[int], list[Row]], gap: float) -> None:
    cost, most, rows = program
    least = best(cost, most, rows)
    try:
        found = solve(cost, most, rows, gap=gap)
    except ArithmeticError:
        assume(False)
    assert (found is None) == (least is None)
    if found is not None and least is not None:
        assert found.bound <= least <= found.cost
        assert found.cost - found.bound <= gap * abs(found.cost)


def test_a_search_that_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    lying(monkeypatch, [0.0, 0.0, 0.0], 0.0, status=4)
    with pytest.raises(ArithmeticError, match="it went wrong"):
        solve([-5, -4, -3], [1, 1, 1], [FITS])


def test_nothing_keeps_the_rules() -> None:
    assert solve([1], [3], [Row({0: 2}, least=3, most=3)]) is None
    assert solve([], [], [Row({}, least=1)]) is None


def test_nothing_to_choose() -> None:
    found = solve([], [], [])
    assert found is not None
    assert (found.values, found.cost, found.proven) == ((), 0, True)


def test_numbers_that_floats_can_not_hold() -> None:
    with pytest.raises(ValueError, match="2\\*\\*53"):
        solve([EXACT], [1], [])
