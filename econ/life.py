"""How long a machine lasts that is put right today.

What is modelled is the time to a failure that ends the machine. Its life is Weibull, its age an *effective*
age that counts use and care rather than birthdays. Beside it stands the curve the US Environmental Protection
Agency uses for machines scrapped for any reason: the pessimistic bound, never the default.

Every function takes scalars or arrays that broadcast together; scalars in give a scalar out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Weibull shape [1]. It gives the coefficient of variation of the EPA scrappage curve, 1/sqrt(7) = 0.378, to
# three digits: that curve is x = 1 + u^3 with u uniform on [-1, 1]; its mean is 1, its variance E[u^6] = 1/7.
# Source: EPA, Calculation of Age Distributions in the Nonroad Model, NR-007c (EPA420-R-05-018, 2005), by the
# closed form in `epa_percent_scrapped`; the matching of moments is our own derivation.
WEIBULL_SHAPE = 2.87

# Effective years per year lived or per class year of use [1], by condition. Source: judgement. The faults a
# case already knows of are counted on their own and must not be counted here again.
CONDITION_KAPPA: Mapping[str, float] = MappingProxyType({"restored": 0.5, "good": 0.7, "fair": 1.0, "poor": 1.3})

# Longest median life the EPA model allows [years]. Source: NONROAD2008a model source, scrptime.f.
EPA_LONGEST_MEDIAN_YEARS = 25.0


@dataclass(frozen=True)
class Life:
    """Weibull life of a kind of machine.

    median_years: age by which half of them have failed for good [years of typical use], above 0; or an array.
    shape: Weibull shape [1], above 0; above 1 means wear.
    """

    median_years: Any
    shape: float = WEIBULL_SHAPE

    def __post_init__(self) -> None:
        checked("median_years", self.median_years, above_zero=True)
        checked("shape", self.shape, above_zero=True)

    @property
    def scale_years(self) -> Any:
        """The Weibull scale, eta = median / (ln 2)^(1/shape) [years]."""
        return self.median_years / math.log(2.0) ** (1.0 / self.shape)


def checked(name: str, values: ArrayLike, *, above_zero: bool = False) -> FloatArray:
    """Return ``values`` as floats once they are known to be finite and not negative.

    Args:
        name: what to call the values in the message.
        values: a number or an array of them.
        above_zero: whether 0 is refused too.

    Raises:
        ValueError: a value is not a finite number, negative, or 0 where that is refused.
    """
    array = np.asarray(values, dtype=np.float64)
    wrong = ~np.isfinite(array) | ((array <= 0.0) if above_zero else (array < 0.0))
    if wrong.any():
        rule = "above 0" if above_zero else "0 or more"
        raise ValueError(f"{name}: got {array[wrong].flat[0]:g}; must be a finite number, {rule}")
    return array


def by_condition(table: Mapping[str, float], condition: ArrayLike) -> FloatArray:
    """Return the figure of each condition, shape of ``condition``.

    Args:
        table: a figure for each condition word.
        condition: one word or an array of them.

    Raises:
        ValueError: a word that is not in the table.
    """
    words = np.asarray(condition, dtype=np.str_)
    flat: list[str] = words.ravel().tolist()
    unknown = sorted(set(flat) - set(table))
    if unknown:
        raise ValueError(f'condition: got "{unknown[0]}"; must be one of {", ".join(table)}')
    return np.array([table[word] for word in flat], dtype=np.float64).reshape(words.shape)


def cumulative_hazard(life: Life, age_years: ArrayLike) -> FloatArray:
    """Return the cumulative hazard H(a) = (a / eta)^shape of a Weibull life [1].

    Args:
        life: the life.
        age_years: effective age a [years], any shape.

    Returns:
        H, shape of ``age_years``; survival from new is exp(-H).

    Raises:
        ValueError: an age is negative, not finite, or so many times the median that the hazard overflows.

    References:
        R. E. Barlow and F. Proschan, Mathematical Theory of Reliability, Wiley 1965, ch. 2 (from memory).
    """
    ratio = np.asarray(checked("age_years", age_years) / life.scale_years)
    with np.errstate(over="ignore"):  # a number as an array of one: powers of the two may differ in the last digit
        hazard: FloatArray = np.power(np.atleast_1d(ratio), life.shape).reshape(ratio.shape)
    if not np.isfinite(hazard).all():
        shortest = np.min(life.median_years)
        raise ValueError(f"age_years: got {np.max(age_years):g}; far too old for a life of {shortest:g}")
    return hazard


def survival(life: Life, effective_age: ArrayLike, t_years: ArrayLike, pace: ArrayLike = 1.0) -> FloatArray:
    """Return the chance that a machine put right today still serves after t: exp(H(a) - H(a + pace t)) [1].

    The difference of hazards is taken before the exponential, so a machine many times past its median life
    gets a small chance rather than 0/0.

    Args:
        life: the life of its kind.
        effective_age: effective age a today [years].
        t_years: time from today [years].
        pace: effective years added per year, this user's use over the typical use [1].

    Returns:
        Survival, the broadcast shape of the three arguments; 1 at t = 0 and never rising.

    Raises:
        ValueError: an argument is negative or not finite.

    References:
        M. Kijima, Some results for repairable systems with general repair, J. Applied Probability 26 (1989)
        89-102 (virtual age; from memory).
    """
    age = checked("effective_age", effective_age)
    later = age + checked("pace", pace) * checked("t_years", t_years)
    result: FloatArray = np.exp(cumulative_hazard(life, age) - cumulative_hazard(life, later))
    return result


def effective_age(
    condition: ArrayLike,
    years: ArrayLike | None = None,
    hours: ArrayLike | None = None,
    class_hours_per_year: ArrayLike | None = None,
) -> FloatArray:
    """Return the effective age: kappa x hours / class hours per year where known, else kappa x years.

    Args:
        condition: ``restored``, ``good``, ``fair`` or ``poor``; one word or an array of them.
        years: age by the calendar [years]; NaN where unknown.
        hours: hours run so far [h]; NaN where unknown.
        class_hours_per_year: typical use of such machines [h per year]; needed with hours.

    Returns:
        Effective age [years of typical use], the broadcast shape of the arguments.

    Raises:
        ValueError: an unknown condition, a negative figure, hours without the class's hours per year, or
            neither hours nor years for some machine.

    References:
        Kijima 1989 for the idea; the kappas are `CONDITION_KAPPA`.
    """
    known_years = _or_unknown("years", years)
    if hours is not None and class_hours_per_year is None:
        raise ValueError("class_hours_per_year: missing; hours can't be turned into years of use without it")
    per_year = np.asarray(np.nan)
    if class_hours_per_year is not None:
        per_year = checked("class_hours_per_year", class_hours_per_year, above_zero=True)
    from_hours = _or_unknown("hours", hours) / per_year
    use = np.where(np.isnan(from_hours), known_years, from_hours)
    age: FloatArray = by_condition(CONDITION_KAPPA, condition) * use
    if np.isnan(age).any():
        raise ValueError("years, hours: both unknown; give the age in years or the hours run")
    return age


def _or_unknown(name: str, values: ArrayLike | None) -> FloatArray:
    """Return values as floats with NaN for unknown, after checking the known ones."""
    array = np.asarray(np.nan if values is None else values, dtype=np.float64)
    checked(name, array[~np.isnan(array)])
    return array


def median_years(median_hours: ArrayLike, hours_per_year: ArrayLike) -> FloatArray:
    """Return a median life in years from one in hours run.

    Args:
        median_hours: hours run by which half have failed for good [h], for engines the useful-life category.
        hours_per_year: typical use [h per year].

    Returns:
        Median life [years], the broadcast shape.

    Raises:
        ValueError: a figure is not above 0.

    References:
        40 CFR 1054.107, Table 1 (nominal useful life); EPA NONROAD2008a, ACTIVITY.DAT (hours per year).
    """
    hours = checked("median_hours", median_hours, above_zero=True)
    return hours / checked("hours_per_year", hours_per_year, above_zero=True)


def service(survival_at_steps: ArrayLike, step_years: float) -> FloatArray:
    """Return the expected service in each step: the mean of survival at its ends times its length [years].

    Args:
        survival_at_steps: survival at 0, 1, ..., n steps from today [1], shape (..., n + 1).
        step_years: length of a step [years]. Monthly steps do; a yearly one overstates the first year of an
            old machine by about half.

    Returns:
        Service m in steps 1 to n [years], shape (..., n).

    Raises:
        ValueError: fewer than two points, a negative survival or a step not above 0.

    References:
        The trapezoidal rule.
    """
    points = np.atleast_1d(checked("survival_at_steps", survival_at_steps))
    if points.shape[-1] < 2:
        raise ValueError("survival_at_steps: got one point; needs the survival at both ends of a step")
    return 0.5 * (points[..., :-1] + points[..., 1:]) * checked("step_years", step_years, above_zero=True)


def epa_percent_scrapped(fraction_of_median_life: ArrayLike) -> FloatArray:
    """Return the share of machines scrapped for any reason by an age, by the EPA's nonroad curve [percent].

    p = 50 (1 + sign(x - 1) |x - 1|^(1/3)), held between 0 and 100.

    Args:
        fraction_of_median_life: age over median life, x [1].

    Returns:
        Percent scrapped, 0 to 100, shape of the argument.

    Raises:
        ValueError: a fraction is negative or not finite.

    References:
        EPA, Calculation of Age Distributions in the Nonroad Model: Growth and Scrappage, NR-007c
        (EPA420-R-05-018, 2005); table in NONROAD2008a, NATION.GRW, packet /SCRAPPAGE/. The closed form is not
        printed there: it is our own derivation and meets the table's whole-percent points to 4.8e-5 in x.
    """
    x = checked("fraction_of_median_life", fraction_of_median_life)
    percent: FloatArray = np.clip(50.0 * (1.0 + np.cbrt(x - 1.0)), 0.0, 100.0)
    return percent


def epa_median_years(
    median_life_h_full_load: ArrayLike, load_factor: ArrayLike, hours_per_year: ArrayLike
) -> FloatArray:
    """Return the median age at which machines are scrapped for any reason, after the EPA [years].

    Args:
        median_life_h_full_load: median life at full load [h].
        load_factor: mean power over full power in use [1].
        hours_per_year: typical use [h per year].

    Returns:
        Median life over load factor and yearly use, at most 25 years; the broadcast shape.

    Raises:
        ValueError: a figure is not above 0.

    References:
        EPA, NONROAD2008a, model source scrptime.f; figures in ACTIVITY.DAT and US.POP, documented in NR-005d
        (EPA-420-R-10-016, 2010).
    """
    hours = checked("median_life_h_full_load", median_life_h_full_load, above_zero=True)
    years = hours / checked("load_factor", load_factor, above_zero=True)
    years = years / checked("hours_per_year", hours_per_year, above_zero=True)
    capped: FloatArray = np.minimum(years, EPA_LONGEST_MEDIAN_YEARS)
    return capped
