"""Inputs: the figures of a case that may change its answer, what each may well be, and how far to search.

Every input is one figure of the case by its path, such as ``terms.shop_rate`` or ``prices.blade``, or the chance of
hidden damage or of one fault. Money in minor units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.evidence import prior_of
from econ.findings import Heard
from econ.market import AGE_SHARE, Market
from econ.money import DIGITS
from econ.rulebook import SOMETHING_ELSE, MachineClass
from econ.setting import Setting
from econ.terms import Default, life_figures, price_range, price_source
from econ.worlds import LIKELY, LONGER, Ask

Floats = NDArray[np.float64]
Unit = Literal["money", "years", "hours", "days", "weeks", "share", "times"]

STATED_SPREAD = 0.2  # a stated figure is moved by this share either way, to compare what it bears on [1]
STATED_SOURCE = "stated; a fifth either way, to compare"
PARTS = 6  # dearest parts of the repairs weighed that are searched
FAULTS = 2  # likeliest faults whose chance is searched
HOURS_SPREAD = (0.7, 1.6)  # hours of real jobs over the book; judgement
PRICE_SPREAD = (0.65, 1.4)  # of a price of this machine that is estimated; judgement
PARTS_OUT_SPREAD = (0.4, 1.8)  # of what its parts bring; judgement
LIFE_SPREAD = (0.5, 2.0)  # the useful-life categories of 40 CFR 1054.107 lie about a factor of two apart
AGE_SPREAD = (0.2, 1.2)  # age of a machine of which none is stated, over the median life; judgement
MOST_CHANCE = 0.999  # up to which a chance is searched, or what it may be where that is more [1]
ODDS_SPREAD = (0.5, 2.0)  # odds of a fault over those computed; judgement
TIMES = (0.0, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0)  # of its value now
ODDS = (0.0, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0, 10.0, 30.0)  # of its odds now
YEARS_AHEAD = (1.0, 2.0, 3.0, 5.0, 8.0, 12.0)  # horizons searched


@dataclass(frozen=True)
class Input:
    """One figure that may change the answer.

    name: its path in the case, ``hidden_damage`` or ``fault.x``. figure: in Terms.figures; empty for a chance. mask:
    for a chance, the faults any of which it means. value: now. low, high: nine in ten lie between. least, most:
    searched between them, in multiples of `step`. stated: by the case; source: of low and high.
    """

    name: str
    unit: Unit
    figure: str
    value: float
    low: float
    high: float
    least: float
    most: float
    step: float
    stated: bool
    source: str
    mask: int = 0

    @property
    def alone(self) -> bool:
        """Whether its worlds can't be worked out together with others."""
        return self.figure in LONGER

    @property
    def pairs(self) -> bool:
        """Whether it can be laid against another input."""
        return not self.mask and not self.alone

    def grid(self) -> Floats:
        """Return the values at which the best course is first looked up, rising."""
        if self.mask:
            odds = self.value / (1 - self.value) * np.array(ODDS)
            values = odds / (1 + odds)
        elif self.alone:
            values = np.array([*YEARS_AHEAD, self.value])
        else:
            anchor = self.value if self.value > 0 else max(self.high, 10 * self.step)
            values = anchor * np.array(TIMES)
        ends = np.array([self.low, self.high] if self.alone else [self.least, self.low, self.high, self.most])
        whole = np.round(np.concatenate([values, ends]) / self.step) * self.step
        return np.unique(np.clip(whole, self.least, self.most))

    def ask(self, values: Floats, states: NDArray[np.int64], weights: Floats) -> Ask:
        """Return the worlds in which the input has each of these values, all else as it is."""
        if not self.mask:
            return Ask({self.figure: values})
        has = (states & self.mask) != 0
        share = float(weights[has].sum())
        scale = np.where(has, values[:, None] / share, (1 - values[:, None]) / (1 - share))
        return Ask({}, weights * scale)


@dataclass(frozen=True)
class Fact:
    """A fact of the history nobody told: the chance of each level (levels,), and of the states at each (levels, m)."""

    name: str
    chances: Floats
    weights: Floats


def open_facts(heard: Heard, states: NDArray[np.int64], weights: Floats) -> tuple[Fact, ...]:
    """Return the facts that are not known for sure and bear on the faults in play.

    states, weights: what is believed now. By Bayes the chance of a state at a level is what it is now times the prior
    with that level over the prior without it.
    """
    now = prior_of(states, heard.base_odds, heard.causes)
    found = []
    for n, cause in enumerate(heard.causes):
        if max(cause.weights) == 1.0:
            continue
        rows = []
        for level, share in enumerate(cause.weights):
            known = tuple(float(k == level) for k in range(len(cause.weights)))
            causes = (*heard.causes[:n], replace(cause, weights=known), *heard.causes[n + 1 :])
            rows.append(share * weights * prior_of(states, heard.base_odds, causes) / now)
        table = np.array(rows)
        total = table.sum(axis=1)
        live = total > 0
        found.append(Fact(cause.name, total[live] / total.sum(), table[live] / total[live, None]))
    return tuple(found)


def _around(value: float, spread: tuple[float, float]) -> tuple[float, float]:
    return value * spread[0], value * spread[1]


def _odds_around(p: float) -> tuple[float, float]:
    low, high = (p / (1 - p) * x for x in ODDS_SPREAD)
    return low / (1 + low), high / (1 + high)


class _Maker:
    """Makes the inputs of one case."""

    def __init__(self, case: Case, s: Setting, defaults: Mapping[str, Default]) -> None:
        self._case, self._s, self._defaults = case, s, defaults
        self._unit = s.terms.from_rulebook(1000.0) / 1000.0
        self.one = float(10 ** DIGITS[s.terms.currency])  # least price of a machine that a case can state
        self.found: list[Input] = []

    def add(
        self,
        name: str,
        unit: Unit,
        figure: str,
        value: float,
        spread: tuple[float, float],
        source: str,
        stated: bool,
        step: float,
        least: float = 0.0,
        most: float = np.inf,
    ) -> None:
        """Add an input; a stated one is moved by STATED_SPREAD instead of `spread`."""
        if stated:
            spread, source = _around(value, (1 - STATED_SPREAD, 1 + STATED_SPREAD)), STATED_SOURCE
        top = max(4.0 * value, spread[1], 10 * step) if np.isinf(most) else most
        if top <= least:
            return
        least, top = min(least, value), max(top, value)
        low, high = (float(np.clip(x, least, top)) for x in spread)
        self.found.append(Input(name, unit, figure, value, low, high, least, top, step, stated, source))

    def term(self, name: str, unit: Unit, step: float, least: float = 0.0, most: float = np.inf) -> None:
        """Add a term that has a default with a range."""
        default = self._defaults.get(name)
        if default is None or default.low is None or default.high is None or name not in self._s.terms.figures:
            return
        scale = self._unit if default.money else 1.0
        value = float(self._s.terms.figures[name])
        spread = min(default.low * scale, value), max(default.high * scale, value)
        stated = name in self._case.terms.model_fields_set
        self.add(f"terms.{name}", unit, name, value, spread, default.source, stated, step, least, most)

    def chance(self, name: str, mask: int) -> None:
        """Add the chance of any fault of a mask, where the likeliest states differ in it."""
        p = self._s.posterior
        value = float(p.weights[(p.states & mask) != 0].sum())
        likely = (p.states[:LIKELY] & mask) != 0
        if 0.0005 < value < 0.9995 and likely.any() and not likely.all():
            low, high = _odds_around(value)
            most = max(MOST_CHANCE, high)
            source = "judgement: odds of half to twice those computed"
            self.found.append(Input(name, "share", "", value, low, high, 0.0, most, 0.0001, False, source, mask))


def make_inputs(
    case: Case, c: MachineClass, s: Setting, market: Market, defaults: Mapping[str, Default], parts: Sequence[str]
) -> tuple[Input, ...]:
    """Return the inputs of a case that may change its answer.

    parts: ids of the parts that the repairs weighed use, those that bear most first.
    """
    m = _Maker(case, s, defaults)
    figures = s.terms.figures
    for p in parts[:PARTS]:
        low, _, high = price_range(s.terms, c, p, False)
        source = f"rulebook: {c.parts[p].source}"
        if p in s.terms.priced:
            source = price_source(s.terms.priced[p])
        value = float(figures[f"price.{p}"])
        spread = (low, high)
        m.add(f"prices.{p}", "money", f"price.{p}", value, spread, source, p in case.prices, 1.0)
    told = "hours_factor" in case.terms.model_fields_set
    hours = float(figures["hours_factor"])
    m.add("terms.hours_factor", "times", "hours_factor", hours, HOURS_SPREAD, "judgement", told, 0.01, 0.1, 10.0)
    if s.terms.by_shop:
        m.term("shop_rate", "money", 1.0)
        m.term("queue_weeks", "weeks", 0.1)
    else:
        m.term("hour_worth", "money", 1.0)
    m.term("parts_lead_days", "days", 1.0)
    _market(m, case, c, s, market)
    if s.terms.perspective == "reseller":
        m.term("selling_hours", "hours", 0.1)
        m.term("unsold_chance", "share", 0.001, 0.0, 1.0)
    else:
        m.term("downtime_per_week", "money", 1.0)
        m.term("upkeep_rate", "share", 0.001, 0.0, 1.0)
        m.term("real_rate", "share", 0.001, 0.0, 1.0)
        m.term("horizon_years", "years", 0.5, YEARS_AHEAD[0], YEARS_AHEAD[-1])
        if "do_without_per_year" in figures:
            value = float(figures["do_without_per_year"])
            m.add("terms.do_without_per_year", "money", "do_without_per_year", value, (value, value), "", True, 1.0)
    hidden = sum(1 << i for i in range(s.in_play) if s.table.hidden[i])
    m.chance("hidden_damage", hidden)
    present = {i: float(s.posterior.weights[(s.posterior.states >> i & 1) == 1].sum()) for i in range(s.in_play)}
    likely = sorted((i for i in present if s.table.ids[i] != SOMETHING_ELSE), key=lambda i: -present[i])
    for i in likely[:FAULTS]:
        if 1 << i != hidden:
            m.chance(f"fault.{s.table.ids[i]}", 1 << i)
    return tuple(m.found)


def _market(m: _Maker, case: Case, c: MachineClass, s: Setting, market: Market) -> None:
    """Add prices, age and life of the machine and of its replacements."""
    figures, stated = s.terms.figures, case.market
    new, top = float(figures["new_price"]), float(market.new_total)
    low, _, high = c.about.new_price
    spread = (s.terms.from_rulebook(low), s.terms.from_rulebook(high))
    known = float(figures.get("running", 0.0))
    told = case.machine.new_price is not None
    m.add(
        "machine.new_price", "money", "new_price", new, spread, c.about.new_price_source, told, 1.0, max(known, m.one)
    )
    running = float(market.running)
    floor = float(market.as_is or 0.0) + 1.0
    given = stated.running is not None
    m.add(
        "market.running",
        "money",
        "running",
        running,
        _around(running, PRICE_SPREAD),
        "judgement",
        given,
        1.0,
        floor,
        top,
    )
    if market.as_is is not None:
        m.add("market.as_is", "money", "as_is", float(market.as_is), (0.0, 0.0), "", True, 1.0, 0.0, running - 1.0)
    parts = float(market.part_out)
    given = stated.part_out is not None
    m.add(
        "market.part_out",
        "money",
        "part_out",
        parts,
        _around(parts, PARTS_OUT_SPREAD),
        "judgement",
        given,
        1.0,
        0.0,
        top,
    )
    if s.terms.perspective != "reseller":
        used = float(market.used_total) - s.terms.money("replacement_delivery")
        given = stated.used_price is not None
        m.add(
            "market.used_price",
            "money",
            "used_price",
            used,
            _around(used, PRICE_SPREAD),
            "judgement",
            given,
            1.0,
            m.one,
            top,
        )
        _ages(m, case, c, s, market)


def _ages(m: _Maker, case: Case, c: MachineClass, s: Setting, market: Market) -> None:
    median = float(market.life.median_years)
    known = life_figures(case, c)
    if case.machine.hours is not None:
        hours = case.machine.hours
        m.add("machine.hours", "hours", "hours", hours, (hours, hours), "", True, 1.0, 0.0, max(4 * hours, 100.0))
    else:
        age = case.machine.age_years if case.machine.age_years is not None else AGE_SHARE * median
        given = case.machine.age_years is not None
        spread = _around(median, AGE_SPREAD)
        m.add("machine.age_years", "years", "age_years", age, spread, "judgement", given, 0.1, 0.0, 30.0)
    life = float(s.terms.figures.get("life_hours", known.median_hours))
    given = case.machine.life_hours is not None
    source = "judgement: the next categories of 40 CFR 1054.107 either way"
    m.add("machine.life_hours", "hours", "life_hours", life, _around(life, LIFE_SPREAD), source, given, 1.0, 10.0)
