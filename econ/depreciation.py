"""What a running machine is worth: as a share of its new price by age, or from comparables.

Curves give value over new price [1] and broadcast over arrays of ages; scalars in give a scalar out. `macrs`
is a side table for a business owner's books and takes no part in a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from econ.life import by_condition, checked

FloatArray = NDArray[np.float64]
Method = Literal["geometric", "declining_balance", "straight_line", "remaining_value"]

# Recovery periods [years] at 200 % declining balance. Source: IRS Publication 946 (2025), Table A-1; its 15
# and 20 year columns use 150 %, and no machine of this trade falls under them.
MACRS_RECOVERY_YEARS = (3, 5, 7, 10)

# Fewest rows of a fit: three figures are fitted, and two rows are left to show the spread. Source: judgement.
MINIMUM_COMPARABLES = 5
# Tuning constant of Huber's weights [1]: 95 % efficiency on normal residuals. Source: P. J. Huber, Robust
# Statistics, Wiley 1981 (from memory).
HUBER_K = 1.345
# Median absolute deviation of a normal with sd 1 [1], the 0.75 quantile of the standard normal.
NORMAL_MAD = 0.6744897501960817
# Steps of condition around fair [1]: equal, so that few rows can carry one coefficient. Source: judgement.
CONDITION_STEP: Mapping[str, float] = MappingProxyType({"restored": 2.0, "good": 1.0, "fair": 0.0, "poor": -1.0})


@dataclass(frozen=True)
class Curve:
    """A way of losing value with age. Only the figures its method uses are read.

    method: ``geometric``, ``declining_balance``, ``straight_line`` or ``remaining_value``.
    rate: geometric: share of value lost a year [1]; declining balance: multiple of the straight line [1].
    life_years: service life [years], for declining balance and straight line.
    salvage_share: share of new price left at the end [1], for the same two.
    c1, c2, c3, hours_per_year: for remaining value, see `remaining_value`.
    """

    method: Method
    rate: float = 0.0
    life_years: float = 10.0
    salvage_share: float = 0.0
    c1: float = 0.0
    c2: float = 0.0
    c3: float = 0.0
    hours_per_year: float = 0.0

    def share(self, age: ArrayLike) -> FloatArray:
        """Return value over new price at an age [years], shape of ``age`` [1]; errors as the method's."""
        if self.method == "geometric":
            return geometric(age, self.rate)
        if self.method == "declining_balance":
            return declining_balance(age, self.rate, self.life_years, self.salvage_share)
        if self.method == "straight_line":
            return straight_line(age, self.life_years, self.salvage_share)
        if self.method == "remaining_value":
            return remaining_value(age, self.hours_per_year, self.c1, self.c2, self.c3)
        raise ValueError(f'method: got "{self.method}"; must be one of {", ".join(get_args(Method))}')


def geometric(age: ArrayLike, rate: ArrayLike) -> FloatArray:
    """Return (1 - rate)^age: the same share of value lost every year [1].

    Args:
        age: age [years].
        rate: share of value lost a year [1], 0 to 1.

    Returns:
        Value over new price, the broadcast shape.

    Raises:
        ValueError: a figure out of range or not finite.

    References:
        B. M. Fraumeni, The Measurement of Depreciation in the U.S. National Income and Product Accounts,
        Survey of Current Business 77(7), July 1997, 7-23.
    """
    value: FloatArray = (1.0 - _share("rate", rate)) ** checked("age", age)
    return value


def declining_balance(
    age: ArrayLike, rate_factor: ArrayLike, life_years: ArrayLike, salvage_share: ArrayLike = 0.0
) -> FloatArray:
    """Return the geometric curve at rate_factor / life, down to the salvage share and no further [1].

    Args:
        age: age [years].
        rate_factor: multiple of the straight-line rate [1], e.g. 1.65 or 2.
        life_years: service life [years], not under ``rate_factor``.
        salvage_share: share of new price left for good [1].

    Returns:
        Value over new price, the broadcast shape.

    Raises:
        ValueError: a figure out of range or not finite.

    References:
        Fraumeni 1997: rate = declining-balance rate / service life.
    """
    rate = checked("rate_factor", rate_factor) / checked("life_years", life_years, above_zero=True)
    value: FloatArray = np.maximum(
        geometric(age, _share("rate_factor / life_years", rate)), _share("salvage_share", salvage_share)
    )
    return value


def straight_line(age: ArrayLike, life_years: ArrayLike, salvage_share: ArrayLike = 0.0) -> FloatArray:
    """Return a line from 1 when new to the salvage share at the end of life, level from there [1].

    Args:
        age: age [years].
        life_years: service life [years].
        salvage_share: share of new price left at the end of life [1].

    Returns:
        Value over new price, the broadcast shape.

    Raises:
        ValueError: a figure out of range or not finite.

    References:
        IRS Publication 946, straight line method; common practice.
    """
    used = np.minimum(checked("age", age) / checked("life_years", life_years, above_zero=True), 1.0)
    value: FloatArray = 1.0 - (1.0 - _share("salvage_share", salvage_share)) * used
    return value


def remaining_value(
    age: ArrayLike, hours_per_year: ArrayLike, c1: ArrayLike, c2: ArrayLike, c3: ArrayLike
) -> FloatArray:
    """Return (c1 - c2 sqrt(age) - c3 sqrt(hours per year))^2, the remaining-value equation as a share [1].

    The bracket is held between 0 and 1: below 0 its square would rise again with age, and above 1 a used
    machine would be worth more than a new one (the published tables start at age 1, where it is not).

    Args:
        age: age [years].
        hours_per_year: mean use [h per year].
        c1: first coefficient [1].
        c2: loss by age [per square root of a year].
        c3: loss by use [per square root of an hour per year].

    Returns:
        Value over current new price, the broadcast shape; never below 0, never rising with age.

    Raises:
        ValueError: a figure negative or not finite.

    References:
        ASABE, ASAE EP496.3 FEB2006 (R2015) and D497.7 MAR2011 (R2020), remaining value (form from memory).
    """
    by_age = checked("c2", c2) * np.sqrt(checked("age", age))
    by_use = checked("c3", c3) * np.sqrt(checked("hours_per_year", hours_per_year))
    value: FloatArray = np.clip(checked("c1", c1) - by_age - by_use, 0.0, 1.0) ** 2
    return value


def macrs(recovery_years: int) -> FloatArray:
    """Return the US tax depreciation of each year under the general system [percent of the basis].

    200 % declining balance, half-year convention, changing to straight line when that gives more. Unrounded:
    the printed table rounds to 0.01 and evens out the last digits. Nominal money, so for the books only.

    Args:
        recovery_years: 3, 5, 7 or 10 [years].

    Returns:
        Percent in tax years 1 to recovery_years + 1; they sum to 100.

    Raises:
        ValueError: another recovery period.

    References:
        US Internal Revenue Service, Publication 946, How To Depreciate Property, Appendix A, Table A-1.
    """
    if recovery_years not in MACRS_RECOVERY_YEARS:
        raise ValueError(f"recovery_years: got {recovery_years}; must be one of 3, 5, 7, 10")
    percents: list[float] = []
    left = 100.0
    for year in range(recovery_years):
        in_service = 0.5 if year == 0 else 1.0
        years_left = recovery_years if year == 0 else recovery_years - year + 0.5
        percents.append(in_service * left * max(2.0 / recovery_years, 1.0 / years_left))
        left -= percents[-1]
    return np.array([*percents, left])


@dataclass(frozen=True)
class ComparablesFit:
    """Log price fitted on age and, where it varies among the comparables, condition.

    intercept: log of the price of a new machine in fair condition, or in the comparables' own condition where
        that was not fitted [log money].
    slope: change of log price a year [log money per year].
    condition_effect: change of log price per step of condition (`CONDITION_STEP`) [log money], or None.
    intercept_se, slope_se, condition_se: standard errors of the three.
    spread: standard deviation of log price about the fit [log money]; of a robust fit, the scaled median
        absolute deviation.
    n: comparables used. robust: whether outliers were weighted down.
    """

    intercept: float
    slope: float
    condition_effect: float | None
    intercept_se: float
    slope_se: float
    condition_se: float | None
    spread: float
    n: int
    robust: bool

    def predict(self, age: ArrayLike, condition: ArrayLike = "fair") -> FloatArray:
        """Return the median price at an age and condition [money].

        The median is the exponential of the fit. Where log prices are normal about it the mean is higher, by
        the factor exp(spread^2 / 2); it is left off, since one wild asking price would carry it.

        Args:
            age: age [years].
            condition: ``restored``, ``good``, ``fair`` or ``poor``; without effect where it was not fitted.

        Returns:
            Price in the money of the comparables, the broadcast shape.

        Raises:
            ValueError: a negative age or an unknown condition.
        """
        log_price = self.intercept + self.slope * checked("age", age)
        steps = by_condition(CONDITION_STEP, condition)
        price: FloatArray = np.exp(log_price + (self.condition_effect or 0.0) * steps)
        return price


def fit_comparables(
    prices: ArrayLike,
    ages: ArrayLike,
    conditions: Sequence[str] | None = None,
    *,
    robust: bool = True,
) -> ComparablesFit:
    """Fit log price on age and, where it varies, condition.

    Args:
        prices: prices of comparable machines [money], shape (n,), n at least 5.
        ages: their ages [years], shape (n,).
        conditions: their conditions, n words of `CONDITION_STEP`, or None.
        robust: weigh outliers down (Huber); False gives ordinary least squares.

    Returns:
        The fit.

    Raises:
        ValueError: fewer than 5 rows, unequal lengths, a price not above 0, a figure not finite, an unknown
            condition, ages all the same, or age and condition that change only together.

    References:
        P. J. Huber, Robust Statistics, Wiley 1981: iteratively reweighted least squares, k = 1.345, scale the
        median absolute deviation about 0, covariance (6.5), p. 173 (from memory).
    """
    log_price = np.log(checked("prices", prices, above_zero=True))
    age = checked("ages", ages)
    if log_price.ndim != 1 or log_price.shape != age.shape:
        raise ValueError(f"prices, ages: got shapes {log_price.shape} and {age.shape}; must be equal lists")
    n = len(log_price)
    if n < MINIMUM_COMPARABLES:
        raise ValueError(f"prices: got {n} comparables; needs at least {MINIMUM_COMPARABLES}")
    columns = [np.ones(n), age]
    if conditions is not None:
        steps = by_condition(CONDITION_STEP, conditions)
        if steps.shape != age.shape:
            raise ValueError(f"conditions: got {steps.size} for {n} comparables; give one for each or none")
        if np.ptp(steps) > 0.0:
            columns.append(steps)
    design = np.column_stack(columns)
    if np.ptp(age) == 0.0:
        raise ValueError(f"ages: all are {age[0]:g}; comparables of different ages are needed")
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise ValueError("ages, conditions: they change only together; add a comparable that breaks the tie")
    fitted, errors, spread = _huber(design, log_price) if robust else _least_squares(design, log_price)
    with_condition = design.shape[1] == 3
    return ComparablesFit(
        intercept=float(fitted[0]),
        slope=float(fitted[1]),
        condition_effect=float(fitted[2]) if with_condition else None,
        intercept_se=float(errors[0]),
        slope_se=float(errors[1]),
        condition_se=float(errors[2]) if with_condition else None,
        spread=spread,
        n=n,
        robust=robust,
    )


def _share(name: str, values: ArrayLike) -> FloatArray:
    """Return shares as floats, refusing any outside 0 to 1."""
    array = checked(name, values)
    if (array > 1.0).any():
        raise ValueError(f"{name}: got {array.max():g}; must be from 0 to 1")
    return array


def _solve(design: FloatArray, y: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the coefficients of weighted least squares."""
    root = np.sqrt(weights)
    return np.asarray(np.linalg.lstsq(design * root[:, None], y * root)[0], dtype=np.float64)


def _least_squares(design: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return coefficients, their standard errors and the residual standard deviation."""
    n, k = design.shape
    fitted = _solve(design, y, np.ones(n))
    variance = float(((y - design @ fitted) ** 2).sum()) / (n - k)
    errors: FloatArray = np.sqrt(variance * np.diag(np.linalg.inv(design.T @ design)))
    return fitted, errors, float(np.sqrt(variance))


def _huber(design: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return coefficients, standard errors and scale of Huber's regression."""
    n, k = design.shape
    fitted = _solve(design, y, np.ones(n))
    for _ in range(500):
        residual = np.abs(y - design @ fitted)
        bound = HUBER_K * _scale(residual)
        before, fitted = fitted, _solve(design, y, bound / np.maximum(residual, bound))
        if np.abs(fitted - before).max() < 1e-12:
            break
    scale = _scale(np.abs(y - design @ fitted))
    standard = (y - design @ fitted) / scale
    inside = np.abs(standard) <= HUBER_K
    psi = np.clip(standard, -HUBER_K, HUBER_K)
    share_inside = float(inside.mean())
    correction = 1.0 + k / n * float(inside.var()) / share_inside**2
    variance = correction**2 * scale**2 * float((psi**2).sum()) / (n - k) / share_inside**2
    errors: FloatArray = np.sqrt(variance * np.diag(np.linalg.inv(design.T @ design)))
    return fitted, errors, scale


def _scale(absolute_residual: FloatArray) -> float:
    """Return the scaled median absolute residual, held above 0 so that an exact fit can be weighed."""
    return max(float(np.median(absolute_residual)) / NORMAL_MAD, 1e-12)
