"""Spread: draws of what is uncertain, and by how much the outturn of each course departs from its worth in a draw.

A draw is a state and a quantile each for hours, part prices, resale, life, the life of another machine, complications
and cures. All courses share the draws, so that they are compared in the same world. The outturn of a course is

    its net worth in the state (`Course.worth_by_state`, the one definition of worth) + deviations

and every deviation has mean zero in each state, so that the mean outturn is the exact expectation. The deviations:

- the ticket at drawn hours, part prices and complications less its mean over all draws: hours of all operations share
  one quantile, so that jobs run late together, and part prices that are not stated another;
- what is added after a failed test run, by the same two; which jobs did not cure, less the mean over the ways;
- when the machine ends (S inverted at a quantile) with the service until then, less the worth in use to the same
  stopping time;
- the resale factor, of mean 1, on what a sale brings net of its fee;
- for a reseller, unsold or not and claimed or not, less their chances.

What a course does next is settled at expected figures, as its worth is. What stays an average: doing work over by a
shop, tracing but for its hours, waiting, prices of another machine. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import (
    THOUSAND,
    Tickets,
    complication_chance,
    hour_cost,
    labour_charge,
    members,
    tax_on,
    thousandths,
    tickets,
    work,
)
from econ.groundwork import ways_to_cure
from econ.knowledge import Three, pert_mean
from econ.market import net_sale, new_flows, own_flows, used_flows
from econ.money import IntArray, divide, share
from econ.repairs import AfterRepair
from econ.rulebook import MachineClass
from econ.scopes import Scope
from econ.setting import Course, Setting
from econ.states import Masks, effects
from econ.terms import price_range
from econ.worth import STEPS_PER_YEAR, Flows, worth_if_kept

Floats = NDArray[np.float64]
RESALE_SD = 0.2  # of the log of a resale price about what is expected [1]
RESALE_SOURCE = "judgement: two sales in three come within a fifth of the expected price"
GRID = 128  # steps on which quantiles are tabled
USES = 8  # quantiles in a draw


@dataclass(frozen=True)
class Draws:
    """n draws: states as rows of the posterior and as masks, the resale factor, and quantiles of the rest; (n,)."""

    row: NDArray[np.int64]
    masks: Masks
    hours: Floats
    prices: Floats
    resale: Floats
    life: Floats
    other: Floats
    trouble: Floats
    cure: Floats


@cache
def sobol(seed: int, replicates: int, points: int) -> Floats:
    """Return scrambled Sobol points, one scramble after the other, (USES, replicates x points), read-only.

    References: A. B. Owen, Scrambling Sobol' and Niederreiter-Xing points, J. Complexity 14, 1998 (from memory).
    """
    from scipy.stats import qmc

    found = [qmc.Sobol(USES, scramble=True, seed=seed + i).random(points) for i in range(replicates)]
    table: Floats = np.ascontiguousarray(np.concatenate(found).T)
    table.flags.writeable = False
    return table


def draw(s: Setting, u: Floats) -> Draws:
    """Return draws at points u (USES, n): states by the inverse of their cumulative chances, resale log-normal."""
    from scipy.special import ndtri

    total = np.cumsum(s.posterior.weights)
    row = np.minimum(np.searchsorted(total, u[0] * total[-1], side="right"), total.size - 1)
    resale = np.exp(RESALE_SD * ndtri(np.clip(u[3], 1e-12, 1 - 1e-12)) - RESALE_SD**2 / 2)
    return Draws(row, s.posterior.states[row], u[1], u[2], resale, u[4], u[5], u[6], u[7])


@lru_cache(maxsize=64)
def quantiles(threes: tuple[Three, ...]) -> Floats:
    """Return PERT quantiles over their mean on a grid, (k, GRID + 1), read-only: linear between, with mean 1 exactly.

    PERT: a beta distribution on low..high with shapes 1 + 4 (likely - low) / (high - low) and 6 less that.
    References: D. G. Malcolm et al., Operations Research 7(5), 1959 (from memory).
    """
    from scipy.special import betainc, betaincinv

    low, likely, high = np.array(threes, dtype=float).reshape(-1, 3).T
    width = high - low
    shape = 1.0 + 4.0 * np.divide(likely - low, width, out=np.zeros_like(width), where=width > 0)
    shapes, which = np.unique(shape, return_inverse=True)
    unit = betaincinv(shapes[:, None], 6.0 - shapes[:, None], np.linspace(0.0, 1.0, GRID + 1))
    # A beta quantile is steep at its ends: straight lines there are laid by the mean over the end, which is known.
    part = shapes[:, None] / 6.0 * betainc(shapes[:, None] + 1.0, 6.0 - shapes[:, None], unit[:, [1, -2]])
    unit[:, 0] = 2.0 * GRID * part[:, 0] - unit[:, 1]
    unit[:, -1] = 2.0 * GRID * (shapes / 6.0 - part[:, 1]) - unit[:, -2]
    unit += (shapes / 6.0 - np.trapezoid(unit, axis=1) / GRID)[:, None]
    value = low[:, None] + width[:, None] * unit[which]
    mean = np.array([[pert_mean(x)] for x in threes]).reshape(-1, 1)
    result: Floats = np.divide(value, mean, out=np.ones_like(value), where=mean > 0)
    result.flags.writeable = False
    return result


def at(tables: Floats, u: Floats) -> Floats:
    """Return tables on the grid (k, GRID + 1) at quantiles u (n,), (k, n)."""
    place = np.minimum((u * GRID).astype(np.int64), GRID - 1)
    part = u * GRID - place
    result: Floats = tables[:, place] * (1.0 - part) + tables[:, place + 1] * part
    return result


def billed(s: Setting, t: Tickets, charged: IntArray, done: IntArray, parts: IntArray) -> IntArray:
    """Return the cost of tickets at other hours [mh] and parts [money], (k, n) each, by the rules of `tickets`.

    Tools and fees are those of the tickets (k,).
    """
    by = s.bench.charges
    fees, tools = t.fees[:, None], t.tools[:, None]
    labour, own_time = np.zeros_like(charged), np.zeros_like(charged)
    if by.by_shop:
        labour = labour_charge(by, charged)
    else:
        pace = round(s.terms["slowness"] * THOUSAND)
        own_time = divide(done * pace * s.terms.bench_hour, THOUSAND * THOUSAND)
    supplies = share(labour, by.supplies_rate)
    if by.supplies_cap is not None:
        supplies = np.minimum(supplies, by.supplies_cap)
    paid = labour + parts + supplies + tools + fees
    if not by.tax_inclusive:
        kinds = {"labour": labour, "parts": parts + tools, "supplies": supplies, "fees": fees}
        paid = paid + tax_on(by, sum((kinds[k] for k in sorted(by.taxable)), np.zeros_like(charged)))
    result: IntArray = paid + share(paid, by.card_rate) + own_time
    return result


def lasting(
    flows: Flows, e: float, shares: tuple[Floats, Floats, Floats], stop: NDArray[np.int64], u: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return what machines bring that last to a drawn time, and the mean of it; the sum `worth_in_use` stops at `stop`.

    e [money/year]; shares: of service, life and sale price that the faults left leave, (n,) each, as in
    `worth_in_use`; stop: the step at which to stop, (n,); u: quantile of lasting, ended once survival is not above
    it, (n,). A machine serves half of the step in which it ends. Returns outturn and mean [money], and which are sold
    at the stopping step for more than scrap, (n,) each.
    """
    service, survive, price = shares
    d, alive = flows.discount, flows.survival
    step = flows.service[0] / (0.5 * (1.0 + alive[1]))  # [years]
    gain = d[1:] * step * (e - flows.upkeep)
    whole = np.concatenate([[0.0], np.cumsum(gain)])
    ended = np.concatenate([[0.0], whole[:-1] + gain / 2])
    gone = d * flows.scrap
    mean_ended, mean_gone = (np.concatenate([[0.0], np.cumsum(flows.ends * x[1:])]) for x in (ended, gone))
    last = np.searchsorted(-alive[1:], -u / np.maximum(survive, 1e-300)) + 1
    last = np.minimum(last, alive.size - 1)
    lasts = (stop == 0) | (u < survive * alive[stop])
    sale = np.maximum(price * flows.sale[stop], flows.scrap)
    to_end = service * whole[stop] + d[stop] * sale
    outturn = np.where(lasts, to_end, service * ended[last] + gone[last])
    mean = survive * (service * mean_ended[stop] + mean_gone[stop] + alive[stop] * to_end)
    mean += (1.0 - survive) * (service * ended[1] + gone[1])
    return outturn, np.where(stop == 0, sale, mean), lasts & (price * flows.sale[stop] > flows.scrap)


class WorkSpread:
    """How the work of machines that are worked on alike may turn out, draw by draw: hours, prices and complications."""

    def __init__(self, case: Case, c: MachineClass, s: Setting, draws: Draws) -> None:
        self._s, self.draws = s, draws
        bench = s.bench
        self._op = quantiles(tuple(c.operations[o].hours for o in bench.ops))
        self._part = quantiles(tuple(price_range(s.terms, c, p, p in case.prices) for p in bench.parts))
        hours = bench.op_hours.astype(float)
        self.late = at((hours @ self._op / max(hours.sum(), 1.0))[None], draws.hours)[0] - 1.0
        every = self._part if bench.parts else quantiles(((1.0, 1.0, 1.0),))  # a class may need no parts at all
        self.dear = at(every.mean(axis=0)[None], draws.prices)[0] - 1.0
        price = dict(zip(bench.parts, bench.unit_price.tolist(), strict=True))
        troubles = [
            (i, complication_chance(t, case.machine.rusty), pert_mean(t.hours), t.parts)
            for i, o in enumerate(bench.ops)
            for t in c.operations[o].complications
        ]
        # Complications lie side by side on one quantile: each has its chance, and two seldom come together.
        chance = np.array([x[1] for x in troubles])
        self._trouble_op = np.array([x[0] for x in troubles], dtype=np.int64)
        self._trouble_hours = np.array([thousandths(x[2]) for x in troubles], dtype=float)
        self._trouble_parts = np.array([sum(q.quantity * price[q.part] for q in x[3]) for x in troubles], dtype=float)
        self._trouble = (draws.trouble - (np.cumsum(chance) - chance)[:, None]) % 1.0 < chance[:, None]
        self._known: dict[Scope, tuple[Floats, float]] = {}

    def tickets(self, scopes: Sequence[Scope]) -> tuple[Floats, Floats]:
        """Return what repairs cost by the ticket in each draw, (k, n), and at mean hours, (k,) [money]."""
        new = [x for x in dict.fromkeys(scopes) if x not in self._known]
        if new:
            self._known |= {x: (row, float(mean)) for x, row, mean in zip(new, *self._tickets(new), strict=True)}
        known = [self._known[x] for x in scopes]
        return np.array([row for row, _ in known]), np.array([mean for _, mean in known])

    def _tickets(self, scopes: Sequence[Scope]) -> tuple[Floats, Floats]:
        bench, d = self._s.bench, self.draws
        member = members(bench, scopes)
        t, w = tickets(bench, member), work(bench, member)
        late = bench.op_hours[:, None] * self._op
        came = self._trouble.astype(float)

        def hours(used: NDArray[np.bool_]) -> IntArray:
            extra = (used[:, self._trouble_op] * self._trouble_hours) @ came
            whole: IntArray = np.rint(at(used.astype(float) @ late, d.hours) + extra).astype(np.int64)
            return whole

        dearer = (w.quantity * bench.unit_price / THOUSAND) @ (self._part - 1.0)
        parts = (t.parts - (w.charged.astype(float) @ bench.op_trouble_parts))[:, None] + at(dearer, d.prices)
        parts += (w.charged[:, self._trouble_op] * self._trouble_parts) @ came
        cost = billed(self._s, t, hours(w.charged), hours(w.done), np.rint(parts).astype(np.int64))
        return cost.astype(float), t.cost.astype(float)

    @cached_property
    def states(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The rows of the posterior that are drawn at all, rising, and which of them each draw is, (n,)."""
        rows, which = np.unique(self.draws.row, return_inverse=True)
        return rows, which


class Spread:
    """The deviations of one case's courses about their worth, draw by draw."""

    def __init__(self, s: Setting, after: AfterRepair, work: WorkSpread) -> None:
        """work: of this machine, or of one that is worked on alike."""
        self._s, self._d, self._after, self._work = s, work.draws, after, work
        self._reseller = s.terms.perspective == "reseller"
        self._unsold = s.terms["unsold_chance"] if self._reseller else 0.0
        self._holding = s.terms.money("holding_per_week") * s.market.days_to_sell / 7 if self._reseller else 0.0
        self._whole = float(self._as_stands(np.zeros(1, dtype=np.int64))[0])
        self._flows: dict[float, Flows] = {}
        self._elsewhere: dict[str, Floats] = {}
        if not self._reseller:
            self._elsewhere["replace_used"] = self._other_machine(used_flows(s.market, s.terms))
            self._elsewhere["replace_new"] = self._other_machine(new_flows(s.market, s.terms))

    def tickets(self, courses: Sequence[Course]) -> tuple[Floats, Floats]:
        """Return what repairs cost by the ticket in each draw, (k, n), and at mean hours, (k,) [money]."""
        return self._work.tickets([x.jobs for x in courses])

    def repair(self, course: Course) -> tuple[Floats, Floats]:
        """Return the deviations of a repair but for its ticket, and what is added to it later, (n,) each [money]."""
        s, d = self._s, self._d
        ways = ways_to_cure(s, course.jobs)
        chance = np.array([x for x, _ in ways])
        renewal, worn = s.jobs.renewed(course.jobs), s.worn & ~s.jobs.cleared(course.jobs)
        left = np.array([d.masks & ~cleared for _, cleared in ways])
        # Without tracing nothing is ever added.
        traced = course.open_ended or course.follow_up > 0
        (worth,) = self._after(("traced" if traced else "given_up",), left, renewal, worn)[:, 0]
        way = np.minimum(np.searchsorted(np.cumsum(chance), d.cure, side="right"), chance.size - 1)
        here = np.arange(d.masks.size)
        mask, failing = left[way, here], s.table.failing
        figures = self._after(("traced", "given_up", "added", "hours"), mask, renewal, worn)[:, 0]
        if_traced, given_up, cost, hours = figures
        deviation = worth[way, here] - chance @ worth
        fails = (mask & failing) != 0
        adds = fails & (if_traced > given_up) & traced
        added = np.where(adds, cost, 0.0)
        tracing = max(course.follow_up - float(added.mean()), 0.0) if traced else 0.0
        labour = np.minimum(np.where(adds, hours, 0.0) * hour_cost(s.bench), added)
        parts = np.maximum(added - labour - s.terms["parts_lead_days"] / 7 * s.payoffs.week, 0.0)
        more = (labour + tracing) * self._work.late + parts * self._work.dear
        # What is added clears what failed; whatever else it clears bears on the spread only, and is left out.
        use = self._in_use(np.where(adds, mask & ~failing, mask) | worn, renewal)
        deviation += np.where(fails & ~adds, self._given_up(mask | worn), use) - more
        return deviation, added + tracing + more

    def other(self, course: Course) -> Floats:
        """Return the deviations of a course without repair, (n,) [money]."""
        s, masks = self._s, self._d.masks | self._s.worn
        if course.kind != "keep_using":
            return self._let_go(masks)[course.disposal] + self._elsewhere.get(course.kind, 0.0)
        stop = s.payoffs.as_it_is(s.present, s.posterior.weights).stop[0]
        whole = self._s.market.running * (1.0 - s.terms["selling_fee_rate"])
        flows, kept = self._own(0.0), self._whole / whole if whole > 0 else 0.0
        opened = replace(flows, sale=np.maximum(flows.sale * kept, flows.scrap))
        return self._lasts(opened, masks, np.full(masks.size, stop), kept)

    def _own(self, renewal: float) -> Flows:
        if renewal not in self._flows:
            self._flows[renewal] = own_flows(self._s.market, self._s.terms, renewal)
        return self._flows[renewal]

    def _in_use(self, masks: Masks, renewal: float) -> Floats:
        """Return the deviation of a machine back in use, or sold as working, with faults left in it."""
        s, (one, place) = self._s, np.unique(masks, return_inverse=True)
        use = s.payoffs.kept(one, renewal)
        if not self._reseller:
            return self._lasts(self._own(renewal), masks, use.stop[place], 1.0)
        left = effects(s.table, one)
        hours = s.terms["selling_hours"] * s.terms.money("hour_worth") + s.terms["cleaning_hours"] * s.terms.bench_hour
        net = self._per_sale(use.worth + hours)
        keeps = 1.0 - s.terms["selling_fee_rate"]
        as_stands = self._as_stands(one) / keeps if keeps > 0 else np.zeros(one.size)
        refund = np.maximum(self._s.market.running * left.seen_price - as_stands, 0.0)
        return self._sale(net[place], refund[place], 1.0 - left.unclaimed[place])

    def _lasts(self, flows: Flows, masks: Masks, stop: NDArray[np.int64], kept: float) -> Floats:
        """Return the deviation of a machine in use to the step `stop`; kept: share of its price, once opened [1]."""
        left, d = effects(self._s.table, masks), self._d
        price = self._as_stands(masks) / self._whole if self._whole > 0 else np.ones(masks.size)
        shares = left.service, left.survive, price
        outturn, mean, sold = lasting(flows, self._s.payoffs.year_of_service, shares, stop, d.life)
        costs = -float(net_sale(self._s.terms, 0.0)) * kept
        gross = flows.discount[stop] * price * (flows.sale[stop] + costs)
        deviation: Floats = outturn - mean + np.where(sold, gross * (d.resale - 1.0), 0.0)
        return deviation

    def _other_machine(self, flows: Flows) -> Floats:
        """Return the deviation of another machine: how long it lasts, and what it sells for in the end.

        It is kept a year at least, as a machine in hand is: one does not buy it to sell it at once.
        """
        one, d, e = np.ones(1), self._d, self._s.payoffs.year_of_service
        stop = np.full(d.other.size, worth_if_kept(flows, e, one, one, one, one, STEPS_PER_YEAR).stop[0])
        whole = np.ones(d.other.size)
        outturn, mean, sold = lasting(flows, e, (whole, whole, whole), stop, d.other)
        gross = flows.discount[stop] * (flows.sale[stop] - float(net_sale(self._s.terms, 0.0)))
        deviation: Floats = outturn - mean + np.where(sold, gross * (d.resale - 1.0), 0.0)
        return deviation

    def _per_sale(self, worth: Floats) -> Floats:
        """Return what a sale brings before its costs, from its worth with the hours added back [money]."""
        q, sold = self._unsold, 1.0 - self._unsold
        gross = worth + self._holding - q * self._s.market.scrap
        return gross / sold + self._s.terms.money("selling_cost") if sold > 0 else np.zeros(worth.size)

    def _as_stands(self, masks: Masks) -> Floats:
        """Return the price as it stands, net of the fee [money]."""
        p = self._s.payoffs
        return self._per_sale(p.let_go(masks)["sell_as_stands"] + p.own_hours["sell_as_stands"])

    def _sale(self, net: Floats, refund: Floats | float = 0.0, claim: Floats | float = 0.0) -> Floats:
        """Return the deviation of a sale now: its price, and for a reseller unsold or not and claimed or not.

        net: of the fee and the mean of claims; refund: what a claim costs [money]; claim: its chance [1].
        """
        d, cost = self._d, self._s.terms.money("selling_cost")
        if not self._reseller:
            return net * (d.resale - 1.0)
        sold, claimed = d.life >= self._unsold, d.other < claim
        brings = (net - (claimed - claim) * refund) * d.resale - cost
        mean = (1.0 - self._unsold) * (net - cost) + self._unsold * self._s.market.scrap
        deviation: Floats = np.where(sold, brings, self._s.market.scrap) - mean
        return deviation

    def _let_go(self, masks: Masks) -> dict[str, Floats]:
        """Return the deviation of each way of letting the machine go."""
        p = self._s.payoffs
        parts = p.let_go(masks)["part_out"] + p.own_hours["part_out"] + self._holding
        sells = self._sale(self._as_stands(masks))
        return {"sell_as_stands": sells, "part_out": parts * (self._d.resale - 1.0), "scrap": np.zeros(masks.size)}

    def _given_up(self, masks: Masks) -> Floats:
        """Return the deviation where a repair is given up: the best disposal, and the best machine instead."""
        p = self._s.payoffs
        ways, deviations = p.let_go(masks), self._let_go(masks)
        best = np.array([ways[w] for w in deviations]).argmax(axis=0)
        result: Floats = np.array(list(deviations.values()))[best, np.arange(masks.size)]
        wait = {n: 0.0 if n == "do_without" else p.replacement_weeks * p.week for n in p.replacements}
        instead = max(p.replacements, key=lambda n: p.replacements[n].worth - wait[n], default="")
        return result + self._elsewhere.get(instead, 0.0)
