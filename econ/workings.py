"""Workings: an answer taken apart into the figures and tables from which it can be put together again.

Whoever puts it together has prices, hours, terms and chances as single figures, and tables of what does not depend on
them: which faults may be there, what each repair leaves of them, what would have to follow. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from econ.bridge import Items, best_way, of_others, of_repairs, ways_to_let_go
from econ.case import Case
from econ.costing import THOUSAND, Bench, complications, members, ordered, work
from econ.courses import other_courses
from econ.followups import follow_up, ways_on
from econ.gauss import fewer
from econ.groundwork import ways_to_cure
from econ.knowledge import pert_mean
from econ.market import Market
from econ.money import DIGITS
from econ.raking import raked
from econ.repairs import AfterRepair, open_ended, repairs
from econ.rulebook import TRACING, MachineClass
from econ.scopes import Scope
from econ.setting import Course, Setting, course_name
from econ.states import effects
from econ.terms import Terms
from econ.weighing import Believed, Weighed, estimated

Floats = NDArray[np.float64]
STATES = 256  # likeliest states that are shown; what they miss counts as it does in the answer
LEVELS = 32  # shares of the price that stand for all; with more, no sum over them comes out another


@dataclass(frozen=True)
class Ticket:
    """A set of jobs that is priced as one, by their numbers on the bench.

    first: with the fixed fees and the minimum charge of a first visit. operations: number and whether it is charged.
    fitted, charged, ordered: by number of the part what is fitted, charged, and has to be ordered [thousandths].
    borne: cost of parts that are fitted for nothing and paid for all the same [money]. tools: what those not at hand
    cost [money].
    usual: whether a part takes the usual time to come; own: the longest time of those whose time is known [weeks].
    sent: whether an order at the usual shipping comes; by_seller: what sellers of a price book charge to send [money].
    """

    jobs: Scope
    first: bool
    operations: tuple[tuple[int, bool], ...]
    fitted: tuple[tuple[int, int], ...]
    charged: tuple[tuple[int, int], ...]
    ordered: tuple[tuple[int, int], ...]
    borne: int
    tools: int
    usual: bool
    own: float
    sent: bool
    by_seller: int


@dataclass(frozen=True)
class Share:
    """What a set of faults leaves [1]: of service, of life, of the price all told or seen, of parts, and unclaimed."""

    faults: int
    service: float
    survive: float
    price: float
    seen_price: float
    parts: float
    unclaimed: float


@dataclass(frozen=True)
class InService:
    """A machine back in use, or sold as working: the faults still in it, and the share of its age taken off [1]."""

    share: Share
    renewal: float


@dataclass(frozen=True)
class Leftover:
    """A set of faults that repairs leave which renew alike, wanted wear with it.

    failing: those of them that fail the release check. cured: nothing left costs much of the service. after: number of
    the machine in service that follows, once what fails is put right. ways: tickets, any of which puts it right; none
    where it passes.
    """

    share: Share
    failing: int
    cured: bool
    after: int
    ways: tuple[int, ...]


@dataclass(frozen=True)
class Again:
    """A job that a shop does over again for nothing: chance that it does not cure, faults it clears, its ticket."""

    job: int
    uncured: float
    clears: int
    ticket: int


@dataclass(frozen=True)
class Repair:
    """A repair course: its ticket, and by the ways in which jobs may not cure (chance, leftover of each state)."""

    course: str
    ticket: int
    open_ended: bool
    ways: tuple[tuple[float, tuple[int, ...]], ...]
    again: tuple[Again, ...]


@dataclass(frozen=True)
class Rest:
    """What the states that are not shown add to a course: to its worth and so on, as in `Course`."""

    worth: float
    cost: float
    years: float
    cured: float
    follow_up: float
    margin: float
    later_hours: float


@dataclass(frozen=True)
class Level:
    """Of what is believed by the complaint alone: log of the share of the price left, and its chance."""

    log_share: float
    chance: float


@dataclass(frozen=True)
class Operation:
    """An operation: mean hours by the book, its allowance for complications [h] and for their parts [pieces]."""

    id: str
    title: str
    hours: float
    trouble_hours: float
    trouble_parts: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Workings:
    """An answer taken apart.

    states: the likeliest; weights: chances of them such that each fault is as likely as over all; whole: their share of
    all. chances: of each fault in play. rests: by course; shares_rest: of the price and of the parts [1]. estimate:
    number of the ticket that the estimate is written for. levels: what an as-is price is held against; steepness: the
    exponent that it gives or that is taken. kept: share of the as-is price that is left after opening. service_year: e
    [money/year]; week: cost of one without it [money]. tracing: number of the operation of one look. put_back: hours of
    closing what was opened [h]. bridges: by course what its worth is made up of, over the states shown [money]. ways:
    what letting it go brings, by kind [money]; way: the best of them. curing: the repair that would put it right, by
    name.
    """

    case: Case
    machine_class: MachineClass
    believed: Believed
    terms: Terms
    market: Market
    bench: Bench
    faults: tuple[str, ...]
    in_play: int
    operations: tuple[Operation, ...]
    tickets: tuple[Ticket, ...]
    states: tuple[Share, ...]
    weights: Floats
    whole: float
    chances: Mapping[str, float]
    in_service: tuple[InService, ...]
    leftovers: tuple[Leftover, ...]
    repairs: tuple[Repair, ...]
    rests: Mapping[str, Rest]
    shares_rest: tuple[float, float]
    estimate: int | None
    levels: tuple[Level, ...]
    steepness: float
    kept: float
    service_year: float
    week: float
    tracing: int
    put_back: float
    courses: tuple[Course, ...]
    bridges: Mapping[str, Items]
    ways: Items
    way: str
    curing: str | None

    @property
    def scale(self) -> int:
        """Minor units in one of the currency."""
        return int(10 ** DIGITS[self.case.currency])


class _Tickets:
    """The sets of jobs met so far, each once."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.found: dict[tuple[Scope, bool], int] = {}

    def number(self, jobs: Iterable[int], first: bool) -> int:
        """Return the number of a set of jobs."""
        return self.found.setdefault((tuple(sorted(jobs)), first), len(self.found))

    def all(self) -> tuple[Ticket, ...]:
        """Return all that were met, by their numbers."""
        bench = self._bench
        w = work(bench, members(bench, [jobs for jobs, _ in self.found]))
        comes = ordered(bench, w.quantity)
        usual = np.ones(len(bench.parts), dtype=bool)
        by_seller = np.zeros(len(self.found), dtype=np.int64)
        for x in bench.senders:
            usual[x.parts] = False
            by_seller += np.sum(x.charge(comes), axis=0)
        tools = (w.done.astype(float) @ bench.op_tools > 0) @ bench.tool_price
        return tuple(
            Ticket(
                jobs,
                first,
                tuple((int(o), bool(w.charged[i, o])) for o in np.flatnonzero(w.done[i])),
                _some(w.fitted[i]),
                _some(w.quantity[i]),
                _some(comes[i]),
                round(float((w.borne[i] - w.quantity[i]) @ bench.unit_cost) / THOUSAND),
                int(tools[i]),
                bool(w.wait.usual[i]),
                float(w.wait.own[i]),
                bool((comes[i, usual] > 0).any()),
                int(by_seller[i]),
            )
            for i, (jobs, first) in enumerate(self.found)
        )


def _some(row: NDArray[np.int64]) -> tuple[tuple[int, int], ...]:
    return tuple((int(i), int(row[i])) for i in np.flatnonzero(row))


def _shares(s: Setting, masks: Sequence[int]) -> tuple[Share, ...]:
    """Return what sets of faults leave."""
    left = effects(s.table, np.array(masks, dtype=np.int64))
    columns = left.service, left.survive, left.price, left.seen_price, left.parts, left.unclaimed
    return tuple(Share(m, *map(float, row)) for m, row in zip(masks, zip(*columns, strict=True), strict=True))


class _Left:
    """What repairs may leave, each set of faults once, with what has to follow."""

    def __init__(self, s: Setting, tickets: _Tickets, masks: Mapping[tuple[float, int], set[int]]) -> None:
        self._s, self._tickets = s, tickets
        failing = np.array(sorted({m & s.table.failing for each in masks.values() for m in each} - {0}), dtype=np.int64)
        more = follow_up(s.bench, s.jobs, failing, 0.0)
        serves, ways = ways_on(s.jobs, failing)
        self._follow = {int(f): (int(more.clears[i]), float(more.renewal[i])) for i, f in enumerate(failing)}
        self._ways: dict[int, list[int]] = {}
        for i, way in zip(serves.tolist(), ways, strict=True):
            number = tickets.number(map(int, np.flatnonzero(way)), False)
            self._ways.setdefault(int(failing[i]), []).append(number)
        self._services: dict[tuple[int, float], int] = {}
        self.place: dict[tuple[float, int], dict[int, int]] = {}
        found: list[tuple[int, int, bool, int, tuple[int, ...]]] = []
        for key in masks:
            place = self.place[key] = {}
            for mask in sorted(masks[key], key=lambda m: (m & s.table.failing, m)):
                place[mask] = len(found)
                found.append(self._leftover(mask, key))
        shares = _shares(s, [x[0] for x in found])
        self.leftovers = tuple(Leftover(share, *x[1:]) for share, x in zip(shares, found, strict=True))
        each = _shares(s, [mask for mask, _ in self._services])
        self.services = tuple(InService(x, r) for x, (_, r) in zip(each, self._services, strict=True))

    def _leftover(self, mask: int, key: tuple[float, int]) -> tuple[int, int, bool, int, tuple[int, ...]]:
        s, (renewal, worn) = self._s, key
        whole, fails = mask | worn, mask & s.table.failing
        if not fails:
            return whole, 0, (mask & s.table.costly) == 0, self._service(whole, renewal), ()
        clears, renewed = self._follow[fails]
        after = self._service(whole & ~clears, max(renewal, renewed))
        return whole, fails, False, after, tuple(self._ways.get(fails, ()))

    def _service(self, mask: int, renewal: float) -> int:
        return self._services.setdefault((mask, renewal), len(self._services))


def _levels(s: Setting, believed: Believed) -> tuple[Level, ...]:
    """Return a few shares of the price that stand for all that disclosed faults may leave."""
    shares = effects(s.table, believed.complained.states).price
    each, chances = fewer(np.log(shares), believed.complained.weights, LEVELS)
    return tuple(Level(float(x), float(chance)) for x, chance in zip(each, chances, strict=True))


def _operations(w: Weighed, case: Case, c: MachineClass) -> tuple[Operation, ...]:
    hours, quantity = complications(case, c, w.bench.parts)
    return tuple(
        Operation(
            o,
            c.operations[o].title,
            pert_mean(c.operations[o].hours),
            float(hours[i]),
            tuple((int(p), float(quantity[i, p])) for p in np.flatnonzero(quantity[i])),
        )
        for i, o in enumerate(w.bench.ops)
    )


def _rest(whole: Course, shown: Course) -> Rest:
    if whole.kind not in ("repair", "keep_using"):  # all of it is in the ways of letting it go
        return Rest(*(0.0,) * 7)

    def more(name: str) -> float:
        return float((getattr(whole, name) or 0.0) - (getattr(shown, name) or 0.0))

    names = ("worth", "cost", "years", "cured", "follow_up", "margin", "later_hours")
    return Rest(*(more(name) for name in names))


def _shares_rest(s: Setting, weights: Floats) -> tuple[float, float]:
    """Return what the states that are not shown add to the mean share of the price, all told, and of the parts [1]."""
    left, shown = effects(s.table, s.present), weights.size
    shares = left.disclosed(s.payoffs.steepness), left.parts
    price, parts = (float(x @ s.posterior.weights - x[:shown] @ weights) for x in shares)
    return price, parts


def take_apart(case: Case, c: MachineClass, believed: Believed, w: Weighed, states: int = STATES) -> Workings:
    """Return the workings of an answer. states: how many of the likeliest are shown."""
    s = w.setting
    shown = min(states, s.posterior.states.size)
    weights = s.posterior.weights[:shown]
    likeliest = s.posterior.states[:shown]
    present = (likeliest[:, None] >> np.arange(s.in_play) & 1).astype(bool)
    stand = weights if shown == s.posterior.states.size else raked(present, weights, s.posterior.marginal)
    head = replace(s.posterior, states=likeliest, weights=stand)
    by_head = replace(s, posterior=head)
    scopes = [x.jobs for x in w.courses if x.kind == "repair"]
    after = AfterRepair(by_head)
    courses = {course_name(s, x): x for x in (*repairs(by_head, after, scopes, False), *other_courses(by_head))}
    tickets = _Tickets(w.bench)
    named = estimated(s, w.courses, w.after)
    estimate = None if named[1] is None else tickets.number(named[1].jobs, True)
    numbers = [tickets.number(x, True) for x in scopes]
    ground, masks = after.groundwork, dict[tuple[float, int], set[int]]()
    ways = {x: ways_to_cure(s, x) for x in scopes}
    for x in scopes:
        some = masks.setdefault(ground.key(x), set())
        for _, cleared in ways[x]:
            some.update((head.states & ~cleared).tolist())
    left = _Left(by_head, tickets, masks)
    found = []
    for x, number in zip(scopes, numbers, strict=True):
        place = left.place[ground.key(x)]
        rows = tuple(
            (chance, tuple(place[m] for m in (head.states & ~cleared).tolist())) for chance, cleared in ways[x]
        )
        shop = s.terms.by_shop or s.terms.perspective == "shop"  # somebody does jobs over again for nothing
        again = tuple(
            Again(j, s.jobs.uncured[j], s.jobs.clears[j] & ~s.worn, tickets.number((j,), False)) for j in x if shop
        )
        name = "repair:" + ("+".join(s.bench.jobs[j] for j in x) or "open")
        found.append(Repair(name, number, open_ended(s, x), rows, again))
    opened = [c.checks[i] for i in believed.heard.opened]
    names = (course_name(s, x) for x in w.courses if x.kind == "repair")
    bridges = {**dict(zip(names, of_repairs(by_head, after, scopes), strict=True)), **of_others(s)}
    if "keep_using" in bridges:  # all of the rest is in the ways of letting it go
        bridges["keep_using"] = of_others(by_head)["keep_using"]
    return Workings(
        case,
        c,
        believed,
        s.terms,
        s.market,
        s.bench,
        s.table.ids,
        s.in_play,
        _operations(w, case, c),
        tickets.all() if tickets.found else (),
        _shares(s, (head.states | s.worn).tolist()),
        head.weights,
        float(weights.sum()),
        believed.likely,
        left.services,
        left.leftovers,
        tuple(found),
        {name: _rest(x, courses[name]) for x in w.courses for name in (course_name(s, x),)},
        _shares_rest(s, head.weights),
        estimate,
        _levels(s, believed),
        float(s.payoffs.steepness),
        s.payoffs.as_is_kept,
        float(s.payoffs.year_of_service),
        float(s.payoffs.week),
        s.bench.ops.index(TRACING),
        float(sum(pert_mean(x.put_back) for x in opened)),
        w.courses,
        bridges,
        ways_to_let_go(s),
        best_way(s),
        None if named[0] is None else course_name(s, named[0]),
    )
