"""Costing: scopes, tickets and estimates of a small invented machine, each figure worked out by hand.

Hours by the book: strip 0.5 (+ 0.1 x 1 h for a snapped bolt), seal 0.2, press 1.0, test run 0.1. Parts: half a fill of
oil at 8 with every strip, two bolts at 2 with a chance of 0.1, seal 10, bearing 20, press hired for 15.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from econ.costing import members, shipping_of, tickets, work
from econ.estimate import Estimate, make_estimate

from . import small
from .small import MODULE, bench_of

SHOP = {"work_by": "shop", "shop_rate": "100.00", "billing_step_hours": 0}
SEAL, BEARING, EXCHANGE, ROPE = range(4)
SEAL_LABOUR = Decimal("90.00")  # 0.5 + 0.1 + 0.2 + 0.1 hours at 100
SEAL_PARTS = Decimal("14.40")  # seal 10, oil 4, bolts 0.40


def estimate(
    scope: tuple[int, ...], module: str = MODULE, terms: dict[str, Any] | None = None, **case: Any
) -> Estimate:
    """Return an estimate, its total checked against its lines and against the ticket."""
    bench, c = bench_of(module, terms={**SHOP, **(terms or {})}, **case)
    found = make_estimate(bench, c, scope, bool(case.get("machine", {}).get("rusty")))
    ticket = tickets(bench, members(bench, [scope]))
    assert sum(line.amount for line in found.lines) == found.total
    assert found.total == Decimal(int(ticket.total[0])).scaleb(-2)
    return found


def amount(found: Estimate, *kinds: str) -> Decimal:
    return sum((line.amount for line in found.lines if line.kind in kinds), Decimal(0))


def test_shared_operations_are_charged_once() -> None:
    both = estimate((SEAL, BEARING))
    assert sum(line.what == "strip it" for line in both.lines) == 1
    assert amount(both, "labour") + Decimal("10.00") == Decimal("190.00")  # 0.5 + 0.1 + 0.2 + 1.0 + 0.1 hours
    assert both.hours == Decimal("1.9")
    assert amount(both, "part", "consumable") == Decimal("54.00")  # seal, two bearings, oil once
    one, other = estimate((SEAL,)), estimate((BEARING,))
    assert both.total == one.total + other.total - Decimal("70.00") - Decimal("4.40")  # strip, its bolt and test run


def test_parts_of_two_jobs_merge_into_one_line() -> None:
    twice = MODULE.replace('parts = [{ part = "seal", quantity = 1 }]', 'parts = [{ part = "bearing", quantity = 1 }]')
    (line,) = (x for x in estimate((SEAL, BEARING), twice).lines if "6203" in x.what)
    assert (line.quantity, line.unit_price, line.amount) == (Decimal(3), Decimal("20.00"), Decimal("60.00"))


def test_alternatives_and_incidental_clearing() -> None:
    """The bearing job clears the seal too; the exchange clears everything that stands in its list."""
    _, c = bench_of()
    assert c.clearing("seal") == ("seal_job", "exchange")
    assert c.jobs["bearing_job"].cleared == ("bearing", "seal")
    # A seal that leaks and a bearing that is rough: one job is enough, and the best repair does not pay for two.
    found = small.decide(
        small.without_holds(),
        complaints=["drips"],
        findings=[{"check": "gauge", "outcome": "fair"}, {"check": "open", "found": []}],
    )
    best = next(x for x in found.courses if x.kind == "repair")
    assert not {"seal_job", "bearing_job"} <= set(best.jobs)


def test_rust_makes_complications_likelier_up_to_a_cap() -> None:
    """Chance 0.1 x 3 on a rusty machine: 0.2 h and 0.80 of bolts more; never above 0.9."""
    plain, rusty = estimate((SEAL,)), estimate((SEAL,), machine={"rusty": True})
    assert plain.total == SEAL_LABOUR + SEAL_PARTS
    assert rusty.total - plain.total == Decimal("20.80")
    often = MODULE.replace("rusty_factor = 3.0", "rusty_factor = 50.0")
    assert estimate((SEAL,), often, machine={"rusty": True}).total - plain.total == Decimal("83.20")


@pytest.mark.parametrize(
    ("covers", "saved"),
    [(["parts"], SEAL_PARTS), (["labour"], Decimal("90.00")), (["parts", "labour"], Decimal("104.40"))],
)
def test_warranty_and_recall_zero_covered_lines(covers: list[str], saved: Decimal) -> None:
    """Seal, strip, bolts and the test run are all the job's where nothing else is done."""
    prior = {"job": "seal_job", "months_ago": 5, "warranty_months": 6, "covers": covers}
    full = SEAL_LABOUR + SEAL_PARTS
    if "parts" in covers and "labour" not in covers:
        saved -= Decimal("0.40")  # bolts of a complication are allowed for with the labour
    if covers == ["labour"]:
        saved += Decimal("0.40")
    assert estimate((SEAL,), prior_jobs=[prior]).total == full - saved
    assert estimate((SEAL,), prior_jobs=[{**prior, "months_ago": 6.5}]).total == full
    if covers == ["parts", "labour"]:
        assert estimate((SEAL,), recalled_jobs=["seal_job"]).total == full - saved
        # Beside a job that is not covered the strip is still to be paid.
        both, other = estimate((SEAL, BEARING), prior_jobs=[prior]), estimate((BEARING,))
        assert both.total == other.total


def test_a_wholly_covered_repair_is_free() -> None:
    prior = {"job": "seal_job", "months_ago": 5, "warranty_months": 6}
    assert estimate((SEAL,), prior_jobs=[prior], terms={"minimum_charge": "45.00"}).total == 0


def test_parts_of_the_test_run_are_charged() -> None:
    """Parts are consumed whenever an operation is done: fresh fuel for the test run."""
    module = MODULE.replace(
        "[operations.test_run]\n", '[operations.test_run]\nparts = [{ part = "oil", quantity = 1 }]\n'
    )
    assert estimate((SEAL,), module).total == SEAL_LABOUR + SEAL_PARTS + Decimal("8.00")


def test_consumables_are_neither_waited_for_nor_shipped() -> None:
    """Oil for the test run is had nearby: the test run alone costs 0.1 h at 100 and 8 of oil; the seal is shipped."""
    module = MODULE.replace(
        "[operations.test_run]\n", '[operations.test_run]\nparts = [{ part = "oil", quantity = 1 }]\n'
    )
    shipping = {"parts_shipping": "7.50"}
    assert estimate((), module, terms=shipping).total == Decimal("18.00")
    oil_and_shipping = Decimal("15.50")
    assert estimate((SEAL,), module, terms=shipping).total == SEAL_LABOUR + SEAL_PARTS + oil_and_shipping
    covered = [{"job": "seal_job", "months_ago": 1.0, "warranty_months": 3.0, "covers": ["parts"]}]
    assert all(x.what != "shipping of parts" for x in estimate((SEAL,), terms=shipping, prior_jobs=covered).lines)
    bench, _ = bench_of(module, prior_jobs=covered, terms=shipping)
    w = work(bench, members(bench, [(), (SEAL,), (BEARING,)]))
    assert w.wait.usual.tolist() == [False, True, True], "a part under warranty has to come too"
    assert shipping_of(bench, w.quantity).tolist() == [0, 0, 750]


@pytest.mark.parametrize(
    ("terms", "total"),
    [
        ({}, "104.40"),
        ({"billing_step_hours": 0.25}, "114.40"),  # 0.9 h is billed as 1.0
        ({"billing_step_hours": 0.9}, "104.40"),  # an exact step is not rounded up
        ({"minimum_charge": "95.00"}, "109.40"),
        ({"minimum_charge": "60.00"}, "104.40"),
        ({"parts_markup": [{"rate": 0.5}]}, "111.60"),  # seal 15, oil 6, bolts 0.60
        ({"parts_markup": [{"up_to": "8.00", "rate": 1.0}, {"rate": 0.1}]}, "109.80"),  # seal 11, oil 8, bolts 0.80
        ({"parts_markup": [{"up_to": "1.00", "rate": 1.0}]}, "104.40"),  # no tier applies
        ({"supplies_rate": 0.1}, "113.40"),  # of labour
        ({"supplies_rate": 0.1, "supplies_cap": "5.00"}, "109.40"),
        ({"diagnosis_fee": "40.00"}, "104.40"),  # credited with the repair
        ({"diagnosis_fee": "40.00", "diagnosis_credited": False}, "144.40"),
        ({"pickup_delivery": "30.00", "disposal_fee": "5.00"}, "139.40"),
        ({"storage_per_day": "2.00", "storage_days": 12, "storage_free_days": 5}, "118.40"),
        ({"storage_per_day": "2.00", "storage_days": 5, "storage_free_days": 12}, "104.40"),
        ({"parts_shipping": "7.50"}, "111.90"),
        ({"card_fee_rate": 0.03}, "107.53"),  # 104.40 x 1.03 = 107.532
        ({"tax_rate": 0.08}, "112.75"),  # 104.40 x 1.08 = 112.752
        ({"tax_rate": 0.08, "taxable": ["parts"]}, "105.55"),  # 14.40 x 0.08 = 1.152
        ({"tax_rate": 0.08, "taxable": []}, "104.40"),
        ({"tax_rate": 0.08, "tax_inclusive": True}, "104.40"),
        ({"tax_rate": 0.08, "card_fee_rate": 0.03}, "116.13"),  # the card fee is on what is paid, tax included
    ],
    ids=lambda x: " ".join(x) if isinstance(x, dict) else None,
)
def test_each_shop_term(terms: dict, total: str) -> None:
    assert estimate((SEAL,), terms=terms).total == Decimal(total)


def test_tax_contained_in_the_price() -> None:
    found = estimate((SEAL,), terms={"tax_rate": 0.2, "tax_inclusive": True})
    assert found.tax == Decimal("17.40")  # 104.40 x 0.2 / 1.2
    assert found.total == Decimal("104.40")


def test_deposit_is_part_of_the_total() -> None:
    assert estimate((SEAL,), terms={"deposit": "25.00"}).deposit == Decimal("25.00")
    assert estimate((SEAL,), terms={"deposit": "900.00"}).deposit == Decimal("104.40")


def test_diagnosis_is_paid_where_the_repair_is_declined() -> None:
    """Credited or not, who declines pays the fee: every course without repair is worse by it."""

    def others(fee: str) -> dict[str, Decimal]:
        found = small.decide(perspective="shop", complaints=["drips"], terms={"diagnosis_fee": fee})
        return {x.course: x.net_worth for x in found.courses if x.kind != "repair"}

    free, paid = others("0.00"), others("40.00")
    assert {k: free[k] - paid[k] for k in free} == pytest.approx(dict.fromkeys(free, Decimal(40)), abs=Decimal("0.01"))


def test_own_time_is_slower_and_not_paid() -> None:
    """0.9 h by the book x 1.5 x 20 an hour beside 14.40 of parts; no shop charges."""
    own = {"work_by": "self", "hour_worth": "20.00", "slowness": 1.5, "minimum_charge": "95.00", "supplies_rate": 0.2}
    found = estimate((SEAL,), terms=own)
    assert found.total == SEAL_PARTS
    assert found.own_time == Decimal("27.00")


@pytest.mark.parametrize(
    ("tools", "hire", "cost"),
    [
        ({}, "hire = 15", "15.00"),
        ({}, "hire = 90", "60.00"),
        ({}, "", "60.00"),
        ({"owned": ["press"]}, "hire = 15", "0"),
    ],
    ids=["hired", "bought, hire is dearer", "bought", "owned"],
)
def test_special_tools(tools: dict, hire: str, cost: str) -> None:
    found = estimate((BEARING,), MODULE.replace("hire = 15", hire), {"work_by": "self"}, tools=tools)
    assert amount(found, "tool") == Decimal(cost)
    assert amount(estimate((BEARING,), tools={}), "tool") == 0  # a shop has its tools


def test_what_can_not_be_had_bars_the_job() -> None:
    for case in ({"tools": {"cannot_get": ["press"]}}, {"unobtainable": ["bearing"]}):
        bench, _ = bench_of(**case)
        assert set(bench.barred) == {BEARING}
        found = small.decide(complaints=["drips"], **case)
        assert not any("bearing_job" in x.jobs for x in found.courses)
    bench, _ = bench_of(unobtainable=["oil"])  # used by the strip of every job
    assert set(bench.barred) == {SEAL, BEARING, EXCHANGE, ROPE}


def test_a_stated_price_stands_for_the_typical_one() -> None:
    assert estimate((SEAL,), prices={"seal": "12.34"}).total == Decimal("106.74")


def test_currency_without_minor_units() -> None:
    """104.40 typical USD at 100 times the price level: whole yen, lines still summing to the total."""
    bench, c = bench_of(currency="JPY", machine={"new_price": "40000"}, terms={**SHOP, "shop_rate": "10000"})
    found = make_estimate(bench, c, (SEAL,))
    assert found.total == Decimal(10440)
    assert all(line.amount == line.amount.to_integral_value() for line in found.lines)


def test_half_a_cent_goes_to_the_even_one() -> None:
    """0.125 of 1.00 and of 3.00: 12.5 cents to 12, 37.5 cents to 38."""
    for price, cents in (("1.00", "0.12"), ("3.00", "0.38")):
        module = MODULE.replace('{ part = "oil", quantity = 0.5 }', '{ part = "oil", quantity = 0.125 }')
        (oil,) = (x for x in estimate((SEAL,), module, prices={"oil": price}).lines if x.kind == "consumable")
        assert oil.amount == Decimal(cents)
