"""Buying: what a find that is asked for at a price leaves whoever buys it, for many prices and trips at once.

What a machine brings does not depend on what is asked for it or how far it is away: price and trip come before
anything else. Money in minor units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.money import IntArray, to_minor
from econ.repairs import AfterRepair
from econ.risk import outturns_of
from econ.rulebook import MachineClass
from econ.setting import Course, Setting
from econ.spread import WorkSpread

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Asking:
    """What n finds are to be had for, (n,) each: price [money], whether one is named, trip [money], its hours [h]."""

    price: IntArray
    named: Bools
    travel: IntArray
    hours: Floats

    def some(self, rows: slice | NDArray[np.int64]) -> Asking:
        """Return some of the finds."""
        return Asking(self.price[rows], self.named[rows], self.travel[rows], self.hours[rows])


@dataclass(frozen=True)
class Brings:
    """What a machine brings once it is there, whatever it costs.

    worth: of the best way of going on with it [money]. outturns: its draws, rising, (draws,) [money]. outlay: cash
    for work and parts, those that may follow counted [money]. bench_hours: of work on it [h]. hour: worth of an hour
    on the way [money/h].
    """

    worth: float
    outturns: Floats
    outlay: float
    bench_hours: float
    hour: int


@dataclass(frozen=True)
class Bought:
    """What n finds leave, (n,) each; all but highest count only where a price is named.

    highest: the most that can be paid, trip and every hour counted; below 0 where even a gift costs. left: of it at the
    price. per_hour: of what is left for a bench hour, 0 where there is none. cash: price, trip and outlay [money].
    loss: chance of coming out below price, trip and the hours on the way [1].
    """

    highest: IntArray
    left: IntArray
    per_hour: IntArray
    cash: IntArray
    loss: Floats


def asking_of(case: Case) -> Asking:
    """Return what one find is to be had for."""
    find = case.find
    price = 0 if find.asking_price is None else to_minor(find.asking_price, case.currency)
    return Asking(
        np.array([price], dtype=np.int64),
        np.array([find.asking_price is not None]),
        np.array([to_minor(find.travel_cost, case.currency)], dtype=np.int64),
        np.array([find.travel_hours]),
    )


def bench_hours(s: Setting, c: MachineClass, best: Course) -> float:
    """Return the hours of work that a way of going on with a find takes at the bench [h]: cleaning counts, selling not.

    Hours of a repair are the decider's own, slower than the book's. What is given up is not cleaned, but may be taken
    to parts.
    """
    apart = c.value.part_out_hours
    if best.kind == "repair":
        own = 0.0 if s.terms.by_shop else (best.hours + best.later_hours) * s.terms["slowness"]
        return float(own + s.terms["cleaning_hours"] * (1.0 - best.let_go) + apart * best.parted)
    return apart if best.kind == "part_out" else 0.0


def brings_of(c: MachineClass, s: Setting, best: Course, after: AfterRepair, work: WorkSpread) -> Brings:
    """Return what a machine brings by its best course.

    after: what repairs of the setting leave. work: how its work may turn out.
    """
    hour = s.terms.money("hour_worth")
    own = 0.0 if s.terms.by_shop else best.later_hours * s.terms["slowness"] * s.terms.bench_hour
    later = float(max(0.0, best.follow_up - own))  # paid later; own time left out
    outlay = max(0.0, -best.cash) + later
    return Brings(best.worth, outturns_of(s, best, after, work), outlay, bench_hours(s, c, best), hour)


def highest_offer(worth: float, hour: int, asking: Asking) -> IntArray:
    """Return what can be paid for each find and leave nobody worse off, (n,), half a unit rounded to even."""
    highest: IntArray = np.rint(worth - hour * asking.hours).astype(np.int64) - asking.travel
    return highest


def bought(brings: Brings, asking: Asking) -> Bought:
    """Return what finds that bring the same leave at their prices."""
    highest = highest_offer(brings.worth, brings.hour, asking)
    left = highest - asking.price
    by_hour = left / brings.bench_hours if brings.bench_hours > 0 else np.zeros(left.size)
    paid = asking.price + asking.travel
    below = np.searchsorted(brings.outturns, paid + brings.hour * asking.hours, side="left")
    return Bought(
        highest,
        left,
        np.rint(by_hour).astype(np.int64),
        paid + int(np.rint(brings.outlay)),
        np.round(below / brings.outturns.size, 4),
    )
