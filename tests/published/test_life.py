"""Weibull life: closed forms, 40 CFR 1054.107 useful lives and the spread of the EPA curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from econ.life import (
    CONDITION_KAPPA,
    WEIBULL_SHAPE,
    Life,
    cumulative_hazard,
    effective_age,
    median_years,
    service,
    survival,
)

from .figures import entry, load


def life_of(scale: float, shape: float) -> Life:
    return Life(median_years=scale * math.log(2) ** (1 / shape), shape=shape)


def mean_and_sd(life: Life) -> tuple[float, float]:
    """Moments by integrating survival: E[T] = int S, E[T^2] = 2 int t S."""
    mean, _ = quad(lambda t: survival(life, 0.0, t), 0.0, np.inf)
    square, _ = quad(lambda t: 2.0 * t * survival(life, 0.0, t), 0.0, np.inf)
    return mean, math.sqrt(square - mean**2)


@pytest.mark.parametrize("row", entry("weibull", "conditional_survival")["values"])
def test_conditional_survival(row: dict) -> None:
    life = life_of(row["scale"], row["shape"])
    assert survival(life, row["age"], row["further"]) == pytest.approx(row["survival"], abs=5e-9)
    # Half as long at twice the pace is the same use.
    assert survival(life, row["age"], row["further"] / 2, pace=2.0) == pytest.approx(row["survival"], abs=5e-9)


@pytest.mark.parametrize("row", entry("weibull", "mttf_and_percentiles")["values"])
def test_mean_spread_and_percentiles(row: dict) -> None:
    life = life_of(1.0, row["shape"])
    assert mean_and_sd(life) == pytest.approx((row["mttf_over_eta"], row["sd_over_eta"]), abs=2e-6)
    # Percentiles are printed to 1e-6 of the scale; S moves by the density times that.
    slack = 1e-5 if row["shape"] < 1 else 1e-6
    assert survival(life, 0.0, row["B10_over_eta"]) == pytest.approx(0.9, abs=slack)
    assert survival(life, 0.0, row["B50_over_eta"]) == pytest.approx(0.5, abs=slack)
    assert life.median_years == pytest.approx(row["B50_over_eta"], abs=5e-7)


def test_shape_gives_the_spread_of_the_epa_curve() -> None:
    """1/sqrt(7) to three digits, and the same figure from the EPA table itself (NATION.GRW)."""
    mean, sd = mean_and_sd(Life(10.0))
    assert Life(10.0).shape == WEIBULL_SHAPE
    assert round(sd / mean, 3) == round(1 / math.sqrt(7), 3)
    x, percent = np.array(load("epa_scrappage")["values"]["curve"]).T
    scrapped = np.diff(percent) / 100
    middle = (x[1:] + x[:-1]) / 2
    epa_mean = float(scrapped @ middle)
    epa_cv = math.sqrt(float(scrapped @ (middle - epa_mean) ** 2)) / epa_mean
    assert sd / mean == pytest.approx(epa_cv, abs=1e-3)


CLASS_I, CLASS_II, HANDHELD = "nonhandheld_class_I_h", "nonhandheld_class_II_h", "handheld_class_III_to_V_h"
MIDDLE = "extended_or_general_purpose"


@pytest.mark.parametrize(
    ("engine", "category", "equipment", "use", "years"),
    [
        (CLASS_I, MIDDLE, "lawn_mower", "residential", 250 / 25),
        (CLASS_I, "residential", "lawn_mower", "residential", 125 / 25),
        (CLASS_I, "commercial", "lawn_mower", "commercial", 500 / 406),
        (CLASS_I, MIDDLE, "rotary_tiller_under_6hp", "residential", 250 / 17),
        (CLASS_II, MIDDLE, "lawn_garden_tractor", "residential", 500 / 45),
        (HANDHELD, "medium", "chainsaw_under_6hp", "residential", 125 / 13),
        (HANDHELD, "medium", "trimmer_edger_brushcutter", "residential", 125 / 9),
    ],
)
def test_useful_life_over_yearly_use(engine: str, category: str, equipment: str, use: str, years: float) -> None:
    """40 CFR 1054.107 Table 1 hours over NONROAD2008a ACTIVITY.DAT hours per year."""
    hours = load("cfr_1054_107")["values"][engine][category]
    rows = [r for r in load("epa_activity")["values"] if (r["equipment"], r["use"]) == (equipment, use)]
    median = median_years(hours, rows[0]["hours_per_year"])
    assert median == pytest.approx(years, rel=1e-12)
    assert survival(Life(float(median)), 0.0, median) == pytest.approx(0.5, abs=1e-12)


def test_survival_is_finite_far_past_the_median_and_falls() -> None:
    """Design trap: S(a + t) / S(a) is 0/0 at twelve times the median life."""
    life = Life(10.0)
    t = np.arange(61) / 12
    for age in (0.0, 5.0, 30.0, 120.0, 1000.0):
        curve = survival(life, age, t)
        assert np.isfinite(curve).all()
        assert curve[0] == 1.0
        assert (np.diff(curve) <= 0).all()
    assert 0.0 < float(survival(life, 120.0, 1 / 12)) < 0.5
    with pytest.raises(ValueError, match="far too old"):
        survival(life, 1e200, 1.0)


def test_arrays_equal_scalars() -> None:
    life = Life(8.0)
    ages, times, paces = np.array([[0.0], [4.0], [96.0]]), np.array([0.0, 0.5, 3.0]), 1.3
    table = survival(life, ages, times, paces)
    assert table.shape == (3, 3)
    for i, age in enumerate(ages[:, 0]):
        for j, time in enumerate(times):
            assert table[i, j] == survival(life, age, time, paces)


def test_survival_chains() -> None:
    """S(t + u | a) = S(t | a) S(u | a + t), as for any life."""
    life = Life(9.0)
    whole = survival(life, 6.0, 5.0)
    assert whole == pytest.approx(survival(life, 6.0, 2.0) * survival(life, 8.0, 3.0), rel=1e-12)


def test_effective_age() -> None:
    assert effective_age("fair", years=9) == 9.0
    assert effective_age("poor", years=9) == pytest.approx(11.7)
    assert effective_age("good", years=9, hours=100, class_hours_per_year=25) == pytest.approx(2.8)
    mixed = effective_age(["restored", "fair"], years=[9, 9], hours=[np.nan, 50.0], class_hours_per_year=[25, 25])
    assert mixed.tolist() == [4.5, 2.0]
    assert list(CONDITION_KAPPA.values()) == sorted(CONDITION_KAPPA.values())


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"condition": "mint", "years": 3}, 'condition: got "mint"'),
        ({"condition": "fair"}, "both unknown"),
        ({"condition": "fair", "years": [3, np.nan]}, "both unknown"),
        ({"condition": "fair", "years": -1}, "years: got -1"),
        ({"condition": "fair", "hours": 40}, "class_hours_per_year: missing"),
        ({"condition": "fair", "hours": 40, "class_hours_per_year": 0}, "class_hours_per_year: got 0"),
    ],
)
def test_effective_age_refuses(arguments: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        effective_age(**arguments)


@pytest.mark.parametrize(("median", "shape"), [(0.0, 2.0), (-1.0, 2.0), (5.0, 0.0), (np.nan, 2.0), (5.0, np.inf)])
def test_life_refuses(median: float, shape: float) -> None:
    with pytest.raises(ValueError, match="must be a finite number, above 0"):
        Life(median, shape)


def test_service_adds_up_to_the_mean_life() -> None:
    """The sum of monthly service from new tends to the mean life, eta Gamma(1 + 1/shape)."""
    life = Life(10.0)
    months = service(survival(life, 0.0, np.arange(12 * 60 + 1) / 12), 1 / 12)
    expected = life.scale_years * math.gamma(1 + 1 / life.shape)
    assert months.shape == (720,)
    assert float(months.sum()) == pytest.approx(expected, rel=1e-6)


def test_service_in_yearly_steps_overstates_an_old_machine() -> None:
    """Design 4.3: a yearly trapezoid overstates the first year of an old machine by about half."""
    life = Life(10.0)
    monthly = service(survival(life, 35.0, np.arange(13) / 12), 1 / 12).sum()
    yearly = service(survival(life, 35.0, np.array([0.0, 1.0])), 1.0)[0]
    assert 1.3 < yearly / monthly < 2.2
    with pytest.raises(ValueError, match="one point"):
        service([1.0], 1.0)


def test_hazard_reaches_ln2_at_the_median() -> None:
    assert cumulative_hazard(Life(7.0), [0.0, 7.0]) == pytest.approx([0.0, math.log(2)], abs=1e-12)
