"""The pure core: is this machine worth the next hour and the next parts order, and what would change that?

Values in, values out. Names are loaded when they are first used, so that importing econ costs little.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "BadInput": "problems",
    "Case": "case",
    "Decision": "decision",
    "MachineClass": "rulebook",
    "Problem": "problems",
    "Shelf": "rulebook",
    "case_schema": "case",
    "decide": "verdict",
    "read_case": "reading",
    "read_defaults": "terms",
}
__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"econ.{_HOME[name]}"), name)
    raise AttributeError(f"module 'econ' has no attribute '{name}'")
