"""Payoffs: what each way of going on brings the decider, for many sets of faults at once.

Two questions are answered for whoever decides: what is the machine worth once it is back in use (owner) or sold as
working (reseller) with given faults left in it, and what does each way of letting it go bring. Money in minor units;
each figure has a row for each world where the terms hold several.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.market import Market, new_flows, own_flows, steps_of, used_flows
from econ.rulebook import MachineClass
from econ.states import Effects, FaultTable, Masks, effects
from econ.terms import Terms
from econ.worth import (
    STEPS_PER_YEAR,
    Flows,
    InUse,
    cost_per_year,
    discount_factors,
    mean_if_kept,
    worth_if_kept,
    worth_in_use,
)

Floats = NDArray[np.float64]
DISPOSALS = ("sell_as_stands", "part_out", "scrap")


@dataclass(frozen=True)
class Replacement:
    """A way of getting the service elsewhere.

    worth: net of its price, against paying e for every year [money]; outlay: paid today [money]; per_year: its cost of
    a year of service [money/year]; years: discounted years of service it is kept for.
    """

    worth: Any
    outlay: Any
    per_year: Any
    years: Any


@dataclass(frozen=True)
class Payoffs:
    """What a decider gets.

    kept(masks, renewal): worth and years of service after a repair; as_it_is(masks, weights): kept in use unrepaired;
    mean_as_it_is: the mean of its worth over the states [money], () or (W,); let_go(masks): worth by disposal.
    year_of_service: e [money/year]; challenger: who offers it. own_hours: worth of the own hours in each disposal.
    replacement_weeks: to get another machine; week: cost of a week without one in this season [money]. steepness,
    as_is_kept: as `make_payoffs` was given them.
    """

    year_of_service: Any
    challenger: str
    kept: Callable[[Masks, float], InUse]
    as_it_is: Callable[[Masks, Floats], InUse]
    mean_as_it_is: Callable[[Masks, Floats], Floats]
    let_go: Callable[[Masks], Mapping[str, Floats]]
    own_hours: Mapping[str, Any]
    replacements: Mapping[str, Replacement]
    replacement_weeks: Any
    week: Any
    steepness: Any
    as_is_kept: float


def _column(figure: Floats) -> Any:
    """Return one figure (1,) as a number, or a column (W, 1) as it is."""
    return float(figure[0]) if figure.ndim == 1 else figure


def _least(costs: Floats) -> Any:
    """Return the least along the last axis: a number, or a column with a row for each world."""
    return _column(costs.min(axis=-1, keepdims=True))


def year_of_service(market: Market, terms: Terms) -> tuple[Any, str]:
    """Return e, the cheapest cost of a year of service [money/year], and who offers it (in the first world).

    Challengers: new, used, and doing without where its yearly cost is stated.
    """
    offers = {
        "new": _least(cost_per_year(market.new_total, new_flows(market, terms))),
        "used": _least(cost_per_year(market.used_total, used_flows(market, terms))),
    }
    if "do_without_per_year" in terms.figures:
        offers["do_without"] = terms["do_without_per_year"]
    best = min(offers, key=lambda name: float(np.ravel(offers[name])[0]))
    least = offers[best]
    for offer in offers.values():
        if np.ndim(offer) or np.ndim(least):
            least = np.minimum(least, offer)
    return least, best


def _replacements(market: Market, terms: Terms, e: Any) -> dict[str, Replacement]:
    """Return the replacements; each is bought to be kept for the time that makes its year of service cheapest."""
    found = {}
    for name, price, flows in (
        ("replace_used", market.used_total, used_flows(market, terms)),
        ("replace_new", market.new_total, new_flows(market, terms)),
    ):
        costs = cost_per_year(price, flows)
        served = np.broadcast_to((flows.discount[..., 1:] * flows.service).cumsum(axis=-1), costs.shape)
        years, least = _column(np.take_along_axis(served, costs.argmin(axis=-1, keepdims=True), axis=-1)), _least(costs)
        found[name] = Replacement((e - least) * years, price, least, years)
    if "do_without_per_year" in terms.figures:
        steps = steps_of(terms)
        d = discount_factors(terms["real_rate"], int(np.max(steps)))[..., 1:]
        d = np.where(np.arange(d.shape[-1]) < steps, d, 0.0)
        years, yearly = _column(d.sum(axis=-1, keepdims=True) / STEPS_PER_YEAR), terms["do_without_per_year"]
        found["do_without"] = Replacement(-(yearly - e) * years, 0.0, yearly, years)
    return found


def _let_go(
    table: FaultTable,
    market: Market,
    terms: Terms,
    own_hours: Mapping[str, Any],
    as_stands: Callable[[Masks], Floats],
) -> Callable[[Masks], Mapping[str, Floats]]:
    fee = terms["selling_fee_rate"]
    reseller = terms.perspective == "reseller"
    unsold = terms["unsold_chance"] if reseller else 0.0
    holding = terms.money("holding_per_week") * market.days_to_sell / 7 if reseller else 0.0

    costs = own_hours["sell_as_stands"] + holding + (1 - unsold) * terms.money("selling_cost") - unsold * market.scrap

    last: list[tuple[Masks, Mapping[str, Floats]]] = []  # the same sets are asked for again and again

    def let_go(masks: Masks) -> Mapping[str, Floats]:
        if not last or last[0][0] is not masks:
            last[:] = [(masks, _ways(masks))]
        return last[0][1]

    def _ways(masks: Masks) -> Mapping[str, Floats]:
        left = effects(table, masks)
        parts = left.parts * (market.part_out * (1 - fee)) - (own_hours["part_out"] + holding)
        scrap = market.scrap * np.ones(masks.size)
        sell = as_stands(masks) * ((1 - fee) * (1 - unsold)) - costs
        return {"sell_as_stands": sell, "part_out": parts, "scrap": scrap}

    return let_go


def make_payoffs(
    table: FaultTable, market: Market, terms: Terms, c: MachineClass, steepness: Any, as_is_kept: float
) -> Payoffs:
    """Return the payoffs of a case.

    steepness: exponent on the as-is shares (market.steepness); as_is_kept: share of the as-is price left after the
    machine was opened [1].
    """

    def as_stands(masks: Masks) -> Floats:
        price: Floats = effects(table, masks).disclosed(steepness) * (market.running * as_is_kept)
        return price

    hour = terms.money("hour_worth")
    own_hours = {
        "sell_as_stands": terms["selling_hours"] * hour,
        "part_out": c.value.part_out_hours * terms.bench_hour,
        "scrap": 0.0,
    }
    let_go = _let_go(table, market, terms, own_hours, as_stands)
    weeks = terms["replacement_days"] / 7
    if terms.perspective == "reseller":
        working = _sold_as_working(table, market, terms, as_stands)

        def unrepaired(masks: Masks, weights: Floats) -> InUse:
            del weights  # it is sold, not kept to a time
            return working(masks, 0.0)

        def mean_unrepaired(masks: Masks, weights: Floats) -> Floats:
            mean: Floats = (working(masks, 0.0).worth * weights).sum(axis=-1)
            return mean

        return Payoffs(
            0.0, "", working, unrepaired, mean_unrepaired, let_go, own_hours, {}, 0.0, week_without(market, terms),
            steepness, as_is_kept,
        )  # fmt: skip
    e, challenger = year_of_service(market, terms)
    flows: dict[float, Flows] = {}

    def kept(masks: Masks, renewal: float) -> InUse:
        if renewal not in flows:
            flows[renewal] = own_flows(market, terms, renewal)
        left: Effects = effects(table, masks)
        return worth_in_use(flows[renewal], e, left.service, left.survive, left.disclosed(steepness))

    def opened(masks: Masks) -> tuple[Flows, tuple[Floats, Floats, Floats]]:
        own = own_flows(market, terms)
        own = replace(own, sale=np.maximum(own.sale * as_is_kept, own.scrap))
        left = effects(table, masks)
        return own, (left.service, left.survive, left.disclosed(steepness))

    def as_it_is(masks: Masks, weights: Floats) -> InUse:
        own, shares = opened(masks)
        return worth_if_kept(own, e, *shares, weights, STEPS_PER_YEAR)

    def mean_as_it_is(masks: Masks, weights: Floats) -> Floats:
        own, shares = opened(masks)
        return mean_if_kept(own, e, shares, weights, STEPS_PER_YEAR)

    others = _replacements(market, terms, e)
    return Payoffs(
        e, challenger, kept, as_it_is, mean_as_it_is, let_go, own_hours, others, weeks, week_without(market, terms),
        steepness, as_is_kept,
    )  # fmt: skip


def week_without(market: Market, terms: Terms) -> Any:
    """Return the cost of a week without the machine in this season [money]; nobody waits for one that is for sale."""
    return 0.0 if terms.perspective == "reseller" else terms.money("downtime_per_week") * market.downtime_season


def _sold_as_working(
    table: FaultTable, market: Market, terms: Terms, as_stands: Callable[[Masks], Floats]
) -> Callable[[Masks, float], InUse]:
    """Return what a reseller gets for the machine repaired, with the faults in `masks` left in it.

    Visible ones are disclosed and lower the price; hidden ones may bring the buyer back: the price is refunded and
    the machine, worth what it is as it stands, comes back.
    """
    fee, q = terms["selling_fee_rate"], terms["unsold_chance"]
    hours = terms["selling_hours"] * terms.money("hour_worth") + terms["cleaning_hours"] * terms.bench_hour
    holding = terms.money("holding_per_week") * market.days_to_sell / 7
    costs = hours + holding + (1 - q) * terms.money("selling_cost") - q * market.scrap

    def kept(masks: Masks, renewal: float) -> InUse:
        del renewal  # none is counted for a reseller
        left = effects(table, masks)
        price = market.running * left.seen_price
        claims = (1 - left.unclaimed) * np.maximum(price - as_stands(masks), 0.0)
        worth = (price * (1 - fee) - claims) * (1 - q) - costs
        return InUse(worth, np.zeros(masks.size, dtype=np.int64), np.zeros(masks.size))

    return kept
