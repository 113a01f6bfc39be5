"""Overlays at every door: the command line and HTTP lay the same figures over, and refuse the same."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.request

import pytest
from click.testing import CliRunner

from api import library
from api.command import main
from api.http import create_app
from econ.problems import BadInput

from .cases import GOOD
from .test_docs import ROOT

SHOP = """
[overlay]
id = "shop"
title = "our own figures"
source = "invented"
[change.parts.carburettor_cleaner]
price = [1, 2, 3]
source = "invented invoice"
[add.tools.vice]
title = "vice"
price = 70
source = "invented"
"""
BROKEN = SHOP.replace("1, 2, 3", "3, 2, 1").replace("carburettor_cleaner", "carburettor_cleanr") + "[nonsense]\n"
AGAIN = {
    "as_of": "2026-05-10",
    "machine": {"class": "mower_walk_behind", "age_years": 9},
    "component": {"part_price": "14.00", "hours": 1.2, "life_years": 4},
}


@pytest.fixture
def shop(tmp_path):
    file = tmp_path / "shop.toml"
    file.write_text(SHOP, encoding="utf-8")
    return str(file)


def run(*args, stdin=None):
    return CliRunner().invoke(main, list(args), input=stdin)


def names(answer):
    return {a["name"]: a for a in answer["assumptions"]}


def test_decide_and_again_with_an_overlay(shop):
    decided = run("decide", "-", "--overlay", shop, "--json", stdin=json.dumps(GOOD))
    asked = run("again", "-", "--overlay", shop, "--json", stdin=json.dumps(AGAIN))
    for done in (decided, asked):
        assert done.exit_code == 0
        told = names(json.loads(done.stdout))["overlay.shop"]
        assert told["source"] == "invented"
        assert told["value"] == "changes parts.carburettor_cleaner.price; adds tools.vice"
    said = run("decide", "-", "--overlay", shop, stdin=json.dumps(GOOD)).stdout
    assert "invented invoice (overlay shop" in " ".join(said.split())


def test_http_with_an_overlay_gives_the_same_bytes(shop):
    client = create_app(library.open_shelf([shop])).test_client()
    decided = run("decide", "-", "--overlay", shop, "--json", stdin=json.dumps(GOOD))
    assert client.post("/v1/decisions", json=GOOD).data.decode() == decided.stdout
    asked = run("again", "-", "--overlay", shop, "--json", stdin=json.dumps(AGAIN))
    assert client.post("/v1/next-failures", json=AGAIN).data.decode() == asked.stdout
    shown = run("classes", "mower_walk_behind", "--overlay", shop, "--json").stdout
    assert client.get("/v1/machine-classes/mower_walk_behind").data.decode() == shown
    assert {"id": "vice", "title": "vice"} in json.loads(shown)["tools"]
    listed = run("classes", "--overlay", shop, "--json").stdout
    assert client.get("/v1/machine-classes").data.decode() == listed
    plain = create_app().test_client().post("/v1/decisions", json=GOOD).get_json()
    assert "overlay.shop" not in names(plain), "an application without overlays is untouched"


def test_a_class_of_the_shops_own_is_served_and_described(tmp_path):
    text = library.texts()["classes/mower_walk_behind.toml"].replace('"mower_walk_behind"', '"mower_of_our_own"')
    (tmp_path / "classes").mkdir()
    (tmp_path / "classes" / "mower_of_our_own.toml").write_text(text, encoding="utf-8")
    client = create_app(library.open_shelf([str(tmp_path)])).test_client()
    case = {**GOOD, "machine": {"class": "mower_of_our_own", "age_years": 6}}
    assert client.post("/v1/decisions", json=case).get_json()["machine_class"] == "mower_of_our_own"
    schema = client.get("/openapi.json").get_json()["components"]["schemas"]["Machine"]
    assert schema["properties"]["class"]["enum"] == sorted(("mower_of_our_own", *library.ids()))
    assert create_app().test_client().post("/v1/decisions", json=case).status_code == 422


def test_check_says_what_an_overlay_does(shop):
    told = run("classes", "--check", shop)
    assert told.exit_code == 0
    assert told.stdout.startswith(f"{shop}\n  our own figures (invented)\n")
    assert "-> [1, 2, 3]" in told.stdout
    assert "- adds tools.vice (vice)" in told.stdout
    (line,) = json.loads(run("classes", "--check", shop, "--json").stdout)["overlays"]
    assert line["machine_classes"] == list(library.ids())
    assert [(a["name"], a["machine_classes"]) for a in line["added"]] == [("tools.vice", list(library.ids()))]


def test_check_of_an_overlay_that_changes_nothing(tmp_path):
    file = tmp_path / "same.toml"
    price = list(library.machine_class("mower_walk_behind").parts["starter_rope"].price)
    head = SHOP.partition("[change")[0]
    file.write_text(f'{head}[change.parts.starter_rope]\nprice = {price}\nsource = "x y"\n', encoding="utf-8")
    told = run("classes", "--check", str(file))
    assert told.exit_code == 0
    assert "changes nothing" in told.stdout


@pytest.mark.parametrize("command", [["decide", "-"], ["again", "-"], ["classes"], ["serve"]])
def test_what_does_not_fit_is_refused_at_every_door(command, tmp_path):
    file = tmp_path / "broken.toml"
    file.write_text(BROKEN, encoding="utf-8")
    done = run(*command, "--overlay", str(file), stdin="{}")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr == run("classes", "--check", str(file)).stderr
    assert [line.partition(": got ")[0].removeprefix(str(file)) for line in done.stderr.splitlines()] == [
        ", line 6: change.parts.carburettor_cleanr",
        ", line 13: nonsense",
    ]


def test_files_that_can_not_be_read(tmp_path):
    (tmp_path / "bytes.toml").write_bytes(b"\xff")
    (tmp_path / "empty").mkdir()
    paths = [str(tmp_path / name) for name in ("none.toml", "bytes.toml", "empty")]
    done = run("classes", "--check", *paths)
    assert done.exit_code == 2
    assert [line.partition(": got ")[0] for line in done.stderr.splitlines()] == paths


def test_a_byte_order_mark_and_lines_of_another_system_are_read(tmp_path, shop):
    file = tmp_path / "mark.toml"
    file.write_bytes(b"\xef\xbb\xbf" + SHOP.strip().replace("\n", "\r\n").encode())
    told = run("classes", "--check", str(file))
    assert told.exit_code == 0
    assert told.stdout.replace(str(file), shop) == run("classes", "--check", shop).stdout


@pytest.mark.parametrize("coding", ["latin-1", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("name", ["shop.toml", "modules/x.toml"])
def test_other_codings_are_told_how_to_save(coding, name, tmp_path):
    file = tmp_path / name
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(SHOP.replace("our own", "caf\xe9").encode(coding))
    done = run("classes", "--check", str(tmp_path))
    assert done.exit_code == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith(f"{file}: got ")
    assert line.endswith(". save it as UTF-8.")


def test_two_folders_with_the_same_file(tmp_path):
    for folder in ("one", "two"):
        (tmp_path / folder / "modules").mkdir(parents=True)
        (tmp_path / folder / "modules" / "x.toml").write_text("", encoding="utf-8")
    with pytest.raises(BadInput, match="another folder has it too"):
        library.open_shelf([str(tmp_path / "one"), str(tmp_path / "two")])


@pytest.mark.parametrize("args", [["--check"], ["mower_walk_behind", "tiller_rear_tine"]])
def test_a_command_used_wrongly(args):
    done = run("classes", *args)
    assert done.exit_code == 2
    assert "Usage:" in done.stderr


def test_the_same_file_twice_is_one(shop):
    assert run("classes", "--check", shop, shop).stdout == run("classes", "--check", shop).stdout


def test_serve_with_an_overlay(shop):
    program = subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", "from api.command import main; main()", "serve", "--port", "0", "--overlay", shop],
        cwd=ROOT,
        text=True,
        stderr=subprocess.PIPE,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    try:
        address = program.stderr.readline().split()[2].rstrip(",")
        with urllib.request.urlopen(f"{address}/v1/machine-classes/mower_walk_behind", timeout=30) as answer:  # noqa: S310
            assert "vice" in {tool["id"] for tool in json.load(answer)["tools"]}
    finally:
        program.terminate()
        program.communicate(timeout=30)
