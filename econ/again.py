"""Again: a part has failed, perhaps not for the first time. Is it worth paying for now, next time, and until when?

From a case without complaint and a question about one component to the whole answer. Money in minor units inside,
decimal in the answer; times in years from now.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from econ.ahead import ROOT_CHANCE, ROOT_LIFE_SHARE, Ahead, Component, ahead, root_cause
from econ.case import Case
from econ.earlier import warranty, warranty_words
from econ.life import Life
from econ.market import new_flows, own_flows, read_market
from econ.money import say, to_decimal, to_minor
from econ.outlook import (
    HORIZON,
    LIKELY,
    LOOK_FROM,
    NextFailure,
    Outlook,
    Scene,
    make_outlook,
    make_prospect,
    make_scene,
    time_words,
    walk_words,
)
from econ.question import LifeLine, Question, component_life, job_ticket
from econ.rulebook import MachineClass
from econ.terms import Assumption, Default, settle
from econ.wearout import age_replacement
from econ.worth import STEPS_PER_YEAR, cost_per_year

USUAL_UNCURED = 0.05
AHEAD_FROM = 0.05  # share of the cost a year that renewing ahead must save to be named [1]; judgement


@dataclass(frozen=True)
class RootCause:
    """A cause that the last job left in place. worth_finding: what it is worth to find it and put it right now."""

    chance: float
    worth_finding: Decimal
    limit_if_found: Decimal


@dataclass(frozen=True)
class LimitLine:
    """The repair limit at a failure so many years from now, and the chance that the machine still serves then."""

    years: float
    limit: Decimal
    still_serves: float


@dataclass(frozen=True)
class OptionCost:
    """What it costs to have the component: against the same machine without it, in today's money.

    from_here: from now on, repaired now; over_life: from a new machine, with what it costs more to buy; per_year: that
    for a year of service; repairs: expected over the life of a new machine.
    """

    from_here: Decimal
    over_life: Decimal
    per_year: Decimal
    repairs: float


@dataclass(frozen=True)
class Again:
    """The whole answer. Highest part prices are None where not even a free part makes the job worth it.

    pays: this repair is worth its cost; then_sell: sold in working order the machine then brings
    more than kept; limit_if_kept: the most that is worth paying for it without such a sale.
    cost_now: of the job, part, work and waiting; limit_now: the most that is worth paying for it. walk_away_years:
    from when on a failure ends it, None where the years looked ahead end first. repairs, repairs_cost: expected after
    this one, and their present cost. renew_ahead_years: renew it at this age before it fails, where that saves enough.
    """

    version: str
    as_of: str
    currency: str
    machine_class: str
    component: str
    headline: str
    pays: bool
    then_sell: bool
    limit_if_kept: Decimal
    cost_now: Decimal
    limit_now: Decimal
    highest_part_price_now: Decimal | None
    walking_away: Decimal
    walking_away_by: str
    warranty: str
    root_cause: RootCause | None
    next_failure: NextFailure | None
    walk_away_years: float | None
    walk_away_age: float | None
    repairs: float
    repairs_cost: Decimal
    renew_ahead_years: float | None
    limits: tuple[LimitLine, ...]
    option: OptionCost
    life: LifeLine
    assumptions: tuple[Assumption, ...]


def _outlook(s: Scene, q: Question, part: Component) -> Outlook:
    prior = ROOT_CHANCE if q.root_cause is None else q.root_cause
    share = ROOT_LIFE_SHARE if q.root_life_share is None else q.root_life_share
    odds = 0.0 if q.months_ago is None else root_cause(part.life, q.months_ago / 12, prior, share)
    stated = [x for x in (q.age_years, s.age) if x is not None]
    age = 0.0 if q.renews else stated[0] if stated else s.market.age
    return make_outlook(s, part, odds, share, age)


def _judged(q: Question) -> tuple[Assumption, ...]:
    """Return what the question leaves open and is judged here."""
    again_before = q.months_ago is not None
    every = (
        (q.uncured is None, "uncured", USUAL_UNCURED, "chance that the job does not cure"),
        (
            again_before and q.root_cause is None,
            "root_cause",
            ROOT_CHANCE,
            "chance that such a failure leaves its cause",
        ),
        (again_before and q.root_life_share is None, "root_life_share", ROOT_LIFE_SHARE, "share of its life left then"),
    )
    return tuple(Assumption(name, f"{x:g}", f"judgement: {what}") for used, name, x, what in every if used)


def _option(s: Scene, part: Component, now: Ahead, q: Question) -> OptionCost:
    """Return what having the component costs, against the same machine without it.

    A new machine is kept until it ends or a failure is not worth mending: to sell it on is no way to live with it.
    """
    currency = s.terms.currency
    own, new = own_flows(s.market, s.terms), new_flows(s.market, s.terms)
    without = ahead(own, s.service_year, s.walk, None, sold="once_mended")
    bought = float(cost_per_year(s.market.new_total, new).min())  # what a year is worth to one who buys new
    plain, fitted = (ahead(new, bought, s.walk_new, x, sold="at_the_end") for x in (None, part))
    over_life = plain.worth - fitted.worth + to_minor(q.price_more, currency)
    return OptionCost(
        to_decimal(without.worth - now.worth, currency),
        to_decimal(over_life, currency),
        to_decimal(over_life / plain.years if plain.years > 0 else 0.0, currency),
        round(fitted.repairs, 6),
    )


def _renew_ahead(life: Life, ticket: float, wait: float, uncured: float) -> float | None:
    """Return the age at which to renew the part before it fails [years], where that saves enough of its yearly cost."""
    planned, failed = ticket / (1 - uncured), (ticket + wait) / (1 - uncured)
    if planned <= 0.0:
        return None
    age, rate = age_replacement(life.shape, life.scale_years, planned, failed)
    _, unrenewed = age_replacement(life.shape, life.scale_years, failed, failed)
    return round(age, 3) if rate < (1 - AHEAD_FROM) * unrenewed else None


WAYS = {"sell_as_stands": "sell it as it stands", "part_out": "sell its parts", "scrap": "scrap it"}
UNUSED = {"as_is_steepness"}  # terms that play no part here
REFUSED = {"covered": " If it is refused: ", "ask": " If not: "}  # after the words on the warranty


def headline(a: Again, q: Question) -> str:
    """Return the answer in a sentence or two, the money first."""

    def money(x: Decimal) -> str:
        return say(to_minor(x, a.currency), a.currency)

    lead = warranty_words(q.months_ago or 0.0, q.warranty_months) if a.warranty in REFUSED else ""
    lead += REFUSED.get(a.warranty, "")
    root = a.root_cause
    named = root is not None and root.chance >= LOOK_FROM
    if a.pays and a.limit_if_kept < a.cost_now:
        text = (
            f"Pay for it ({money(a.cost_now)}) only to sell the machine running: up to {money(a.limit_now)} is worth "
        )
        text += f"paying for that, to keep it no more than {money(max(a.limit_if_kept, Decimal(0)))}."
    elif a.pays:
        text = f"Pay for it this time ({money(a.cost_now)}): up to {money(a.limit_now)} is worth paying now"
        text += _next_words(a, money) + walk_words(a.walk_away_years, a.walk_away_age) + "."
        if root is not None and named and root.worth_finding > 0:
            text += f" With a chance of {round(root.chance * 100)} % something else wears it out: to find that is "
            text += f"worth up to {money(root.worth_finding)}."
    elif root is not None and named and root.limit_if_found >= a.cost_now:
        text = "Pay for it only if what wears it out is found and put right: both together up to "
        text += f"{money(root.limit_if_found)}. Without that no more than {money(max(a.limit_now, Decimal(0)))} is "
        text += f"worth paying and it costs {money(a.cost_now)}: {WAYS[a.walking_away_by]}."
    else:
        text = f"Walk away this time: it costs {money(a.cost_now)} and "
        most = f"no more than {money(a.limit_now)} is worth paying"
        text += most if a.limit_now > 0 else "not even a free repair pays"
        text += f"; {WAYS[a.walking_away_by]}."
    return lead + (text[:1].lower() + text[1:] if lead else text)


def _next_words(a: Again, money: Callable[[Decimal], str]) -> str:
    n = a.next_failure
    if n is None or n.chance < LIKELY:
        return "; it will hardly fail again while you have the machine"
    when = f"at the next failure in about {time_words(n.years)}"
    return f", {money(n.limit) if n.limit > 0 else 'nothing'} {when}"


def again(case: Case, c: MachineClass, defaults: Mapping[str, Default], q: Question, version: str = "") -> Again:
    """Return the whole answer to a question about a component that has failed.

    case: checked, with as_of; its complaints and findings don't matter here. defaults: terms it leaves open; the years
    looked ahead take `HORIZON`. Raises BadInput where stated prices contradict each other, ValueError where the life
    can't be fitted.
    """
    line, notes = component_life(q)
    terms = settle(case, c, {**defaults, "horizon_years": HORIZON})
    s = make_scene(c, terms, read_market(case, c, terms), case.machine.age_years)
    cost, edges = job_ticket(case, c, terms, q.hours)
    ticket = cost(to_minor(q.part_price, case.currency))
    uncured = USUAL_UNCURED if q.uncured is None else q.uncured
    part = Component(Life(line.median_years, line.shape), ticket + s.wait_later, uncured, q.renews)
    o = _outlook(s, q, part)
    p = make_prospect(s, o, cost, ticket, edges)
    limit, sound = o.limit(), float(o.sound.limit[0])
    limit_if_kept = (1 - uncured) * (o.mix(o.sound.worth, o.worn.worth) - float(s.walk[0]))
    alive = own_flows(s.market, terms).survival

    def money(x: float) -> Decimal:
        return to_decimal(x, case.currency)

    answer = Again(
        version,
        str(case.as_of),
        case.currency,
        c.id,
        q.title,
        "",
        limit >= ticket + s.wait_now,
        o.sound.sells_at_once and q.renews,
        money(limit_if_kept),
        p.cost_now,
        p.limit_now,
        p.highest_part_price_now,
        money(float(s.walk[0])),
        s.walk_by,
        "" if q.months_ago is None else warranty(q.months_ago, q.warranty_months),
        None if q.months_ago is None else RootCause(round(o.odds, 6), money(sound - limit), money(sound)),
        p.next_failure,
        p.walk_away_years,
        p.walk_away_age,
        p.repairs,
        p.repairs_cost,
        _renew_ahead(part.life, ticket, s.wait_later, uncured) if q.renews else None,
        tuple(
            LimitLine(k / STEPS_PER_YEAR, money(float(o.sound.limit[k])), round(float(alive[k]), 6))
            for k in range(0, alive.size, STEPS_PER_YEAR)
        ),
        _option(s, part, o.sound, q),
        line,
        (
            *notes,
            *_judged(q),
            *s.notes,
            *(x for x in terms.assumptions if x.name not in UNUSED),
            *s.market.assumptions,
        ),
    )
    return replace(answer, headline=headline(answer, q))
