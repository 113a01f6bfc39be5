"""Published figures, one YAML file per source beside this module."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml


def load(name: str) -> Any:
    """Return the content of ``<name>.yaml``."""
    return yaml.safe_load((Path(__file__).parent / f"{name}.yaml").read_text(encoding="utf-8"))


def entry(name: str, entry_id: str) -> Any:
    """Return one entry of a figure file by its id."""
    (found,) = (entry for entry in load(name)["entries"] if entry["id"] == entry_id)
    return found
