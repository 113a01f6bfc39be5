"""Worth: what a year of service costs, and what a machine in hand is worth in use.

Money in minor units, time in steps (months in a decision, years in a published example). A machine's `Flows` hold
its service, survival, upkeep and sale price by step; everything else follows from them. Any of them may have a row for
each of W worlds; so has then whatever follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEPS_PER_YEAR = 12
BLOCK = 1024  # machines worked out at a time, so that a block stays in the processor's cache


@dataclass(frozen=True)
class Flows:
    """One machine over n steps from today, or one in each of W worlds: then (W, n) or (W, n+1) where it differs.

    survival: (n+1,) chance that it still serves, 1 at step 0. service: (n,) expected service in each step [years].
    discount: (n+1,) present value of 1 at the end of each step. upkeep: (n,) cost of a year of service [money/year].
    sale: (n+1,) price net of selling costs if it is sold at the end of the step [money]. scrap: its worth once a
    failure has ended it [money], a number or a column (W, 1). last: the last step looked at in each world (W, 1), where
    that is not n in all of them.
    """

    survival: Floats
    service: Floats
    discount: Floats
    upkeep: Floats
    sale: Floats
    scrap: Any
    last: Any = None

    def within(self, values: Floats, first: int, beyond: float, machines: bool = False) -> Floats:
        """Return values by step from `first` on, (..., steps), with those after the last step as `beyond`.

        machines: of several machines, (rows, steps) or (W, rows, steps); else of one.
        """
        if self.last is None:
            return values
        late = np.arange(first, first + values.shape[-1]) > self.last
        return np.where(late[:, None, :] if machines else late, beyond, values)

    @property
    def ends(self) -> Floats:
        """Chance that it ends in each step [1], (n,)."""
        return self.survival[..., :-1] - self.survival[..., 1:]


@dataclass(frozen=True)
class InUse:
    """Worth in use of k machines [money], the step at which to stop, discounted years of service; (k,) or (W, k)."""

    worth: Floats
    stop: NDArray[np.int64]
    years: Floats


def discount_factors(real_rate: Any, steps: int, per_year: int = STEPS_PER_YEAR) -> Floats:
    """Return (1 + r)^-t at the end of steps 0..n [1]; r is a yearly real rate.

    References: S. K. Fuller and S. R. Petersen, NIST Handbook 135, 1995 (single present value, from memory).
    """
    factors: Floats = (1.0 + real_rate) ** (-np.arange(steps + 1) / per_year)
    return factors


def cost_per_year(price: Any, flows: Flows) -> Floats:
    """Return the cost of a year of service if the machine is bought at `price` and kept n = 1, 2, ... steps.

    [P + sum d m upkeep - d(n) S(n) sale(n) - sum d (S(t-1) - S(t)) scrap] / sum d m, the equivalent annual cost where
    nothing fails. Returns (n,) or (W, n) [money/year].

    References: D. G. Newnan, T. G. Eschenbach, J. P. Lavelle, Engineering Economic Analysis, 9th ed. 2004, ch. 13.
    """
    d = flows.discount[..., 1:]
    outlay = price + (d * flows.service * flows.upkeep).cumsum(axis=-1) - (d * flows.ends).cumsum(axis=-1) * flows.scrap
    back = d * flows.survival[..., 1:] * flows.sale[..., 1:]
    result: Floats = (outlay - back) / (d * flows.service).cumsum(axis=-1)
    return flows.within(result, 1, np.inf)


def marginal_cost(price: float, flows: Flows) -> Floats:
    """Return the cost of keeping the machine one more step, at the end of that step; (n,) [money/step].

    References: Newnan et al. 2004, Examples 13-2 and 13-4.
    """
    value = np.concatenate([[price], flows.sale[1:]]) * flows.survival
    growth = flows.discount[:-1] / flows.discount[1:]
    result: Floats = value[:-1] * growth - value[1:] + flows.service * flows.upkeep - flows.ends * flows.scrap
    return result


def worth_in_use(
    flows: Flows, year_of_service: Any, service_share: Floats, survive_share: Floats, sale_share: Floats
) -> InUse:
    """Return the worth in use of a machine whose faults are left in place, stopping when it is best.

    max over k of [sum d m (e - upkeep) + d(k) S(k) sale(k) + sum d (S(t-1) - S(t)) scrap], sums to k, k from 0.

    year_of_service: e [money/year]. service_share: product of (1 - service loss) [1]; survive_share: product of
    (1 - fatal chance), from the first step on [1]; sale_share: share of the sale price that disclosed faults leave
    [1], (k,) or (W, k); the others (k,).
    """
    shares = service_share, survive_share, sale_share
    worth, stop = [], []
    for _, every in _by_stop(flows, year_of_service, *shares):
        value = flows.within(every, 0, -np.inf, machines=True)
        stop.append(value.argmax(axis=-1))
        worth.append(np.take_along_axis(value, stop[-1][..., None], axis=-1)[..., 0])
    return _in_use(flows, service_share, survive_share, np.concatenate(worth, axis=-1), np.concatenate(stop, axis=-1))


def worth_if_kept(
    flows: Flows,
    year_of_service: Any,
    service_share: Floats,
    survive_share: Floats,
    sale_share: Floats,
    weights: Floats,
    at_least: int,
) -> InUse:
    """Return the worth of keeping a machine in use as it is, stopping at one time fixed before its state is known.

    The time is the best on the whole, weights (k,) or (W, k) being the chance of each state, and no sooner than
    `at_least` steps: to sell at once is not to keep. Other arguments and the result as `worth_in_use`.
    """
    shares = service_share, survive_share, sale_share
    best = _kept_to(flows, _means_by_stop(flows, year_of_service, shares, weights), at_least)
    worth = []
    for _, value in _by_stop(flows, year_of_service, *shares):
        if value.ndim == 2:
            worth.append(value.T[best])
        else:
            worth.append(np.take_along_axis(value, best[:, None, None], axis=-1)[..., 0])
    whole = np.concatenate(worth, axis=-1)
    stop = np.broadcast_to(np.asarray(best, dtype=np.int64)[..., None], whole.shape)
    return _in_use(flows, service_share, survive_share, whole, stop)


def mean_if_kept(
    flows: Flows, year_of_service: Any, shares: tuple[Floats, Floats, Floats], weights: Floats, at_least: int
) -> Floats:
    """Return the mean over the states of the worth in `worth_if_kept`, () or (W,) [money]; shares as there."""
    mean = _means_by_stop(flows, year_of_service, shares, weights)
    result: Floats = np.take_along_axis(mean, _kept_to(flows, mean, at_least)[..., None], axis=-1)[..., 0]
    return result


def _means_by_stop(
    flows: Flows, year_of_service: Any, shares: tuple[Floats, Floats, Floats], weights: Floats
) -> Floats:
    """Return the mean worth over the states by stopping step, (n+1,) or (W, n+1); weights: (k,) or (W, k)."""
    mean: Floats = np.zeros(1)
    for rows, value in _by_stop(flows, year_of_service, *shares):
        mean = mean + (weights[..., None, rows] @ value)[..., 0, :]
    return mean


def _kept_to(flows: Flows, mean: Floats, at_least: int) -> NDArray[np.int64]:
    """Return the best step to stop at, no sooner than `at_least`."""
    first = min(at_least, mean.shape[-1] - 1)
    best: NDArray[np.int64] = first + flows.within(mean, 0, -np.inf)[..., first:].argmax(axis=-1)
    return best


def _first_step(flows: Flows) -> Floats:
    """Return the discounted service of the first step that no fault can take away [years]."""
    step = flows.service[..., :1] / (0.5 * (1.0 + flows.survival[..., 1:2]))  # length of a step [years]
    result: Floats = 0.5 * step * flows.discount[..., 1:2]
    return result


def _sums(x: Floats) -> Floats:
    """Return the sums of the first 0, 1, ... n along the last axis."""
    return np.concatenate([np.zeros((*x.shape[:-1], 1)), x.cumsum(axis=-1)], axis=-1)


def _by_stop(
    flows: Flows, year_of_service: Any, service_share: Floats, survive_share: Floats, sale_share: Floats
) -> Iterator[tuple[slice, Floats]]:
    """Yield blocks of machines and their worth by stopping step, (rows, n+1) or (W, rows, n+1)."""
    d, s = flows.discount, flows.survival
    gain_rate = year_of_service - flows.upkeep
    gains, ends = _sums(d[..., 1:] * flows.service * gain_rate), _sums(d[..., 1:] * flows.ends)
    later = np.concatenate([[0.0], np.ones(s.shape[-1] - 1)])
    # What does not depend on the sale price is linear in four figures of each machine.
    lost = 1.0 - survive_share
    left = np.stack([service_share * survive_share, service_share * lost, survive_share, lost], axis=1)
    first = later * _first_step(flows) * gain_rate[..., :1]
    right = np.broadcast_arrays(gains, first, ends * flows.scrap, later * d[..., 1:2] * flows.scrap)
    fixed = np.stack(right, axis=-2)
    sale, scrap = flows.sale[..., None, :], np.asarray(flows.scrap)[..., None]
    alive = (d * s)[..., None, :]
    size = max(BLOCK // (1 if fixed.ndim == 2 else fixed.shape[0]), 16)
    for start in range(0, lost.size, size):
        rows = slice(start, start + size)
        value = np.maximum(sale_share[..., rows, None] * sale, scrap)
        value = value * alive if alive.ndim > value.ndim else np.multiply(value, alive, out=value)
        value[..., 1:] *= survive_share[rows, None]
        # Not a product of matrices by BLAS, which rounds otherwise for other numbers of rows.
        yield rows, value + np.einsum("kf,...fn->...kn", left[rows], fixed)


def _in_use(
    flows: Flows, service_share: Floats, survive_share: Floats, worth: Floats, stop: NDArray[np.int64]
) -> InUse:
    """Return the worth with the discounted years of service to each machine's stopping step."""
    years = _sums(flows.discount[..., 1:] * flows.service)
    if years.ndim == 1:
        to_stop = years[stop]
    else:
        to_stop = np.take_along_axis(years, np.broadcast_to(stop, (years.shape[0], stop.shape[-1])), axis=-1)
    served = service_share * (survive_share * to_stop + (1.0 - survive_share) * (stop > 0) * _first_step(flows))
    return InUse(worth, stop, served)
