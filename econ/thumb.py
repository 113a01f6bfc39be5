"""Thumb: the rules of thumb people use, beside the answer, and why they differ from it."""

from __future__ import annotations

from dataclasses import dataclass

from econ.case import Case
from econ.estimate import Estimate
from econ.market import Market
from econ.money import say, to_minor
from econ.setting import Course, Setting


@dataclass(frozen=True)
class RuleOfThumb:
    """A rule, what it says here, the share it looks at and its limit, whether the answer agrees, and why not."""

    name: str
    says: str
    share: float
    limit: float
    agrees: bool
    why: str
    source: str


# name, limit as a share of new price, up to which share of the median life it is meant, source
RULES = (
    (
        "half the price of a new one",
        0.5,
        None,
        "44 CFR 206.226(f), repairable when repair over replacement cost is at most 50 %; also consumer advice "
        "(common practice)",
    ),
    (
        "85 % of a new one while it is young",
        0.85,
        0.5,
        "US Army TB 43-0154, one-time repair limit for military standard small engines",
    ),
)


def rules_of_thumb(
    case: Case,
    s: Setting,
    market: Market,
    repair: Course | None,
    limit: float | None,
    estimate: Estimate | None,
    best: Course,
) -> tuple[RuleOfThumb, ...]:
    """Return what the usual rules say of the best repair, and where they part from the answer."""
    if repair is None or estimate is None or limit is None:
        return ()
    cost = float(to_minor(estimate.total, case.currency))
    share, repairs = cost / s.terms.new_price, best.kind == "repair"
    young = market.age / market.life.median_years
    found = []
    for name, most, meant, source in RULES:
        if meant is not None and young > meant:
            continue
        yes = share <= most
        agrees = yes == repairs
        why = "" if agrees else _why(case, s, market, limit, yes)
        says = f"{'repair' if yes else 'do not repair'}: {share:.0%} of the new price, limit {most:.0%}"
        found.append(RuleOfThumb(name, says, round(share, 4), most, agrees, why, source))
    return tuple(found)


def _why(case: Case, s: Setting, market: Market, limit: float, rule_repairs: bool) -> str:
    """Return why a rule and the answer part: the limit worked out here, and what moves it."""
    own = limit / s.terms.new_price
    worth = say(limit, case.currency)
    if limit <= 0:
        return "with what else may be wrong and what replacing it costs, nothing spent on this repair comes back"
    if case.perspective == "reseller":
        return f"for a sale what counts is the price it brings: here at most {worth} is worth paying for the repair"
    age = market.age / market.life.median_years
    place = f"this machine is at {age:.0%} of its median life"
    if rule_repairs:
        return f"{place}, and other faults may be left: here at most {worth} ({own:.0%} of new) is worth paying"
    return f"{place}, and getting its service elsewhere costs more: up to {worth} ({own:.0%} of new) is worth paying"
