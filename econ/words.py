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
    from decimal import Decimal

    from econ.decision import FaultLine, HighestOffer
    from econ.staging import Staged

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


def first_step(case: Case, c: MachineClass, staged: Staged, title: str) -> str:
    """Return what comes before the answer as things stand: a check that pays, or an order that changes the answer.

    title: of the best course as things stand.
    """

    def said(amount: Decimal) -> str:
        return say(float(to_minor(amount, case.currency)), case.currency)

    step, order = staged.next_check, next(x for x in staged.orders if x.order == staged.order)
    if step is not None and step.check is not None:
        what = f"{step.title[:1].lower()}{step.title[1:]}"
        return f"First: {what} ({step.minutes:.0f} minutes, worth {said(step.worth)}). As things stand: "
    if order.parts and staged.then != title:
        parts = listed([f"the {c.parts[p].title.partition(',')[0]}" for p in order.parts])
        better = f"better by {said(order.worth)} than ordering after looking"
        return f"Order {parts} now and {staged.then}; that is {better}. Without that order: "
    return ""


def headline(
    case: Case,
    c: MachineClass,
    s: Setting,
    best: Course,
    rival: Course | None,
    pays: tuple[float, float] | None,
    faults: Sequence[FaultLine],
    offer: HighestOffer | None,
) -> str:
    """Return the answer in two to four sentences: what to do, the money, what it is better than, the main reason.

    pays: what the repair that would put it right comes to, own time and what is added later counted, and up to what it
    pays [money]; None where no repair can be done.
    """
    if case.perspective == "reseller":
        first = _offer(case, c, s, best, offer)
    elif best.kind == "repair":
        first = _repair(case, c, s, best, pays, faults)
    else:
        title = title_of(c, s, best)
        first = title[0].upper() + title[1:]
        paid = f": about {say(abs(best.cash), case.currency)} {'to pay' if best.cash < 0 else 'comes in'}"
        first += ("" if best.kind == "keep_using" else paid) + "."
    gain = ""
    if rival is not None and (faults or best.kind != "keep_using"):
        who = {"owner": "You are", "shop": "The customer is", "reseller": "You are"}[case.perspective]
        gain = f"{who} better off by {say(best.worth - rival.worth, case.currency)} than with {RIVALS[rival.kind]}."
    shop = ""
    if case.perspective == "shop" and best.margin is not None and best.margin_per_hour is not None:
        hourly = say(best.margin_per_hour, case.currency)
        shop = f"Your gross profit is {say(best.margin, case.currency)}, {hourly} per bench hour."
    if not faults:
        why = (
            "What was complained of was found to be normal"
            if case.complaints
            else "Nothing is said or seen to be wrong"
        )
        first = f"{why}; going by what is usual: {first[0].lower()}{first[1:]}"
    return " ".join(x for x in (first, gain, _reason(case, s, best, pays, faults), shop) if x)


SURE_OF_CAUSE = 0.8  # chance of a fault from which its name stands for the cause that is still open [1]; judgement


def _sums(case: Case, s: Setting, pays: tuple[float, float]) -> tuple[str, str]:
    """Return what a repair comes to and up to what it pays, in words."""
    own = "" if s.terms.by_shop else ", own time counted,"
    return f"{say(pays[0], case.currency)}{own}", say(pays[1], case.currency)


def _repair(
    case: Case,
    c: MachineClass,
    s: Setting,
    best: Course,
    pays: tuple[float, float] | None,
    faults: Sequence[FaultLine],
) -> str:
    """Return the first sentence where the answer is to repair."""
    paid = say(-best.cash, case.currency)
    whole, most = _sums(case, s, pays) if pays else ("", "")
    expect = f"Expect about {whole} with what may follow; it pays up to {most}."
    if best.open_ended:
        first = "" if not best.jobs else f"{listed([c.jobs[s.bench.jobs[j]].title for j in best.jobs])}; "
        if faults and faults[0].probability >= SURE_OF_CAUSE:
            how = f"put right the {faults[0].title}, then what the test run still shows"
        else:
            how = "find the cause first, then do what it needs"
        return f"Worth repairing: {first}{how}. {expect}"
    jobs = listed([c.jobs[s.bench.jobs[j]].title for j in best.jobs])
    if best.cured < KNOWN_FROM:
        return f"Worth repairing, beginning with: {jobs} ({paid}). {expect}"
    if case.perspective == "shop":
        return f"Quote {paid}: {jobs}."
    if s.terms.by_shop:
        return f"Repair it: {jobs}, about {paid} at the shop."
    return f"Repair it: {jobs}, about {paid} to pay and {best.hours * s.terms['slowness']:.1f} h of your own."


def _reason(case: Case, s: Setting, best: Course, pays: tuple[float, float] | None, faults: Sequence[FaultLine]) -> str:
    """Return the main reason: the likeliest fault, and what the repair costs against what it is worth."""
    why = cause(faults)
    lead = f"It is {why}" if why.startswith("most") else why[:1].upper() + why[1:]
    if not why:
        return ""
    if best.open_ended:
        return f"{lead}."
    if best.kind == "repair":
        return f"{lead}; this puts it right at the first go with a chance of {percent(best.cured)}."
    if pays is None:
        because = s.no_repair.partition(": nothing that can be done here clears this")[2]
        return f"{lead}; no repair can be done here{because}."
    whole, most = _sums(case, s, pays)
    if pays[1] <= 0:
        return f"{lead}; putting it right comes to about {whole} and would not pay even if it were free."
    return f"{lead}; putting it right comes to about {whole} and pays only up to {most}."


def _offer(case: Case, c: MachineClass, s: Setting, best: Course, offer: HighestOffer | None) -> str:
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
