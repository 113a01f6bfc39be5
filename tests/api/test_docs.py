"""The documents say what there is: every field, command, route and status, and their examples run."""

from __future__ import annotations

import json
import re
import shlex
from doctest import ELLIPSIS, OutputChecker
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from api import library
from api.answer import schema_of
from api.command import main
from api.http import ROUTES, create_app
from econ.decision import Decision

from .reference import fields

ROOT = Path(__file__).parent.parent.parent
CASE = (ROOT / "docs/case.md").read_text(encoding="utf-8")
API = (ROOT / "docs/api.md").read_text(encoding="utf-8")


def blocks(text, kind):
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def documented_fields():
    found = {}
    for section in CASE.split("\n## ")[1:]:
        name = section.partition("\n")[0]
        for row in re.findall(r"^\| `(\w+)` \| (.*) \| (.*) \| (.+) \|$", section, re.MULTILINE):
            found[name, row[0]] = (row[1], row[2])
            assert row[3].strip()
    return found


def test_every_field_of_a_case_is_documented_as_it_is():
    assert documented_fields() == {(o, f): (takes, default) for o, f, takes, default, _ in fields()}


def test_every_field_of_a_decision_is_documented():
    table = API.partition("A decision holds:")[2].partition("Money is")[0]
    named = {n for row in table.splitlines() for n in re.findall(r"`(\w+)`", row.partition(" | ")[0])}
    assert named == set(schema_of(Decision)["properties"])


def test_every_command_and_option_is_documented():
    rows = {r.split()[0]: r for r in re.findall(r"^\| `mendworth (.*?)` \|", API, re.MULTILINE)}
    assert set(rows) == set(main.commands)
    for name, command in main.commands.items():
        for param in command.params:
            if isinstance(param, click.Option):
                assert param.opts[0] in rows[name]
            else:
                assert param.metavar or param.name.upper() in rows[name]


def test_every_route_and_status_is_documented():
    assert set(re.findall(r"^\| `((?:GET|POST) \S+)` \|", API, re.MULTILINE)) == {
        f"{r.method} {r.path}" for r in ROUTES
    }
    described = create_app().test_client().get("/openapi.json").get_json()["paths"]
    statuses = {s for p in described.values() for o in p.values() for s in o["responses"]} - {"200"}
    assert statuses | {"405"} == set(re.findall(r"^\| (\d{3}) \|", API, re.MULTILINE))


@pytest.mark.parametrize("example", blocks(CASE, "json"))
def test_example_cases_are_decided(example):
    assert library.decide_document(json.loads(example)).verdict.headline


def commands():
    for block in blocks(API, "console"):
        for piece in re.split(r"^\$ mendworth ", block, flags=re.MULTILINE)[1:]:
            command, _, told = piece.partition("\n")
            status = re.search(r"\[exit status (\d)\]\n", told)
            yield command, re.sub(r"\[exit status \d\]\n", "", told), int(status[1]) if status else 0


@pytest.mark.parametrize(("command", "told", "status"), list(commands()))
def test_console_examples(command, told, status, monkeypatch):
    monkeypatch.chdir(ROOT)
    done = CliRunner().invoke(main, shlex.split(command))
    assert done.exit_code == status
    assert OutputChecker().check_output(told, done.output, ELLIPSIS), done.output


def fits(said, got):
    """Return whether an answer is what was documented; "..." stands for anything, a "..." key for other keys."""
    if said == "...":
        return True
    if isinstance(said, dict):
        keys = said.keys() - {"..."}
        same = keys == got.keys() or ("..." in said and keys <= got.keys())
        return same and all(fits(said[k], got[k]) for k in keys)
    if isinstance(said, list):
        return len(said) == len(got) and all(map(fits, said, got))
    return said == got


@pytest.mark.parametrize("example", blocks(API, "http"))
def test_http_examples(example):
    request, _, answer = example.partition("\n\n")
    line, _, body = request.partition("\n")
    method, path = line.split()
    sent = {"data": body, "content_type": "application/json"} if body else {}
    response = create_app().test_client().open(path, method=method, **sent)
    status, _, said = answer.partition("\n")
    assert response.status_code == int(status)
    assert fits(json.loads(said), json.loads(response.data)), response.text
