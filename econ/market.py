"""Market: what a machine brings running, as it stands, in parts and as scrap, and what another one costs."""

from __future__ import annotations

from dataclasses import dataclass

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
MOST_STEEP = 8.0  # highest exponent by which disclosed faults may be made to weigh on the as-is price


@dataclass(frozen=True)
class Market:
    """Prices of this machine and of its replacements [minor units], ages and lives [years].

    running: sold in working order now. as_is: stated price as it stands, if stated. part_out: proceeds of a machine
    with no ruined part. scrap: net of disposal. age: effective age. pace: own use over the class's. later: mean of the
    year's resale factors over this month's [1].
    """

    life: Life
    age: float
    pace: float
    curve: Curve
    curve_age: float
    running: float
    as_is: float | None
    part_out: float
    scrap: float
    new_total: float
    used_total: float
    used_price: float
    used_age: float
    later: float
    days_to_sell: float
    downtime_season: float
    assumptions: tuple[Assumption, ...]


def class_curve(c: MachineClass, median: float, hours_per_year: float) -> Curve:
    """Return the class's curve of remaining value; where it states no life of its own, over its median life."""
    v = c.value
    c1, c2, c3 = v.coefficients
    life = v.life_years if v.life_years is not None else median
    return Curve(v.method, v.rate, life, v.salvage_share, c1, c2, c3, hours_per_year)


def _age(case: Case, median: float, class_hours: float) -> tuple[float, float, list[Assumption]]:
    """Return effective age, age on the curve [years], and what was assumed."""
    m, notes = case.machine, []
    years = m.age_years
    if years is None and m.hours is None:
        years = median / 2
        notes.append(Assumption("age_years", f"{years:.1f}", "judgement: half the median life, as none was stated"))
    age = float(effective_age(m.condition, years, m.hours, class_hours))
    on_curve = CONDITION_KAPPA[m.condition] * years if years is not None else age
    if m.hours is not None and years is not None:
        on_curve = (on_curve + age) / 2  # a buyer looks at both, the years and the hours; judgement
    return age, on_curve, notes


def _by_comparables(case: Case, c: MachineClass, terms: Terms, on_curve: float) -> tuple[float, str]:
    """Return what comparables say the machine is worth running this month, and how."""
    rows, season = case.market.comparables, c.season.resale[terms.month]
    prices = [float(to_minor(r.price, terms.currency)) for r in rows]
    try:
        fit = fit_comparables(prices, [r.age_years for r in rows], [r.condition for r in rows])
    except ValueError as error:
        path, remedy = "market.comparables", "add comparables, or leave them out"
        raise BadInput([Problem(path, f"{len(rows)} rows", str(error), remedy)]) from None
    age = case.machine.age_years if case.machine.age_years is not None else on_curve
    price = float(fit.predict(age, case.machine.condition)) * season
    return price, f"{len(rows)} comparables: log price regressed on age, times the month's factor {season:g}"


def _running(
    case: Case, c: MachineClass, terms: Terms, curve: Curve, on_curve: float
) -> tuple[float, tuple[Assumption, ...]]:
    """Return the price in working order now, and where it comes from: stated, else comparables, else the curve."""
    season = c.season.resale[terms.month]
    notes = []
    price = float(curve.share(on_curve)) * terms.new_price * min(season, 1.0 / max(float(curve.share(on_curve)), 1e-9))
    source = f"remaining value by age ({c.value.source}), times the month's factor {season:g} ({c.season.source})"
    if case.market.comparables:
        price, source = _by_comparables(case, c, terms, on_curve)
    if case.market.running is not None:
        if case.market.comparables:
            notes.append(
                Assumption("comparables_say", say(price, terms.currency), f"{source}; not used, a price is stated")
            )
        price, source = float(to_minor(case.market.running, terms.currency)), STATED
    return price, (Assumption("running_price", say(price, terms.currency), source), *notes)


def read_market(case: Case, c: MachineClass, terms: Terms) -> Market:
    """Return all market figures of a case. Raises BadInput where stated prices contradict each other."""
    figures = life_figures(case, c)
    median = float(median_years(figures.median_hours, figures.hours_per_year))
    age, on_curve, notes = _age(case, median, figures.hours_per_year)
    curve = class_curve(c, median, figures.hours_per_year)
    running, said = _running(case, c, terms, curve, on_curve)
    if figures.epa_median_years is not None:
        gone = float(epa_percent_scrapped((case.machine.age_years or age) / figures.epa_median_years))
        value = f"{figures.epa_median_years:.1f} years; {gone:.0f} % of such machines are gone by this age"
        source = f"{figures.epa_source}; the pessimistic bound, not used"
        notes.append(Assumption("epa_median_life", value, source))
    notes += [
        Assumption(
            "median_life",
            f"{median:.1f} years",
            f"{figures.median_hours_source}; {figures.hours_per_year_source}",
        ),
        Assumption(
            "effective_age",
            f"{age:.1f} years",
            "age by condition, or by hours where they are known (Kijima 1989)",
        ),
        *said,
    ]
    tax = 1.0 if case.terms.tax_inclusive else 1.0 + case.terms.tax_rate
    new_total = terms.new_price * tax + terms.money("replacement_delivery")
    stated = case.market
    as_is = None if stated.as_is is None else float(to_minor(stated.as_is, terms.currency))
    _contradictions(case, running, as_is, new_total, terms)
    part_out, scrap = c.value.part_out_share * terms.new_price, c.about.weight_kg * terms["scrap_per_kg"]
    if stated.part_out is not None:
        part_out = float(to_minor(stated.part_out, terms.currency))
        notes.append(Assumption("part_out_price", say(part_out, terms.currency), STATED))
    else:
        notes.append(Assumption("part_out_price", say(part_out, terms.currency), c.value.part_out_source))
    scrap -= terms.money("disposal_fee")
    if stated.scrap is not None:
        scrap = float(to_minor(stated.scrap, terms.currency))
    used_age = stated.used_age_years if stated.used_age_years is not None else terms["used_age_share"] * median
    if stated.used_price is not None:
        used_price = used_total = float(to_minor(stated.used_price, terms.currency))
        used_total += terms.money("replacement_delivery")
    else:
        used_price = float(curve.share(used_age)) * terms.new_price
        used_total = used_price * (1.0 + terms["used_premium"]) + terms.money("replacement_delivery")
        source = f"remaining value at {used_age:.1f} years, and {terms['used_premium']:.0%} for finding it and its risk"
        notes.append(Assumption("used_price", say(used_total, terms.currency), source))
    pace = case.terms.hours_per_year / figures.hours_per_year if case.terms.hours_per_year else 1.0
    return Market(
        life=Life(median),
        age=age,
        pace=pace,
        curve=curve,
        curve_age=on_curve,
        running=running,
        as_is=as_is,
        part_out=part_out,
        scrap=scrap,
        new_total=new_total,
        used_total=used_total,
        used_price=used_price,
        used_age=used_age,
        later=float(np.mean(c.season.resale)) / c.season.resale[terms.month],
        days_to_sell=c.season.days_to_sell[terms.month],
        downtime_season=c.season.downtime[terms.month],
        assumptions=tuple(notes),
    )


def _contradictions(case: Case, running: float, as_is: float | None, new_total: float, terms: Terms) -> None:
    problems = []
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


def steps_of(terms: Terms) -> int:
    """Return the number of monthly steps in the horizon."""
    return max(1, round(terms["horizon_years"] * STEPS_PER_YEAR))


def make_flows(
    market: Market,
    terms: Terms,
    age: float,
    curve_age: float,
    price: float,
    renewal: float = 0.0,
    later: float = 1.0,
) -> Flows:
    """Return the flows of a machine of a given age and present price.

    age: effective [years]; curve_age: where it stands on the curve of value [years]; price: what it sells for in
    working order now [money]; renewal: share of the effective age that a job takes off; later: mean of the
    year's resale factors over this month's: this month's season fades from prices over half a year.
    """
    n = steps_of(terms)
    t = np.arange(n + 1) / STEPS_PER_YEAR
    age = age * (1.0 - renewal)
    alive = survival(market.life, age, t, market.pace)
    now = float(market.curve.share(curve_age))
    fall = market.curve.share(curve_age + t) / now if now > 0 else np.ones(n + 1)
    season = 1.0 + (later - 1.0) * np.minimum(t / SEASON_FADES, 1.0)
    middle = age + market.pace * (t[:-1] + t[1:]) / 2
    return Flows(
        alive,
        service(alive, 1.0 / STEPS_PER_YEAR),
        discount_factors(terms["real_rate"], n),
        terms.new_price * (terms["upkeep_rate"] + terms["upkeep_growth"] * middle / market.life.median_years),
        np.maximum(net_sale(terms, price * fall * season), market.scrap),
        market.scrap,
    )


def new_flows(market: Market, terms: Terms) -> Flows:
    """Return the flows of a new machine."""
    return make_flows(market, terms, 0.0, 0.0, float(terms.new_price))


def used_flows(market: Market, terms: Terms) -> Flows:
    """Return the flows of the used machine that could replace this one, in fair condition."""
    return make_flows(market, terms, market.used_age, market.used_age, market.used_price)


def own_flows(market: Market, terms: Terms, renewal: float = 0.0) -> Flows:
    """Return the flows of the machine in hand, in working order."""
    return make_flows(market, terms, market.age, market.curve_age, market.running, renewal, market.later)


def steepness(as_is_over_running: float, shares: Floats, weights: Floats) -> float:
    """Return the exponent g by which sum(weights x shares^g) equals the stated as-is price over the running price.

    shares: (m,) share of the price that the faults of a state leave when disclosed; weights: (m,) P(state | complaint).
    The exponent is kept within 0 and MOST_STEEP.
    """

    def short(g: float) -> float:
        return float((weights * shares**g).sum()) - as_is_over_running

    if short(MOST_STEEP) >= 0.0:
        return MOST_STEEP
    from scipy.optimize import brentq

    return float(brentq(short, 0.0, MOST_STEEP, xtol=1e-10))
