"""Fixtures: the shipped rulebooks as texts, and the default terms."""

from __future__ import annotations

import os
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads: tests run side by side
# Nobody's own price book bears on a test.
os.environ.pop("MENDWORTH_BOOK", None)
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="mendworth-tests-")

from collections.abc import Mapping
from pathlib import Path

import pytest

from econ.terms import Default

from .strategies import defaults as read_defaults_once
from .strategies import rulebook_texts

SLOW_TO_COLLECT = "test_schemathesis.py"  # makes its cases as it is collected, all of them for the long run


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave out what takes long to collect where all of it would be deselected."""
    return (collection_path.name == SLOW_TO_COLLECT and config.option.markexpr == "not slow") or None


@pytest.fixture(scope="session")
def texts() -> Mapping[str, str]:
    """Return the shipped rulebook texts by file name."""
    return rulebook_texts()


@pytest.fixture(scope="session")
def defaults() -> Mapping[str, Default]:
    """Return the shipped default terms."""
    return read_defaults_once()
