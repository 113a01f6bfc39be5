"""Words: the answer in plain words, the money and the main reason first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from econ.case import Case
from econ.money import say, to_minor
from econ.repairs import LEADS_FROM
from econ.rulebook import MachineClass
from econ.setting import Course, Setting

if TYPE_CHECKING:
    from econ.decision import FaultLine, Offer

TITLES = {
    "keep_using": "keep using it as it is",
    "replace_used": "replace it with a used one",
    "replace_new": "replace it with a new one",
    "do_without": "do without it, or hire",
    "sell_as_stands": "sell it as it stands",
    "part_out": "sell its parts",
    "scrap": "scrap it",
}
RIVALS = {
    "repair": "repairing it",
    "keep_using": "using it as it is",
    "replace_used": "a used replacement",
    "replace_new": "a new one",
    "do_without": "doing without",
    "sell_as_stands": "selling it as it stands",
    "part_out": "selling its parts",
    "scrap": "scrapping it",
}
DISPOSAL = {
    "sell_as_stands": "selling this one as it stands",
    "part_out": "selling this one's parts",
    "scrap": "scrapping this one",
}


KNOWN_FROM = 0.5  # chance of curing at the first go from which a repair is named by its jobs [1]; judgement


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
        if course.open_ended:
            jobs = listed([c.jobs[s.bench.jobs[j]].title for j in course.jobs]) if course.jobs else ""
            return "find the cause, then do what it needs" + (f", and {jobs}" if jobs else "")
        return "repair it: " + listed([c.jobs[s.bench.jobs[j]].title for j in course.jobs])
    held = " for parts or repair, the hold disclosed" if s.held else ""
    if course.disposal and course.disposal != course.kind:
        way = DISPOSAL[course.disposal]
        return f"{TITLES[course.kind]}, {'selling this one' + held if held and 'stands' in way else way}"
    if course.kind == "sell_as_stands" and held:
        return "sell it" + held
    return TITLES[course.kind]


def cause(faults: Sequence[FaultLine]) -> str:
    """Return what it most likely is, in a clause; two faults where none leads clearly."""
    if not faults:
        return ""
    first = faults[0]
    if first.probability >= LEADS_FROM or len(faults) == 1:
        return f"most likely {first.title} ({percent(first.probability)})"
    second = faults[1]
    chances = f"{percent(first.probability)} and {percent(second.probability)}"
    return f"the cause is open, {first.title} and {second.title} lead ({chances})"


def headline(
    case: Case,
    c: MachineClass,
    s: Setting,
    best: Course,
    rival: Course | None,
    repair: Course | None,
    idle: Course,
    faults: Sequence[FaultLine],
    offer: Offer | None,
) -> str:
    """Return the answer in two to four sentences: what to do, the money, what it is better than, the main reason."""
    if case.perspective == "reseller":
        first = _offer(case, c, s, best, offer)
    elif best.kind == "repair":
        first = _repair(case, c, s, best, idle)
    else:
        title = title_of(c, s, best)
        first = title[0].upper() + title[1:]
        paid = f": about {say(abs(best.cash), case.currency)} {'to pay' if best.cash < 0 else 'comes in'}"
        first += ("" if best.kind == "keep_using" else paid) + "."
    gain = ""
    if rival is not None:
        who = {"owner": "You are", "shop": "The customer is", "reseller": "You are"}[case.perspective]
        gain = f"{who} better off by {say(best.worth - rival.worth, case.currency)} than with {RIVALS[rival.kind]}."
    shop = ""
    if case.perspective == "shop" and best.margin is not None and best.margin_per_hour is not None:
        hourly = say(best.margin_per_hour, case.currency)
        shop = f"Your gross profit is {say(best.margin, case.currency)}, {hourly} per bench hour."
    if not faults:
        first = f"Nothing is said or seen to be wrong; going by what is usual: {first[0].lower()}{first[1:]}"
    return " ".join(x for x in (first, gain, _reason(case, best, repair, idle, faults), shop) if x)


def _worth_in_all(repair: Course, idle: Course) -> float:
    """Return the most a repair may come to in all, own time, waiting and what may follow included [money]."""
    return repair.cost + repair.worth - idle.worth


def _repair(case: Case, c: MachineClass, s: Setting, best: Course, idle: Course) -> str:
    """Return the first sentence where the answer is to repair."""
    paid, whole = say(-best.cash, case.currency), say(best.cost, case.currency)
    most = f"; it pays up to {say(_worth_in_all(best, idle), case.currency)}"
    if best.open_ended:
        first = "" if not best.jobs else f"{listed([c.jobs[s.bench.jobs[j]].title for j in best.jobs])}; "
        return (
            f"Worth repairing: {first}find the cause first, then do what it needs. Expect about {whole} in all{most}."
        )
    jobs = listed([c.jobs[s.bench.jobs[j]].title for j in best.jobs])
    if best.cured < KNOWN_FROM:
        return f"Worth repairing, beginning with: {jobs} ({paid}). Expect about {whole} in all{most}."
    if case.perspective == "shop":
        return f"Quote {paid}: {jobs}."
    if s.terms.by_shop:
        return f"Repair it: {jobs}, about {paid} at the shop."
    return f"Repair it: {jobs}, about {paid} to pay and {best.hours * s.terms['slowness']:.1f} h of your own."


def _reason(case: Case, best: Course, repair: Course | None, idle: Course, faults: Sequence[FaultLine]) -> str:
    """Return the main reason: the likeliest fault, and what the repair costs against what it is worth."""
    why = cause(faults)
    lead = f"It is {why}" if why.startswith("most") else why[:1].upper() + why[1:]
    if not why:
        return ""
    if best.open_ended:
        return f"{lead}."
    if best.kind == "repair":
        return f"{lead}; this puts it right at the first go with a chance of {percent(best.cured)}."
    if repair is None:
        return f"{lead}; no repair can be done here."
    cost, most = say(repair.cost, case.currency), _worth_in_all(repair, idle)
    if most <= 0:
        return f"{lead}; putting it right comes to about {cost} in all and would not pay even if it were free."
    return f"{lead}; putting it right comes to about {cost} in all and pays only up to {say(most, case.currency)}."


def _offer(case: Case, c: MachineClass, s: Setting, best: Course, offer: Offer | None) -> str:
    """Return the first sentences for a reseller: buy or leave, the highest offer, what to do with it."""
    way = title_of(c, s, best)
    if offer is None:
        return f"{way[0].upper()}{way[1:]}."
    highest = say(float(to_minor(offer.highest, case.currency)), case.currency)
    if offer.highest <= 0:
        return f"Leave it, even as a gift: no way of going on pays for the hours. The least bad is to {way}."
    if offer.left_at_asking is None or offer.asking_price is None:
        return f"Offer at most {highest}: {way}."
    left = float(to_minor(offer.left_at_asking, case.currency))
    asked = say(float(to_minor(offer.asking_price, case.currency)), case.currency)
    if left < 0:
        return f"Leave it at {asked}: it is worth at most {highest} to you, if you {way}."
    return (
        f"Buy it at {asked}, offer at most {highest}: {way}. It leaves {say(left, case.currency)} with every hour paid."
    )
