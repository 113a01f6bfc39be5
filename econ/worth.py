"""Worth: what a year of service costs, and what a machine in hand is worth in use.

Money in minor units, time in steps (months in a decision, years in a published example). A machine's `Flows` hold
its service, survival, upkeep and sale price by step; everything else follows from them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEPS_PER_YEAR = 12
BLOCK = 1024  # machines worked out at a time, so that a block stays in the processor's cache


@dataclass(frozen=True)
class Flows:
    """One machine over n steps from today.

    survival: (n+1,) chance that it still serves, 1 at step 0. service: (n,) expected service in each step [years].
    discount: (n+1,) present value of 1 at the end of each step. upkeep: (n,) cost of a year of service [money/year].
    sale: (n+1,) price net of selling costs if it is sold at the end of the step [money]. scrap: its worth once a
    failure has ended it [money].
    """

    survival: Floats
    service: Floats
    discount: Floats
    upkeep: Floats
    sale: Floats
    scrap: float

    @property
    def ends(self) -> Floats:
        """Chance that it ends in each step [1], (n,)."""
        return self.survival[:-1] - self.survival[1:]


@dataclass(frozen=True)
class InUse:
    """Worth in use of k machines: worth [money], the step at which to stop, discounted and plain years of service."""

    worth: Floats
    stop: NDArray[np.int64]
    years: Floats


def discount_factors(real_rate: float, steps: int, per_year: int = STEPS_PER_YEAR) -> Floats:
    """Return (1 + r)^-t at the end of steps 0..n [1]; r is a yearly real rate.

    References: S. K. Fuller and S. R. Petersen, NIST Handbook 135, 1995 (single present value, from memory).
    """
    factors: Floats = (1.0 + real_rate) ** (-np.arange(steps + 1) / per_year)
    return factors


def cost_per_year(price: float, flows: Flows) -> Floats:
    """Return the cost of a year of service if the machine is bought at `price` and kept n = 1, 2, ... steps.

    [P + sum d m upkeep - d(n) S(n) sale(n) - sum d (S(t-1) - S(t)) scrap] / sum d m, the equivalent annual cost where
    nothing fails. Returns (n,) [money/year].

    References: D. G. Newnan, T. G. Eschenbach, J. P. Lavelle, Engineering Economic Analysis, 9th ed. 2004, ch. 13.
    """
    d = flows.discount[1:]
    outlay = price + np.cumsum(d * flows.service * flows.upkeep) - np.cumsum(d * flows.ends) * flows.scrap
    back = d * flows.survival[1:] * flows.sale[1:]
    result: Floats = (outlay - back) / np.cumsum(d * flows.service)
    return result


def marginal_cost(price: float, flows: Flows) -> Floats:
    """Return the cost of keeping the machine one more step, at the end of that step; (n,) [money/step].

    References: Newnan et al. 2004, Examples 13-2 and 13-4.
    """
    value = np.concatenate([[price], flows.sale[1:]]) * flows.survival
    growth = flows.discount[:-1] / flows.discount[1:]
    result: Floats = value[:-1] * growth - value[1:] + flows.service * flows.upkeep - flows.ends * flows.scrap
    return result


def worth_in_use(
    flows: Flows,
    year_of_service: float,
    service_share: Floats,
    survive_share: Floats,
    sale_share: Floats,
) -> InUse:
    """Return the worth in use of a machine whose faults are left in place, stopping when it is best.

    max over k of [sum d m (e - upkeep) + d(k) S(k) sale(k) + sum d (S(t-1) - S(t)) scrap], sums to k, k from 0.

    year_of_service: e [money/year]. service_share: product of (1 - service loss) [1]; survive_share: product of
    (1 - fatal chance), from the first step on [1]; sale_share: share of the sale price that disclosed faults leave
    [1]; each (k,).
    """
    shares = service_share, survive_share, sale_share
    worth, stop = np.empty(service_share.size), np.empty(service_share.size, dtype=np.int64)
    for rows, value in _by_stop(flows, year_of_service, *shares):
        stop[rows] = value.argmax(axis=1)
        worth[rows] = value[np.arange(value.shape[0]), stop[rows]]
    return InUse(worth, stop, _years(flows, service_share, survive_share, stop))


def worth_if_kept(
    flows: Flows,
    year_of_service: float,
    service_share: Floats,
    survive_share: Floats,
    sale_share: Floats,
    weights: Floats,
    at_least: int,
) -> InUse:
    """Return the worth of keeping a machine in use as it is, stopping at one time fixed before its state is known.

    The time is the best on the whole, weights (k,) being the chance of each state, and no sooner than `at_least`
    steps: to sell at once is not to keep. Other arguments and the result as `worth_in_use`.
    """
    shares = service_share, survive_share, sale_share
    mean = np.zeros(flows.survival.size)
    for rows, value in _by_stop(flows, year_of_service, *shares):
        mean += weights[rows] @ value
    first = min(at_least, mean.size - 1)
    best = first + int(mean[first:].argmax())
    worth = np.empty(service_share.size)
    for rows, value in _by_stop(flows, year_of_service, *shares):
        worth[rows] = value[:, best]
    stop = np.full(worth.size, best, dtype=np.int64)
    return InUse(worth, stop, _years(flows, service_share, survive_share, stop))


def _first_step(flows: Flows) -> float:
    """Return the discounted service of the first step that no fault can take away [years]."""
    step = flows.service[0] / (0.5 * (1.0 + flows.survival[1]))  # length of a step [years]
    return float(0.5 * step * flows.discount[1])


def _by_stop(
    flows: Flows, year_of_service: float, service_share: Floats, survive_share: Floats, sale_share: Floats
) -> Iterator[tuple[slice, Floats]]:
    """Yield blocks of machines and their worth by stopping step, (rows, n+1)."""
    d, s = flows.discount, flows.survival
    gain_rate = year_of_service - flows.upkeep
    gains = np.concatenate([[0.0], np.cumsum(d[1:] * flows.service * gain_rate)])
    ends = np.concatenate([[0.0], np.cumsum(d[1:] * flows.ends)])
    later = np.concatenate([[0.0], np.ones(s.size - 1)])
    # What does not depend on the sale price is linear in four figures of each machine.
    lost = 1.0 - survive_share
    left = np.stack([service_share * survive_share, service_share * lost, survive_share, lost], axis=1)
    first = later * _first_step(flows) * gain_rate[0]
    right = np.stack([gains, first, ends * flows.scrap, later * d[1] * flows.scrap], axis=0)
    for start in range(0, lost.size, BLOCK):
        rows = slice(start, start + BLOCK)
        value = np.maximum(sale_share[rows, None] * flows.sale, flows.scrap)
        value *= d * s
        value[:, 1:] *= survive_share[rows, None]
        value += left[rows] @ right
        yield rows, value


def _years(flows: Flows, service_share: Floats, survive_share: Floats, stop: NDArray[np.int64]) -> Floats:
    """Return discounted years of service to each machine's stopping step."""
    years = np.concatenate([[0.0], np.cumsum(flows.discount[1:] * flows.service)])
    served: Floats = service_share * (
        survive_share * years[stop] + (1.0 - survive_share) * (stop > 0) * _first_step(flows)
    )
    return served
