"""The README's examples run and print what it shows; its case is one the reader accepts."""

from __future__ import annotations

import json
import re
from doctest import ELLIPSIS, OutputChecker
from pathlib import Path

import pytest
from click.testing import CliRunner

from api import library
from api.command import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _commands():
    for block in re.findall(r"^```console\n(.*?)^```$", README, re.MULTILINE | re.DOTALL):
        for line in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = line.partition("\n")
            yield pytest.param(command, output, id=command[:40])


@pytest.mark.parametrize(("command", "output"), list(_commands()))
def test_example_prints_what_the_readme_shows(command, output, monkeypatch):
    monkeypatch.chdir(ROOT)
    piped = re.match(r"echo '(.*)' \| (.*)", command)
    words = (piped[2] if piped else command).split()
    assert words[0] == "mendworth"
    result = CliRunner().invoke(main, words[1:], input=piped[1] if piped else None)
    got = result.output + (f"[exit status {result.exit_code}]\n" if result.exit_code else "")
    assert OutputChecker().check_output(output, got, ELLIPSIS), got


def test_the_case_shown_is_decided():
    shown = re.search(r"^```json\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert shown
    decision = library.decide_document(json.loads(shown[1]), None)
    assert "blade" in decision.verdict.headline


def test_every_document_named_exists():
    for name in re.findall(r"`((?:docs|sample_prices)/[\w./]+|\w+\.md)`", README):
        assert (ROOT / name).exists(), name
