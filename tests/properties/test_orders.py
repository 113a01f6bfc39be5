"""Ordering parts: against money flows followed one by one, and every kit with every policy on small random problems."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import econ
from econ import verdict
from econ.costing import members, tickets, work
from econ.followups import follow_up
from econ.money import to_decimal
from econ.offers import Offer, Seller, Shipping
from econ.orders import LIKELY_KIT, NOW, Order, Orders
from econ.plan import make_plan, make_plans
from econ.pricebook import Supply
from econ.repairs import AfterRepair, best_of, ways_to_cure
from econ.rulebook import MachineClass
from econ.setting import Course, Setting
from econ.stopping import Kit

from ..econ.small import read as read_small
from ..strategies import DRAWN, cases, defaults, read
from .test_plan import best_by_enumeration, random_problem

DAY = date(2026, 4, 1)
A_POST = 420  # what seller A takes to send an order


@pytest.mark.parametrize("seed", range(40))
def test_best_kit_with_the_best_of_all_policies(seed: int) -> None:
    """Each kit's plan is the best of all policies with the choices changed by that kit, none of them left out."""
    weights, choices, looks, prices, trace = random_problem(seed)
    rng = np.random.default_rng(1000 + seed)
    kits = []
    for _ in range(3):
        alike = np.repeat(rng.normal(0, 8, (len(choices), 1)), weights.size, axis=1)
        differs = rng.normal(0, 8, (len(choices), weights.size)) * (rng.random((len(choices), 1)) < 0.5)
        kits.append(Kit(alike + differs, rng.normal(0, 8, len(choices))))
    plans = make_plans(weights, choices, looks, kits, prices, trace)
    by_hand = [best_by_enumeration(weights, choices, looks, prices, trace)]
    for kit in kits:
        changed = [
            replace(c, worth=c.worth + w, given_up=None if c.given_up is None else c.given_up + g)
            for c, w, g in zip(choices, kit.worth, kit.given_up, strict=True)
        ]
        by_hand.append(best_by_enumeration(weights, changed, looks, prices, trace))
        alone, mine = make_plan(weights, changed, looks, prices, trace), plans[len(by_hand) - 1]
        assert [mine.stopping, mine.perfect] == pytest.approx([alone.stopping, alone.perfect], abs=1e-9)
        assert {x.id: x.worth for x in mine.steps} == pytest.approx({x.id: x.worth for x in alone.steps}, abs=1e-9)
    assert [x.value for x in plans] == pytest.approx(by_hand, rel=1e-9, abs=1e-6)
    assert max(x.value for x in plans) == pytest.approx(max(by_hand), rel=1e-9, abs=1e-6)


@dataclass(frozen=True)
class Scene:
    s: Setting
    c: MachineClass
    after: AfterRepair
    courses: list[Course]

    def orders(self) -> Orders:
        post = self.s.posterior
        return Orders(self.s, self.c, self.after, [x.jobs for x in self.courses], post.states, post.weights)


def scene(monkeypatch: pytest.MonkeyPatch, leads: Mapping[str, float] | None = None, **fields: Any) -> Scene:
    """Return what the plan of a small case is made from. leads: of parts by the price book [days]."""
    kept: list[Scene] = []
    real = verdict.stage

    def keep(case: Any, c: MachineClass, s: Setting, heard: Any, courses: Any, checks: Any, after: Any) -> Any:
        kept.append(Scene(s, c, after, [x for x in courses if x.kind == "repair" and not x.barred]))
        return real(case, c, s, heard, courses, checks, after)

    monkeypatch.setattr(verdict, "stage", keep)
    case, c, _ = read_small(**fields)
    offers = [Offer(p, p, "A", "new", 1_200, DAY, lead_days=d, return_loss=0.3) for p, d in (leads or {}).items()]
    econ.decide(
        case, c, defaults(), "", Supply(tuple(offers), {"A": Seller("A", Shipping(flat=A_POST))}) if leads else None
    )
    return kept[0]


def drawn_leads(seed: int) -> dict[str, float]:
    """Return what the price book knows of some parts of the small class, in every third case of nothing."""
    rng = random.Random(100 + seed)  # noqa: S311 - draws test cases
    parts = sorted(read_small()[1].parts)
    return {p: rng.choice([0.0, 1.0, 4.0, 20.0]) for p in parts if rng.random() < 0.6} if seed % 3 else {}


def drawn_terms(seed: int) -> dict[str, Any]:
    rng = random.Random(seed)  # noqa: S311 - draws test cases
    return {
        "work_by": rng.choice(["shop", "self"]),
        "queue_weeks": rng.choice([0.0, 0.4, 1.0, 3.0]),
        "parts_lead_days": rng.choice([0.0, 3.0, 5.0, 14.0]),
        "downtime_per_week": rng.choice(["0", "20.00", "65.00"]),
        "parts_shipping": rng.choice(["0", "7.50"]),
        "return_loss": rng.choice([0.0, 0.25, 1.0]),
        "tax_rate": rng.choice([0.0, 0.0725]),
        "card_fee_rate": rng.choice([0.0, 0.03]),
        "parts_markup": rng.choice([[], [{"rate": 0.4}]]),
    }


class Flows:
    """The money of one repair in one state, followed order by order and week by week, straight from the words."""

    def __init__(self, x: Scene) -> None:
        s = self.s = x.s
        self.queue, self.week = s.terms["queue_weeks"], s.payoffs.week
        booked = s.terms.priced
        self.leads = [(booked[p].lead_days if p in booked else s.terms["parts_lead_days"]) / 7 for p in s.bench.parts]
        self.instead = max(
            r.worth - (0.0 if n == "do_without" else s.payoffs.replacement_weeks * self.week)
            for n, r in s.payoffs.replacements.items()
        )
        self.ordered = [not x.c.parts[p].consumable for p in s.bench.parts]
        self.no_post = replace(s.bench, charges=replace(s.bench.charges, shipping=0), senders=())
        fee = 1 + s.bench.charges.card_rate / 1e6
        on_fees = fee * (1 + ("fees" in s.bench.charges.taxable) * s.bench.charges.tax_rate / 1e6)
        self.postages = [x * on_fees for x in (s.bench.charges.shipping, A_POST)]
        self.booked = [p in booked for p in s.bench.parts]
        taxed = 1 + s.bench.charges.tax_rate / 1e6
        losses = [0.3 if p in booked else s.terms["return_loss"] for p in s.bench.parts]
        self.lost = [loss * int(u) * taxed * fee for loss, u in zip(losses, s.bench.unit_price, strict=True)]

    def needs(self, jobs: tuple[int, ...]) -> list[int]:
        fitted = work(self.s.bench, members(self.s.bench, [jobs])).fitted[0]
        return [int(q) if o else 0 for q, o in zip(fitted, self.ordered, strict=True)]

    def lead(self, jobs: tuple[int, ...]) -> float:
        """Return how long the slowest part for jobs takes [weeks]."""
        return max((x for q, x in zip(self.needs(jobs), self.leads, strict=True) if q), default=0.0)

    def postage(self, parts: list[int]) -> float:
        """Return what sending parts costs: one order of those the book knows, one of the others."""
        kinds = {known for q, known in zip(parts, self.booked, strict=True) if q}
        return sum(self.postages[known] for known in kinds)

    def posts(self, jobs: tuple[int, ...]) -> float:
        """Return what sending the parts for jobs costs: not those a warranty covers."""
        charged = work(self.s.bench, members(self.s.bench, [jobs])).quantity[0]
        return self.postage([int(q) if o else 0 for q, o in zip(charged, self.ordered, strict=True)])

    def going_back(self, stock: list[int]) -> float:
        return sum(q / 1000 * x for q, x in zip(stock, self.lost, strict=True))

    def take(self, stock: list[int], needs: list[int]) -> tuple[list[int], bool]:
        """Return what is left of a stock, and whether it held all that was needed."""
        left = [max(q - n, 0) for q, n in zip(stock, needs, strict=True)]
        return left, any(needs) and all(n <= q for q, n in zip(stock, needs, strict=True))

    def repair(self, scope: tuple[int, ...], state: int, order: list[int] | None, today: bool) -> tuple[float, float]:
        """Return the net worth traced and given up."""
        s, needs = self.s, self.needs(scope)
        stock, held = self.take(order or [0] * len(needs), needs)
        own = self.lead(scope)
        # Weeks until the repair is done, from the day of the order.
        done = max(self.queue, own) if order and held and today else self.queue + own
        ordered = 0.0 if today else self.queue
        postage = self.postage(order or []) if order else 0.0
        postage += 0.0 if order and held else self.posts(scope)
        paid = float(tickets(self.no_post, members(s.bench, [scope])).cost[0])
        renewal, worn = s.jobs.renewed(scope), s.worn & ~s.jobs.cleared(scope)
        traced = given_up = 0.0
        for chance, cleared in ways_to_cure(s, scope):
            left = state & ~cleared
            failing = left & s.table.failing
            spent = paid + postage + done * self.week
            if not failing:
                value = float(s.payoffs.kept(np.array([left | worn]), renewal).worth[0])
                value -= spent + self.going_back(stock)
                traced, given_up = traced + chance * value, given_up + chance * value
                continue
            drop = float(best_of(s.payoffs.let_go(np.array([left | worn])))[0]) + self.instead
            drop -= spent + self.going_back(stock)
            more = follow_up(s.bench, s.jobs, np.array([failing]), self.week)
            add = -np.inf
            if np.isfinite(more.cost[0, 0]):
                jobs = tuple(np.flatnonzero(more.jobs[0, 0]).tolist())
                rest, all_there = self.take(stock, self.needs(jobs))
                slowest = self.lead(jobs)
                wait = max(ordered + slowest - done, 0.0) if all_there else slowest
                posted = 0.0 if all_there else self.posts(jobs)
                ticket = float(tickets(self.no_post, members(s.bench, [jobs]), first=False).cost[0])
                still = (left | worn) & ~int(more.clears[0])
                use = s.payoffs.kept(np.array([still]), max(renewal, float(more.renewal[0]))).worth[0]
                add = float(use) - spent - ticket - posted - wait * self.week - self.going_back(rest)
            traced, given_up = traced + chance * max(add, drop), given_up + chance * drop
        return traced, given_up


@pytest.mark.parametrize("seed", range(24))
def test_what_an_order_changes_is_the_money_followed_step_by_step(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Every kit of up to two jobs' parts, today and with each repair, in every state; to the rounding of tickets."""
    covered = [{"job": "seal_job", "months_ago": 1.0, "warranty_months": 12.0}] if seed % 2 else []
    terms = drawn_terms(seed)
    tools = {"owned": ["press"]}
    x = scene(monkeypatch, drawn_leads(seed), complaints=["drips"], terms=terms, tools=tools, prior_jobs=covered)
    s, flows = x.s, Flows(x)
    jobs = [j for j in range(len(s.bench.jobs)) if any(flows.needs((j,)))]
    lists = {tuple(np.add(flows.needs((i,)), flows.needs((j,)) if i != j else 0).tolist()) for i in jobs for j in jobs}
    orders = [Order(NOW, np.array(p), 0 * np.array(p), None) for p in sorted(lists)]
    for i, course in enumerate(x.courses):
        needs = np.array(flows.needs(course.jobs))
        if needs.any():
            orders += [Order(LIKELY_KIT, needs + np.array(p), np.array(p), i) for p in sorted(lists)]
    made = x.orders()
    if not made._repairs:
        assert s.bench.charges.shipping == 0
        assert not s.bench.senders
        assert flows.week * max(flows.leads) == 0, "nothing to gain: nothing is worked out"
        return
    changes = made._every_change(orders, 1)
    for i, course in enumerate(x.courses):
        for n, state in enumerate(s.posterior.states[:12].tolist()):
            before = flows.repair(course.jobs, state, None, False)
            for k, order in enumerate(orders):
                if order.repair not in (None, i):
                    assert changes[i].worth[k, n] == 0
                    continue
                after = flows.repair(course.jobs, state, order.parts.tolist(), order.repair is None)
                assert changes[i].worth[k, n] == pytest.approx(after[0] - before[0], abs=4), "minor units"
                assert changes[i].none[0, k] == pytest.approx(after[1] - before[1], abs=4)
    for k, order in enumerate(orders):
        lost = (
            flows.going_back(order.parts.tolist()) + flows.postage(order.parts.tolist())
            if order.repair is None
            else 0.0
        )
        assert changes[-1].worth[k] == pytest.approx(-lost, abs=2), "no repair: all of it goes back"


def with_terms(document: dict[str, Any], **terms: Any) -> econ.Decision:
    return econ.decide(*read({**document, "terms": {**document.get("terms", {}), **terms}}), defaults())


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(document=cases(), by_shop=st.booleans())
def test_what_costs_nothing_to_send_back_is_never_ordered_in_vain(document: dict[str, Any], by_shop: bool) -> None:
    """No loss on returns and free shipping: ordering early is never worse than ordering after looking."""
    own = {"shop_rate": "80.00"} if by_shop and document["perspective"] == "owner" else {}
    plan = with_terms(document, return_loss=0.0, downtime_per_week="50.00", **own).plan
    assert all(x.worth >= 0 and x.at_risk == 0 and x.weeks_saved >= 0 for x in plan.orders)
    assert plan.gain >= 0


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(document=cases())
def test_the_parts_of_a_repair_gain_nothing_where_there_is_no_queue(document: dict[str, Any]) -> None:
    """Without a wait for the bench, and lost when sent back: no course is better for parts ordered before looking."""
    plan = with_terms(document, return_loss=1.0, queue_weeks=0.0, parts_shipping="8.00").plan
    assert {x.order for x in plan.orders} <= {"after_looking", "likely_kit"}
    assert plan.order != "now"
    assert all(x.early == 0 for x in plan.orders)


@pytest.mark.parametrize("seed", range(6))
def test_own_parts_at_most_tie_where_there_is_no_queue(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Lost when sent back and no queue: a repair's own parts ordered today leave it as it is, and others worse off."""
    terms = drawn_terms(seed) | {"queue_weeks": 0.0, "return_loss": 1.0, "parts_shipping": "7.50"}
    x = scene(monkeypatch, complaints=["drips"], terms=terms, tools={"owned": ["press"]})
    made, flows = x.orders(), Flows(x)
    for i, course in enumerate(x.courses):
        needs = np.array(flows.needs(course.jobs))
        if not needs.any():
            continue
        changes = made._every_change([Order(NOW, needs, 0 * needs, None)], 1)
        assert changes[i].worth == pytest.approx(0, abs=1e-6)
        assert (changes[-1].worth < 0).all()


@pytest.mark.parametrize("document", DRAWN)
def test_orders_and_the_plan_agree(document: dict[str, Any]) -> None:
    agree(document)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(document=cases())
def test_orders_and_the_plan_agree_on_any_case(document: dict[str, Any]) -> None:
    agree(document)


def agree(document: dict[str, Any]) -> None:
    """The order named is among those weighed, gains something, and its gain is part of what the plan gains."""
    decision = with_terms(document, parts_shipping="9.00", downtime_per_week="60.00")
    plan, usual = decision.plan, decision.plan.orders[0]
    assert (usual.order, usual.parts, usual.worth) == ("after_looking", (), 0)
    chosen = next(x for x in plan.orders if x.order == plan.order)
    cent = to_decimal(1, decision.currency)
    assert chosen.worth >= 0
    assert plan.gain >= chosen.worth - cent, "checking gains nothing less than nothing"
    for x in plan.orders[1:]:
        assert x.parts
        assert set(x.spare) < set(x.parts) or x.order == LIKELY_KIT
        assert (x.order == LIKELY_KIT) or not x.spare
        assert x.at_risk >= 0
