"""`mendworth again`: its document, its answer in words and data, and its refusals."""

from __future__ import annotations

import json
import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from api import again
from api.again import OF_A_CASE, Asked, Component, LastRepair, again_document, again_text
from api.answer import schema_of
from api.command import main
from api.library import machine_class
from econ.again import Again
from econ.problems import BadInput

DOCS = (Path(__file__).parent.parent.parent / "docs/again.md").read_text(encoding="utf-8")
EXAMPLE = json.loads(re.search(r"^```json\n(.*?)^```$", DOCS, re.MULTILINE | re.DOTALL)[1])


def changed(**sections):
    return {**EXAMPLE, **{k: {**EXAMPLE.get(k, {}), **v} for k, v in sections.items()}}


def without(name):
    return {k: v for k, v in EXAMPLE.items() if k != name}


def test_the_documents_say_what_there_is():
    for model, title in ((Component, "component"), (LastRepair, "last_repair")):
        section = DOCS.partition(f"### {title}\n")[2].partition("\n#")[0]
        assert re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE) == list(model.model_fields)
    answer = DOCS.partition("## The answer")[2]
    named = {n for row in answer.splitlines() for n in re.findall(r"`(\w+)`", row.partition(" | ")[0])}
    assert named == set(schema_of(Again)["properties"])
    assert again.EXAMPLE == EXAMPLE
    assert set(EXAMPLE) <= {*OF_A_CASE, *Asked.model_fields}
    said = re.search(r"^```text\n(.*?)\n```$", DOCS, re.MULTILINE | re.DOTALL)[1]
    assert again_document(EXAMPLE).headline == said


def test_the_command_prints_the_answer_first(tmp_path):
    file = tmp_path / "part.json"
    file.write_text(json.dumps(EXAMPLE), encoding="utf-8")
    told = CliRunner().invoke(main, ["again", str(file)])
    assert told.exit_code == 0, told.output
    assert " ".join(told.stdout.split()).startswith(again_document(EXAMPLE).headline)
    assert max(map(len, told.stdout.splitlines())) <= 100
    data = CliRunner().invoke(main, ["again", "-", "--json"], input=json.dumps(EXAMPLE))
    assert json.loads(data.stdout)["headline"] == again_document(EXAMPLE).headline


def test_figures_of_one_answer_agree():
    a = again_document(EXAMPLE)
    assert a.pays == (a.limit_now >= a.cost_now)
    assert a.limit_now + a.root_cause.worth_finding == pytest.approx(a.root_cause.limit_if_found, abs=Decimal("0.011"))
    # At the highest part price the job costs what it is worth at most, a minor unit more is too much.
    at = again_document(changed(component={"part_price": str(a.highest_part_price_now)}))
    assert abs(a.limit_now - at.cost_now) <= Decimal("0.01")
    assert a.walk_away_age == EXAMPLE["machine"]["age_years"] + a.walk_away_years
    limits = [x.limit for x in a.limits]
    assert limits == sorted(limits, reverse=True)
    assert a.limits[0].limit == a.root_cause.limit_if_found
    assert a.option.over_life > 0
    assert a.option.per_year < a.option.over_life


def test_the_warranty_comes_first():
    covered = again_document(changed(last_repair={"months_ago": 4, "warranty_months": 12}))
    assert covered.warranty == "covered"
    assert covered.headline.startswith("Ask for the warranty first: the last repair was 4 months ago")
    unknown = again_document({**EXAMPLE, "last_repair": {"months_ago": 4}})
    assert unknown.headline.startswith("Ask first whether the last repair, 4 months ago, is still under warranty.")
    assert again_document(without("last_repair")).warranty == ""


def test_a_part_that_failed_soon_points_at_something_else():
    soon = again_document(changed(last_repair={"months_ago": 3, "warranty_months": 0}))
    late = again_document(changed(last_repair={"months_ago": 60, "warranty_months": 0}))
    assert soon.root_cause.chance > 0.5 > 0.01 > late.root_cause.chance
    assert soon.limit_now < late.limit_now
    assert "something else wears it out" in soon.headline
    assert soon.next_failure.years < late.next_failure.years


def test_a_dear_job_on_an_old_machine_is_walked_away_from():
    a = again_document(changed(component={"part_price": "180.00"}, machine={"age_years": 15}))
    assert not a.pays
    assert a.walk_away_years == 0
    assert a.headline.startswith("Walk away this time: it costs $")
    nothing = again_document(changed(component={"hours": 60}, machine={"age_years": 15}))
    assert nothing.highest_part_price_now is None
    assert "not even a free one" in again_text(nothing, machine_class("mower_blade_clutch"))


def test_the_life_may_be_fitted():
    own = {"title": "bearing", "part_price": "14.00", "hours": 1.2}
    few = again_document({**EXAMPLE, "component": {**own, "failures": [3.0, 4.0], "still_running": [1.0]}})
    assert (few.life.shape, few.life.failures, few.life.shape_error) == (2.0, 2, None)
    many = again_document({**EXAMPLE, "component": {**own, "failures": [3.0, 4.0, 2.5, 5.0, 3.3]}})
    assert many.life.shape_error is not None
    assert "fitted to 5 failures" in again_text(many, machine_class("mower_blade_clutch"))
    close = again_document({**EXAMPLE, "component": {**own, "failures": [3.0, 3.01, 3.02, 3.03]}})
    assert close.life.shape <= 10


def test_a_shop_does_the_work_where_its_rate_is_stated():
    a = again_document(EXAMPLE)
    shop = again_document(changed(terms={"shop_rate": "95.00", "tax_rate": 0.07, "minimum_charge": "40.00"}))
    assert shop.cost_now > a.cost_now
    cheaper = again_document(changed(terms={"shop_rate": "85.00", "tax_rate": 0.07}))
    assert float(shop.cost_now - cheaper.cost_now) == pytest.approx(10 * 1.25 * 1.07, abs=0.011)  # billed as 1.25 hours


def test_a_job_that_does_not_renew_and_a_waiting_cost():
    patch = again_document(changed(component={"renews": False, "age_years": 5}))
    assert patch.repairs > again_document(EXAMPLE).repairs
    assert patch.renew_ahead_years is None
    wait = changed(component={"shape": 4}, terms={"downtime_per_week": "400.00", "parts_lead_days": 21})
    assert 0 < again_document(wait).renew_ahead_years < 6


FAULTS = [
    ([], {"document"}),
    ({}, {"component", "machine"}),
    (without("component"), {"component"}),
    ({**EXAMPLE, "findings": []}, {"findings"}),
    (changed(component={"part_price": 14}), {"component.part_price"}),
    (changed(component={"lifeyears": 4}), {"component.lifeyears"}),
    (changed(component={"life_years": None}), {"component.life_years"}),
    (changed(component={"failures": [3.0]}), {"component.life_years"}),
    (changed(component={"uncured": 1.0, "hours": -1}, machine={"age_years": 900}, terms={"shop_rat": "1"}),
     {"component.uncured", "component.hours", "machine.age_years", "terms.shop_rat"}),
    (changed(machine={"class": "mower_blade_cluth"}), {"machine.class"}),
    (changed(last_repair={"months_ago": None, "root_cause": 2}), {"last_repair.months_ago", "last_repair.root_cause"}),
    ({**EXAMPLE, "component": {"part_price": "1.00", "hours": 1, "failures": [0.0]}}, {"component.failures.0"}),
    ({**EXAMPLE, "component": {"part_price": "1.00", "hours": 1, "failures": [3.0] * 5}}, {"component.failures"}),
    (changed(market={"running": "5000.00"}), {"market.running"}),
]  # fmt: skip


@pytest.mark.parametrize(("document", "paths"), FAULTS)
def test_all_that_is_wrong_is_said_at_once(document, paths):
    with pytest.raises(BadInput) as refused:
        again_document(document, date(2026, 5, 10))
    assert {p.path for p in refused.value.problems} == paths
    done = CliRunner().invoke(main, ["again", "-"], input=json.dumps(document))
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == len(paths)
    assert done.stdout == ""


@pytest.mark.parametrize("name", ["mower_walk_behind", "tiller_rear_tine"])
@pytest.mark.parametrize("horizon", [0.5, 5, 30])
@pytest.mark.parametrize("extreme", [
    {"part_price": "0", "hours": 0, "life_years": 0.01, "uncured": 0.9},
    {"part_price": "99999.00", "hours": 100, "life_years": 80, "shape": 10},
    {"part_price": "5.00", "hours": 1, "failures": [80.0], "still_running": [0.01], "shape": 0.5, "renews": False},
])  # fmt: skip
def test_odd_but_valid_questions_are_answered(name, horizon, extreme):
    a = again_document({
        "currency": "JPY", "as_of": "2026-12-31", "component": {**extreme, "price_more": "10"},
        "machine": {"class": name, "hours": 50_000, "condition": "poor", "new_price": "90000"},
        "terms": {"horizon_years": horizon, "hours_per_year": 8760, "real_rate": 1.0},
        "last_repair": {"months_ago": 0, "root_life_share": 0.01},
    })  # fmt: skip
    assert again_text(a, machine_class(name))
    assert a.headline.endswith(".")
