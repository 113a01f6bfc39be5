"""Wear-out: the Weibull life of a part fitted to its own failures, and when to renew it before it fails."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from econ.life import checked

FLATTEST, STEEPEST = 0.05, 1e4  # Weibull shapes between which a fit is looked for [1]


@dataclass(frozen=True)
class Fit:
    """A fitted Weibull life: shape [1], scale [unit of the lives], their standard errors, and failures counted.

    shape_error is None where the shape was given. survivors: lives that had not ended yet.
    """

    shape: float
    scale: float
    shape_error: float | None
    scale_error: float
    failures: int
    survivors: int

    @property
    def median(self) -> float:
        """The age by which half have failed [unit of the lives]."""
        return float(self.scale * math.log(2.0) ** (1.0 / self.shape))


def fit_life(failures: Sequence[float], censored: Sequence[float] = (), shape: float | None = None) -> Fit:
    """Fit a Weibull life by maximum likelihood to lives that ended and lives still running.

    The scale follows from the shape, scale^b = sum t^b / r with r failures; the shape from one equation with one root,
    sum t^b ln t / sum t^b - 1/b = mean of ln t over the failures. Standard errors from the observed information.

    Args:
        failures: ages at failure, above 0 [any unit of time or use].
        censored: ages of those that have not failed [same unit].
        shape: known shape [1]; then only the scale is fitted, as for one or two failures.

    Returns:
        The fit, in the unit of the lives.

    Raises:
        ValueError: no failure, an age not above 0, or lives that leave the shape open (all failed at one age and none
            ran longer).

    References:
        NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3; J. F. Lawless, Statistical Models and Methods for
        Lifetime Data, 2003, section 5.2 (from memory); with known shape R. B. Abernethy, The New Weibull Handbook (from
        memory).
    """
    died = checked("failures", np.asarray(failures, dtype=np.float64), above_zero=True)
    alive = checked("censored", np.asarray(censored, dtype=np.float64), above_zero=True)
    if not died.size:
        raise ValueError("failures: got none; at least one is needed")
    lives = np.concatenate([died, alive])
    unit = float(lives.max())  # so that powers neither overflow nor vanish
    logs = np.log(lives / unit)
    mean_log = float(np.log(died / unit).mean())
    r = died.size

    def off(b: float) -> float:
        w = np.exp(b * logs)
        return float(w @ logs / w.sum()) - 1.0 / b - mean_log

    if shape is not None:
        b = float(checked("shape", shape, above_zero=True))
    else:
        if off(STEEPEST) <= 0.0 or off(FLATTEST) >= 0.0:
            raise ValueError("failures: these lives do not tell how they spread; state the shape")
        from scipy.optimize import brentq

        b = float(brentq(off, FLATTEST, STEEPEST, xtol=1e-13))
    powers = np.exp(b * logs)
    scaled = float((powers.sum() / r) ** (1.0 / b))
    # Observed information in (b, ln scale), z = ln(t / scale): exact at the maximum, where sum e^(bz) = r.
    z = logs - math.log(scaled)
    e = np.exp(b * z)
    i_bb, i_bs, i_ss = r / b**2 + float(e @ z**2), -b * float(e @ z), b**2 * float(e.sum())
    if shape is not None:
        return Fit(b, scaled * unit, None, scaled * unit / math.sqrt(i_ss), r, alive.size)
    det = i_bb * i_ss - i_bs**2
    return Fit(b, scaled * unit, math.sqrt(i_ss / det), scaled * unit * math.sqrt(i_bb / det), r, alive.size)


def age_replacement(shape: float, scale: float, planned: float, failed: float) -> tuple[float, float]:
    """Return the age at which to renew a part that has not failed, and the cost per unit of time then.

    Lowest of [planned R(T) + failed (1 - R(T))] / integral of R from 0 to T. Where renewing ahead never pays the age
    is infinite and the rate is that of running to failure, failed / mean life.

    Args:
        shape: Weibull shape [1].
        scale: Weibull scale [time].
        planned: cost of renewing it before it fails [money].
        failed: cost once it has failed [money].

    Returns:
        The age [time] and the rate [money/time].

    Raises:
        ValueError: a figure not above 0.

    References:
        R. E. Barlow and F. Proschan, Mathematical Theory of Reliability, Wiley 1965, ch. 3 (from memory): the age
        satisfies h(T) x integral of R - F(T) = planned / (failed - planned).
    """
    for name, value in (("shape", shape), ("scale", scale), ("planned", planned), ("failed", failed)):
        checked(name, value, above_zero=True)
    mean = math.gamma(1.0 + 1.0 / shape)
    never = math.inf, failed / (scale * mean)
    if shape <= 1.0 or failed <= planned:
        return never
    from scipy.optimize import brentq
    from scipy.special import gammainc

    def served(t: float) -> float:
        return mean * float(gammainc(1.0 / shape, t**shape))

    def short(t: float) -> float:
        hazard = shape * t ** (shape - 1.0)
        return float(hazard * served(t) + math.expm1(-(t**shape)) - planned / (failed - planned))

    latest = 1.0
    while short(latest) < 0.0:
        latest *= 2.0
    t = float(brentq(short, 1e-9, latest, xtol=1e-14))
    rate = shape * t ** (shape - 1.0) * (failed - planned)  # at the best age the rate is h(T) (failed - planned)
    return t * scale, rate / scale
