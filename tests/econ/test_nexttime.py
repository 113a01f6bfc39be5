"""The next time round inside a decision: the same figures as asking for the part alone; jobs that failed again."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from scipy.stats import weibull_min

import econ
from econ.again import again
from econ.costing import make_bench, members, tickets
from econ.earlier import own_life, raised, warranty, warranty_words
from econ.knowledge import PartLife
from econ.market import read_market
from econ.nexttime import next_time
from econ.offers import Offer, Seller
from econ.pricebook import Supply
from econ.question import Question

from .. import strategies
from . import small

LIFE = 'life = { median_years = 4, shape = 1.5, source = "invented" }\n'
LASTING = small.without_holds(
    small.MODULE.replace("price = [10, 10, 10]\n", "price = [10, 10, 10]\n" + LIFE)
    .replace("price = [10, 20, 30]\n", "price = [10, 20, 30]\n" + LIFE)
    .replace('clears = ["seal"]\n', 'clears = ["seal"]\nroot_causes = ["rod"]\nuncured = 0.1\n')
)
TERMS = {"slowness": 1, "hour_worth": "10.00", "downtime_per_week": "7.00"}
DRIPS: dict[str, Any] = {"complaints": ["drips"], "findings": [{"check": "open", "found": []}], "terms": TERMS}


def decide(**fields: Any) -> econ.Decision:
    return small.decide(LASTING, **{**DRIPS, **fields})


def probability(d: econ.Decision, fault: str) -> float:
    return next((f.probability for f in d.faults if f.id == fault), 0.0)


def test_it_is_the_answer_to_the_part_alone() -> None:
    """`again` asked with the same cost, life and chance of a cure gives the same figures."""
    d = decide()
    assert d.estimate is not None
    assert d.estimate.jobs == ("seal_job",)
    (line,) = d.next_time
    case, c, terms = small.read(LASTING, **DRIPS)
    bench = make_bench(case, c, terms)
    ticket = int(tickets(bench, members(bench, [(bench.jobs.index("seal_job"),)])).cost[0])
    hours = (ticket - 1000) / 1000  # the part costs 10, an hour 10: all the rest of the ticket as hours
    asked = Question("seal", Decimal(10), hours, 4.0, 1.5, uncured=0.1)
    told = again(case, c, econ.read_defaults(small.texts()), asked)
    for name in ("cost_now", "limit_now", "highest_part_price_now", "next_failure", "walk_away_years",
                 "walk_away_age", "repairs", "repairs_cost"):  # fmt: skip
        assert getattr(line, name) == getattr(told, name), name
    assert (line.part, line.job, line.median_years, line.root_cause) == ("seal", "seal_job", 4.0, 0.0)
    assert {"life.seal", "next_time_years"} <= {a.name for a in d.assumptions}


def test_at_the_highest_part_price_the_job_costs_its_limit() -> None:
    (line,) = decide().next_time
    (at,) = decide(prices={"seal": str(line.highest_part_price_now)}).next_time
    assert abs(at.cost_now - line.limit_now) <= Decimal("0.01")


def test_the_dearest_job_comes_first_and_a_part_once() -> None:
    """Two bearings pressed in cost more than a seal; of two jobs that fit a seal the cheaper one counts."""
    both = 'title = "exchange the unit"\noperations = ["strip"]\nparts = [{ part = "unit", quantity = 1 }'
    module = LASTING.replace(both, both + ', { part = "seal", quantity = 1 }')
    assert module != LASTING
    case, c, terms = small.read(module, **DRIPS)
    bench, market = make_bench(case, c, terms), read_market(case, c, terms)
    scope = [bench.jobs.index(j) for j in ("exchange", "seal_job", "bearing_job")]
    lines, notes = next_time(case, c, econ.read_defaults(small.texts()), market, bench, scope)
    assert [(x.part, x.job) for x in lines] == [("bearing", "bearing_job"), ("seal", "seal_job")]
    assert lines[0].cost_now > lines[1].cost_now
    assert [a.name for a in notes if a.name.startswith("life")] == ["life.bearing", "life.seal"]
    assert next_time(case, c, econ.read_defaults(small.texts()), market, bench, ()) == ((), ())


def test_who_sells_has_no_next_time() -> None:
    d = decide(perspective="reseller")
    assert d.estimate is not None
    assert d.next_time == ()


def test_a_shop_does_its_work_over_for_nothing() -> None:
    shop = {"perspective": "shop", "terms": {"shop_rate": "60.00", "downtime_per_week": "7.00"}}
    (sure,) = small.decide(LASTING.replace("uncured = 0.1\n", ""), **{**DRIPS, **shop}).next_time
    assert decide(**shop).next_time == (sure,)


def test_a_warranty_covers_no_later_failure() -> None:
    """Twelve years ago and still covered: nothing to pay now, and the next time as without."""
    prior = {"job": "seal_job", "months_ago": 144, "warranty_months": 200}
    covered, plain = decide(prior_jobs=[prior]), decide()
    assert covered.estimate is not None
    assert plain.estimate is not None
    assert covered.estimate.total < plain.estimate.total
    assert covered.next_time[0].cost_now == plain.next_time[0].cost_now


def test_lives_are_in_years_of_the_own_use() -> None:
    life = PartLife(median_years=4, shape=1.5, source="invented")
    for hours, years in ((25, 4.0), (50, 2.0), (5, 20.0)):
        case, c, _ = small.read(LASTING, terms={"hours_per_year": hours})
        assert own_life(case, c, life).median_years == pytest.approx(years)


@pytest.mark.parametrize("months", [1, 5, 12])
def test_an_early_failure_raises_the_odds_of_what_causes_it(months: int) -> None:
    """Bayes' rule with scipy's Weibull densities, life a quarter with a root cause; the rod shows on nothing heard."""
    t, scale = months / 12, 4.0 / math.log(2) ** (1 / 1.5)
    ratio = weibull_min.pdf(t, 1.5, scale=scale / 4) / weibull_min.pdf(t, 1.5, scale=scale)
    prior = {"job": "seal_job", "months_ago": months}
    before, after = decide(findings=[]), decide(findings=[], prior_jobs=[prior])
    rod, seal = probability(before, "rod"), probability(before, "seal")
    assert rod == pytest.approx(0.1)
    both = rod * seal
    total = 1 + both * (ratio - 1)  # the odds of the rod rise where the seal has failed again, and only there
    assert probability(after, "rod") == pytest.approx((rod - both + both * ratio) / total, rel=1e-9)
    assert probability(after, "seal") == pytest.approx((seal - both + both * ratio) / total, rel=1e-9)
    (said,) = (a for a in after.assumptions if a.name == "root_cause.seal_job")
    assert float(said.value) == pytest.approx(0.1 * ratio / (0.1 * ratio + 0.9), rel=0.06)


@pytest.mark.parametrize("findings", [[], [{"check": "gauge", "outcome": "poor"}]])
def test_a_late_failure_changes_nothing(findings: list[dict[str, str]]) -> None:
    late = decide(findings=findings, prior_jobs=[{"job": "seal_job", "months_ago": 240, "warranty_months": 12}])
    never = decide(findings=findings)
    assert replace(late, assumptions=(), next_time=()) == replace(never, assumptions=(), next_time=())
    for x, y in zip(late.next_time, never.next_time, strict=True):
        assert x.root_cause < 1e-3
        assert (x.cost_now, x.walk_away_age) == (y.cost_now, y.walk_away_age)


def test_a_root_cause_lowers_what_is_worth_paying_unless_it_is_put_right() -> None:
    prior = [{"job": "seal_job", "months_ago": 2, "warranty_months": 0}]
    told = {"findings": [], "unobtainable": ["unit"]}
    (worn,), (plain,) = decide(prior_jobs=prior, **told).next_time, decide(**told).next_time
    assert worn.root_cause > 0.4
    assert worn.limit_now < plain.limit_now
    assert decide(prior_jobs=prior).next_time[0].root_cause == 0.0, "opened, and the rod is sound"
    lasting = LASTING.replace("price = [150, 150, 150]\n", "price = [150, 150, 150]\n" + LIFE)
    found = [{"check": "open", "found": ["rod"]}]
    d = small.decide(lasting, **{**DRIPS, "findings": found, "prior_jobs": prior, "prices": {"unit": "20.00"}})
    assert d.estimate is not None
    assert d.estimate.jobs == ("exchange",)
    assert [(x.part, x.root_cause) for x in d.next_time] == [("unit", 0.0)]


def test_the_warranty_comes_first_where_the_fault_is_likely_again() -> None:
    prior = {"job": "seal_job", "months_ago": 5, "warranty_months": 12}
    said = "Ask for the warranty first: the last repair was 5 months ago and is covered for 12."
    assert decide(prior_jobs=[prior]).warranty_first == said
    assert decide(prior_jobs=[{**prior, "warranty_months": 3}]).warranty_first == ""
    assert decide(prior_jobs=[{"job": "seal_job", "months_ago": 1}]).warranty_first.startswith("Ask first whether")
    assert decide(prior_jobs=[{"job": "seal_job", "months_ago": 13}]).warranty_first == ""
    # the last time counts, and a covered job goes before one that may be
    twice = [{**prior, "months_ago": 11}, prior, {"job": "exchange", "months_ago": 1}]
    assert decide(prior_jobs=twice).warranty_first == said
    other = [{"check": "gauge", "outcome": "good"}, {"check": "open", "found": []}]
    unlikely = decide(complaints=[], findings=other, prior_jobs=[prior])
    assert probability(unlikely, "seal") < 0.1
    assert unlikely.warranty_first == ""
    assert not [a for a in unlikely.assumptions if a.name.startswith("root_cause")]


@pytest.mark.parametrize(("complaint", "asks"), [("surging", True), ("vibrates", False)])
def test_a_fault_that_explains_nothing_heard_is_not_likely_again(complaint: str, asks: bool) -> None:
    """Old fuel is common: its odds alone don't make the last cleaning one that failed."""
    prior = [{"job": "carburettor_new", "months_ago": 3, "warranty_months": 12}]
    d = strategies.decide(strategies.base("mower_walk_behind", complaints=[complaint], prior_jobs=prior))
    assert bool(d.warranty_first) == asks
    assert bool([a for a in d.assumptions if a.name == "root_cause.carburettor_new"]) == asks


def test_words_on_the_warranty() -> None:
    assert [warranty(5, m) for m in (12, 5, 4.9, None)] == ["covered", "covered", "over", "ask"]
    assert warranty(12.1, None) == "over"
    assert warranty_words(1, 12).startswith("Ask for the warranty first: the last repair was 1 month ago and")
    assert warranty_words(30, 12) == ""


def test_a_job_whose_part_has_no_life_says_nothing_of_root_causes() -> None:
    d = decide(prior_jobs=[{"job": "exchange", "months_ago": 2, "warranty_months": 6}])
    assert d.warranty_first.startswith("Ask for the warranty first")
    assert not [a for a in d.assumptions if a.name.startswith("root_cause")]
    assert raised(small.read(LASTING)[1], ()) == {}


def booked(status: str, lead_days: float | None, **fields: Any) -> Any:
    """Return the next time round of a repair with a seal of a price book at 10.00."""
    case, c, _ = small.read(LASTING, **{**DRIPS, **fields})
    seals = [Offer("seal", "seal", "Near", "new", 1000, date(2026, 4, 1), lead_days=lead_days)]
    if status == "own_stock":
        seals.append(Offer("seal", "seal", "Shelf", "own_stock", 1000, date(2026, 4, 1)))
    supply = Supply(tuple(seals), {"Near": Seller("Near"), "Shelf": Seller("Shelf")}, 1)
    (line,) = econ.decide(case, c, econ.read_defaults(small.texts()), "", supply).next_time
    return line


def test_the_wait_is_that_of_the_price_book() -> None:
    """A day without the machine costs 1.00 here, by season: 21 days of a seller's lead against 5 are 16 of them."""
    usual, slow, shelf = booked("new", 5.0), booked("new", 21.0), booked("own_stock", 21.0)
    season = float(slow.cost_now - usual.cost_now) / 16
    case, c, terms = small.read(LASTING, **DRIPS)
    assert season == pytest.approx(read_market(case, c, terms).downtime_season, abs=0.01)
    assert slow.limit_now < usual.limit_now, "later failures wait so long, too"
    assert float(usual.cost_now - shelf.cost_now) == pytest.approx(5 * season, abs=0.01), "it is at hand now"
    assert shelf.limit_now == slow.limit_now, "and has to come later"
