"""Money: one rounding rule, and estimates that add up whatever the terms."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from econ.costing import make_bench, members, tickets
from econ.estimate import make_estimate
from econ.money import divide
from econ.terms import settle

from ..strategies import CLASS_IDS, base, defaults, read, shop_terms


def half_even(numerator: int, denominator: int) -> int:
    with localcontext() as context:
        context.prec = 60
        return int((Decimal(numerator) / Decimal(denominator)).to_integral_value(ROUND_HALF_EVEN))


@given(st.integers(-(10**15), 10**15), st.integers(1, 10**7))
@settings(max_examples=500, deadline=None)
def test_divide_rounds_half_to_even(numerator: int, denominator: int) -> None:
    """Python's decimal module, ROUND_HALF_EVEN."""
    assert divide(numerator, denominator) == half_even(numerator, denominator)


@given(st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=20), st.sampled_from([2, 8, 10, 1000, 10**6]))
@settings(max_examples=200, deadline=None)
def test_divide_of_arrays_equals_that_of_numbers(numerators: list[int], denominator: int) -> None:
    halves = [n * denominator + denominator // 2 for n in numerators[:3] if abs(n) < 10**9]
    numbers = [*numerators, *halves]
    assert divide(np.array(numbers, dtype=np.int64), denominator).tolist() == [
        half_even(n, denominator) for n in numbers
    ]


@given(
    st.sampled_from(CLASS_IDS),
    shop_terms(),
    st.data(),
)
@settings(max_examples=150, deadline=None)
def test_lines_sum_to_the_total_and_to_the_ticket(class_id: str, terms: dict[str, Any], data: st.DataObject) -> None:
    document = base(
        class_id, perspective="shop", terms=terms, machine={"class": class_id, "age_years": 4.0, "rusty": True}
    )
    case, c = read(document)
    jobs = sorted(c.jobs)
    covered = data.draw(st.lists(st.sampled_from(jobs), unique=True, max_size=3))
    prior = [
        {"job": j, "months_ago": 1, "warranty_months": 3, "covers": data.draw(st.sampled_from([["parts"], ["labour"]]))}
        for j in covered
    ]
    recalled = data.draw(st.lists(st.sampled_from(jobs), unique=True, max_size=2))
    case, c = read({**document, "prior_jobs": prior, "recalled_jobs": recalled})
    bench = make_bench(case, c, settle(case, c, defaults()))
    chosen = tuple(sorted(data.draw(st.sets(st.integers(0, len(jobs) - 1), max_size=6))))
    found = make_estimate(bench, c, chosen, rusty=True)
    ticket = tickets(bench, members(bench, [chosen, ()]))
    assert sum((line.amount for line in found.lines), Decimal(0)) == found.total
    assert found.total == Decimal(int(ticket.total[0])).scaleb(-2)
    assert found.own_time == Decimal(int(ticket.own_time[0])).scaleb(-2)
    shipped = any(line.what == "shipping of parts" for line in found.lines)
    bought = any(line.kind == "part" and line.amount > 0 for line in found.lines)
    assert shipped == (bought and float(terms["parts_shipping"]) > 0), "consumables are had nearby"
    assert found.total >= 0
    assert found.deposit <= found.total
    parts = ticket.labour + ticket.parts + ticket.supplies + ticket.tools + ticket.fees + ticket.card
    assert (parts + (0 if terms["tax_inclusive"] else ticket.tax) == ticket.total).all()
