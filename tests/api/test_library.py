"""The rulebooks ship with the package and are read once."""

from __future__ import annotations

from pathlib import Path

import econ
from api import library


def test_all_texts_are_there():
    folder = Path(econ.__file__).parent / "rulebooks"
    files = {p.relative_to(folder).as_posix(): p.read_text(encoding="utf-8") for p in folder.rglob("*.toml")}
    assert dict(library.texts()) == files
    assert "terms.toml" in files


def test_they_are_read_once():
    assert library.texts() is library.texts()
    assert library.defaults() is library.defaults()
    assert library.machine_class(library.ids()[0]) is library.machine_class(library.ids()[0])
