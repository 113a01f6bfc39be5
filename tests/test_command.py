"""The command line as people and scripts meet it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.request
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from api import library
from api.command import main
from api.strictjson import MOST_BYTES
from econ import __version__

from .api.cases import FIVE_FAULTS, FIVE_PATHS, GOOD

ROOT = Path(__file__).parent.parent
PROGRAM = "from api.command import main; main(prog_name='mendworth')"


def run(*args, stdin=None):
    return CliRunner().invoke(main, list(args), input=stdin)


def start(*args, **kwargs):
    return subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", PROGRAM, *args],
        cwd=ROOT,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        **kwargs,
    )


@pytest.mark.parametrize("args", [["--help"], ["decide", "--help"], ["serve", "-h"], ["--version"], ["nothing"]])
def test_help_is_light(args):
    heavy = "{'numpy', 'scipy', 'pydantic', 'flask', 'waitress'}"
    code = (
        "import sys\nfrom api.command import main\n"
        f"try: main({args!r}, prog_name='mendworth')\nexcept SystemExit: pass\n"
        f"print(sorted({heavy} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stderr.splitlines()[-1] == "[]"


def test_version():
    assert run("--version").stdout.strip() == f"mendworth, version {__version__}"


def test_decide_prints_the_answer_first(tmp_path):
    file = tmp_path / "case.json"
    file.write_text(json.dumps(GOOD), encoding="utf-8")
    told = run("decide", str(file))
    assert told.exit_code == 0
    assert told.stderr == ""
    assert " ".join(told.stdout.split()).startswith(library.decide_document(GOOD).verdict.headline)
    assert run("decide", "-", stdin=json.dumps(GOOD)).stdout == told.stdout


@cache
def demo_as_json():
    return run("demo", "--json")


def test_json_is_one_document():
    decided, listed = run("decide", "-", "--json", stdin=json.dumps(GOOD)), run("classes", "--json")
    for done in (decided, demo_as_json(), listed):
        assert done.exit_code == 0
        assert isinstance(json.loads(done.stdout), dict)
        assert done.stderr == ""


def test_five_faults_are_five_sentences_and_status_2(tmp_path):
    file = tmp_path / "case.json"
    file.write_text(json.dumps(FIVE_FAULTS), encoding="utf-8")
    done = run("decide", str(file), "--json")
    assert done.exit_code == 2
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 5
    assert {line.removeprefix(f"{file}: ").partition(": got ")[0] for line in lines} == FIVE_PATHS
    assert all(line.startswith(f"{file}: ") and line.endswith(".") for line in lines)


@pytest.mark.parametrize(
    "body", [b"", b"{", b'{"a": NaN}', b"[" * 100_000, b'{"a": 1, "a": 1}', b"\xff", b" " * (MOST_BYTES + 1), b"[]"]
)
def test_what_is_no_case_is_one_sentence_and_status_2(body):
    done = run("decide", "-", stdin=body)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("standard input: ")


def test_keys_of_the_input_cannot_break_the_lines():
    done = run("decide", "-", stdin=json.dumps({**GOOD, "a\nb\x1b[31m": 1}))
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
    assert "\x1b" not in done.stderr


def test_a_file_that_is_not_there(tmp_path):
    for path in (tmp_path / "none.json", tmp_path):
        done = run("decide", str(path))
        assert done.exit_code == 2
        assert done.stderr.startswith(f"{path}: can't be read: ")
        assert len(done.stderr.splitlines()) == 1


def test_anything_else_is_one_sentence_and_status_1(monkeypatch):
    def broken(document, **_):
        raise RuntimeError("first line\nsecond line")

    monkeypatch.setattr(library, "decide_document", broken)
    done = run("decide", "-", stdin=json.dumps(GOOD))
    assert done.exit_code == 1
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr


def test_classes():
    listed = run("classes")
    assert all(i in listed.stdout for i in library.ids())
    shown = run("classes", "mower_walk_behind")
    rules = library.machine_class("mower_walk_behind")
    for shelf in (rules.complaints, rules.facts, rules.checks, rules.jobs, rules.parts, rules.tools):
        assert all(f"  {i} " in shown.stdout for i in shelf)
    wrong = run("classes", "mower_walk_behnd")
    assert wrong.exit_code == 2
    assert '"mower_walk_behind"' in wrong.stderr
    assert wrong.stderr.startswith("ID: ")


def test_demo_says_that_its_cases_are_invented():
    told = run("demo")
    assert told.exit_code == 0
    assert sum(line.startswith("=== ") and "invented" in line for line in told.stdout.splitlines()) == 3
    document = json.loads(demo_as_json().stdout)
    assert [d["invented"] for d in document["demos"]] == [True] * 3


def test_a_reader_that_goes_away_is_no_matter():
    program = start("demo")
    program.stdout.close()
    assert program.wait(timeout=60) == 1
    assert program.stderr.read() == ""
    program.stderr.close()


def test_other_encodings_do_not_break_it():
    case = json.dumps({**GOOD, "currency": "EUR", "machine": {"class": "mower_walk_behind", "new_price": "349.00"}})
    program = start("decide", "-", stdin=subprocess.PIPE, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    told, complaint = program.communicate(case, timeout=60)
    assert program.returncode == 0, complaint
    assert told


def test_serve_answers_and_a_taken_port_is_one_sentence():
    program = start("serve", "--port", "0")
    try:
        address = program.stderr.readline().split()[2].rstrip(",")
        with urllib.request.urlopen(f"{address}/healthz", timeout=30) as answer:  # noqa: S310 - our own server
            assert json.load(answer)["status"] == "ok"
        second = start("serve", "--port", address.rpartition(":")[2])
        _, complaint = second.communicate(timeout=60)
        assert second.returncode == 1
        assert len(complaint.splitlines()) == 1
    finally:
        program.terminate()
        program.communicate(timeout=30)
