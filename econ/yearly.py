"""Yearly: a machine in working order, and a new one in the books, year by year. Money in minor units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from econ.depreciation import declining_balance, straight_line
from econ.market import Market, own_flows, share_later
from econ.terms import Terms
from econ.worth import STEPS_PER_YEAR

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Yearly:
    """A machine in working order, today and each year on, (n+1,).

    age: that it counts as [years]. alive: chance that it still serves [1]. value: what it sells for, before costs of
    the sale [money]. upkeep: of the year up to then, if it serves all of it [money]. served: discounted years of
    service.
    """

    age: Floats
    alive: Floats
    value: Floats
    upkeep: Floats
    served: Floats


def by_year(market: Market, terms: Terms, years: int) -> Yearly:
    """Return the machine in hand, put right today, over so many years."""
    flows = own_flows(market, replace(terms, figures={**terms.figures, "horizon_years": float(years)}))
    t = np.arange(years + 1.0)
    served = np.cumsum(flows.discount[1:] * flows.service)[STEPS_PER_YEAR - 1 :: STEPS_PER_YEAR]
    pace = 1.0 if terms.perspective == "reseller" else market.pace  # nobody knows how whoever buys it will use it
    upkeep = flows.upkeep.reshape(years, STEPS_PER_YEAR).mean(axis=1)
    return Yearly(
        market.age + pace * t,
        flows.survival[::STEPS_PER_YEAR],
        market.running * share_later(market, market.curve_age, t, market.later),
        np.append(0.0, upkeep),
        np.append(0.0, served),
    )


def written_off(cost: float, years: int, rest: float) -> Mapping[str, Floats]:
    """Return what is written off each year, (years,) [money]: by a straight line, double declining, and changing over.

    Changing over: double declining until an even share of what is left is more.

    Args:
        cost: what is paid [money].
        years: over which it is written off, 2 or more.
        rest: what is left in the end [money].
    """
    ages, share = np.arange(years + 1), rest / cost
    left, changing = cost, []
    for k in range(years):
        changing.append(min(max(left * 2 / years, (left - rest) / (years - k)), left - rest))
        left -= changing[-1]
    line, double = straight_line(ages, years, share), declining_balance(ages, 2.0, years, share)
    return {"sln": -np.diff(cost * line), "ddb": -np.diff(cost * double), "vdb": np.array(changing)}
