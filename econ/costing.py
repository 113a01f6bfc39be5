"""Costing: what a scope of work costs.

A scope is a fixed set of jobs. Their operations form a union, so shared strip-down is charged once; parts add up. The
same whole-number arithmetic serves one estimate and a table of many tickets. Units: hours in thousandths [mh],
quantities in thousandths, money in minor units.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.knowledge import Complication, Quantity, pert_mean
from econ.money import RATE_UNIT, IntArray, divide, say, share, to_minor
from econ.rulebook import TEST_RUN, TRACING, MachineClass
from econ.sending import Sender, make_senders
from econ.terms import STATED, Assumption, Terms, price_source, rate_millionths

THOUSAND = 1000
NOISE = 6  # digits after the point that count where a figure is rounded to a whole number
CHANCE_CAP = 0.9  # of a complication on a rusty machine
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


def settled(x: Any) -> Any:
    """Return figures rounded to whole numbers, half to even, as the decimals say that they are meant to be.

    What floating-point numbers leave in their last digits, 396.49999999999994 for 396.5, decides nothing.
    """
    return np.rint(np.round(x, NOISE)).astype(np.int64) if np.ndim(x) else round(round(x, NOISE))


def thousandths(x: Any) -> Any:
    """Return hours or a quantity as whole thousandths, half to even."""
    return settled(x * THOUSAND)


@dataclass(frozen=True)
class Bench:
    """What each operation, job, part and tool costs in this case.

    op_hours, op_trouble_hours: (operations,) PERT mean hours, and the allowance for complications [mh].
    op_trouble_parts: (operations,) allowance for parts of complications [minor units, as charged].
    op_parts, job_parts: (operations, parts), (jobs, parts) quantities [thousandths].
    unit_cost, unit_price: (parts,) as bought, and as charged with mark-up [minor units].
    consumable: (parts,) had nearby: not waited for, not shipped. shelf: (parts,) in own stock, likewise [thousandths].
    senders: sellers that other parts come from; those in none come with one order at the usual shipping. wrong: chance
    that what is ordered is the wrong part, as the model number was not read [1].
    own_weeks: (parts,) from order to doorstep, where the price book says so, else NaN [weeks]. return_loss: (parts,)
    share of the price lost when it goes back [1].
    op_tools: (operations, tools) tools that are not at hand; tool_price: (tools,) cheapest way to get each.
    op_hours, op_trouble_hours, op_trouble_parts, unit_cost and unit_price have a row for each world where they differ.
    free_labour, free_parts: (jobs,) covered by a warranty or a recall. recalled: (jobs,) paid for by a recall, not by
    whoever gave the warranty.
    barred: job number -> why it can't be done.
    """

    ops: tuple[str, ...]
    jobs: tuple[str, ...]
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    job_ops: Bools
    op_hours: IntArray
    op_trouble_hours: IntArray
    op_trouble_parts: IntArray
    op_parts: IntArray
    job_parts: IntArray
    unit_cost: IntArray
    unit_price: IntArray
    consumable: Bools
    shelf: IntArray
    own_weeks: Floats
    return_loss: Floats
    op_tools: Bools
    tool_price: IntArray
    free_labour: Bools
    free_parts: Bools
    recalled: Bools
    barred: dict[int, str]
    terms: Terms
    charges: Charges
    assumptions: tuple[Assumption, ...]
    senders: tuple[Sender, ...] = ()
    wrong: float = 0.0


@dataclass(frozen=True)
class Charges:
    """How labour and parts become a ticket. Money in minor units, rates in millionths, steps in mh.

    labour_rate and shipping are a number, or a column (W, 1).
    """

    by_shop: bool
    labour_rate: Any
    step: int
    minimum: int
    supplies_rate: int
    supplies_cap: int | None
    shipping: Any
    fixed: tuple[tuple[str, int], ...]
    tax_rate: int
    taxable: frozenset[str]
    tax_inclusive: bool
    card_rate: int


@dataclass(frozen=True)
class Wait:
    """What n sets of parts wait for, (n,) each.

    usual: whether for a part that takes the usual time; own: for those whose time is known, the longest [weeks].
    times: how often on the mean, 1 but for wrong parts that are ordered once more.
    """

    usual: Bools
    own: Floats
    times: float = 1.0

    def weeks(self, usual: Any) -> Floats:
        """Return how long each waits, (n,), or (W, n) where the usual time is a column [weeks]."""
        longest: Floats = np.maximum(np.where(self.usual, usual, 0.0), self.own) * self.times
        return longest


@dataclass(frozen=True)
class Tickets:
    """Tickets of n scopes: what is paid by kind, and the own time: (n,) or (W, n) [minor units], hours [mh]."""

    hours: IntArray
    labour: IntArray
    parts: IntArray
    supplies: IntArray
    tools: IntArray
    fees: IntArray
    tax: IntArray
    card: IntArray
    total: IntArray
    own_time: IntArray
    parts_cost: IntArray
    shipping: IntArray
    wrong: IntArray
    wait: Wait

    @property
    def cost(self) -> IntArray:
        """Present cost: what is paid, the worth of the own time, and what wrong parts are expected to cost."""
        return self.total + self.own_time + self.wrong


def _quantities(rows: Sequence[Sequence[Quantity]], parts: Sequence[str]) -> IntArray:
    table = np.zeros((len(rows), len(parts)), dtype=np.int64)
    column = {name: i for i, name in enumerate(parts)}
    for r, row in enumerate(rows):
        for q in row:
            table[r, column[q.part]] += thousandths(q.quantity)
    return table


def markup(unit_cost: Any, tiers: Sequence[tuple[int | None, int]]) -> Any:
    """Return unit prices: cost plus the mark-up of the first tier whose limit is not below the cost.

    tiers: (highest unit cost or None, rate in millionths), in rising order.
    """
    price = unit_cost
    for limit, rate in reversed(tiers):
        marked = unit_cost + share(unit_cost, rate)
        price = marked if limit is None else np.where(unit_cost <= limit, marked, price)
    return price


def complication_chance(trouble: Complication, rusty: bool) -> float:
    """Return the chance of a complication [1], likelier on a rusty machine, at most CHANCE_CAP."""
    return min(trouble.chance * (trouble.rusty_factor if rusty else 1.0), max(CHANCE_CAP, trouble.chance))


def _side_by_side(figures: Sequence[Any]) -> Any:
    """Return figures as a row (n,), or (W, n) where any is a column."""
    rows = np.broadcast_arrays(*[np.atleast_1d(x) for x in figures]) if figures else [np.zeros(0)]
    return np.concatenate(rows, axis=-1)


def _unit_costs(terms: Terms, parts: Sequence[str]) -> IntArray:
    costs: IntArray = _side_by_side([terms.money(f"price.{name}") for name in parts]).astype(np.int64)
    return costs


def _known(terms: Terms, part: str, figure: str) -> float:
    """Return a figure of the offer that a part is to be had by, NaN where the price book does not know it."""
    found = getattr(terms.priced[part].offer if part in terms.priced else None, figure, None)
    return math.nan if found is None else float(found)


def complications(case: Case, c: MachineClass, parts: Sequence[str]) -> tuple[Floats, Floats]:
    """Return what complications are expected to add to each operation: hours [h], and parts (operations, parts)."""
    hours, quantity = np.zeros(len(c.operations)), np.zeros((len(c.operations), len(parts)))
    for i, op in enumerate(c.operations.values()):
        for t in op.complications:
            p = complication_chance(t, case.machine.rusty)
            hours[i] += p * pert_mean(t.hours)
            for q in t.parts:
                quantity[i, parts.index(q.part)] += p * q.quantity
    return hours, quantity


def _charges(case: Case, terms: Terms) -> Charges:
    given = case.terms
    storage = max(0.0, given.storage_days - given.storage_free_days)
    fixed = [
        ("collection and delivery", terms.money("pickup_delivery")),
        ("disposal of oil, fuel and waste", terms.money("disposal_fee")),
        ("storage", round(storage * terms.money("storage_per_day"))),
    ]
    if not given.diagnosis_credited:
        fixed.insert(0, ("diagnosis", terms.money("diagnosis_fee")))
    by_shop = terms.by_shop
    return Charges(
        by_shop,
        terms.money("shop_rate") if by_shop else 0,
        thousandths(terms["billing_step_hours"]) if by_shop else 0,
        terms.money("minimum_charge") if by_shop else 0,
        rate_millionths(given.supplies_rate) if by_shop else 0,
        terms.money("supplies_cap") if given.supplies_cap is not None else None,
        terms.money("parts_shipping"),
        tuple((what, amount) for what, amount in fixed if amount and by_shop),
        rate_millionths(given.tax_rate),
        frozenset(given.taxable),
        given.tax_inclusive,
        rate_millionths(given.card_fee_rate) if by_shop else 0,
    )


def make_bench(case: Case, c: MachineClass, terms: Terms) -> Bench:
    """Return what everything costs in this case, all jobs and operations of the class considered."""
    ops, jobs, parts, tools = tuple(c.operations), tuple(c.jobs), tuple(c.parts), tuple(c.tools)
    unit_cost = _unit_costs(terms, parts)
    nearby = [x.consumable for x in c.parts.values()]
    shelf = {p: x.shelf for p, x in terms.priced.items()}
    tiers = [
        (None if t.up_to is None else to_minor(t.up_to, terms.currency), rate_millionths(t.rate))
        for t in case.terms.parts_markup
    ]
    unit_price = markup(unit_cost, tiers) if terms.by_shop else unit_cost
    stated = [(p, to_minor(case.prices[p], terms.currency)) for p in parts if p in case.prices]
    lost = [(p, STATED) for p in parts if p in case.unobtainable]
    lost += [(p, price_source(x)) for p, x in terms.priced.items() if x.barred]
    pace, (trouble_hours, trouble_parts) = terms["hours_factor"], complications(case, c, parts)
    at_hand = frozenset(case.tools.owned) if not terms.by_shop else frozenset(tools)
    missing = [t not in at_hand or t in case.tools.cannot_get for t in tools]
    barred: dict[int, str] = {}
    for j, job in enumerate(c.jobs.values()):
        needed_tools = [t for o in job.operations for t in c.operations[o].tools if t in case.tools.cannot_get]
        needed = [q.part for q in (*job.parts, *(q for o in job.operations for q in c.operations[o].parts))]
        gone = [p for p in needed if p in case.unobtainable or (p in terms.priced and terms.priced[p].barred)]
        if needed_tools:
            barred[j] = f"the {c.tools[needed_tools[0]].title} can't be had"
        elif gone:
            why = f" ({terms.priced[gone[0]].note})" if gone[0] in terms.priced else ""
            barred[j] = f"the {c.parts[gone[0]].title} can't be had{why}"
    known = [p for p in case.prior_jobs if p.warranty_months is not None and p.months_ago <= p.warranty_months]
    covered = {p.job: p.covers for p in known}
    both = ("parts", "labour")
    cover = [both if j in case.recalled_jobs else covered.get(j, ()) for j in jobs]
    return Bench(
        ops,
        jobs,
        parts,
        tools,
        np.array([[o in c.jobs[j].operations for o in ops] for j in jobs]),
        thousandths(np.array([pert_mean(o.hours) for o in c.operations.values()]) * pace),
        thousandths(trouble_hours * pace),
        settled(unit_price @ trouble_parts.T),
        _quantities([o.parts for o in c.operations.values()], parts),
        _quantities([j.parts for j in c.jobs.values()], parts),
        unit_cost,
        unit_price,
        np.array(nearby, dtype=bool),
        np.array([shelf.get(p, 0) * THOUSAND for p in parts], dtype=np.int64),
        np.array([_known(terms, p, "lead_days") / 7 for p in parts]),
        np.nan_to_num(np.array([_known(terms, p, "return_loss") for p in parts]), nan=terms["return_loss"]),
        np.array([[t in o.tools and missing[i] for i, t in enumerate(tools)] for o in c.operations.values()]).reshape(
            len(ops), len(tools)
        ),
        np.array(
            [terms.from_rulebook(min(t.price, t.price if t.hire is None else t.hire)) for t in c.tools.values()],
            dtype=np.int64,
        ),
        np.array(["labour" in x for x in cover]),
        np.array(["parts" in x for x in cover]),
        np.array([j in case.recalled_jobs for j in jobs]),
        barred,
        terms,
        _charges(case, terms),
        (
            *(Assumption(f"price.{p}", say(unit, terms.currency), STATED) for p, unit in stated),
            *(Assumption(f"price.{p}", "can't be had", source) for p, source in lost),
        ),
        make_senders(parts, nearby, terms.priced, terms.sellers),
        0.0 if case.machine.model_verified else float(terms["wrong_part_chance"]),
    )


@dataclass(frozen=True)
class Work:
    """The work in n scopes: operations done and charged (n, operations); parts charged and fitted (n, parts).

    borne: parts that whoever does the work pays for, charged or not. wait: for the parts that have to come; consumables
    do not count.
    """

    done: Bools
    charged: Bools
    quantity: IntArray
    fitted: IntArray
    borne: IntArray
    wait: Wait


def members(bench: Bench, scopes: Sequence[Sequence[int]]) -> Bools:
    """Return scopes given as job numbers as a table (scopes, jobs)."""
    member = np.zeros((len(scopes), len(bench.jobs)), dtype=bool)
    for i, jobs in enumerate(scopes):
        member[i, list(jobs)] = True
    return member


def work(bench: Bench, member: Bools) -> Work:
    """Return the work in each scope (scopes, jobs); every scope ends with the test run.

    Sums are of whole numbers far below 2^53, so products of float matrices are exact, and fast.
    """
    always = np.array([o == TEST_RUN for o in bench.ops])
    uses = bench.job_ops.astype(float)

    def used(rows: Bools) -> Bools:
        result: Bools = rows.astype(float) @ uses > 0
        return result

    def paid(free: Bools) -> Bools:
        """Operations that are paid for: free only where every job of the scope that uses them is covered."""
        wholly: Bools = np.logical_and(member.any(axis=1), ~np.any(member & ~free, axis=1)).reshape(-1, 1)
        return used(member & ~free) | (always & ~wholly)

    def parts(free: Bools) -> IntArray:
        quantity = (member & ~free).astype(float) @ bench.job_parts + paid(free).astype(float) @ bench.op_parts
        result: IntArray = quantity.astype(np.int64)
        return result

    fitted = parts(np.zeros_like(bench.free_parts))
    charged = parts(bench.free_parts) if bench.free_parts.any() else fitted
    borne = parts(bench.recalled) if bench.recalled.any() else fitted
    done = used(member) | always
    return Work(done, paid(bench.free_labour), charged, fitted, borne, wait_for(bench, fitted))


def ordered(bench: Bench, quantity: IntArray) -> IntArray:
    """Return what of sets of parts has to be ordered: all but consumables and what is in own stock. (..., parts)."""
    beyond: IntArray = np.maximum(quantity - bench.shelf, 0) * ~bench.consumable
    return beyond


def wait_for(bench: Bench, quantity: IntArray) -> Wait:
    """Return what sets of parts wait for. quantity: (n, parts); consumables and own stock are at hand."""
    comes = ordered(bench, quantity) > 0
    known = ~np.isnan(bench.own_weeks)
    usual: Bools = np.any(comes[:, ~known], axis=1)
    own = np.where(comes[:, known], bench.own_weeks[known], 0.0)
    return Wait(usual, own.max(axis=1, initial=0.0), 1.0 + bench.wrong)


def shipping_of(bench: Bench, quantity: IntArray) -> IntArray:
    """Return what it costs to have sets of parts sent, (n,), or (W, n) in worlds [money]. quantity: (n, parts)."""
    comes = ordered(bench, quantity)
    usual = np.ones(len(bench.parts), dtype=bool)
    for x in bench.senders:
        usual[x.parts] = False
    first: IntArray = np.where(np.any(comes[:, usual] > 0, axis=1), bench.charges.shipping, 0)
    for x in bench.senders:
        sent, more = x.charge(comes)
        first = first + sent + more
    return first


def labour_charge(charges: Charges, hours: IntArray) -> IntArray:
    """Return the labour charge for hours [mh]: billing steps up, then the minimum charge where there is any work."""
    billed = -(-hours // charges.step) * charges.step if charges.step else hours
    return np.where(hours > 0, np.maximum(divide(billed * charges.labour_rate, THOUSAND), charges.minimum), 0)


def tax_on(charges: Charges, base: IntArray) -> IntArray:
    """Return the tax on a base: added to it, or contained in it where prices include tax."""
    if charges.tax_inclusive:
        return divide(base * charges.tax_rate, RATE_UNIT + charges.tax_rate)
    return share(base, charges.tax_rate)


def tickets(bench: Bench, member: Bools, first: bool = True) -> Tickets:
    """Return the tickets of scopes (scopes, jobs) at mean hours.

    first: with the fixed fees and the minimum charge of a first visit. Jobs added after a failed release check come
    without them.
    """
    charges = bench.charges if first else replace(bench.charges, minimum=0, fixed=())
    w = work(bench, member)
    all_hours = (bench.op_hours + bench.op_trouble_hours).astype(float)
    hours = (all_hours @ w.done.T.astype(float)).astype(np.int64)
    if charges.by_shop:
        labour = labour_charge(charges, (all_hours @ w.charged.T.astype(float)).astype(np.int64))
        own_time = np.zeros_like(hours)
    else:
        labour = np.zeros_like(hours)
        pace = thousandths(bench.terms["slowness"])
        own_time = divide(hours * pace * bench.terms.bench_hour, THOUSAND * THOUSAND)
    trouble = (bench.op_trouble_parts.astype(float) @ w.charged.T.astype(float)).astype(np.int64)
    parts = _priced(w.quantity, bench.unit_price) + trouble
    parts_cost = _priced(w.borne, bench.unit_cost) + trouble
    supplies = share(labour, charges.supplies_rate)
    if charges.supplies_cap is not None:
        supplies = np.minimum(supplies, charges.supplies_cap)
    tools = ((w.done.astype(float) @ bench.op_tools > 0).astype(float) @ bench.tool_price).astype(np.int64)
    shipping = shipping_of(bench, w.quantity)
    fees = shipping + sum(a for _, a in charges.fixed)
    kinds = {"labour": labour, "parts": parts + tools, "supplies": supplies, "fees": fees}
    base = sum((kinds[k] for k in sorted(charges.taxable)), np.zeros_like(hours))
    tax = tax_on(charges, base)
    before_card = labour + parts + supplies + tools + fees + (0 if charges.tax_inclusive else tax)
    card = share(before_card, charges.card_rate)
    paid = before_card + card
    wrong = _wrong_parts(bench, w.quantity, shipping)
    return Tickets(
        hours, labour, parts, supplies, tools, fees, tax, card, paid, own_time, parts_cost, shipping, wrong, w.wait
    )


def _wrong_parts(bench: Bench, quantity: IntArray, shipping: IntArray) -> IntArray:
    """Return what wrong parts are expected to cost: lost on those that go back, and shipping once more [money]."""
    if not bench.wrong:
        return np.zeros_like(shipping)
    lost = ordered(bench, quantity) @ (bench.unit_price * bench.return_loss).T / THOUSAND
    result: IntArray = settled(bench.wrong * (lost.T + shipping))
    return result


def _priced(quantity: IntArray, unit: IntArray) -> IntArray:
    """Return the price of part lines, each rounded by itself, (n,) or (W, n); whole quantities need no rounding."""
    exact = np.all(quantity % THOUSAND == 0, axis=0)
    total = unit[..., exact].astype(float) @ (quantity[:, exact] // THOUSAND).T.astype(float)
    whole: IntArray = total.astype(np.int64)
    if exact.all():
        return whole
    few, which = np.unique(np.atleast_2d(unit[..., ~exact]), axis=0, return_inverse=True)
    rest = divide(quantity[:, ~exact] * few[:, None, :], THOUSAND).sum(axis=-1)
    result: IntArray = whole + (rest[0] if unit.ndim == 1 else rest[which.ravel()])
    return result


def gross_profit(bench: Bench, t: Tickets) -> NDArray[np.float64]:
    """Return the shop's gross profit before comebacks: less tax, card fee, parts, shipping and wages [money]."""
    wages = t.hours * bench.terms.money("mechanic_wage") / THOUSAND
    profit: NDArray[np.float64] = t.total - t.tax - t.card - t.parts_cost - t.shipping - wages
    return profit


def tracing_hours(bench: Bench) -> Any:
    """Return the time of one look that halves what the cause may be [h]."""
    at = bench.ops.index(TRACING)
    return bench.op_hours[..., at : at + 1] / THOUSAND if bench.op_hours.ndim > 1 else bench.op_hours[at] / THOUSAND


def hour_cost(bench: Bench) -> Any:
    """Return what an hour of the book costs the decider: the shop's rate with its tax, or the own time [money/h]."""
    if not bench.charges.by_shop:
        return bench.terms["slowness"] * bench.terms.bench_hour
    taxed = "labour" in bench.charges.taxable and not bench.charges.tax_inclusive
    return bench.charges.labour_rate * (1 + bench.charges.tax_rate / RATE_UNIT * taxed)


def tracing_cost(bench: Bench) -> Any:
    """Return the cost of halving once what the cause may be [money]."""
    return tracing_hours(bench) * hour_cost(bench)
