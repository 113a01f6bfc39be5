"""A case document that can't be used: everything wrong with it is told at once, with the nearest that is known."""

from __future__ import annotations

import math
from datetime import date

import pytest

import econ

from ..strategies import base, rulebook_texts
from . import small

CASE = {"perspective": "owner", "machine": {"class": "small", "age_years": 5.0}}


def one(path: str, document: dict) -> econ.Problem:
    (problem,) = small.problems(document)
    assert problem.path == path
    assert problem.rule
    assert problem.remedy
    return problem


def test_five_faults_give_five_problems() -> None:
    document = {
        "perspective": "owner",
        "machine": {"class": "small", "age_years": 900},
        "history": {"caer": "good"},
        "complaints": ["dripps"],
        "findings": [{"check": "gauge", "outcome": "por"}],
        "terms": {"shop_rate": "-95.00"},
    }
    found = small.problems(document)
    assert sorted(p.path for p in found) == [
        "complaints.0", "findings.0.outcome", "history.caer", "machine.age_years", "terms.shop_rate",
    ]  # fmt: skip
    assert all(p.sentence().startswith(p.path) for p in found)


@pytest.mark.parametrize(
    ("path", "change", "nearest"),
    [
        ("machine.class", {"machine": {"class": "smal"}}, "small"),
        ("history.caer", {"history": {"caer": "good"}}, "care"),
        ("history.care", {"history": {"care": "goood"}}, "good"),
        ("history.care.level", {"history": {"care": {"level": "goood", "reliable": 0.5}}}, "good"),
        ("complaints.0", {"complaints": ["dripps"]}, "drips"),
        ("findings.0.check", {"findings": [{"check": "guage", "outcome": "poor"}]}, "gauge"),
        ("findings.0.outcome", {"findings": [{"check": "gauge", "outcome": "por"}]}, "poor"),
        ("findings.0.found.0", {"findings": [{"check": "open", "found": ["rood"]}]}, "rod"),
        ("wanted.0", {"wanted": ["rope_jop"]}, "rope_job"),
        ("prior_jobs.0.job", {"prior_jobs": [{"job": "seal_jop", "months_ago": 1}]}, "seal_job"),
        ("recalled_jobs.0", {"recalled_jobs": ["seal_jop"]}, "seal_job"),
        ("unobtainable.0", {"unobtainable": ["beering"]}, "bearing"),
        ("prices.beering", {"prices": {"beering": "3.00"}}, "bearing"),
        ("tools.owned.0", {"tools": {"owned": ["pres"]}}, "press"),
        ("tools.cannot_get.0", {"tools": {"cannot_get": ["pres"]}}, "press"),
        ("currency", {"currency": "usd"}, "USD"),
        ("complaint", {"complaint": ["drips"]}, "complaints"),
    ],
    ids=lambda x: x if isinstance(x, str) else None,
)
def test_unknown_names_bring_the_nearest_known(path: str, change: dict, nearest: str) -> None:
    assert f'"{nearest}"' in one(path, {**CASE, **change}).remedy


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("machine.age_years", {"machine": {"class": "small", "age_years": 900}}),
        ("machine.age_years", {"machine": {"class": "small", "age_years": -1}}),
        ("machine.age_years", {"machine": {"class": "small", "age_years": math.nan}}),
        ("machine.age_years", {"machine": {"class": "small", "age_years": math.inf}}),
        ("machine.age_years", {"machine": {"class": "small", "age_years": "5"}}),
        ("machine.age_years", {"machine": {"class": "small", "age_years": True}}),
        ("machine.class", {"machine": {"age_years": 5}}),
        ("perspective", {"perspective": "buyer"}),
        ("as_of", {"as_of": "10.04.2026"}),
        ("as_of", {"as_of": "2026-02-30"}),
        ("terms.real_rate", {"terms": {"real_rate": math.nan}}),
        ("terms.shop_rate", {"terms": {"shop_rate": 95.0}}),
        ("terms.shop_rate", {"terms": {"shop_rate": "NaN"}}),
        ("terms.shop_rate", {"terms": {"shop_rate": "1e9"}}),
        ("terms.shop_rate", {"terms": {"shop_rate": "9999999999.00"}}),
        ("terms.shop_rate", {"terms": {"shop_rate": "95,00"}}),
        ("market.running", {"market": {"running": "-380.00"}}),
        ("currency", {"currency": "XYZ"}),
        ("currency", {"currency": 7}),
        ("findings.0", {"findings": [{"check": "gauge"}]}),
        ("findings.0", {"findings": [{"check": "gauge", "outcome": "poor", "reading": 12.0}]}),
        ("findings.0.found", {"findings": [{"check": "gauge", "found": []}]}),
        ("findings.0.reading", {"findings": [{"check": "open", "reading": 3.0}]}),
        (
            "findings.1.check",
            {"findings": [{"check": "gauge", "outcome": "good"}, {"check": "gauge", "outcome": "poor"}]},
        ),
    ],
)
def test_values_that_can_not_be(path: str, change: dict) -> None:
    one(path, {**CASE, **change})


@pytest.mark.parametrize("document", [None, [], "case", 3, {}])
def test_no_case_at_all(document: object) -> None:
    assert small.problems(document)


def test_the_day_is_needed_and_may_come_from_the_door() -> None:
    with pytest.raises(econ.BadInput) as caught:
        econ.read_case(CASE, econ.Shelf(small.texts()))
    assert [p.path for p in caught.value.problems] == ["as_of"]
    case, _ = econ.read_case({**CASE, "as_of": "2025-01-02"}, econ.Shelf(small.texts()), date(2026, 4, 10))
    assert str(case.as_of) == "2025-01-02"


def test_an_unknown_class_hides_no_other_problem() -> None:
    found = small.problems({"perspective": "buyer", "machine": {"class": "spaceship", "age_years": -3}})
    assert sorted(p.path for p in found) == ["machine.age_years", "machine.class", "perspective"]


def test_not_sure_beside_a_result_is_no_conflict() -> None:
    twice = [{"check": "gauge", "outcome": "not_sure"}, {"check": "gauge", "outcome": "poor"}]
    assert not small.problems({**CASE, "findings": twice})


def test_reading_on_the_edge_counts_as_the_better_band() -> None:
    from econ.findings import hear

    for reading, outcome in ((0.0, 0), (10.0, 0), (10.01, 1), (20.0, 1), (20.01, 2), (500.0, 2)):
        case, c, _ = small.read(findings=[{"check": "gauge", "reading": reading}])
        assert hear(case, c).outcomes == {"gauge": outcome}


@pytest.mark.parametrize(
    ("path", "market"),
    [
        ("market.running", {"running": "2000.00"}),
        ("market.as_is", {"running": "100.00", "as_is": "100.00"}),
        ("market.comparables", {"comparables": [{"price": "100.00", "age_years": 3}]}),
    ],
)
def test_prices_that_contradict_each_other(path: str, market: dict) -> None:
    with pytest.raises(econ.BadInput) as caught:
        small.decide(complaints=["drips"], market=market)
    assert [p.path for p in caught.value.problems] == [path]


def test_another_currency_states_its_new_price() -> None:
    with pytest.raises(econ.BadInput) as caught:
        small.decide(complaints=["drips"], currency="CHF")
    assert [p.path for p in caught.value.problems] == ["machine.new_price"]
    found = small.decide(complaints=["drips"], currency="CHF", machine={"new_price": "420.00"})
    assert found.currency == "CHF"


def test_a_shipped_class_reads_the_example_of_the_manual() -> None:
    """A whole tiller case, nothing wrong with it."""
    document = base(
        "tiller_rear_tine",
        currency="USD",
        as_of="2026-04-10",
        history={"oil_care": "topped_up_only"},
        complaints=["will_not_start"],
        terms={"horizon_years": 5, "real_rate": 0.04, "shop_rate": "95.00", "do_without_per_year": "220.00"},
        market={"running": "380.00", "as_is": "70.00"},
    )
    case, c = econ.read_case(document, econ.Shelf(rulebook_texts()))
    assert (case.machine.machine_class, c.id) == ("tiller_rear_tine", "tiller_rear_tine")
