"""Risk: the mean outturn is the exact expectation, and every spread is what it says it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

import econ
from econ.costing import members, tickets
from econ.knowledge import pert_mean
from econ.market import Market, new_flows, used_flows
from econ.risk import POINTS, REPLICATES, outturns, regrets
from econ.spread import GRID, RESALE_SD, Spread, WorkSpread, at, lasting, quantiles, sobol
from econ.states import effects
from econ.terms import Terms
from econ.worth import Flows, discount_factors, worth_if_kept, worth_in_use

from ..strategies import EACH_CLASS, QUICK_IDS, defaults, machine_class
from ..strategies import read as read_shipped
from .risky import Settled, document, settled
from .small import read as read_small
from .small import texts, without_holds

CENT = 100
CLUTCH, FIXED = "mower_blade_clutch", "mower_walk_behind"


def shipped(class_id: str, **fields: Any) -> Settled:
    return settled(*read_shipped(document(class_id, **fields)), defaults())


def small(**fields: Any) -> Settled:
    case, c, _ = read_small(without_holds(), **fields)
    return settled(case, c, econ.read_defaults(texts()))


@pytest.mark.parametrize("work_by", ["self", "shop"])
@pytest.mark.parametrize("perspective", ["owner", "shop", "reseller"])
@pytest.mark.parametrize("class_id", QUICK_IDS)
def test_mean_is_the_exact_expectation(class_id: str, perspective: str, work_by: str) -> None:
    """Within four stated standard errors, and those are small: a hundredth of the new price at most."""
    for number, complaint in enumerate(sorted(machine_class(class_id).complaints)[:2]):
        found = shipped(
            class_id,
            perspective=perspective,
            machine={"class": class_id, "age_years": 3.0 + 6.0 * number},
            complaints=[complaint],
            terms={"work_by": work_by, "do_without_per_year": "300.00"},
            market={"as_is": "20.00"} if number else {},
        )
        for line, course in zip(found.risk().outturns, found.courses, strict=True):
            error = float(line.standard_error)
            assert abs(float(line.mean) - course.worth / CENT) <= 4 * error + 0.02, (complaint, line)
            assert error * CENT <= 0.01 * found.s.terms.new_price


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_deviations_have_mean_zero_in_one_state(class_id: str) -> None:
    """With one state certain, many draws come back to its worth, whatever the way the repair goes from there."""
    found = shipped(class_id, terms={"work_by": "self"}, complaints=sorted(machine_class(class_id).complaints)[:1])
    p = found.s.posterior
    for row in np.argsort(-p.weights)[[0, 1, 5]]:
        one = replace(p, states=p.states[[row]], weights=np.ones(1))
        s = replace(found.s, posterior=one)
        courses = [
            replace(x, worth_by_state=x.worth_by_state[[row]], worth=float(x.worth_by_state[row]))
            for x in found.courses
            if x.kind != "keep_using"  # its stopping time depends on all states
        ]
        spread, d = replace(found, s=s).spread(4096)
        worth, _, _ = outturns(spread, courses, d.row)
        means = worth.reshape(len(courses), REPLICATES, -1).mean(axis=2)
        error = means.std(axis=1, ddof=1) / REPLICATES**0.5
        assert (abs(worth.mean(axis=1) - [x.worth for x in courses]) <= 5 * error + 1.0).all()


def test_same_case_same_figures() -> None:
    found = shipped(CLUTCH)
    first = found.risk()
    sobol.cache_clear()
    assert shipped(CLUTCH).risk() == first
    assert first.draws == REPLICATES * POINTS == 2**11


def test_pert_quantiles() -> None:
    """Likely = low is a beta(1, 5), with quantile 1 - (1 - u)^(1/5); a symmetric one has its median in the middle."""
    threes = [(0.0, 0.0, 3.0), (2.0, 5.0, 8.0), (4.0, 4.0, 4.0), (0.3, 0.8, 2.0), (0.0, 0.0, 0.0)]
    table = quantiles(tuple(threes))
    assert np.trapezoid(table, axis=1) / GRID == pytest.approx(np.ones(5), abs=1e-12)
    u = np.array([0.1, 0.5, 0.9])
    assert at(table, u)[0] * pert_mean(threes[0]) == pytest.approx(3 * (1 - (1 - u) ** 0.2), abs=2e-4)
    assert at(table, u)[1, 1] * 5 == pytest.approx(5.0, abs=1e-3)
    assert (table[2] == 1).all()
    assert (np.diff(table[[0, 1, 3]]) > 0).all()


def machine_flows() -> Flows:
    n = 24
    alive = np.exp(-((np.arange(n + 1) / 20.0) ** 2))
    service = (alive[:-1] + alive[1:]) / 24
    sale = np.linspace(200.0, 20.0, n + 1)
    return Flows(alive, service, discount_factors(0.04, n), np.linspace(30.0, 60.0, n), sale, 25.0)


@pytest.mark.parametrize("e", [40.0, 150.0])
def test_lasting_has_the_worth_in_use_as_its_mean(e: float) -> None:
    """Its stated mean is `worth_in_use`, and the average over evenly spread quantiles is that mean."""
    flows, rng = machine_flows(), np.random.default_rng(1)
    shares = rng.uniform(0, 1, 40), rng.uniform(0, 1, 40), rng.uniform(0, 1, 40)
    shares[1][0], shares[1][1] = 0.0, 1.0
    use = worth_in_use(flows, e, *shares)
    u = (np.arange(20_000) + 0.5) / 20_000
    for i in range(40):
        one = tuple(np.full(u.size, x[i]) for x in shares)
        outturn, mean, _ = lasting(flows, e, one, np.full(u.size, use.stop[i]), u)
        assert mean[0] == pytest.approx(use.worth[i], rel=1e-12)
        assert outturn.mean() == pytest.approx(use.worth[i], abs=0.02)


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_a_machine_kept_is_drawn_about_its_worth(class_id: str) -> None:
    """The shares of the sale price are those that the payoffs use, also where a stated as-is price sets them."""
    found = shipped(class_id, market={"as_is": "25.00"}, complaints=sorted(machine_class(class_id).complaints)[:1])
    spread, d = found.spread()
    p, masks = found.s.payoffs, np.unique(d.masks)
    for renewal in (0.0, 0.6):
        use, left = p.kept(masks, renewal), effects(found.s.table, masks)
        price = spread._as_stands(masks) / spread._whole
        shares = left.service, left.survive, price
        _, mean, _ = lasting(spread._own(renewal), p.year_of_service, shares, use.stop, np.full(masks.size, 0.5))
        assert mean == pytest.approx(use.worth, rel=1e-9, abs=1e-6)


def test_a_ticket_with_one_complication() -> None:
    """All hours and prices fixed but a bolt that snaps one time in ten: an hour more and two bolts at 2.00 [by hand].

    The seal: 0.5 + 0.2 + 0.1 h, half a can of oil at 8.00, the seal at 10.00; own hours at 10.00, slowness 1.
    """
    found = small(terms={"work_by": "self", "hour_worth": "10.00", "slowness": 1.0}, complaints=["drips"])
    job = found.s.bench.jobs.index("seal_job")
    course = next(x for x in found.courses if x.kind == "repair" and x.jobs == (job,))
    cost, mean_hours = found.spread()[0].tickets([course])
    values, counts = np.unique(cost[0], return_counts=True)
    assert values.tolist() == [2200.0, 3600.0]
    assert counts[1] / counts.sum() == pytest.approx(0.1, abs=0.003)
    assert mean_hours[0] == pytest.approx(2200 + 0.1 * 1400, abs=0.5)
    told = found.risk(course).authorisation
    assert told is not None
    assert (told.p10, told.p50) == (Decimal("22.00"), Decimal("22.00"))


def test_jobs_run_late_together_and_prices_vary_only_where_none_is_stated() -> None:
    """Press 0.4-1.0-1.6 h and two bearings at 10-20-30: the ticket's spread is theirs, the sum of two quantiles."""
    terms = {"work_by": "self", "hour_worth": "100.00", "slowness": 1.0}
    wide, narrow = small(terms=terms), small(terms=terms, prices={"bearing": "20.00"})
    sd = []
    for found in (wide, narrow):
        job = found.s.bench.jobs.index("bearing_job")
        cost, _ = found.spread(1024)[0].tickets([replace(found.courses[0], jobs=(job,))])
        sd.append(float(cost[0].std()) / CENT)
    # PERT variance (mean - low)(high - mean) / 7; the snapped bolt: an hour and 4.00 with chance 0.1.
    labour, bolt, parts = 100**2 * 0.6 * 0.6 / 7, 104**2 * 0.1 * 0.9, 2**2 * 10 * 10 / 7
    assert sd[0] == pytest.approx((labour + bolt + parts) ** 0.5, rel=0.01)
    assert sd[1] == pytest.approx((labour + bolt) ** 0.5, rel=0.01)


def test_a_sale_is_spread_by_its_price_alone() -> None:
    found = shipped(FIXED, perspective="reseller", terms={"unsold_chance": 0.0, "selling_fee_rate": 0.0})
    lines = {x.course: x for x in found.risk().outturns}
    assert lines["scrap"].p10 == lines["scrap"].p90 == lines["scrap"].mean
    assert lines["scrap"].standard_error == 0
    part = next(x for x in found.courses if x.kind == "part_out")
    p, (spread, d) = found.s.payoffs, found.spread()
    worth = spread._let_go(d.masks)["part_out"] + part.worth_by_state[d.row]
    gross = p.let_go(d.masks)["part_out"] + p.own_hours["part_out"] + spread._holding
    factor = (worth + p.own_hours["part_out"] + spread._holding)[gross > 1] / gross[gross > 1]
    assert np.log(factor).std() == pytest.approx(RESALE_SD, rel=0.02)
    assert factor.mean() == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(("name", "flows_of"), [("replace_used", used_flows), ("replace_new", new_flows)])
def test_resale_touches_only_machines_that_last_until_they_are_sold(
    name: str, flows_of: Callable[[Market, Terms], Flows]
) -> None:
    """Another machine, kept a year at least: the share of draws that resale moves is S at its stopping step."""
    found = shipped(FIXED)
    spread, d = found.spread()
    flows, one = flows_of(found.s.market, found.s.terms), np.ones(1)
    stop = int(worth_if_kept(flows, found.s.payoffs.year_of_service, one, one, one, one, 12).stop[0])
    even = WorkSpread(found.case, found.c, found.s, replace(d, resale=np.ones(d.masks.size)))
    level = Spread(found.s, found.after, even)
    moved = spread._elsewhere[name] != level._elsewhere[name]
    assert stop >= 12
    assert moved.mean() == pytest.approx(flows.survival[stop], abs=0.005)
    assert (d.other[moved] < flows.survival[stop]).all()


def test_an_unsold_machine_is_scrapped() -> None:
    """One time in four it stays unsold: that share of the draws brings scrap less the hours, whatever its state."""
    found = shipped(FIXED, perspective="reseller", terms={"unsold_chance": 0.25, "hour_worth": "0.00"})
    sell = next(i for i, x in enumerate(found.courses) if x.kind == "sell_as_stands")
    spread, d = found.spread()
    worth, _, _ = outturns(spread, found.courses, d.row)
    scrapped = np.isclose(worth[sell], found.s.market.scrap - spread._holding, atol=1e-6)
    assert scrapped.mean() == pytest.approx(0.25, abs=0.01)


def test_regret_is_about_courses_of_another_kind_that_can_be_taken() -> None:
    """By hand: A 10, 20, 30, 40; its sister A' 99 always; B 15, 15, 15, 15; C, barred, 1000."""
    some = shipped(CLUTCH).courses[0]
    courses = [
        replace(some, kind=kind, barred=barred)
        for kind, barred in (("repair", ""), ("repair", ""), ("scrap", ""), ("keep_using", "hold"))
    ]
    worth = np.array([[10.0, 20, 30, 40], [99, 99, 99, 99], [15, 15, 15, 15], [1000, 1000, 1000, 1000]])
    assert regrets(worth, courses).tolist() == [0.25, 0.0, 1.0, 0.0]


def test_what_to_authorise() -> None:
    """Not to exceed is the smaller of the ticket's P90 and the repair limit; to decline costs what is then owed."""
    fields: dict[str, Any] = {
        "perspective": "shop",
        "terms": {
            "work_by": "shop", "diagnosis_fee": "45.00", "storage_per_day": "3.00", "storage_days": 10.0,
            "storage_free_days": 4.0,
        },
        "complaints": sorted(machine_class(CLUTCH).complaints)[:1],
    }  # fmt: skip
    found = shipped(CLUTCH, **fields)
    named = found.named
    assert named is not None
    told = found.risk().authorisation
    assert told is not None
    limit = Decimal(str(round(found.limits[id(named)] / CENT, 2)))
    assert told.p10 <= told.p50 <= told.p90
    assert told.not_to_exceed == pytest.approx(max(Decimal(0), min(told.p90, limit)), abs=Decimal("0.01"))
    assert told.diagnosis_up_to == Decimal("45.00")
    assert told.decline_storage == Decimal("18.00")
    assert told.decline == told.diagnosis_up_to + told.decline_put_back + told.decline_storage
    for figure, expected in ((-500.0, Decimal(0)), (1e9, told.p90), (1234.0, Decimal("12.34"))):
        other = replace(found, limits={id(named): figure}).risk(named).authorisation
        assert other is not None
        assert other.not_to_exceed == expected


def test_billing_steps_open_a_gap() -> None:
    """Billed by the hour begun the mean ticket is another than the ticket at mean hours; billed exactly it is not."""
    gaps = []
    for step in (0.0, 1.0):
        terms = {"work_by": "shop", "shop_rate": "100.00", "billing_step_hours": step}
        found = shipped(CLUTCH, terms=terms, complaints=sorted(machine_class(CLUTCH).complaints)[:1])
        told = found.risk().authorisation
        assert told is not None
        gaps.append(told.above_mean_hours)
    assert abs(gaps[0]) < Decimal("0.50")
    assert abs(gaps[1]) > Decimal("1.00")


def test_no_diagnosis_fee_means_tracing_by_the_hour() -> None:
    """With one fault certain one look is agreed on; with four equally likely ones two, each halving what it may be."""
    found = shipped(CLUTCH, terms={"work_by": "shop"}, complaints=sorted(machine_class(CLUTCH).complaints)[:1])
    alone = [1 << i for i in range(found.s.in_play) if found.s.table.failing >> i & 1][:4]
    for states, looks in ((alone[:1], 1), (alone, 2)):
        p = replace(found.s.posterior, states=np.array(states), weights=np.full(len(states), 1 / len(states)))
        rows = np.zeros(len(states))
        courses = tuple(replace(x, worth_by_state=rows) for x in found.courses)
        one = replace(found, s=replace(found.s, posterior=p), courses=courses)
        told = one.risk().authorisation
        assert told is not None
        assert float(told.diagnosis_up_to) * CENT == pytest.approx(looks * found.s.trace_cost, abs=1)


def test_ticket_of_the_draws_starts_from_the_estimates() -> None:
    found = shipped(CLUTCH, terms={"work_by": "shop"})
    mending = [x for x in found.courses if x.kind == "repair"]
    _, mean_hours = found.spread()[0].tickets(mending)
    t = tickets(found.s.bench, members(found.s.bench, [x.jobs for x in mending]))
    assert mean_hours.tolist() == t.cost.tolist()


def test_the_answer_can_be_written_as_json() -> None:
    written = json.loads(json.dumps(asdict(shipped(CLUTCH).risk()), default=str))
    assert set(written) == {"outturns", "authorisation", "seed", "draws", "replicates", "assumptions"}
