"""Market: what a machine brings running, as it stands, in parts and as scrap, and what another one costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.depreciation import Curve, fit_comparables
from econ.life import (
    CONDITION_KAPPA,
    Life,
    effective_age,
    epa_percent_scrapped,
    median_years,
    service,
    survival,
)
from econ.money import say, to_minor
from econ.problems import BadInput, Problem
from econ.rulebook import MachineClass
from econ.terms import STATED, Assumption, Terms, life_figures
from econ.worth import STEPS_PER_YEAR, Flows, discount_factors

Floats = NDArray[np.float64]
SEASON_FADES = 0.5  # time over which this month's season fades from later prices [years]; judgement
AGE_SHARE = 0.5  # age of a machine of which none is stated, over the median life [1]; judgement
MOST_STEEP = 8.0  # highest exponent by which disclosed faults may be made to weigh on the as-is price


@dataclass(frozen=True)
class Market:
    """Prices of this machine and of its replacements [minor units], ages and lives [years].

    running: sold in working order now. as_is: price as it stands where stated, else None (in a column NaN). part_out:
    proceeds of a machine with no ruined part. scrap: net of disposal. age: effective age. pace: own use over the
    class's. later: mean of the year's resale factors over this month's [1]. Each figure is a number, or a column (W, 1)
    where it differs between worlds.
    """

    life: Life
    age: Any
    pace: Any
    curve: Curve
    curve_age: Any
    running: Any
    as_is: Any
    part_out: Any
    scrap: Any
    new_total: Any
    used_total: Any
    used_price: Any
    used_age: Any
    later: float
    days_to_sell: float
    downtime_season: float
    assumptions: tuple[Assumption, ...] = ()


def class_curve(c: MachineClass, median: Any, hours_per_year: float) -> Curve:
    """Return the class's curve of remaining value; where it states no life of its own, over its median life."""
    v = c.value
    c1, c2, c3 = v.coefficients
    life = v.life_years if v.life_years is not None else np.maximum(median, v.rate)  # all is lost in a year at most
    return Curve(v.method, v.rate, life, v.salvage_share, c1, c2, c3, hours_per_year)


def _median(case: Case, c: MachineClass, terms: Terms) -> Any:
    """Return the median life [years of the class's use]."""
    figures = life_figures(case, c)
    hours = _stated(terms, "life_hours", figures.median_hours)
    return _plain(median_years(hours, figures.hours_per_year))


def _stated(terms: Terms, name: str, otherwise: Any) -> Any:
    """Return a figure as stated, or what it is otherwise: where none is, or a column has no number for a world."""
    figure = terms.figures.get(name)
    if figure is None:
        return otherwise
    return np.where(np.isnan(figure), otherwise, figure) if np.ndim(figure) else figure


def _plain(x: Any) -> Any:
    """Return an array without axes as a number."""
    return float(x) if np.ndim(x) == 0 else x


def _age(case: Case, c: MachineClass, terms: Terms, median: Any) -> tuple[Any, Any]:
    """Return effective age, and age on the curve [years]."""
    condition = case.machine.condition
    years, hours = (terms.figures.get(x, np.nan) for x in ("age_years", "hours"))
    years = np.where(np.isnan(years) & np.isnan(hours), median * AGE_SHARE, years)
    age = effective_age(condition, years, hours, life_figures(case, c).hours_per_year)
    by_years = np.where(np.isnan(years), age, CONDITION_KAPPA[condition] * years)
    # A buyer looks at both, the years and the hours; judgement.
    return _plain(age), _plain(np.where(np.isnan(hours), by_years, (by_years + age) / 2))


def _by_comparables(case: Case, c: MachineClass, terms: Terms, on_curve: Any) -> Any:
    """Return what comparables say the machine is worth running this month [minor units]."""
    rows = case.market.comparables
    prices = [float(to_minor(r.price, terms.currency)) for r in rows]
    try:
        fit = fit_comparables(prices, [r.age_years for r in rows], [r.condition for r in rows])
    except ValueError as error:
        path, remedy = "market.comparables", "add comparables, or leave them out"
        raise BadInput([Problem(path, f"{len(rows)} rows", str(error), remedy)]) from None
    age = _stated(terms, "age_years", on_curve)
    return _plain(fit.predict(age, case.machine.condition)) * c.season.resale[terms.month]


def _running(case: Case, c: MachineClass, terms: Terms, curve: Curve, on_curve: Any) -> Any:
    """Return the price in working order now where none is stated: by comparables, else by the curve."""
    if case.market.comparables:
        return _by_comparables(case, c, terms, on_curve)
    share, season = _plain(curve.share(on_curve)), c.season.resale[terms.month]
    return terms.new_price * np.minimum(share * season, 1.0)


def market_of(case: Case, c: MachineClass, terms: Terms) -> Market:
    """Return all market figures by the terms, a row for each of their worlds; stated prices are not checked."""
    figures = life_figures(case, c)
    median = _median(case, c, terms)
    age, on_curve = _age(case, c, terms, median)
    curve = class_curve(c, median, figures.hours_per_year)
    running = _stated(terms, "running", None)
    if running is None or np.ndim(running):
        running = _stated(terms, "running", _running(case, c, terms, curve, on_curve))
    tax = 1.0 if case.terms.tax_inclusive else 1.0 + case.terms.tax_rate
    delivery = terms.money("replacement_delivery")
    scrap = c.about.weight_kg * terms["scrap_per_kg"] - terms.money("disposal_fee")
    used_age = _stated(terms, "used_age_years", terms["used_age_share"] * median)
    used_price = _plain(curve.share(used_age)) * terms.new_price
    pace = _stated(terms, "hours_per_year", figures.hours_per_year) / figures.hours_per_year
    return Market(
        life=Life(median),
        age=age,
        pace=pace,
        curve=curve,
        curve_age=on_curve,
        running=_plain(running),
        as_is=terms.figures.get("as_is"),
        part_out=_stated(terms, "part_out", c.value.part_out_share * terms.new_price),
        scrap=_stated(terms, "scrap", scrap),
        new_total=terms.new_price * tax + delivery,
        used_total=_stated(terms, "used_price", used_price * (1.0 + terms["used_premium"])) + delivery,
        used_price=_stated(terms, "used_price", used_price),
        used_age=used_age,
        later=float(np.mean(c.season.resale)) / c.season.resale[terms.month],
        days_to_sell=c.season.days_to_sell[terms.month],
        downtime_season=c.season.downtime[terms.month],
    )


def read_market(case: Case, c: MachineClass, terms: Terms) -> Market:
    """Return all market figures of a case, with what was assumed.

    Raises BadInput where stated prices contradict each other.
    """
    market = market_of(case, c, terms)
    _contradictions(case, market, terms)
    return replace(market, assumptions=_assumed(case, c, terms, market))


def _assumed(case: Case, c: MachineClass, terms: Terms, market: Market) -> tuple[Assumption, ...]:
    """Return the market figures and where each comes from."""
    figures, median, notes = life_figures(case, c), market.life.median_years, []

    def money(name: str, figure: float, source: str) -> Assumption:
        return Assumption(name, say(figure, terms.currency), source)

    if case.machine.age_years is None and case.machine.hours is None:
        said = f"{median * AGE_SHARE:.1f}"
        notes.append(Assumption("age_years", said, "judgement: half the median life, as none was stated"))
    if figures.epa_median_years is not None:
        gone = float(epa_percent_scrapped((case.machine.age_years or market.age) / figures.epa_median_years))
        value = f"{figures.epa_median_years:.1f} years; {gone:.0f} % of such machines are gone by this age"
        source = f"{figures.epa_source}; the pessimistic bound, not used"
        notes.append(Assumption("epa_median_life", value, source))
    source = STATED if case.machine.life_hours else f"{figures.median_hours_source}; {figures.hours_per_year_source}"
    by = "age by condition, or by hours where they are known (Kijima 1989)"
    notes += [
        Assumption("median_life", f"{median:.1f} years", source),
        Assumption("effective_age", f"{market.age:.1f} years", by),
    ]
    season, source = c.season.resale[terms.month], STATED
    if case.market.comparables:
        price = _by_comparables(case, c, terms, market.curve_age)
        how = f"{len(case.market.comparables)} comparables: log price regressed on age, times the month's factor"
        source = f"{how} {season:g}"
        if case.market.running is not None:
            notes.append(money("running_price", market.running, STATED))
            notes.append(money("comparables_say", price, f"{source}; not used, a price is stated"))
    else:
        source = f"remaining value by age ({c.value.source}), times the month's factor {season:g} ({c.season.source})"
    if case.market.running is None or not case.market.comparables:
        notes.append(money("running_price", market.running, source if case.market.running is None else STATED))
    given = case.market.part_out is not None
    notes.append(money("part_out_price", market.part_out, STATED if given else c.value.part_out_source))
    if case.market.used_price is None:
        source = f"remaining value at {market.used_age:.1f} years, and {terms['used_premium']:.0%} for finding it "
        notes.append(money("used_price", market.used_total, source + "and its risk"))
    return tuple(notes)


def _contradictions(case: Case, market: Market, terms: Terms) -> None:
    problems = []
    new_total, running, as_is = market.new_total, market.running, market.as_is
    if case.market.running is not None and running > new_total:
        rule = f"a machine in hand can't sell for more than a new one costs ({say(new_total, terms.currency)})"
        problems.append(Problem("market.running", str(case.market.running), rule, "correct it, or new_price"))
    for name in ("part_out", "scrap"):
        stated = getattr(case.market, name)
        if stated is not None and to_minor(stated, terms.currency) > new_total:
            rule = f"it can't bring more than a new machine costs ({say(new_total, terms.currency)})"
            problems.append(Problem(f"market.{name}", str(stated), rule, "correct it, or new_price"))
    if as_is is not None and as_is >= running:
        rule = f"as it stands it can't bring as much as running ({say(running, terms.currency)})"
        problems.append(Problem("market.as_is", str(case.market.as_is), rule, "correct it, or state market.running"))
    if problems:
        raise BadInput(problems)


def net_sale(terms: Terms, price: Floats | float) -> Floats:
    """Return what a sale brings the owner after fee, costs and the worth of the hours it takes [money]."""
    costs = terms.money("selling_cost") + terms["selling_hours"] * terms.money("hour_worth")
    result: Floats = np.asarray(price) * (1.0 - terms["selling_fee_rate"]) - costs
    return result


def steps_of(terms: Terms) -> Any:
    """Return the number of monthly steps in the horizon."""
    return np.maximum(np.rint(np.multiply(terms["horizon_years"], STEPS_PER_YEAR)).astype(np.int64), 1)


def make_flows(
    market: Market, terms: Terms, age: Any, curve_age: Any, price: Any, renewal: float = 0.0, later: float = 1.0
) -> Flows:
    """Return the flows of a machine of a given age and present price, or of one in each world.

    age: effective [years]; curve_age: where it stands on the curve of value [years]; price: what it sells for in
    working order now [money]; renewal: share of the effective age that a job takes off; later: mean of the
    year's resale factors over this month's: this month's season fades from prices over half a year.
    """
    steps = steps_of(terms)
    n = int(np.max(steps))
    t = np.arange(n + 1) / STEPS_PER_YEAR
    age = age * (1.0 - renewal)
    alive = survival(market.life, age, t, market.pace)
    middle = age + market.pace * (t[:-1] + t[1:]) / 2
    return Flows(
        alive,
        service(alive, 1.0 / STEPS_PER_YEAR),
        discount_factors(terms["real_rate"], n),
        terms.new_price * (terms["upkeep_rate"] + terms["upkeep_growth"] * middle / market.life.median_years),
        np.maximum(net_sale(terms, price * share_later(market, curve_age, t, later)), market.scrap),
        market.scrap,
        steps if np.ndim(steps) else None,
    )


def share_later(market: Market, curve_age: Any, t: Floats, later: float = 1.0) -> Floats:
    """Return the share of its price now that a machine in working order sells for at times t [years] from now [1].

    curve_age, later: as for `make_flows`.
    """
    now = market.curve.share(curve_age)
    fall = np.where(now > 0, market.curve.share(curve_age + t) / np.where(now > 0, now, 1.0), 1.0)
    share: Floats = fall * (1.0 + (later - 1.0) * np.minimum(t / SEASON_FADES, 1.0))
    return share


def new_flows(market: Market, terms: Terms) -> Flows:
    """Return the flows of a new machine."""
    return make_flows(market, terms, 0.0, 0.0, terms.new_price)


def used_flows(market: Market, terms: Terms) -> Flows:
    """Return the flows of the used machine that could replace this one, in fair condition."""
    return make_flows(market, terms, market.used_age, market.used_age, market.used_price)


def own_flows(market: Market, terms: Terms, renewal: float = 0.0) -> Flows:
    """Return the flows of the machine in hand, in working order."""
    return make_flows(market, terms, market.age, market.curve_age, market.running, renewal, market.later)


def steepness(as_is_over_running: Any, shares: Floats, weights: Floats) -> Any:
    """Return the exponent g by which sum(weights x shares^g) equals the stated as-is price over the running price.

    as_is_over_running: below 1, a number or a column of one for each world. shares: (m,) share of the price that the
    faults of a state leave when disclosed; weights: (m,) P(state | complaint). The exponent is kept within 0 and
    MOST_STEEP. Newton's method: the sum falls with g and is convex, so that no step from 0 goes past the root.
    """
    ratios, which = np.unique(as_is_over_running, return_inverse=True)
    levels, level = np.unique(shares, return_inverse=True)
    logs, chances = np.log(levels), np.bincount(level, weights).astype(float)
    g, far = np.zeros((ratios.size, 1)), np.ones((ratios.size, 1), dtype=bool)
    for _ in range(100):
        terms = chances * np.exp(g * logs)
        short = terms.sum(axis=-1, keepdims=True) - ratios[:, None]
        slope = (terms * logs).sum(axis=-1, keepdims=True)
        step = np.where(slope < 0, short / np.where(slope < 0, -slope, 1.0), MOST_STEEP)
        # Each ends by itself, so that it is the same whatever others there are.
        before, g = g, np.where(far, np.clip(g + step, 0.0, MOST_STEEP), g)
        far = np.abs(g - before) >= 1e-12
        if not far.any():
            break
    return _plain(g[which.reshape(np.shape(as_is_over_running)), 0])
