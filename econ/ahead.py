"""Ahead: a component that fails again and again over a machine's life; when to repair it and when to walk away.

Backward induction over time and the component's age. In each step the machine may end by itself, the component may
fail, and whoever owns it then pays for the repair or walks away. Money in minor units, time in steps (months in an
answer, any other in a published example). The component's repairs come on top of the machine's upkeep, which counts
wear and small repairs only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from econ.life import Life, cumulative_hazard
from econ.worth import STEPS_PER_YEAR, Flows

Floats = NDArray[np.float64]
Sold = Literal["any_time", "once_mended", "at_the_end"]
ROOT_CHANCE = 0.1  # prior chance that a failure has a cause its repair leaves (bent shaft, misalignment) [1]; judgement
ROOT_LIFE_SHARE = 0.25  # share of its life that the new part then has [1]; judgement


@dataclass(frozen=True)
class Component:
    """A component that may fail more than once.

    life: from its renewal to its failure, in years of the owner's use. cost: of one repair, waiting included [money].
    uncured: chance that a repair does not cure and is paid again [1]. renews: the repair leaves it as new; else it
    runs on at the age it had (minimal repair: R. E. Barlow and L. C. Hunter, Operations Research 8, 1960; from memory).
    """

    life: Life
    cost: float
    uncured: float = 0.0
    renews: bool = True

    def __post_init__(self) -> None:
        if not (0.0 <= self.uncured < 1.0 and 0.0 <= self.cost < math.inf):
            raise ValueError(f"cost, uncured: got {self.cost:g}, {self.uncured:g}; a cost, and a chance below 1")


@dataclass(frozen=True)
class Ahead:
    """What lies ahead of a machine that runs, deciding best at each step and each failure.

    worth: net worth [money]. repairs: expected number of repairs still to come, and repairs_cost their present cost
    [money]. years: discounted years of service. sells_at_once: sold now it brings more than kept. mended: (n+1,) worth
    at each step just after a repair [money]. limit: (n+1,) the most that is worth paying for one repair at a failure at
    that step [money]; below 0 not even a free one. next_failure: (n+1,) chance that the next failure comes in the step
    that ends there, the machine still there and kept [1].
    """

    worth: float
    repairs: float
    repairs_cost: float
    years: float
    sells_at_once: bool
    mended: Floats
    limit: Floats
    next_failure: Floats

    @property
    def next_step(self) -> int | None:
        """The step by which the next failure has come in half the cases in which it comes; None where it never does."""
        total = self.next_failure.sum()
        return int(np.searchsorted(np.cumsum(self.next_failure), total / 2)) if total > 0 else None

    def walk_away(self, cost: float) -> int | None:
        """Return the first step from which on a repair at this cost [money] is never worth it; None: it always is."""
        pays = np.flatnonzero(self.limit >= cost)
        first = int(pays[-1]) + 1 if pays.size else 0
        return first if first < self.limit.size else None


def ahead(
    flows: Flows,
    year_of_service: float,
    walk: Floats,
    component: Component | None,
    age_years: float = 0.0,
    step_years: float = 1.0 / STEPS_PER_YEAR,
    sold: Sold = "any_time",
) -> Ahead:
    """Return what lies ahead of a machine that runs now.

    V(k, j) = max(parting(k), what a step more brings), k steps from now, the component j old; parting is a sale, or
    walking away. A step more brings service at e less upkeep, scrap where the machine ends, V(k + 1, j + 1) where it
    goes on, and at a failure the better of V(k + 1, renewed) - cost / P(cured) and walk(k + 1). A failure falls in the
    middle of its step on average, so ages are counted in half steps; a renewed part may fail in the half step left,
    which counts as not cured.

    Args:
        flows: the machine's, as if the component never failed.
        year_of_service: e [money/year].
        walk: (n+1,) what walking away at a failure brings at each step [money].
        component: None for a design without it; then worth is `worth_in_use`.
        age_years: its age now [years of the owner's use].
        step_years: length of a step [years].
        sold: when it may be sold in working order: at any step; `once_mended`, right after a repair, else kept in use;
            `at_the_end` of the steps. Where it may not, it may be given up for what walking away brings.

    References:
        N. A. J. Hastings, The repair limit replacement method, Operational Research Quarterly 20(3), 1969 (from memory
        for the principle: at each failure repair only below a limit that depends on age).
    """
    n, start = flows.service.size, round(2.0 * age_years / step_years)
    width = max(start, 1) + 2 * n + 1
    hazard = np.zeros(width)
    renews, cost, uncured = True, 0.0, 0.0
    if component is not None:
        hazard = cumulative_hazard(component.life, np.arange(width) * step_years / 2)
        renews, cost, uncured = component.renews, component.cost, component.uncured
    lasts = np.exp(hazard[:-2] - hazard[2:])
    cures = (1.0 - uncured) * (
        np.full(width - 2, math.exp(-hazard[1])) if renews else np.exp(hazard[1:-1] - hazard[2:])
    )
    tries = 1.0 / np.maximum(cures, 1e-9)
    s = flows.survival
    goes_on = np.divide(s[1:], s[:-1], out=np.zeros(n), where=s[:-1] > 0)
    serves = np.divide(flows.service, s[:-1], out=np.zeros(n), where=s[:-1] > 0)
    parting = flows.sale if sold == "any_time" else walk
    growth = flows.discount[1:] / flows.discount[:-1]

    rows = np.zeros((4, width))  # worth, repairs to come, their present cost, years of service
    rows[0] = flows.sale[n]
    mended, kept = np.empty(n + 1), np.zeros(n + 1, dtype=bool)
    mended[n] = flows.sale[n]
    for k in range(n - 1, -1, -1):
        here = rows.shape[1] - 2
        q, t = lasts[:here], tries[:here]
        back = rows[:, 1:2] if renews else rows[:, 2:]
        if sold == "once_mended" and renews and flows.sale[k + 1] > back[0, 0]:
            back = np.array([[flows.sale[k + 1]], [0.0], [0.0], [0.0]])
        mend = np.stack([back[0] - cost * t, back[1] + t, back[2] + cost * t, np.broadcast_to(back[3], t.shape)])
        broken = np.where(mend[0] >= walk[k + 1], mend, [[walk[k + 1]], [0.0], [0.0], [0.0]])
        rows = goes_on[k] * (q * rows[:, 2:] + (1.0 - q) * broken)
        rows[0] += serves[k] * (year_of_service - flows.upkeep[k]) + (1.0 - goes_on[k]) * flows.scrap
        rows[3] += serves[k]
        rows[[0, 2, 3]] *= growth[k]
        stops = parting[k] >= rows[0]
        rows[:, stops] = [[parting[k]], [0.0], [0.0], [0.0]]
        at = start + 2 * k
        kept[k] = not stops[at]
        mended[k] = rows[0, 0 if renews else at]
    resale = flows.sale if sold == "once_mended" and renews else np.full(n + 1, -np.inf)
    sells = bool(flows.sale[0] >= rows[0, start]) and sold != "at_the_end"
    mended = np.maximum(mended, resale)
    return Ahead(
        float(rows[0, start]),
        float(rows[1, start]),
        float(rows[2, start]),
        float(rows[3, start]),
        sells,
        mended,
        (1.0 - uncured) * (mended - walk),
        _next_failure(s, hazard[start : start + 2 * n + 1 : 2], kept),
    )


def _next_failure(alive: Floats, hazard: Floats, kept: NDArray[np.bool_]) -> Floats:
    """Return the chance that the first failure comes in each step, (n+1,); hazard: of the component at each step."""
    lasts = np.exp(hazard[0] - hazard)
    falls = alive[1:] * (lasts[:-1] - lasts[1:]) * np.logical_and.accumulate(kept)[:-1]
    return np.concatenate([[0.0], falls])


def root_cause(life: Life, failed_at: float, prior: float = ROOT_CHANCE, life_share: float = ROOT_LIFE_SHARE) -> float:
    """Return the chance that a part which failed again has a cause that its renewal left in place [1].

    P = q f_short(t) / (q f_short(t) + (1 - q) f(t)), both lives Weibull of one shape; finite at t = 0 too.

    Args:
        life: of a part with no such cause.
        failed_at: time from renewal to this failure [years].
        prior: q, the chance of such a cause before this is known [1].
        life_share: the life with such a cause, over the life without [1].

    References:
        Bayes' rule.
    """
    if prior in (0.0, 1.0):
        return prior
    short = Life(life.median_years * life_share, life.shape)
    gap = float(cumulative_hazard(life, failed_at) - cumulative_hazard(short, failed_at))
    log_odds = math.log(prior / (1.0 - prior)) - life.shape * math.log(life_share) + gap
    return 1.0 / (1.0 + math.exp(min(-log_odds, 700.0)))
