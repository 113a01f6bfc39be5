"""One body for every error. Source: RFC 9457 (problem details), RFC 9110 (statuses, Allow)."""

from __future__ import annotations

import json

import pytest

from api import http, library
from api.http import create_app
from api.strictjson import MOST_BYTES
from econ.rulebook import Shelf

from .cases import FIVE_FAULTS, FIVE_PATHS, GOOD

JSON = {"content_type": "application/json"}
ERRORS = [
    ("POST", "/v1/decisions", {"data": "{", **JSON}, 400),
    ("POST", "/v1/decisions", {"data": "", **JSON}, 400),
    ("POST", "/v1/decisions", {"data": '{"a": NaN}', **JSON}, 400),
    ("POST", "/v1/decisions", {"data": '{"a": Infinity}', **JSON}, 400),
    ("POST", "/v1/decisions", {"data": '{"a": 1, "a": 1}', **JSON}, 400),
    ("POST", "/v1/decisions", {"data": "[" * 100_000, **JSON}, 400),
    ("POST", "/v1/decisions", {"data": b'"\xff"', **JSON}, 400),
    ("POST", "/v1/decisions", {"data": '"\\ud800"', **JSON}, 400),
    ("POST", "/v1/decisions", {"data": "x" * (MOST_BYTES + 1), **JSON}, 413),
    ("POST", "/v1/decisions", {"data": "{}", "content_type": "text/plain"}, 415),
    ("POST", "/v1/decisions", {"data": "{}"}, 415),
    ("POST", "/v1/decisions", {"data": "{}", "content_type": "application/json; charset=latin-1"}, 415),
    ("POST", "/v1/decisions", {"json": {}}, 422),
    ("POST", "/v1/decisions", {"json": []}, 422),
    ("POST", "/v1/decisions", {"json": {"\n" * 5_000: 1}}, 422),
    ("POST", "/v1/decisions", {"json": FIVE_FAULTS}, 422),
    ("POST", "/v1/next-failures", {"data": '{"a": 1, "a": 1}', **JSON}, 400),
    ("POST", "/v1/next-failures", {"data": "x" * (MOST_BYTES + 1), **JSON}, 413),
    ("POST", "/v1/next-failures", {"data": "{}"}, 415),
    ("POST", "/v1/next-failures", {"json": []}, 422),
    ("POST", "/v1/next-failures", {"json": {"component": {"part_price": 14}}}, 422),
    ("POST", "/v1/screenings", {"data": '{"a": 1, "a": 1}', **JSON}, 400),
    ("POST", "/v1/screenings", {"data": "x", "content_type": "multipart/form-data"}, 400),
    ("POST", "/v1/screenings", {"data": "x" * (MOST_BYTES + 1), **JSON}, 413),
    ("POST", "/v1/screenings", {"json": {"finds": [{}] * 501}}, 413),
    ("POST", "/v1/screenings", {"data": "{}"}, 415),
    ("POST", "/v1/screenings", {"json": []}, 422),
    ("POST", "/v1/screenings", {"data": {"finds": "x"}, "content_type": "multipart/form-data"}, 422),
    ("GET", "/v1/screenings", {}, 405),
    ("GET", "/v1/next-failures", {}, 405),
    ("GET", "/v1/bearings", {}, 422),
    ("GET", "/v1/bearings?size=17x40x12&colour=red", {}, 422),
    ("POST", "/v1/bearings", {"data": "{}"}, 405),
    ("GET", "/v1/decisions", {}, 405),
    ("PUT", "/healthz", {}, 405),
    ("DELETE", "/v1/machine-classes/mower_walk_behind", {}, 405),
    ("GET", "/v1/machine-classes/mower_walk_behnd", {}, 404),
    ("GET", "/v1/machine-classes/", {}, 404),
    ("GET", "/nothing", {}, 404),
    ("GET", "/v1//machine-classes", {}, 404),
]


@pytest.fixture
def client():
    return create_app().test_client()


def assert_problem_body(response, status):
    assert response.status_code == status
    assert response.mimetype == "application/problem+json"
    body = json.loads(response.data)
    assert list(body) == ["type", "title", "status", "detail", "problems"]
    assert body["status"] == status
    assert body["detail"]
    for problem in body["problems"]:
        assert list(problem) == ["path", "value", "rule", "remedy"]
        assert all(isinstance(text, str) and text and len(text) < 1_000 for text in problem.values())
    return body


@pytest.mark.parametrize(("method", "path", "sent", "status"), ERRORS)
def test_every_error_has_the_one_body(client, method, path, sent, status):
    body = assert_problem_body(client.open(path, method=method, **sent), status)
    assert body["problems"]


def test_all_faults_of_a_case_are_named_at_once(client):
    body = assert_problem_body(client.post("/v1/decisions", json=FIVE_FAULTS), 422)
    assert {p["path"] for p in body["problems"]} == FIVE_PATHS
    assert len(body["problems"]) == 5
    remedies = {p["path"]: p["remedy"] for p in body["problems"]}
    assert '"surging"' in remedies["complaints.0"]
    assert '"slow"' in remedies["findings.0.outcome"]
    assert '"carburettor"' in remedies["prices.carburetor"]


def test_a_class_that_is_not_there_is_plainly_refused(client):
    case = {**GOOD, "machine": {"class": "mower_walk_behnd"}}
    body = assert_problem_body(client.post("/v1/decisions", json=case), 422)
    (problem,) = body["problems"]
    assert problem["path"] == "machine.class"
    assert problem["rule"] == "the rulebooks hold no such machine class"
    assert '"mower_walk_behind"' in problem["remedy"]
    listed = client.get("/v1/machine-classes/mower_walk_behnd").get_json()
    assert listed["problems"][0]["remedy"] == problem["remedy"]


def test_findings_that_exclude_each_other_are_refused(client):
    look = [{"check": "open_crankcase", "found": []}, {"check": "open_crankcase", "found": ["crank_bent"]}]
    body = assert_problem_body(client.post("/v1/decisions", json={**GOOD, "findings": look}), 422)
    assert body["problems"][0]["path"] == "findings.1.check"


def test_allow_stays(client):
    response = client.get("/v1/decisions")
    assert {m.strip() for m in response.headers["Allow"].split(",")} == {"POST", "OPTIONS"}
    assert client.post("/v1/decisions", data="{}").headers["Accept-Post"] == "application/json"


def test_head_and_options(client):
    head, got = client.head("/healthz"), client.get("/healthz")
    assert head.status_code == 200
    assert head.data == b""
    assert head.headers["Content-Length"] == str(len(got.data))
    assert client.head("/nothing").data == b""
    options = client.options("/v1/decisions")
    assert options.status_code == 200
    assert "POST" in options.headers["Allow"]


def test_a_breakdown_shows_nothing_of_our_insides(client, monkeypatch, caplog):
    def broken(document, **_):
        raise RuntimeError("secret detail")

    monkeypatch.setattr(library, "decide_document", broken)
    response = client.post("/v1/decisions", json=GOOD)
    body = assert_problem_body(response, 500)
    assert body["problems"] == []
    assert "secret" not in response.text
    assert "Traceback" not in response.text
    assert "secret detail" in caplog.text, "it is in the log"


def test_an_unusable_rulebook_is_no_fault_of_the_request(client, monkeypatch):
    def broken():
        return Shelf({"classes/x.toml": "["})["x"]

    monkeypatch.setitem(http.create_app.__globals__, "ROUTES", ())
    app = create_app()
    app.add_url_rule("/x", "x", broken)
    assert_problem_body(app.test_client().get("/x"), 500)
