"""What must hold of the worth of courses when one thing changes and all else stays."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import econ
from econ.market import read_market
from econ.payoffs import year_of_service
from econ.terms import settle

from ..strategies import DRAWN, cases, decide, defaults, machine_class, read

CENT = Decimal("0.011")  # two answers are each rounded to the cent


def worths(decision: econ.Decision) -> dict[str, Decimal]:
    return {x.course: x.net_worth for x in decision.courses if not x.barred}


def repairs(decision: econ.Decision) -> dict[str, Decimal]:
    return {k: w for k, w in worths(decision).items() if k.startswith("repair")}


def used_parts(document: dict[str, Any]) -> list[str]:
    """Return the parts that the jobs of the repairs shown would use."""
    c = machine_class(document["machine"]["class"])
    jobs = {j for x in decide(document).courses for j in x.jobs}
    return sorted(
        {
            q.part
            for j in jobs
            for q in (*c.jobs[j].parts, *(q for o in c.jobs[j].operations for q in c.operations[o].parts))
        }
    )


@pytest.mark.slow
@given(cases(), st.data(), st.floats(1.05, 6))
@settings(max_examples=15, deadline=None)
def test_a_dearer_part_never_makes_a_repair_worth_more(document: dict, data: st.DataObject, times: float) -> None:
    parts = used_parts(document)
    assume(parts)
    part = data.draw(st.sampled_from(parts))
    typical = machine_class(document["machine"]["class"]).parts[part].price[1]
    cheap, dear = f"{typical:.2f}", f"{typical * times:.2f}"
    before, after = (repairs(decide({**document, "prices": {part: p}})) for p in (cheap, dear))
    assume(before)
    for course in set(before) & set(after):
        assert after[course] <= before[course] + CENT, (part, course)
    assert max(after.values()) <= max(before.values()) + CENT


@pytest.mark.slow
@given(cases(), st.floats(1.001, 4))
@settings(max_examples=10, deadline=None)
def test_to_be_able_to_do_without_never_makes_the_best_course_worse(document: dict, times: float) -> None:
    """A real addition: its yearly cost is above what a year of service costs already, so the baseline stays."""
    assume(document["perspective"] != "reseller")
    case, c = read(document)
    terms = settle(case, c, defaults())
    yearly = year_of_service(read_market(case, c, terms), terms)[0] * times / 100
    before = worths(decide(document))
    after = worths(decide({**document, "terms": {"do_without_per_year": f"{yearly:.2f}"}}))
    assert "do_without" in after
    assert max(after.values()) >= max(before.values()) - CENT


@pytest.mark.slow
@given(cases(), st.data())
@settings(max_examples=8, deadline=None)
def test_a_part_that_can_be_had_never_makes_the_best_course_worse(document: dict, data: st.DataObject) -> None:
    parts = used_parts(document)
    assume(parts)
    without = worths(decide({**document, "unobtainable": [data.draw(st.sampled_from(parts))]}))
    assert max(worths(decide(document)).values()) >= max(without.values()) - CENT


@pytest.mark.slow
@given(cases())
@settings(max_examples=8, deadline=None)
def test_tools_of_ones_own_never_make_a_repair_worth_less(document: dict) -> None:
    tools = sorted(machine_class(document["machine"]["class"]).tools)
    document = {**document, "terms": {"work_by": "self"}}
    bare, owned = repairs(decide(document)), repairs(decide({**document, "tools": {"owned": tools}}))
    assume(bare)
    for course in set(bare) & set(owned):
        assert owned[course] >= bare[course] - CENT
    assert max(owned.values()) >= max(bare.values()) - CENT


@pytest.mark.parametrize("document", DRAWN)
def test_the_verdict_is_the_best_course_that_can_be_taken(document: dict) -> None:
    best_of_all(document)


@pytest.mark.slow
@given(cases())
@settings(max_examples=8, deadline=None)
def test_the_verdict_is_the_best_course_of_any_case(document: dict) -> None:
    best_of_all(document)


def best_of_all(document: dict) -> None:
    found = decide(document)
    free = worths(found)
    assert found.verdict.course in free
    assert free[found.verdict.course] == pytest.approx(max(free.values()), rel=Decimal("2e-6"), abs=CENT)
    assert all(w.is_finite() for w in free.values())
    assert 0 <= found.verdict.confidence <= 1
    if found.perspective == "reseller":
        assert {x.kind for x in found.courses} <= {"repair", "sell_as_stands", "part_out", "scrap"}
