"""Orders: when to order which parts, and what that saves or loses against ordering once it is known what is needed.

Parts ordered today come while the machine waits for the bench. Those of a likely follow-up, ordered today or with the
parts of the repair, save a second wait and a second shipping when the test run fails. What is not used goes back at a
loss. Consumables are bought nearby whatever is ordered, and a part that has no name yet can't be ordered. Money in
minor units, parts in thousandths.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.costing import THOUSAND, Charges, members, ordered, shipping_of, wait_for, work
from econ.groundwork import entropy, ways_to_cure
from econ.money import RATE_UNIT, IntArray
from econ.plan import Node, Plan, make_plans
from econ.repairs import AfterRepair
from econ.rulebook import SOMETHING_ELSE, MachineClass
from econ.scopes import Scope
from econ.setting import Setting
from econ.stopping import Choice, Kit, Look, Suspect

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
AFTER_LOOKING, NOW, LIKELY_KIT = "after_looking", "now", "likely_kit"
REPAIRS = 3  # best repairs whose parts may be ordered today, and one that by itself needs none
FOLLOW_UPS = 2  # likeliest sets of failing faults whose parts may come with them


@dataclass(frozen=True)
class Order:
    """An order. parts: (parts,) [thousandths]; spare: those of them that only a follow-up needs.

    repair: the number of the repair it is placed with, whenever that is chosen; None: it is placed today.
    """

    kind: str
    parts: IntArray
    spare: IntArray
    repair: int | None


@dataclass(frozen=True)
class Weighed:
    """A way of ordering and the best plan with it. parts, spare: as in `Order`, none where it is ordered after looking.

    weeks: of waiting saved on the mean. early: of a repair's wait that fall in the wait for the bench, 0 where nothing
    is ordered today. lost: on parts that go back, on the mean [money].
    """

    kind: str
    parts: IntArray
    spare: IntArray
    plan: Plan
    weeks: float
    early: float
    lost: float


@dataclass(frozen=True)
class _Repair:
    """A repair with what may follow, in m states and w ways in which its jobs may cure or not.

    needs: (parts,) that have to be ordered; weeks: they take. post: what sending costs. chance: (w,). added, given_up:
    (w, m) worth if the cheapest jobs are added to what fails, and if it is given up. place: (w, m) the set of failing
    faults, one of n. then, then_weeks, then_post: (n, parts), (n,) and (n,) what its follow-up needs, how long that
    takes, and what sending it costs. mass: (n,) chance.
    """

    needs: IntArray
    weeks: float
    post: float
    chance: Floats
    added: Floats
    given_up: Floats
    place: NDArray[np.int64]
    then: IntArray
    then_weeks: Floats
    then_post: Floats
    mass: Floats


@dataclass(frozen=True)
class Changes:
    """What k orders change in one choice: worth, weeks of waiting saved, and what is lost on parts that go back.

    worth, weeks, lost: (k, m), where what was missed is traced; none: (3, k), the same where it is given up untraced.
    """

    worth: Floats
    weeks: Floats
    lost: Floats
    none: Floats


def with_tax_and_fee(charges: Charges, kind: str) -> float:
    """Return what the decider pays for each unit charged of one kind, tax and card fee with it [1]."""
    taxed = kind in charges.taxable and not charges.tax_inclusive
    return (1 + charges.tax_rate / RATE_UNIT * taxed) * (1 + charges.card_rate / RATE_UNIT)


def _where(bears: Bools, x: Changes) -> Changes:
    """Return the changes of the orders that bear on a choice, none for the others."""
    each = bears[:, None]
    return Changes(x.worth * each, x.weeks * each, x.lost * each, x.none * bears)


class Orders:
    """The orders of a case, for repairs with the given scopes, best first, in m states with their weights."""

    def __init__(
        self,
        s: Setting,
        c: MachineClass,
        after: AfterRepair,
        scopes: Sequence[Scope],
        states: NDArray[np.int64],
        weights: Floats,
    ) -> None:
        self._s, self._after, self._states, self._weights = s, after, states, weights
        charges = s.bench.charges
        self._price = s.bench.unit_price * with_tax_and_fee(charges, "parts") * s.bench.return_loss / THOUSAND
        self._paid = with_tax_and_fee(charges, "fees")
        self._queue = s.terms["queue_weeks"]
        parts = s.bench.parts
        unnamed = {q.part for job in c.jobs.values() if set(job.cleared) == {SOMETHING_ELSE} for q in job.parts}
        self._unnamed = np.array([p in unnamed for p in parts])
        slow = self._weeks((s.bench.shelf + THOUSAND)[None]) > 0
        posts = charges.shipping > 0 or bool(s.bench.senders)
        gains = posts or (bool(slow[0]) and s.payoffs.week > 0)
        self._repairs = [self._repair(scope) for scope in scopes] if gains else []

    def _weeks(self, parts: IntArray) -> Floats:
        """Return how long sets of parts (k, parts) take to come, (k,) [weeks]."""
        return wait_for(self._s.bench, parts).weeks(self._s.terms["parts_lead_days"] / 7)

    def _post(self, parts: IntArray) -> Floats:
        """Return what it costs to have sets of parts (k, parts) sent, tax and card fee with it, (k,) [money]."""
        return np.asarray(shipping_of(self._s.bench, parts) * self._paid, dtype=float)

    def _repair(self, scope: Scope) -> _Repair:
        s, bench = self._s, self._s.bench
        w = work(bench, members(bench, [scope]))
        renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
        ways = ways_to_cure(s, scope)
        chance = np.array([x for x, _ in ways])
        left = np.array([self._states & ~cleared for _, cleared in ways])
        if_added, given_up = self._after(("if_added", "given_up"), left, renewal, worn)[:, 0]
        sets, place = np.unique(left & s.table.failing, return_inverse=True)
        place = place.reshape(left.shape)
        then = work(bench, self._after.groundwork.follow_ups(sets).jobs[0])
        mass = np.bincount(place.ravel(), (chance[:, None] * self._weights).ravel(), sets.size).astype(float)
        return _Repair(
            ordered(bench, w.fitted)[0],
            float(self._weeks(w.fitted)[0]),
            float(self._post(w.quantity)[0]),
            chance,
            if_added,
            given_up,
            place,
            ordered(bench, then.fitted),
            self._weeks(then.fitted),
            self._post(then.quantity),
            mass,
        )

    def _changes(self, r: _Repair, parts: IntArray, start: Floats) -> Changes:
        """Return what orders (k, parts) change in a repair. start: (k,) weeks they have before the bench is free.

        Its own parts first, then those of the follow-up out of what is left, whose jobs stay the ones that are
        cheapest without an order.
        """
        week = self._s.payoffs.week
        rest = parts - np.minimum(parts, r.needs)
        whole = (r.needs <= parts).all(axis=1) & r.needs.any()
        early = np.where(whole, np.minimum(start, r.weeks), 0.0)
        own = early * week + whole * r.post - self._post(parts)
        again: Bools = np.logical_and((r.then <= rest[:, None]).all(axis=2), r.then.any(axis=1))
        # A repair that waits for no parts is soon done: then its follow-up's parts may still be on their way.
        done = np.where(whole, np.maximum(start, r.weeks), start + r.weeks)[:, None]
        weeks: Floats = np.where(again, np.minimum(r.then_weeks, done), 0.0)
        lost = (rest[:, None] - np.minimum(rest[:, None], r.then)) @ self._price
        saved = weeks * week + again * r.then_post - lost
        back = rest @ self._price
        add, drop = r.added + saved[:, r.place], r.given_up - back[:, None, None]
        adds = add >= drop
        change = np.where(adds, add, drop) - np.maximum(r.added, r.given_up)

        def mean(x: Floats) -> Floats:
            return np.asarray(np.einsum("w,kwm->km", r.chance, x))

        return Changes(
            np.round(own[:, None] + mean(change), 6),
            early[:, None] + mean(adds * weeks[:, r.place]),
            mean(np.where(adds, lost[:, r.place], back[:, None, None])),
            np.array([own - back, early, back]),
        )

    def candidates(self) -> list[Order]:
        """Return the orders worth a look: the parts of the best repairs, and those with the likeliest follow-ups'.

        A follow-up's parts are left out where they lose more than they save even if that repair is always done.
        """
        waits = self._queue * self._s.payoffs.week > 0
        found: list[Order] = []
        able = [j for j, r in enumerate(self._repairs) if not (r.needs * self._unnamed).any()]
        own = [j for j in able if self._repairs[j].needs.any()]
        for j in [*own[:REPAIRS], *[j for j in able if j not in own][:1]]:
            r = self._repairs[j]
            if waits and r.weeks > 0:
                found.append(Order(NOW, r.needs, 0 * r.needs, None))
            news = ((r.then > 0) & (r.needs == 0)).any(axis=1) & ~(r.then * self._unnamed).any(axis=1)
            more = [r.then[i] for i in np.argsort(-r.mass, kind="stable") if news[i]][:FOLLOW_UPS]
            if len(more) == FOLLOW_UPS:
                more.append(np.maximum(*more))
            for today in (True, False) if waits else (False,):
                kits = np.array([r.needs, *(r.needs + x for x in more)])
                start = np.full(len(kits), self._queue * today)
                worth = self._changes(r, kits, start).worth @ self._weights
                least = worth[0] if r.needs.any() else 0.0
                for parts in kits[1:][worth[1:] > least]:
                    spare = np.where(r.needs > 0, 0, parts)
                    found.append(Order(LIKELY_KIT, parts, spare, None if today else j))
        found.sort(key=lambda x: x.kind == LIKELY_KIT)
        once = {(*x.parts.tolist(), x.repair): x for x in reversed(found)}
        return list(once.values())[::-1]

    def _every_change(self, orders: Sequence[Order], others: int) -> list[Changes]:
        """Return what orders change in each repair, then in each of `others` choices without repair."""
        parts = np.array([x.parts for x in orders])
        today = np.array([x.repair is None for x in orders])
        back = parts @ self._price
        gone = np.array([-self._post(parts) - back, 0 * back, back])
        every = [self._changes(r, parts, today * self._queue) for r in self._repairs]
        worth, weeks, lost = gone[:, :, None] * np.ones(self._weights.size)
        rest = Changes(worth, weeks, lost, gone)
        bears = [[x.repair in (None, i) for x in orders] for i in range(len(every))]
        return [
            _where(np.array(b), x) for b, x in zip([*bears, *[today] * others], [*every, *[rest] * others], strict=True)
        ]

    def weigh(
        self,
        choices: Sequence[Choice],
        looks: Sequence[Look],
        prices: Mapping[str, float],
        least: float = 0.0,
        suspects: Sequence[Suspect] = (),
    ) -> list[Weighed]:
        """Return the plan with parts ordered after looking, then with the best order of each other kind that may gain.

        choices: the repairs in the order given, then those without repair. least, suspects: as `make_plans`
        has them; least also for its even.
        """
        orders, w, trace_cost = self.candidates(), self._weights, self._s.trace_cost
        changes = self._every_change(orders, len(choices) - len(self._repairs)) if orders else []
        kits = [
            Kit(np.array([x.worth[k] for x in changes]), np.array([x.none[0, k] for x in changes]))
            for k in range(len(orders))
        ]
        usual, *plans = make_plans(
            w, choices, looks, kits, prices, trace_cost, least=least, suspects=suspects, even=least
        )
        nothing = np.zeros(self._price.size, dtype=np.int64)
        found = [Weighed(AFTER_LOOKING, nothing, nothing, usual, 0.0, 0.0, 0.0)]
        for kind in (NOW, LIKELY_KIT):
            able = [k for k, x in enumerate(orders) if x.kind == kind]
            if able:
                k = max(able, key=lambda k: plans[k].value)
                weeks, lost = _expected(plans[k].tree, w, choices, looks, trace_cost, changes, k)
                x = orders[k]
                early = min(self._queue, float(self._weeks((x.parts - x.spare)[None])[0])) * (x.repair is None)
                found.append(Weighed(kind, x.parts, x.spare, plans[k], weeks, early, lost))
        return found


def _expected(
    tree: Node,
    weights: Floats,
    choices: Sequence[Choice],
    looks: Sequence[Look],
    trace_cost: float,
    changes: Sequence[Changes],
    k: int,
) -> tuple[float, float]:
    """Return the weeks of waiting that order k saves, and what is lost on parts that go back [money], by a plan."""
    place = {c.name: i for i, c in enumerate(choices)}
    rows = {look.id: look.rows for look in looks}

    def walk(node: Node, w: Floats) -> Floats:
        if node.check is not None:
            each = [walk(below, w * rows[node.check][x]) for x, below in node.results]
            return np.asarray(np.sum(each, axis=0))
        if node.stop is None:
            return np.zeros(2)
        i = place[node.stop]
        c, x = choices[i], changes[i]
        if c.fails is not None and c.given_up is not None:
            seen = w @ c.fails
            traced = w @ (c.worth + x.worth[k]) - trace_cost * entropy(seen) * seen.sum()
            if traced < w @ c.given_up + x.none[0, k] * w.sum():
                return np.asarray(w.sum() * x.none[1:, k])
        return np.array([w @ x.weeks[k], w @ x.lost[k]])

    weeks, lost = walk(tree, weights).tolist()
    return weeks, lost
