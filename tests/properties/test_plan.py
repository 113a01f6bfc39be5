"""The plan against full enumeration of every policy on small random problems, and what must hold of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest

from econ.plan import Plan, make_plan
from econ.stopping import Choice, Look, Suspect

NONE, DRIPS, CRACKED = frozenset(), frozenset({"drips"}), frozenset({"cracked"})


def random_problem(seed: int) -> tuple[np.ndarray, list[Choice], list[Look], dict[str, float], float]:
    rng = np.random.default_rng(seed)
    m = int(rng.integers(2, 5))
    weights = rng.dirichlet(np.ones(m))
    groups = rng.dirichlet(np.ones(3), size=m)[:, :2]
    choices = [
        Choice("mend", rng.normal(20, 60, m), rng.normal(0, 30, m), groups, {"strip": 4.0}, mends={"drips": 7.0}),
        Choice("mend more", rng.normal(10, 60, m), credit={"strip": 4.0}, mends={"drips": 0.0, "cracked": 3.0}),
        Choice("keep", rng.normal(10, 40, m), keeps=True, shuts=True, sale=rng.uniform(5, 20, m)),
        Choice("scrap", np.full(m, 5.0)),
    ]
    looks = []
    for i, results in enumerate(rng.integers(2, 4, size=3)):
        rows = rng.dirichlet(np.ones(int(results)), size=m).T
        looks.append(
            Look(
                f"look{i}",
                rows,
                float(rng.uniform(0, 4)),
                frozenset({"strip"}) if i else frozenset(),
                frozenset({"look0"}) if i == 2 and seed % 2 else frozenset(),
                (NONE, DRIPS, *(NONE,) * (int(results) - 2))
                if i == 1
                else (DRIPS | CRACKED, *(NONE,) * (int(results) - 1))
                if i == 2
                else (),
                3.0 if i == 2 else 0.0,
                0.2 if i == 2 else 0.0,
                i == 0 and seed % 3 == 0,
            )
        )
    return weights, choices, looks, {"strip": 6.0}, float(rng.uniform(0, 5))


def best_by_enumeration(
    w: np.ndarray,
    choices: list[Choice],
    looks: list[Look],
    prices: dict[str, float],
    trace: float,
    least: float = 0.0,
    suspects: Sequence[Suspect] = (),
) -> float:
    """Return the best value by trying every check and every course at every point, straight from the definitions.

    least: a check that gains no more than this at a point is not made there.
    """

    def opened(weights: np.ndarray, made: list[tuple[Look, int]]) -> set[str]:
        by_result = {hold for look, k in made if look.holds for hold in look.holds[k]}
        return by_result | {x.hold for x in suspects if weights[x.present == 1].sum() >= x.share * weights.sum()}

    def stop(weights: np.ndarray, made: list[tuple[Look, int]]) -> float:
        mass = weights.sum()
        holds = opened(weights, made)
        done = {o for look, _ in made for o in look.operations}
        shut = sum(look.put_back for look, _ in made)
        kept = np.prod([1 - look.drop for look, _ in made])
        values = []
        for c in choices:
            value = weights @ c.worth
            if c.fails is not None:
                seen = weights @ c.fails
                q = seen[seen > 0] / seen.sum()
                value -= trace * seen.sum() * -(q * np.log2(q)).sum()
            if c.given_up is not None:
                value = max(value, weights @ c.given_up)
            value += mass * sum(x for o, x in (c.credit or {}).items() if o in done)
            value -= mass * shut * c.shuts
            if c.sale is not None:
                value -= (1 - kept) * (weights @ c.sale)
            value -= mass * sum((c.mends or {}).get(hold, 0.0) for hold in holds)
            if not (c.keeps and holds):
                values.append(value)
        return max(values)

    def best(weights: np.ndarray, made: list[tuple[Look, int]]) -> float:
        value = at_once = stop(weights, made)
        have = {look.id for look, _ in made}
        done = {o for look, _ in made for o in look.operations}
        for look in looks:
            if look.id in have or not look.requires <= have:
                continue
            if look.runs and opened(weights, made):
                continue
            cost = look.cost + sum(prices[o] for o in look.operations - done)
            below = sum(best(weights * row, [*made, (look, k)]) for k, row in enumerate(look.rows))
            value = max(value, below - cost * weights.sum())
        return float(value if value > at_once + least * weights.sum() else at_once)

    return best(w, [])


@pytest.mark.parametrize("seed", range(40))
def test_plan_is_the_best_of_all_policies(seed: int) -> None:
    problem = random_problem(seed)
    plan = make_plan(*problem)
    assert plan.value == pytest.approx(best_by_enumeration(*problem), rel=1e-9, abs=1e-6)
    assert plan.stopping <= plan.value + 1e-9
    assert all(step.worth >= -1e-9 for step in plan.steps if step.id == "look0"), "a check that opens no hold"


@pytest.mark.parametrize("seed", range(40))
def test_a_check_that_gains_a_trifle_is_not_made(seed: int) -> None:
    """At each point going on beats stopping by more than the least gain; by every policy with that rule."""
    problem = random_problem(seed)
    for least in (1.0, 5.0, 20.0):
        plan = make_plan(*problem, least=least)
        assert plan.value == pytest.approx(best_by_enumeration(*problem, least), rel=1e-9, abs=1e-6)
        assert plan.first is None or plan.value > plan.stopping + least
        assert plan.value <= make_plan(*problem).value + 1e-9


@pytest.mark.parametrize("seed", range(60))
def test_a_likely_fault_opens_its_hold(seed: int) -> None:
    """Where a result makes a fault likelier than its share: one that opens a hold by a result too, one of its own."""
    problem = random_problem(seed)
    weights = problem[0]
    rng = np.random.default_rng(seed)
    faults = [(rng.random(weights.size) < 0.5).astype(float) for _ in range(2)]
    suspects = [Suspect("drips", faults[0], 0.5), Suspect("cracked", faults[1], 0.7)]
    plan = make_plan(*problem, suspects=suspects)
    assert plan.value == pytest.approx(best_by_enumeration(*problem, suspects=suspects), rel=1e-9, abs=1e-6)
    free = make_plan(*problem)
    assert plan.value <= free.value + 1e-9
    assert [plan.perfect, {x.id: x.evsi for x in plan.steps}] == [
        free.perfect,
        pytest.approx({x.id: x.evsi for x in free.steps}, abs=1e-9),
    ], "holds are no part of what a result is worth by itself"


def gross(seed: int) -> tuple[np.ndarray, list[Choice], list[Look], dict[str, float], float]:
    """Return a random problem whose checks only tell: free, no hold, nothing opened, nothing saved on a repair."""
    weights, choices, looks, _, trace = random_problem(seed)
    plain = [Look(x.id, x.rows, requires=x.requires) for x in looks]
    return weights, [replace(c, credit=None) for c in choices], plain, {}, trace


@pytest.mark.parametrize("seed", range(60))
def test_worth_of_knowing_lies_between_nothing_and_all(seed: int) -> None:
    """0 <= EVSI <= EVPI for each check by itself, and stopping <= plan <= all known (Raiffa and Schlaifer 1961)."""
    plan = make_plan(*gross(seed))
    evpi = plan.perfect - plan.stopping
    assert all(-1e-9 <= step.worth <= evpi + 1e-9 for step in plan.steps)
    tie = 3e-6 * abs(plan.value)  # a check worth less than that at a node is not made
    assert all(step.worth <= plan.value - plan.stopping + tie for step in plan.steps), "the plan may make any of them"
    assert plan.stopping - 1e-9 <= plan.value <= plan.perfect + 1e-9


@pytest.mark.parametrize("seed", range(60))
def test_a_result_by_itself_is_worth_between_nothing_and_all(seed: int) -> None:
    """With costs, holds, closing and what is spared a repair: 0 <= EVSI <= EVPI, as if the checks only told.

    References: H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961.
    """
    weights, choices, looks, prices, trace = random_problem(seed)
    plan = make_plan(weights, choices, looks, prices, trace)
    plain = [replace(x, operations=frozenset(), holds=(), put_back=0.0, drop=0.0) for x in looks]
    told = {x.id: x.worth for x in make_plan(weights, choices, plain, prices, trace).steps}
    assert {x.id: x.evsi for x in plan.steps} == pytest.approx(told, abs=1e-9)
    assert all(-1e-9 <= x.evsi <= plan.perfect - plan.stopping + 1e-9 for x in plan.steps)
    assert any(abs(x.evsi - x.worth) > 0.1 for x in plan.steps), "the work of some check counts for something"


@pytest.mark.parametrize("seed", range(60))
def test_a_perfect_check_reaches_what_all_known_is_worth(seed: int) -> None:
    weights, choices, looks, prices, trace = gross(seed)
    perfect = Look("perfect", np.eye(weights.size))
    plan = make_plan(weights, choices, [perfect], prices, trace)
    assert plan.value == pytest.approx(plan.perfect, rel=1e-12)
    assert plan.steps[0].worth == pytest.approx(plan.perfect - plan.stopping, abs=1e-9)
    among = make_plan(weights, choices, [*looks, perfect], prices, trace)
    assert among.value == pytest.approx(plan.perfect, rel=1e-12)


@pytest.mark.parametrize("seed", range(60))
def test_one_more_check_never_lowers_the_value(seed: int) -> None:
    """With costs, holds and requirements: what is not made costs nothing; and without checks the plan is to stop."""
    weights, choices, looks, prices, trace = random_problem(seed)
    values = [make_plan(weights, choices, looks[:k], prices, trace) for k in range(4)]
    assert values[0].value == values[0].stopping
    assert values[0].first is None
    assert all(a.value <= b.value + 1e-9 for a, b in pairwise(values))
    rng = np.random.default_rng(seed)
    free = Look("free", rng.dirichlet(np.ones(2), size=weights.size).T)
    assert make_plan(weights, choices, [*looks, free], prices, trace).value >= values[3].value - 1e-9


@pytest.mark.parametrize("seed", range(60))
def test_the_order_in_which_checks_are_listed_does_not_matter(seed: int) -> None:
    """With costs, shared operations, a requirement and a hold, and whatever is left out."""
    weights, choices, looks, prices, trace = random_problem(seed)

    def told(plan: Plan) -> tuple[object, ...]:
        steps = {(s.id, round(s.worth, 7), round(s.cost, 7)) for s in plan.steps}
        return plan.value, plan.stopping, plan.perfect, plan.tree.chance, steps, set(plan.left_out)

    for limit in (20_000, 20):
        there = make_plan(weights, choices, looks, prices, trace, limit)
        for order in ([2, 1, 0], [1, 2, 0], [2, 0, 1]):
            back = make_plan(weights, choices, [looks[i] for i in order], prices, trace, limit)
            assert back.tree.check == there.tree.check
            for a, b in zip(told(there), told(back), strict=True):
                assert a == (pytest.approx(b, abs=1e-9) if isinstance(b, float) else b)


@pytest.mark.parametrize("seed", range(20))
def test_a_check_that_says_nothing_changes_nothing(seed: int) -> None:
    weights, choices, looks, prices, trace = random_problem(seed)
    dull = Look("dull", np.full((2, weights.size), 0.5), 0.01)
    with_it = make_plan(weights, choices, [*looks, dull], prices, trace)
    without = make_plan(weights, choices, looks, prices, trace)
    assert with_it.value == pytest.approx(without.value, abs=1e-9)
    assert next(s for s in with_it.steps if s.id == "dull").worth == pytest.approx(0, abs=1e-9)


def test_opening_is_a_vector_of_hidden_faults() -> None:
    """Two hidden faults at 0.2, worth 300, jobs 30 and 500, scrap 0, free opening: 235.20; "something" is less."""
    states = np.array(list(product((0, 1), repeat=2)))
    weights = np.prod(np.where(states, 0.2, 0.8), axis=1)
    a, b = states.T
    choices = [
        Choice("none", 300.0 * ((a + b) == 0)),
        Choice("a", 300.0 * (b == 0) - 30),
        Choice("b", 300.0 * (a == 0) - 500),
        Choice("scrap", np.zeros(4)),
    ]
    each = np.array([(a == x) & (b == y) for x, y in product((0, 1), repeat=2)], dtype=float)
    assert make_plan(weights, choices, [Look("open", each)]).value == pytest.approx(235.20)
    some = np.array([(a + b) == 0, (a + b) > 0], dtype=float)
    assert make_plan(weights, choices, [Look("open", some)]).value == pytest.approx(229.20)


def test_perfect_check_of_two_visible_faults() -> None:
    """Jobs 20 and 120, worth 400 restored, retest 15: best scope 312.50, with a perfect check 330.00, EVSI 17.50."""
    scopes = [
        Choice("a", np.array([380.0, 245.0])),
        Choice("b", np.array([245.0, 280.0])),
        Choice("ab", np.full(2, 260.0)),
    ]
    plan = make_plan(np.full(2, 0.5), scopes, [Look("perfect", np.eye(2))])
    assert plan.stopping == pytest.approx(312.50)
    assert plan.value == pytest.approx(330.00)
    assert plan.steps[0].worth == pytest.approx(17.50)


def test_checks_that_do_not_fit_are_named() -> None:
    weights, choices, looks, prices, trace = random_problem(3)
    plan = make_plan(weights, choices, looks, prices, trace, limit=4)
    assert plan.left_out
    assert plan.value <= make_plan(weights, choices, looks, prices, trace).value + 1e-9
