"""A part that fails again: the induction against other routes to the same figures, and what must hold for any part."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import approx_fprime
from scipy.stats import weibull_min

from econ.ahead import Component, ahead, root_cause
from econ.life import Life, service, survival
from econ.question import highest_part_price
from econ.wearout import fit_life
from econ.worth import Flows, discount_factors, worth_in_use

E = 12_000.0  # cents a year


def machine(age: float = 6.0, years: int = 12, price: float = 20_000.0) -> Flows:
    n = 12 * years
    t = np.arange(n + 1) / 12
    alive = survival(Life(10.0), age, t)
    upkeep = 2_000.0 * (1 + 0.04 * (age + t[:-1]))
    return Flows(alive, service(alive, 1 / 12), discount_factors(0.04, n), upkeep, price * 0.85**t, 500.0)


def walks(flows: Flows, share: float = 0.3) -> np.ndarray:
    return np.maximum(share * flows.sale, flows.scrap)


def test_without_the_part_it_is_the_worth_in_use() -> None:
    for price in (5_000.0, 20_000.0, 60_000.0):
        flows = machine(price=price)
        use = worth_in_use(flows, E, np.ones(1), np.ones(1), np.ones(1))
        found = ahead(flows, E, walks(flows), None)
        assert found.worth == pytest.approx(use.worth[0], rel=1e-12)
        assert found.years == pytest.approx(use.years[0], rel=1e-9)
        never = ahead(flows, E, walks(flows), Component(Life(1e6), 5_000.0))
        assert never.worth == pytest.approx(use.worth[0], rel=1e-9)
        assert never.repairs < 1e-8


def test_against_simulated_histories() -> None:
    """The same policy played out month by month with drawn lives (200,000 machines, fixed seed)."""
    flows, part = machine(), Component(Life(3.0, 2.0), 4_000.0, uncured=0.1)
    walk = walks(flows)
    found = ahead(flows, E, walk, part)
    last = found.walk_away(part.cost)
    assert last is not None
    rng, count = np.random.default_rng(20260510), 200_000
    s, d = flows.survival, flows.discount
    in_use, age = np.ones(count, dtype=bool), np.zeros(count)
    worth, repairs, cost = np.zeros(count), np.zeros(count), np.zeros(count)
    step = 1 / 12
    for k in range(flows.service.size):
        ends = in_use & (rng.random(count) >= s[k + 1] / s[k])
        earned = flows.service[k] / s[k] * (E - flows.upkeep[k])
        worth += d[k + 1] * (in_use * earned + ends * flows.scrap)
        in_use &= ~ends
        holds = survival(part.life, age, step)
        fails = in_use & (rng.random(count) >= holds)
        age += step
        mend = fails if k + 1 < last else np.zeros(count, dtype=bool)
        while mend.any():
            repairs += mend
            cost += mend * d[k + 1] * part.cost
            worth -= mend * d[k + 1] * part.cost
            age[mend] = step / 2
            mend = mend & (
                (rng.random(count) < part.uncured) | (rng.random(count) >= survival(part.life, 0.0, step / 2))
            )
        if k + 1 >= last:
            worth += fails * d[k + 1] * walk[k + 1]
            in_use &= ~fails
    worth += in_use * d[-1] * flows.sale[-1]

    def near(sample: np.ndarray) -> float:
        return 4 * float(sample.std()) / math.sqrt(count)

    held = ahead(flows, E, walk, part, sold="at_the_end")
    assert held.walk_away(part.cost) in (last - 1, last, last + 1)
    assert held.worth == pytest.approx(worth.mean(), abs=near(worth) + 5.0)
    assert held.repairs == pytest.approx(repairs.mean(), abs=near(repairs) + 0.002)
    assert held.repairs_cost == pytest.approx(cost.mean(), abs=near(cost) + 10.0)


def test_the_next_failure_comes_as_the_part_and_the_machine_last() -> None:
    flows, part = machine(), Component(Life(3.0, 2.0), 0.0)
    found = ahead(flows, E, walks(flows), part, sold="at_the_end")
    t = np.arange(flows.survival.size) / 12
    lasts = survival(part.life, 0.0, t)
    assert found.next_failure[1:] == pytest.approx((lasts[:-1] - lasts[1:]) * flows.survival[1:], rel=1e-9)
    assert found.next_step is not None
    done = np.cumsum(found.next_failure) / found.next_failure.sum()
    assert done[found.next_step - 1] < 0.5 <= done[found.next_step]


@pytest.mark.parametrize("age", [2.0, 9.0])
def test_paying_the_limit_is_as_good_as_walking_away(age: float) -> None:
    """A repair at exactly the limit leaves the owner indifferent: worth mended - limit / P(cured) = walking away."""
    flows, part = machine(age), Component(Life(4.0, 2.0), 3_000.0, uncured=0.2)
    walk = walks(flows)
    found = ahead(flows, E, walk, part)
    assert found.mended - found.limit / 0.8 == pytest.approx(walk, rel=1e-12)
    assert found.mended[0] == found.worth


parts = st.builds(
    Component,
    st.builds(Life, st.floats(0.3, 15), st.floats(0.7, 5)),
    st.floats(0, 30_000),
    st.floats(0, 0.8),
    st.booleans(),
)


@settings(deadline=None, max_examples=40)
@given(parts, st.floats(0, 15), st.floats(1.01, 3))
def test_a_dearer_or_shorter_lived_part_never_helps(part: Component, age: float, more: float) -> None:
    flows = machine(age)
    walk = walks(flows)
    found = ahead(flows, E, walk, part)
    dearer = ahead(flows, E, walk, Component(part.life, part.cost * more, part.uncured, part.renews))
    shorter = Life(part.life.median_years / more, part.life.shape)
    sooner = ahead(flows, E, walk, Component(shorter, part.cost, part.uncured, part.renews))
    plain = ahead(flows, E, walk, None)
    slack = 1e-6 * abs(plain.worth)
    assert dearer.worth <= found.worth + slack
    assert found.worth <= plain.worth + slack
    assert (dearer.limit <= found.limit + slack).all()
    if part.renews and part.life.shape >= 1:
        assert sooner.worth <= found.worth + 1e-3 * abs(plain.worth)
    assert found.worth >= flows.sale[0] - slack
    assert found.sells_at_once == (found.worth == flows.sale[0])
    kept = ahead(flows, E, walk, part, sold="at_the_end")
    mended = ahead(flows, E, walk, part, sold="once_mended")
    assert kept.worth <= mended.worth + slack <= found.worth + 2 * slack
    assert (mended.mended >= kept.mended - slack).all()
    assert 0 <= found.next_failure.sum() <= 1 + 1e-9
    assert found.repairs_cost <= part.cost * found.repairs + slack


def test_from_the_walk_away_step_on_no_repair_pays() -> None:
    flows = machine()
    found = ahead(flows, E, walks(flows), Component(Life(3.0), 4_000.0))
    step = found.walk_away(4_000.0)
    assert step is not None
    assert found.limit[step - 1] >= 4_000.0
    assert (found.limit[step:] < 4_000.0).all()
    assert found.walk_away(1e9) == 0
    assert found.walk_away(-1e9) is None


@pytest.mark.parametrize("at", [0.0, 0.1, 1.0, 4.0, 20.0])
def test_root_cause_is_bayes_rule(at: float) -> None:
    life, prior, share = Life(4.0, 2.1), 0.15, 0.3
    t = max(at, 1e-9)
    long = weibull_min.pdf(t, life.shape, scale=life.scale_years)
    short = weibull_min.pdf(t, life.shape, scale=life.scale_years * share)
    expected = prior * short / (prior * short + (1 - prior) * long)
    assert root_cause(life, at, prior, share) == pytest.approx(expected, rel=1e-6, abs=1e-300)


def test_a_failure_soon_raises_the_odds_and_a_late_one_lowers_them() -> None:
    life = Life(4.0, 2.0)
    odds = [root_cause(life, t) for t in (0.0, 0.5, 2.0, 4.0, 40.0)]
    assert odds == sorted(odds, reverse=True)
    assert odds[0] > 0.5
    assert odds[-1] < 1e-6
    assert (root_cause(life, 1.0, 0.0), root_cause(life, 1.0, 1.0)) == (0.0, 1.0)
    assert root_cause(life, 1.0, 0.2, 1.0) == pytest.approx(0.2)


def test_standard_errors_are_the_curvature_of_the_likelihood() -> None:
    failures, censored = [2.1, 3.4, 3.9, 5.0, 1.2], [4.0, 6.0]
    fit = fit_life(failures, censored)

    def less(x: np.ndarray) -> float:
        return -float(
            weibull_min.logpdf(failures, x[0], scale=x[1]).sum() + weibull_min.logsf(censored, x[0], scale=x[1]).sum()
        )

    best = np.array([fit.shape, fit.scale])
    assert approx_fprime(best, less, 1e-7) == pytest.approx([0, 0], abs=1e-4)
    curve = np.array([approx_fprime(best, lambda x, i=i: approx_fprime(x, less, 1e-5)[i], 1e-5) for i in (0, 1)])
    assert np.sqrt(np.diag(np.linalg.inv(curve))) == pytest.approx([fit.shape_error, fit.scale_error], rel=2e-3)


def test_with_a_known_shape_only_the_scale_is_fitted() -> None:
    fit = fit_life([3.0], [2.0, 2.0], shape=2.0)
    assert fit.scale == pytest.approx(math.sqrt(9 + 4 + 4))
    assert fit.shape_error is None
    assert fit.scale_error == pytest.approx(fit.scale / 2)
    assert fit_life([4.2] * 400, shape=1.0).scale_error == pytest.approx(4.2 / 20)


@pytest.mark.parametrize(
    ("failures", "censored", "message"),
    [
        ([], [2.0], "at least one"),
        ([3.0], [], "state the shape"),
        ([3.0, 3.0], [2.0], "state the shape"),
        ([3.0, 0.0], [], "above 0"),
        ([3.0, math.nan], [], "finite"),
    ],
)
def test_lives_that_tell_nothing_are_refused(failures: list, censored: list, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_life(failures, censored)


def test_the_highest_part_price_is_exact_and_knows_tiers() -> None:
    def marked(part: int) -> float:  # doubled up to 1000, half as much again above
        return 500 + (2 * part if part <= 1000 else 1.5 * part)

    for limit in (499.0, 500.0, 1501.0, 2001.0, 2100.0, 2499.9, 2500.0, 9000.0):
        known = [p for p in range(9001) if marked(p) <= limit]
        assert highest_part_price(marked, limit, [1000]) == (max(known) if known else None)
