"""Demo: the invented cases that ship with the package."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from api.strictjson import read_json

NAMES = {
    "owner_tiller": "an owner whose tiller's tines do not turn, with metal in the gear oil",
    "shop_mower": "a shop with a mower that hit a stump and vibrates",
    "reseller_mower": "a reseller looking at a roadside mower whose starter is locked",
}


@dataclass(frozen=True)
class Demo:
    """An invented case: its name, who asks about what, and the document."""

    name: str
    about: str
    case: dict[str, Any]


@cache
def demos() -> tuple[Demo, ...]:
    """Return the invented cases."""
    folder = resources.files("sample_prices")
    return tuple(
        Demo(name, about, read_json(folder.joinpath(f"{name}.json").read_bytes())) for name, about in NAMES.items()
    )
