"""Comparables fit: against statsmodels' OLS and RLM, and a textbook's used-car regression."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from econ.depreciation import CONDITION_STEP, ComparablesFit, fit_comparables
from econ.life import CONDITION_KAPPA

from .figures import load

LIND = load("lind_used_cars")
CONDITIONS = list(CONDITION_STEP)


def invented(seed: int, n: int) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Invented prices that fall with age and condition, every seventh of them wild."""
    rng = np.random.default_rng(seed)
    ages = rng.uniform(0, 15, n)
    conditions = [CONDITIONS[i] for i in rng.integers(0, 4, n)]
    steps = np.array([CONDITION_STEP[c] for c in conditions])
    logs = 6.5 - 0.12 * ages + 0.2 * steps + 0.15 * rng.standard_normal(n)
    logs[::7] += rng.choice([-1.5, 1.5], len(logs[::7]))
    return np.exp(logs), ages, conditions


def design(ages: np.ndarray, conditions: list[str] | None) -> np.ndarray:
    columns = [np.ones(len(ages)), ages]
    if conditions is not None:
        columns.append(np.array([CONDITION_STEP[c] for c in conditions], dtype=float))
    return np.column_stack(columns)


def figures(fit: ComparablesFit) -> tuple[list[float], list[float]]:
    values, errors = [fit.intercept, fit.slope], [fit.intercept_se, fit.slope_se]
    if fit.condition_effect is not None and fit.condition_se is not None:
        values.append(fit.condition_effect)
        errors.append(fit.condition_se)
    return values, errors


@pytest.mark.parametrize("with_condition", [False, True])
@pytest.mark.parametrize(("seed", "n"), [(1, 8), (2, 12), (3, 25), (4, 60), (5, 200)])
def test_plain_fit_equals_statsmodels_ols(seed: int, n: int, with_condition: bool) -> None:
    prices, ages, words = invented(seed, n)
    conditions = words if with_condition else None
    reference = sm.OLS(np.log(prices), design(ages, conditions)).fit()
    fit = fit_comparables(prices, ages, conditions, robust=False)
    values, errors = figures(fit)
    assert values == pytest.approx(reference.params, abs=1e-9)
    assert errors == pytest.approx(reference.bse, abs=1e-9)
    assert fit.spread == pytest.approx(np.sqrt(reference.scale), abs=1e-9)
    assert (fit.n, fit.robust) == (n, False)


@pytest.mark.parametrize("with_condition", [False, True])
@pytest.mark.parametrize(("seed", "n"), [(1, 8), (2, 12), (3, 25), (4, 60), (5, 200)])
def test_robust_fit_equals_statsmodels_rlm(seed: int, n: int, with_condition: bool) -> None:
    prices, ages, words = invented(seed, n)
    conditions = words if with_condition else None
    model = sm.RLM(np.log(prices), design(ages, conditions), M=sm.robust.norms.HuberT(t=1.345))
    reference = model.fit(maxiter=2000, tol=1e-13, scale_est="mad", cov="H1", conv="coefs")
    fit = fit_comparables(prices, ages, conditions)
    values, errors = figures(fit)
    assert values == pytest.approx(reference.params, abs=1e-6)
    assert errors == pytest.approx(reference.bse, abs=1e-6)
    assert fit.spread == pytest.approx(reference.scale, abs=1e-6)


def test_robust_fit_resists_what_the_plain_one_does_not() -> None:
    """The law the prices were invented with is -0.12 a year; a wild price moves the plain fit off it."""
    ages = np.arange(1.0, 13.0)
    prices = 700 * np.exp(-0.12 * ages) * np.exp(0.02 * (-1.0) ** np.arange(12))
    prices[0] = 15.0
    robust, plain = fit_comparables(prices, ages), fit_comparables(prices, ages, robust=False)
    assert abs(robust.slope + 0.12) < 0.02 < 0.1 < abs(plain.slope + 0.12)


def test_lind_used_cars_linear_as_printed() -> None:
    """Printed: price = 14.667 - 0.551 age. exp(price) goes in, so that its log is what the book fitted."""
    values = LIND["values"]
    fit = fit_comparables(np.exp(values["price"]), values["age"], robust=False)
    assert round(fit.intercept, 3) == values["printed"]["intercept"]
    assert round(fit.slope, 3) == values["printed"]["slope"]
    assert fit.intercept == pytest.approx(values["recomputed"]["linear"]["intercept"], abs=5e-9)
    assert fit.slope == pytest.approx(values["recomputed"]["linear"]["slope"], abs=5e-9)


def test_lind_used_cars_log_price() -> None:
    values = LIND["values"]
    fit = fit_comparables(values["price"], values["age"], robust=False)
    assert fit.intercept == pytest.approx(values["recomputed"]["log_price"]["intercept"], abs=5e-9)
    assert fit.slope == pytest.approx(values["recomputed"]["log_price"]["slope"], abs=5e-9)
    assert fit.predict([0.0, 10.0]) == pytest.approx(np.exp([2.99939767, 2.99939767 - 0.8023789]), rel=1e-7)


@pytest.mark.parametrize("robust", [True, False])
def test_prices_on_a_law_are_given_back(robust: bool) -> None:
    """Invented, without noise: the fit is the law itself, and money scales with money."""
    ages = np.array([1.0, 3.0, 4.0, 6.0, 9.0, 11.0])
    words = ["good", "fair", "poor", "restored", "fair", "good"]
    steps = np.array([CONDITION_STEP[w] for w in words])
    prices = 900 * np.exp(-0.1 * ages + 0.25 * steps)
    fit = fit_comparables(prices, ages, words, robust=robust)
    assert fit.predict(ages, words) == pytest.approx(prices, rel=1e-9)
    assert fit.condition_effect == pytest.approx(0.25, abs=1e-9)
    assert fit.predict(5.0) == pytest.approx(900 * np.exp(-0.5), rel=1e-9)
    hundredfold = fit_comparables(100 * prices, ages, words, robust=robust)
    assert hundredfold.predict(5.0) == pytest.approx(90000 * np.exp(-0.5), rel=1e-9)


def test_condition_is_left_out_where_it_does_not_vary() -> None:
    prices, ages, _ = invented(7, 9)
    fit = fit_comparables(prices, ages, ["good"] * 9)
    assert fit.condition_effect is None
    assert fit == fit_comparables(prices, ages)
    assert fit.predict(4.0, "poor") == fit.predict(4.0, "restored")


def test_conditions_are_the_same_words_as_those_of_life() -> None:
    assert list(CONDITION_STEP) == list(CONDITION_KAPPA)


GOOD = ([400.0, 350.0, 300.0, 250.0, 200.0], [1.0, 2.0, 3.0, 4.0, 5.0])


@pytest.mark.parametrize(
    ("prices", "ages", "conditions", "message"),
    [
        (GOOD[0][:4], GOOD[1][:4], None, "got 4 comparables; needs at least 5"),
        ([*GOOD[0][:4], 0.0], GOOD[1], None, "prices: got 0; must be a finite number, above 0"),
        ([*GOOD[0][:4], -20.0], GOOD[1], None, "prices: got -20"),
        ([*GOOD[0][:4], np.nan], GOOD[1], None, "prices: got nan"),
        ([*GOOD[0][:4], np.inf], GOOD[1], None, "prices: got inf"),
        (GOOD[0], [*GOOD[1][:4], np.nan], None, "ages: got nan"),
        (GOOD[0], GOOD[1][:4], None, "must be equal lists"),
        (GOOD[0], [3.0] * 5, None, "ages: all are 3"),
        (GOOD[0], GOOD[1], ["good"] * 4, "conditions: got 4 for 5"),
        (GOOD[0], GOOD[1], ["good"] * 4 + ["mint"], 'condition: got "mint"'),
        (
            GOOD[0],
            [1.0, 1.0, 2.0, 2.0, 2.0],
            ["good", "good", "fair", "fair", "fair"],
            "change only together",
        ),
    ],
)
def test_refusals_name_the_figure(
    prices: list[float], ages: list[float], conditions: list[str] | None, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        fit_comparables(prices, ages, conditions)
