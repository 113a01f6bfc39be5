"""Words: the answer in plain words, the money and the main reason first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from econ.case import Case
from econ.courses import Course, Setting
from econ.money import say, to_minor
from econ.rulebook import MachineClass

if TYPE_CHECKING:
    from econ.verdict import FaultLine, Offer

TITLES = {
    "keep_using": "keep using it as it is",
    "replace_used": "replace it with a used one",
    "replace_new": "replace it with a new one",
    "do_without": "do without it, or hire",
    "sell_as_stands": "sell it as it stands",
    "part_out": "sell its parts",
    "scrap": "scrap it",
}
DISPOSAL = {
    "sell_as_stands": "selling this one as it stands",
    "part_out": "selling this one's parts",
    "scrap": "scrapping this one",
}


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))


def percent(chance: float) -> str:
    """Return a chance for people: no false certainty at either end."""
    if chance >= 0.995:
        return "over 99 %"
    if 0 < chance < 0.005:
        return "under 1 %"
    return f"{chance:.0%}".replace("%", " %")


def confidence_word(chance: float) -> str:
    """Return how sure the answer is, in a word."""
    if chance >= 0.9:
        return "sure"
    if chance >= 0.7:
        return "likely"
    return "a close call"


def title_of(c: MachineClass, s: Setting, course: Course) -> str:
    """Return what a course is, in plain words."""
    if course.kind == "repair":
        return "repair it: " + listed([c.jobs[s.bench.jobs[j]].title for j in course.jobs])
    if course.disposal and course.disposal != course.kind:
        return f"{TITLES[course.kind]}, {DISPOSAL[course.disposal]}"
    return TITLES[course.kind]


def _reason(case: Case, course: Course, faults: Sequence[FaultLine], repair: Course | None, limit: float | None) -> str:
    """Return the main reason: the likeliest fault, and for a refusal what the repair costs against its limit."""
    if not faults:
        return ""
    leader = faults[0]
    cause = f"It is most likely {leader.title} ({percent(leader.probability)})"
    if leader.probability < 0.4 and len(faults) > 1:
        cause = f"Likeliest are {leader.title} ({percent(leader.probability)}) and {faults[1].title} ({percent(faults[1].probability)})"
    if course.kind == "repair":
        return f"{cause}; the repair puts it right at once with a chance of {percent(course.cured)}."
    if repair is None or limit is None:
        return f"{cause}; no repair is possible here."
    cost = say(-repair.cash, case.currency)
    if limit <= 0:
        return f"{cause}; no repair is worth paying for, and the best one would cost about {cost}."
    return f"{cause}; the best repair costs about {cost} and is worth at most {say(limit, case.currency)}."


def _money_now(case: Case, course: Course) -> str:
    amount = say(abs(course.cash), case.currency)
    return f"about {amount} now" if course.cash < 0 else f"it brings about {amount}"


def headline(
    case: Case,
    c: MachineClass,
    s: Setting,
    best: Course,
    rival: Course | None,
    repair: Course | None,
    limit: float | None,
    faults: Sequence[FaultLine],
    offer: Offer | None,
) -> str:
    """Return the answer in two or three sentences: what to do, the money, the main reason."""
    title = title_of(c, s, best)
    what = title[0].upper() + title[1:]
    if case.perspective == "reseller":
        first = _reseller(case, s, best, what, offer)
    elif best.kind == "keep_using":
        first = f"{what}."
    else:
        first = f"{what}: {_money_now(case, best)}." if best.kind != "repair" else f"{what}; {_money_now(case, best)}."
    gain = "" if rival is None else _gain(case, c, s, best, rival)
    shop = ""
    if case.perspective == "shop" and best.margin_per_hour is not None:
        shop = f"Your gross profit: {say(best.margin or 0.0, case.currency)}, {say(best.margin_per_hour, case.currency)} per bench hour."
    return " ".join(x for x in (first, gain, _reason(case, best, faults, repair, limit), shop) if x)


def _gain(case: Case, c: MachineClass, s: Setting, best: Course, rival: Course) -> str:
    who = {"owner": "You are", "shop": "The customer is", "reseller": "That is"}[case.perspective]
    amount = say(best.worth - rival.worth, case.currency)
    other = title_of(c, s, rival)
    if rival.kind == "repair":
        other = f"repairing it ({say(-rival.cash, case.currency)})"
    else:
        other = f"the next best: to {other}"
        return f"{who} better off by {amount} than with {other}."
    return f"{who} better off by {amount} than by {other}."


def _reseller(case: Case, s: Setting, best: Course, what: str, offer: Offer | None) -> str:
    clear = say(best.worth, case.currency)
    text = f"{what}; it clears about {clear} with every hour paid, before the purchase"
    if best.kind != "repair":
        text = f"{what}: it clears about {clear}, before the purchase"
    if offer is None:
        return text + "."
    highest = say(float(to_minor(offer.highest, case.currency)), case.currency)
    if offer.left_at_asking is None or offer.asking_price is None:
        return f"{text}. Offer at most {highest}."
    left = float(to_minor(offer.left_at_asking, case.currency))
    asked = say(float(to_minor(offer.asking_price, case.currency)), case.currency)
    if left < 0:
        return f"Leave it at {asked}: offer at most {highest}. {text}."
    return f"Buy it at {asked}, and offer at most {highest}. {text}."
