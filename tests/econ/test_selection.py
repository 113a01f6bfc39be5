"""Selection under limits: against every choice there is, whatever way it is searched; and against a bare search."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import product
from typing import Any

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from econ import nearby, selection
from econ.money import IntArray
from econ.selection import FINE, Selection, select

Given = tuple[IntArray, IntArray, IntArray]


@st.composite
def problems(draw: st.DrawFn, most: int = 9, least_limits: int = 0) -> Given:
    """Return few finds, many of them alike, with numbers small and so large that tolerances swallow units."""
    size = draw(st.sampled_from([3, 20, 1000, 10**7, 10**11]))
    n, k = draw(st.integers(0, most)), draw(st.integers(least_limits, 4))
    value = draw(st.lists(st.integers(-size // 4, size), min_size=n, max_size=n))
    needs = [draw(st.lists(st.integers(0, size), min_size=n, max_size=n)) for _ in range(k)]
    limits = [draw(st.integers(0, max(sum(row), 1))) for row in needs]
    return np.array(value, np.int64), np.array(needs, np.int64).reshape(k, n), np.array(limits, np.int64)


def random_problem(n: int, k: int, seed: int, alike: int = 0) -> Given:
    """Return weakly correlated finds: value is what they need, within a tenth; with `alike`, of few different sizes."""
    draw = np.random.default_rng(seed)
    needs = draw.integers(1, alike or 1000, (k, n))
    value = needs.sum(axis=0) + draw.integers(-100, 101, n) // (100 if alike else 1)
    return value, needs, needs.sum(axis=1) * draw.integers(1, 4) // 4


@cache
def every_choice(n: int) -> IntArray:
    """Return all choices among n finds, a row each."""
    return np.array(list(product((0, 1), repeat=n)), np.int64).reshape(1 << n, n)


def best(problem: Given) -> int:
    """Return the value of the best of all choices."""
    value, needs, limits = problem
    choices = every_choice(len(value))
    keeps = (choices @ needs.T <= limits).all(axis=1)
    return int((choices @ value)[keeps].max())


def check(problem: Given, found: Selection) -> None:
    """Hold that the result says of itself what is so."""
    value, needs, limits = problem
    for chosen, worth in ((found.chosen, found.value), (found.ranked, found.ranked_value)):
        assert list(chosen) == sorted(set(chosen))
        assert all(value[i] > 0 for i in chosen)
        assert worth == sum(int(value[i]) for i in chosen)
        assert all(sum(int(row[i]) for i in chosen) <= limit for row, limit in zip(needs, limits, strict=True))
    assert found.used == tuple(sum(int(row[i]) for i in found.chosen) for row in needs)
    assert found.ranked_value <= found.value <= found.bound
    assert all(price >= 0 for price in found.prices)
    assert len(found.prices) == len(limits)
    assert found.fixed_in + found.fixed_out + found.dominated + found.searched in (0, len(value))


@pytest.fixture(params=["lists", "short lists", "HiGHS"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Search near the bound by lists, by lists that start short, or without them, so that HiGHS has to."""
    if request.param == "short lists":
        monkeypatch.setattr(selection, "FIRST", 1)
    if request.param == "HiGHS":
        monkeypatch.setattr(selection, "_near", lambda rest, prices, *_: (None, rest.margins(prices)[1] // FINE))
    return str(request.param)


@settings(max_examples=300, deadline=None)
@given(problems())
def test_proven_best_of_all_choices(problem: Given) -> None:
    found = select(*problem, gap=0.0)
    check(problem, found)
    assert found.value == found.bound == best(problem)
    assert found.proven
    assert found.gap == 0


@pytest.mark.parametrize("k", [1, 2, 3, 4])
@pytest.mark.parametrize("alike", [0, 4])
def test_proven_best_by_either_search(k: int, alike: int, way: str) -> None:
    searched = 0
    for seed in range(8):
        problem = random_problem(12, k, seed, alike)
        found = select(*problem, gap=0.0)
        check(problem, found)
        assert found.value == found.bound == best(problem)
        searched += found.searched
    assert searched or alike


@pytest.mark.parametrize("gap", [0.001, 0.02, 0.2])
def test_gap(gap: float, way: str) -> None:
    for seed in range(24):
        problem = random_problem(12, 1 + seed % 4, seed, seed % 2 * 5)
        found = select(*problem, gap=gap)
        check(problem, found)
        assert found.value <= best(problem) <= found.bound
        assert found.bound - found.value <= Fraction(gap) * found.value


def test_gap_where_finds_are_settled(way: str) -> None:
    """Better choices within the gap go when finds are settled; sometimes what is settled does not even fit."""
    missed = 0
    for seed in range(150):
        draw = np.random.default_rng(seed)
        needs = draw.integers(1, 40, (1, 6))
        problem = draw.integers(1, 60, 6) + needs.sum(axis=0) // 2, needs, needs.sum(axis=1) // 2
        found = select(*problem, gap=0.1)
        assert found.value <= best(problem) <= found.bound
        assert found.bound - found.value <= Fraction(0.1) * found.value
        missed += found.searched + found.fixed_out > 0 and found.value < best(problem)
    assert missed > 5


@settings(max_examples=200, deadline=None)
@given(problems(), st.sampled_from([0.001, 0.05, 0.5]))
def test_gap_of_any(problem: Given, gap: float) -> None:
    found = select(*problem, gap=gap)
    check(problem, found)
    assert found.value <= best(problem) <= found.bound
    assert found.bound - found.value <= Fraction(gap) * found.value


@settings(max_examples=200, deadline=None)
@given(problems(), st.randoms(use_true_random=False), st.sampled_from([0.0, 0.01]))
def test_order_does_not_matter(problem: Given, random: Any, gap: float) -> None:
    """Nor which of equal finds: the earlier are taken, so what is taken of each kind is the same."""
    value, needs, limits = problem
    order = list(range(len(value)))
    random.shuffle(order)
    one, other = select(*problem, gap=gap), select(value[order], needs[:, order], limits, gap=gap)
    kinds = [(int(v), *map(int, need)) for v, need in zip(value, needs.T, strict=True)]
    assert sorted(kinds[i] for i in one.chosen) == sorted(kinds[order[i]] for i in other.chosen)
    assert sorted(kinds[i] for i in one.ranked) == sorted(kinds[order[i]] for i in other.ranked)
    assert (one.value, one.bound, one.prices, one.searched) == (other.value, other.bound, other.prices, other.searched)
    for i in one.chosen:
        assert all(j in one.chosen for j in range(i) if kinds[j] == kinds[i])


def reduced(problem: Given, prices: list[float], target: int) -> Iterator[int]:
    """Yield the best worth of the finds as given, and after what can be settled is settled and left out."""
    value, needs, limits = problem
    fits = (value > 0) & (needs <= limits[:, None]).all(axis=0)
    order = np.flatnonzero(fits)[np.lexsort((*needs[::-1, fits], -value[fits]))]
    finds = selection._Finds(value[order], needs[:, order], limits)
    inside, left, lost, counts = selection._settle(finds, np.array(prices), target)
    rest = finds.within(left, inside)
    yield best((finds.value, finds.needs, limits))
    yield finds.worth(inside) + best((rest.value, rest.needs, rest.limits)) if rest.limits.min() >= 0 else 0
    yield lost
    yield counts[0] + counts[1] + counts[2]


@settings(max_examples=200, deadline=None)
@given(problems(least_limits=1), st.lists(st.floats(0, 5), min_size=4, max_size=4), st.integers(1, 50))
def test_settling_loses_no_better_choice(problem: Given, prices: list[float], short: int) -> None:
    """Whatever the prices: what is worth more than the target is still there; all else is within what is told lost."""
    target = best(problem) - short
    before, after, lost, _ = reduced(problem, prices[: len(problem[2])], target)
    assert after == before or before <= max(after, lost)
    assert before <= target or after == before


def test_settling_settles() -> None:
    """Of 20 times 12 finds of values that have little to do with needs, most."""
    settled = 0
    for seed in range(20):
        _, needs, limits = random_problem(12, 2, seed)
        problem = np.random.default_rng(seed + 100).integers(1, 2000, 12), needs, limits
        prices = list(select(*problem, gap=0.0).prices)
        before, after, _, counts = reduced(problem, prices, best(problem) - 1)
        assert after == before
        settled += counts
    assert settled > 120


@pytest.mark.parametrize("seed", range(40))
def test_near_choices_stop_short(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the loss looked at so far, the bound holds, and has come down by that loss or to the best."""
    monkeypatch.setattr(selection, "FIRST", 1)
    problem = random_problem(12, 1 + seed % 3, seed, 6)
    value, needs, limits = problem
    fits = (value > 0) & (needs <= limits[:, None]).all(axis=0)
    finds = selection._Finds(value[fits], needs[:, fits], limits)
    prices, _ = selection._relaxed(finds)
    looks: list[float] = []

    def best_near(*args: Any) -> Any:
        if len(looks) == seed % 5:
            raise nearby.TooManyError
        looks.append(args[-1])
        return nearby.best_near(*args)

    monkeypatch.setattr(selection, "best_near", best_near)
    taken, bound = selection._near(finds, prices, 0, 0, 1)
    worth = 0 if taken is None else finds.worth(taken)
    assert worth <= best(problem) <= bound
    assert bound <= max(worth, finds.margins(prices)[1] // FINE - int(max(looks, default=0)) + 1)


@settings(max_examples=200, deadline=None)
@given(problems(), st.sampled_from([0, 1, 3]))
def test_leaving_out_what_no_good_choice_has_loses_none(problem: Given, many: int) -> None:
    """As long lists are taken, whatever is looked at first."""
    whole = select(*problem, gap=0.0)
    with pytest.MonkeyPatch.context() as m:
        m.setattr(selection, "MANY", many)
        short = select(*problem, gap=0.0)
    check(problem, short)
    assert short.value == short.bound == best(problem)
    assert tuple(short.ranked) == tuple(whole.ranked)


@settings(max_examples=200, deadline=None)
@given(problems(30, 1), st.integers(1, 9))
def test_the_best_by_rate_block_by_block(problem: Given, many: int) -> None:
    """As one by one: per unit of the first limit, then by value, then by the least needs, each that still fits."""
    value, needs, limits = problem
    rate = [Fraction(int(v), int(h)) if h else Fraction(10**15) for v, h in zip(value, needs[0], strict=True)]
    taken, left = [], limits.copy()
    for i in sorted(range(len(value)), key=lambda i: (-rate[i], -value[i], *needs[:, i].tolist())):
        if value[i] > 0 and (needs[:, i] <= left).all():
            taken.append(i)
            left -= needs[:, i]
    with pytest.MonkeyPatch.context() as m:
        m.setattr(selection, "MANY", many)
        found = select(*problem, gap=1e9)
    assert found.ranked.tolist() == sorted(taken)


@pytest.mark.parametrize("many", [50, 20_000])
def test_numbers_of_half_the_length(many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Same choice; what they add up to, and prices times needs, need not fit."""
    monkeypatch.setattr(selection, "MANY", many)
    draw = np.random.default_rng(8)
    value, needs = draw.integers(2**29, 2**31 - 1, 600), draw.integers(2**30, 2**31 - 1, (2, 600))
    limits = needs.sum(axis=1) // 4
    long, short = select(value, needs, limits), select(value.astype(np.int32), needs.astype(np.int32), limits)
    assert long.chosen.tolist() == short.chosen.tolist()
    assert long.ranked.tolist() == short.ranked.tolist()
    for name in ("value", "used", "bound", "prices", "fixed_in", "fixed_out", "dominated", "searched"):
        assert getattr(long, name) == getattr(short, name)


def test_prices_of_few_finds_are_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first hundred by themselves leave nearly all of twenty thousand; with those worth most at the prices few."""
    draw = np.random.default_rng(4)
    value, needs = draw.integers(1, 50_000, 20_000), draw.integers(0, (6_000, 40_000), (20_000, 2)).T
    limits = np.array([40_000, 200_000])
    whole = select(value, needs, limits, gap=0.0)
    monkeypatch.setattr(selection, "MANY", 100)
    kept, usual = [], selection._kept
    monkeypatch.setattr(selection, "_kept", lambda *a: kept.append(len(usual(*a))) or usual(*a))
    short = select(value, needs, limits, gap=0.0)
    assert (short.value, short.bound) == (whole.value, whole.bound)
    assert kept[0] < 2_000


def test_enough_for_all() -> None:
    """Everything that leaves something is taken, and one more unit of a limit is worth nothing."""
    value, needs, _ = random_problem(300, 2, 6)
    value[::7] = -1
    found = select(value, needs, needs.sum(axis=1))
    assert found.chosen.tolist() == found.ranked.tolist() == np.flatnonzero(value > 0).tolist()
    assert (found.bound, found.prices) == (found.value, (0.0, 0.0))
    check((value, needs, needs.sum(axis=1)), found)


def test_a_long_list() -> None:
    """Of three hundred thousand finds most are left out at once; the choice is proven to a thousandth, and keeps."""
    draw = np.random.default_rng(5)
    n = 300_000
    value, needs = draw.integers(100, 50_000, n), draw.integers(100, 6_000, (2, n))
    found = select(value, needs, np.array([40_000, 90_000]))
    assert found.gap <= 0.001
    assert (needs[:, list(found.chosen)].sum(axis=1) <= [40_000, 90_000]).all()
    assert found.ranked_value <= found.value


@settings(max_examples=200, deadline=None)
@given(problems(least_limits=1))
def test_bound_holds_at_any_prices(problem: Given) -> None:
    value, needs, limits = problem
    for price in (0.0, 1e-30, 0.3, 7.0, 1e9):
        _, upper = selection._Finds(value, needs, limits).margins(np.full(len(limits), price))
        assert upper >= best(problem) * FINE


def test_dominated_by_hand() -> None:
    """Of the limit of 10: 6 and 5 do not go together, so the 5 of less value than the 4 and 5 beside it can go."""
    finds = selection._Finds(np.array([9, 8, 8, 3]), np.array([[6, 4, 5, 5]]), np.array([10]))
    assert finds.dominated().tolist() == [False, False, False, True]


def test_equal_finds_are_left_out_in_order() -> None:
    finds = selection._Finds(np.full(700, 5), np.full((1, 700), 2), np.array([9]))
    assert np.flatnonzero(~finds.dominated()).tolist() == [0, 1, 2, 3]


def test_earliest_of_equal() -> None:
    found = select(np.array([5, 7, 5, 5]), np.array([[2, 2, 2, 2]]), np.array([5]), gap=0.0)
    assert tuple(found.chosen) == (0, 1)


def test_shadow_prices_by_hand() -> None:
    """Finds of 60, 50 and 40 that need 2, 2 and 4 hours, of 5 there are: a third hour of the last is worth 10.

    Space for two holds back nobody, since no more than two and a quarter finds are taken, of 3 places there are.
    """
    value, needs = np.array([60, 50, 40]), np.array([[2, 2, 4], [1, 1, 1]])
    found = select(value, needs, np.array([5, 3]), gap=0.0)
    assert found.prices == pytest.approx((10.0, 0.0))
    assert (tuple(found.chosen), found.value, found.used) == ((0, 1), 110, (4, 2))


def test_shadow_price_of_another_unit() -> None:
    """Where finds of one hour each can be taken to the last hour, another hour brings its price."""
    value, needs = np.array([90, 80, 70, 60]), np.ones((1, 4), np.int64)
    two, three = (select(value, needs, np.array([hours]), gap=0.0) for hours in (2, 3))
    assert three.value - two.value == 70
    assert 70 <= two.prices[0] <= 80
    assert 60 <= three.prices[0] <= 70


def test_ranked_by_hand() -> None:
    """By value an hour: the one that needs none, then 40 in 2, then 50 in 4, which is too long; then 9 in 1."""
    value, needs = np.array([50, 9, 40, 1]), np.array([[4, 1, 2, 0], [1, 1, 1, 1]])
    found = select(value, needs, np.array([5, 3]), gap=0.0)
    assert (tuple(found.ranked), found.ranked_value) == ((1, 2, 3), 50)
    assert (tuple(found.chosen), found.value) == ((0, 1, 3), 60)


def test_without_limits() -> None:
    found = select(np.array([3, -1, 0, 5]), np.zeros((0, 4), np.int64), np.zeros(0, np.int64))
    assert (tuple(found.chosen), found.value, found.bound, found.used, found.prices) == ((0, 3), 8, 8, (), ())
    assert tuple(found.ranked) == (0, 3)


def test_nothing_to_take() -> None:
    none = np.zeros(0, np.int64)
    for problem in ((none, none[None], np.array([4])), (np.array([-3, 9]), np.array([[1, 5]]), np.array([4]))):
        found = select(*problem)
        assert (tuple(found.chosen), found.value, found.bound, found.gap, found.proven) == ((), 0, 0, 0.0, True)


def test_when_the_nodes_run_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nearby, "STATES", 1)
    problem = random_problem(200, 3, 1)
    short, full = select(*problem, gap=0.0, nodes=1), select(*problem, gap=0.001)
    assert not short.proven
    assert short.gap == short.bound / short.value - 1 > 0
    assert short.value <= full.bound
    assert full.value <= short.bound


def test_when_highs_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the search the choice known stands with the bound known; without prices there is nothing to go by."""
    failed = scipy.optimize.OptimizeResult(status=4, message="it went wrong", x=None)
    problem = random_problem(12, 2, 3)
    with monkeypatch.context() as m:
        m.setattr(nearby, "STATES", 1)
        m.setattr(scipy.optimize, "milp", lambda *_, **__: failed)
        found = select(*problem, gap=0.0)
    check(problem, found)
    assert found.value <= best(problem) <= found.bound
    assert not found.proven
    monkeypatch.setattr(scipy.optimize, "linprog", lambda *_, **__: failed)
    with pytest.raises(ArithmeticError, match="it went wrong"):
        select(*problem)


@pytest.mark.parametrize(("k", "size"), [(1, 1000), (2, 100), (3, 30)])
def test_two_thousand_finds(k: int, size: int) -> None:
    """As good as one call of HiGHS; of numbers that it comes to an end with."""
    draw = np.random.default_rng(k)
    value, needs = draw.integers(1, size, 2000), draw.integers(1, size, (k, 2000))
    limits = needs.sum(axis=1) // 4
    bare = scipy.optimize.milp(
        -value.astype(float),
        integrality=np.ones(2000),
        bounds=scipy.optimize.Bounds(0, 1),
        constraints=scipy.optimize.LinearConstraint(needs.astype(float), -np.inf, limits.astype(float)),
        options={"mip_rel_gap": 0.0},
    )
    found = select(value, needs, limits, gap=0.0)
    check((value, needs, limits), found)
    assert bare.status == 0
    assert found.proven
    assert 0 < found.searched < 1200
    assert found.value == round(-bare.fun)


GOOD = (np.array([5, 6]), np.array([[1, 2]]), np.array([2]))
BAD: dict[str, tuple[Any, ...]] = {
    "shapes": (GOOD[0], np.array([[1, 2, 3]]), GOOD[2]),
    r"\(n,\), \(k, n\) and \(k,\)": (GOOD[0], np.array([1, 2]), GOOD[2]),
    "value must be int64": (np.array([5.0, 6.0]), GOOD[1], GOOD[2]),
    "needs must not be negative": (GOOD[0], np.array([[1, -2]]), GOOD[2]),
    "limits must not be negative": (GOOD[0], GOOD[1], np.array([-1])),
    r"value, and the needs .* less than 2\*\*53": (np.array([2**52, 2**52]), GOOD[1], GOOD[2]),
    r"needs of each limit, must add up to less than 2\*\*53": (GOOD[0], np.array([[2**62, 2**62]]), GOOD[2]),
    r"limits must be below 2\*\*53": (GOOD[0], GOOD[1], np.array([2**53])),
    "gap must be": (*GOOD, -0.1),
    "gap must be a number": (*GOOD, float("nan")),
    "nodes must be": (*GOOD, 0.0, 0),
}


@pytest.mark.parametrize("rule", BAD)
def test_what_can_not_be_asked(rule: str) -> None:
    with pytest.raises(ValueError, match=rule):
        select(*BAD[rule])
