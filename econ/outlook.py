"""Outlook: what lies ahead of a machine once a part of it has been put right, and what to pay at its next failure.

For the owner of the machine, a shop's customer too. Money in minor units inside, decimal in a prospect; times in years
from now.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from econ.ahead import ROOT_LIFE_SHARE, Ahead, Component, ahead, root_cause
from econ.life import Life
from econ.market import Market, make_flows, net_sale, own_flows
from econ.money import say, to_decimal
from econ.payoffs import year_of_service
from econ.question import highest_part_price
from econ.rulebook import MachineClass
from econ.terms import Assumption, Default, Terms
from econ.worth import STEPS_PER_YEAR

Floats = NDArray[np.float64]
HORIZON = Default(20.0, False, "judgement: as far as the machine may last")
AS_IS_SHARE = 0.3
LOOK_FROM = 0.25  # chance of a root cause from which people are told of it [1]; judgement
LIKELY = 0.1  # chance of a next failure from which people are told of it [1]; judgement
RARE = 0.02  # chance of a next failure below which none is told of [1]; judgement


@dataclass(frozen=True)
class NextFailure:
    """The next failure. chance: that it comes while the machine is there and kept; years: from now, its median then."""

    chance: float
    years: float
    limit: Decimal
    highest_part_price: Decimal | None


@dataclass(frozen=True)
class Prospect:
    """One repair and those after it. Highest part prices are None where not even a free part makes it worth it.

    cost_now: of the job, part, work and waiting; limit_now: the most that is worth paying for it. walk_away_years: from
    when on a failure ends it, None where the years looked ahead end first. repairs, repairs_cost: expected after this
    one, and their present cost.
    """

    cost_now: Decimal
    limit_now: Decimal
    highest_part_price_now: Decimal | None
    next_failure: NextFailure | None
    walk_away_years: float | None
    walk_away_age: float | None
    repairs: float
    repairs_cost: Decimal


@dataclass(frozen=True)
class Scene:
    """What an outlook is computed from: walking away and waiting now and later, by step [money].

    walk_new: walking away from a machine bought new. walk_by: the best way of walking away now. week_now, week_later:
    what a week without the machine costs; wait_now, wait_later: what the wait for the part and the bench does. age: of
    the machine, where it is stated [years]. terms look as far ahead as the machine may last.
    """

    terms: Terms
    market: Market
    service_year: float
    walk: Floats
    walk_new: Floats
    walk_by: str
    week_now: float
    week_later: float
    wait_now: float
    wait_later: float
    age: float | None
    notes: tuple[Assumption, ...]


def make_scene(c: MachineClass, terms: Terms, market: Market, age: float | None) -> Scene:
    """Return the scene of a machine whose every other part is sound; age: as stated [years]."""
    e, challenger = year_of_service(market, terms)
    notes = []
    share = AS_IS_SHARE if market.as_is is None else market.as_is / market.running
    if market.as_is is None:
        said = say(share * market.running, terms.currency)
        notes.append(Assumption("as_is_price", said, f"judgement: {share:.0%} of its price running, the part broken"))
    parts = market.part_out * (1 - terms["selling_fee_rate"]) - c.value.part_out_hours * terms.bench_hour
    week, season = terms.money("downtime_per_week"), float(np.mean(c.season.downtime))
    weeks = 0.0 if challenger == "do_without" else terms["replacement_days"] / 7
    broken = own_flows(replace(market, running=share * market.running), terms).sale
    broken_new = make_flows(market, terms, 0.0, 0.0, share * terms.new_price).sale
    seasons = np.full(broken.size, season)
    seasons[0] = market.downtime_season
    repair_weeks = terms["parts_lead_days"] / 7 + terms["queue_weeks"]
    now, later = week * market.downtime_season, week * season
    ways = {"sell_as_stands": float(net_sale(terms, share * market.running)), "part_out": parts, "scrap": market.scrap}
    return Scene(
        terms,
        market,
        e,
        np.maximum(broken, parts) - weeks * week * seasons,
        np.maximum(broken_new, parts) - weeks * week * season,
        max(ways, key=lambda w: ways[w]),
        now,
        later,
        repair_weeks * now,
        repair_weeks * later,
        age,
        tuple(notes),
    )


def with_leads(s: Scene, now: float, later: float) -> Scene:
    """Return a scene in which the part takes so long to come, now and at later failures [weeks]."""
    queue = s.terms["queue_weeks"]
    return replace(s, wait_now=(now + queue) * s.week_now, wait_later=(later + queue) * s.week_later)


@dataclass(frozen=True)
class Outlook:
    """What lies ahead if nothing else wears the part out, and if something does; odds: the chance of that now [1]."""

    part: Component
    root_life_share: float
    odds: float
    sound: Ahead
    worn: Ahead

    def limit(self, step: int = 0) -> float:
        """Return the repair limit at a failure at a step [money]; a failure so soon makes a root cause likelier."""
        odds = root_cause(self.part.life, step / STEPS_PER_YEAR, self.odds, self.root_life_share) if step else self.odds
        lost = odds * (self.sound.mended[step] - self.worn.mended[step])
        return float(self.sound.limit[step] - (1 - self.part.uncured) * lost)

    def mix(self, sound: float, worn: float) -> float:
        """Return the mean of a figure over whether something else wears the part out."""
        return (1 - self.odds) * sound + self.odds * worn


def make_outlook(
    s: Scene,
    part: Component,
    odds: float = 0.0,
    root_life_share: float = ROOT_LIFE_SHARE,
    part_age: float = 0.0,
    renewal: float = 0.0,
) -> Outlook:
    """Return the outlook of a part.

    odds: the chance that something else wears it out [1]; root_life_share: the share of its life that it then has [1];
    part_age: its age after the repair [years]; renewal: share of the machine's effective age that the repair takes off.
    """
    own = own_flows(s.market, s.terms, renewal)
    sound = ahead(own, s.service_year, s.walk, part, part_age, sold="once_mended")
    worn = sound
    if odds > 0:  # a known wear is disclosed: no sale as sound
        short = replace(part, life=Life(part.life.median_years * root_life_share, part.life.shape))
        worn = ahead(own, s.service_year, s.walk, short, part_age, sold="at_the_end")
    return Outlook(part, root_life_share, odds, sound, worn)


def _next_failure(s: Scene, o: Outlook, dearest: Callable[[float], Decimal | None]) -> NextFailure | None:
    """Return the next failure; None where it is too rare."""
    both = replace(o.sound, next_failure=(1 - o.odds) * o.sound.next_failure + o.odds * o.worn.next_failure)
    step, chance = both.next_step, float(both.next_failure.sum())
    if step is None or chance < RARE:
        return None
    limit = o.limit(step)
    years = round(step / STEPS_PER_YEAR, 3)
    return NextFailure(round(chance, 6), years, to_decimal(limit, s.terms.currency), dearest(limit - s.wait_later))


def make_prospect(
    s: Scene, o: Outlook, cost: Callable[[int], float], ticket: float, edges: Sequence[int] = ()
) -> Prospect:
    """Return what to pay now and at the next failure, and until when.

    cost: of one job by the unit cost of its part [money], waiting left out; ticket: at the part's price; edges: limits
    of mark-up tiers, see `highest_part_price`.
    """

    def money(x: float) -> Decimal:
        return to_decimal(x, s.terms.currency)

    def dearest(limit: float) -> Decimal | None:
        price = highest_part_price(cost, limit, edges)
        return None if price is None else money(price)

    limit, walk = o.limit(), o.sound.walk_away(o.part.cost)
    # In the last year it is the plan that ends, not the machine.
    years = None if walk is None or walk >= s.walk.size - STEPS_PER_YEAR else round(walk / STEPS_PER_YEAR, 3)
    return Prospect(
        money(ticket + s.wait_now),
        money(limit),
        dearest(limit - s.wait_now),
        _next_failure(s, o, dearest),
        years,
        None if years is None or s.age is None else round(s.age + years, 3),
        round(o.mix(o.sound.repairs, o.worn.repairs), 6),
        money(o.mix(o.sound.repairs_cost, o.worn.repairs_cost)),
    )


def time_words(years: float) -> str:
    """Return a time for people: whole years, months where it is short."""
    if years >= 1.5:
        return f"{years:.0f} years"
    months = max(round(years * 12), 1)
    return "1 month" if months == 1 else f"{months} months"


def walk_words(years: float | None, age: float | None) -> str:
    """Return from when on to walk away, as the end of a sentence; empty where that never comes.

    years: from now; age: of the machine then, where it is known.
    """
    if years is None:
        return ""
    if age is not None:
        return f"; from age {math.ceil(age)} on walk away"
    return f"; in {math.ceil(years)} years and later walk away"
