"""The description of the routes. Sources: OpenAPI 3.1.0; JSON Schema 2020-12."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator

from api.again import EXAMPLE
from api.demo import demos
from api.http import ROUTES, create_app
from api.openapi import XLSX, published_case_schema

from .cases import FIVE_FAULTS, GOOD


@pytest.fixture(scope="module")
def document():
    return create_app().test_client().get("/openapi.json").get_json()


@pytest.fixture(scope="module")
def case_schema(document):
    return Draft202012Validator({"$ref": "#/components/schemas/Case", "components": document["components"]})


def test_every_route_is_described(document):
    assert document["openapi"] == "3.1.0"
    described = {(m.upper(), p) for p, item in document["paths"].items() for m in item}
    assert described == {(r.method, r.path) for r in ROUTES}
    served = create_app().url_map.iter_rules()
    assert {r.rule.replace("<", "{").replace(">", "}") for r in served} == {r.path for r in ROUTES}


def test_every_error_is_problem_details(document):
    for item in document["paths"].values():
        for operation in item.values():
            for status, response in operation["responses"].items():
                kinds = {"application/json"} if status == "200" else {"application/problem+json"}
                if status == "200" and operation["operationId"] == "decide":
                    kinds |= {XLSX}
                assert set(response["content"]) == kinds


def test_every_reference_leads_somewhere_and_every_schema_is_one(document):
    text = json.dumps(document)
    names = document["components"]["schemas"]
    for part in text.split('"$ref": "')[1:]:
        assert part.partition('"')[0].removeprefix("#/components/schemas/") in names
    for schema in names.values():
        Draft202012Validator.check_schema(schema)


def test_the_published_case_schema_holds(case_schema):
    for case in (GOOD, *(d.case for d in demos())):
        case_schema.validate(case)


@pytest.mark.parametrize(
    "change",
    [
        {"perspective": "neighbour"},
        {"currency": "XXX"},
        {"as_of": "10 April"},
        {"machine": {"class": "toaster"}},
        {"machine": {"class": "mower_walk_behind", "new_price": 349}},
        {"machine": {"class": "mower_walk_behind", "new_price": "-1.00"}},
        {"machine": {"class": "mower_walk_behind", "age_years": 81}},
        {"history": {"Oil Care": "neglected"}},
        {"prices": {"blade!": "1.00"}},
        {"findings": [{"check": "fuel_flow"}]},
        {"findings": [{"check": "fuel_flow", "outcome": "slow", "reading": 3}]},
        {"unknown_field": 1},
    ],
)
def test_the_published_case_schema_refuses_what_the_service_refuses(case_schema, change):
    case = {**GOOD, **change}
    assert not case_schema.is_valid(case)
    assert create_app().test_client().post("/v1/decisions", json=case).status_code == 422


@pytest.fixture(scope="module")
def question_schema(document):
    return Draft202012Validator({"$ref": "#/components/schemas/Question", "components": document["components"]})


@pytest.mark.parametrize(
    "part",
    [
        {},
        {"life_years": None, "failures": [3.0, 4]},
        {"failures": []},
        {"renews": False, "age_years": None, "still_running": [80]},
    ],
)
def test_the_published_question_schema_holds(question_schema, part):
    asked = {**EXAMPLE, "component": {**EXAMPLE["component"], **part}}
    question_schema.validate(asked)
    assert create_app().test_client().post("/v1/next-failures", json=asked).status_code == 200


@pytest.mark.parametrize(
    "change",
    [
        {"perspective": "owner"},
        {"component": {"part_price": "14.00", "hours": 1}},
        {"component": {"part_price": "14.00", "hours": 1, "failures": []}},
        {"component": {"part_price": "14.00", "hours": 1, "life_years": None}},
        {"component": {"part_price": "14.00", "hours": 1, "life_years": 4, "failures": [3.0]}},
        {"component": {"part_price": 14, "hours": 1, "life_years": 4}},
        {"component": {"part_price": "14.00", "hours": 1, "life_years": 4, "wear": 1}},
        {"last_repair": {}},
        {"last_repair": {"months_ago": 5, "root_cause": 2}},
        {"machine": {"class": "toaster"}},
        {"as_of": "10 May"},
    ],
)
def test_the_published_question_schema_refuses_what_the_service_refuses(question_schema, change):
    asked = {**EXAMPLE, **change}
    assert not question_schema.is_valid(asked)
    assert create_app().test_client().post("/v1/next-failures", json=asked).status_code == 422


def test_published_only_adds_to_what_econ_states():
    assert published_case_schema()["required"] == ["perspective", "machine"]
    assert FIVE_FAULTS["perspective"] not in published_case_schema()["properties"]["perspective"]["enum"]
