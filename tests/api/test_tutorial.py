"""The page on rulebooks: its files are sound, its commands print what it shows, its keys are those there are."""

from __future__ import annotations

import json
import re
import shlex
from doctest import ELLIPSIS, OutputChecker
from pathlib import Path

import pytest
from click.testing import CliRunner

from api import library
from api.command import main
from econ.draft import SHELVES

from .test_docs import ROOT

PAGE = (ROOT / "docs/rulebooks.md").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return a folder with the files of the page, the pieces of one file put together, and work there."""
    for name, text in re.findall(r"^```\w+ (\S+)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        with (tmp_path / name).open("a", encoding="utf-8") as file:
            file.write(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def commands():
    for block in re.findall(r"^```console\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL):
        for piece in re.split(r"^\$ mendworth ", block, flags=re.MULTILINE)[1:]:
            command, _, told = piece.partition("\n")
            yield command, told


@pytest.mark.parametrize(("command", "told"), list(commands()))
def test_a_command_prints_what_the_page_shows(command, told, folder):
    done = CliRunner().invoke(main, shlex.split(command))
    got = done.output + (f"[exit status {done.exit_code}]\n" if done.exit_code else "")
    assert OutputChecker().check_output(told, got, ELLIPSIS), got


def test_every_file_of_the_page_is_used_by_a_command(folder):
    said = " ".join(command for command, _ in commands())
    files = {path.relative_to(folder).parts[0] for path in folder.rglob("*.*")}
    assert files == {name for name in files if name in said}
    assert {"shop.toml", "reel_shop", "reel.json"} <= files


def test_the_class_of_the_page_ranks_as_a_repairer_would(folder):
    """Ragged grass: the gap first. Hard to push: the bearings first, from half on."""
    classes = library.open_shelf(["reel_shop"])
    assert [i for i in classes if i not in library.ids()] == ["reel_mower"]
    case = json.loads(Path("reel.json").read_text(encoding="utf-8"))
    ragged = library.decide_document(case, classes=classes)
    hard = library.decide_document({**case, "complaints": ["pushes_hard"]}, classes=classes)
    assert ragged.faults[0].id == "gap_wide"
    assert hard.faults[0].id == "bearings_rough"
    assert hard.faults[0].probability > 0.5


def test_the_overlay_of_the_page_helps_only_the_classes_it_names(folder):
    classes = library.open_shelf(["shop.toml"])
    assert "cap_vent_blocked" in classes["mower_walk_behind"].faults
    assert classes["tiller_rear_tine"] == library.machine_class("tiller_rear_tine")


def test_every_key_is_documented_with_its_default():
    table = PAGE.partition("## Every key")[2]
    rows = re.findall(r"^\| (\w+) \| `(\w+)` \| (.*?) ?\| \S.* \|$", table, re.MULTILINE)
    words = {"PydanticUndefined": "", "False": "no", "True": "yes", "None": "none", "()": "[]", "''": "", "0.0": "0"}
    there = {
        (shelf, name): "{}" if field.default_factory else words[repr(field.default).replace("(0.0, 0.0, 0.0)", "0.0")]
        for shelf, kind in SHELVES.items()
        for name, field in kind.model_fields.items()
    }
    told = {(shelf, name): default for shelf, name, default in rows}
    beside = {key: default for key, default in there.items() if key[1] not in ("source", "title")}
    assert told == beside
    assert len(rows) == len(told)
