"""The answers of the routes, and that every door gives the same one."""

from __future__ import annotations

import json
from datetime import date

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from api import library
from api.again import EXAMPLE
from api.answer import schema_of
from api.command import main
from api.demo import demos
from api.http import create_app
from econ import __version__
from econ.decision import Decision

from .cases import GOOD


@pytest.fixture
def client():
    return create_app().test_client()


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """Return cases with what the command line prints of each."""
    found = []
    for document in (GOOD, *(d.case for d in demos())):
        file = tmp_path_factory.mktemp("case") / "case.json"
        file.write_text(json.dumps(document), encoding="utf-8")
        told = CliRunner().invoke(main, ["decide", str(file), "--json"])
        assert told.exit_code == 0
        found.append((document, told.stdout_bytes))
    return found


def test_every_door_gives_the_same_bytes(client, printed):
    for document, told in printed:
        assert told == client.post("/v1/decisions", json=document).data
    asked = CliRunner().invoke(main, ["again", "-", "--json"], input=json.dumps(EXAMPLE))
    assert asked.stdout_bytes == client.post("/v1/next-failures", json=EXAMPLE).data
    listed = CliRunner().invoke(main, ["classes", "--json"])
    assert listed.stdout_bytes == client.get("/v1/machine-classes").data
    shown = CliRunner().invoke(main, ["classes", "tiller_rear_tine", "--json"])
    assert shown.stdout_bytes == client.get("/v1/machine-classes/tiller_rear_tine").data


def test_a_decision_fits_its_schema_and_its_money_is_text(printed):
    schema = Draft202012Validator(schema_of(Decision))
    for _, told in printed:
        answer = json.loads(told)
        schema.validate(answer)
        assert answer["version"] == __version__
        for course in answer["courses"]:
            assert isinstance(course["net_worth"], str)
            assert "E" not in course["net_worth"]


def test_the_day_is_today_in_utc_where_the_case_names_none(client, monkeypatch):
    monkeypatch.setattr(library, "today", lambda: date(2026, 11, 3))
    document = {k: v for k, v in GOOD.items() if k != "as_of"}
    assert client.post("/v1/decisions", json=document).get_json()["as_of"] == "2026-11-03"
    assert client.post("/v1/decisions", json=GOOD).get_json()["as_of"] == GOOD["as_of"]


def test_a_class_lists_what_a_case_may_name(client):
    listed = client.get("/v1/machine-classes").get_json()["machine_classes"]
    assert [c["id"] for c in listed] == list(library.ids())
    for c in listed:
        assert c == client.get(f"/v1/machine-classes/{c['id']}").get_json()
        rules = library.machine_class(c["id"])
        for shelf, found in (("complaints", rules.complaints), ("history", rules.facts), ("checks", rules.checks)):
            assert [x["id"] for x in c[shelf]] == list(found)
        assert [x["id"] for x in c["parts"]] == list(rules.parts)
        assert {x["id"] for x in c["jobs"] + c["wanted"]} == set(rules.jobs)
        for check in c["checks"]:
            assert bool(check["outcomes"]) != bool(check["reveals"])


def test_health(client):
    assert client.get("/healthz").get_json() == {"status": "ok", "version": __version__}
