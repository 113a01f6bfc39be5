"""Cases for the tests of the doors."""

from __future__ import annotations

from typing import Any

GOOD: dict[str, Any] = {
    "perspective": "owner",
    "as_of": "2026-04-10",
    "machine": {"class": "mower_walk_behind", "age_years": 6},
    "complaints": ["surging"],
    "findings": [{"check": "fuel_flow", "outcome": "slow"}],
}

FIVE_FAULTS: dict[str, Any] = {
    "perspective": "neighbour",
    "as_of": "2026-04-10",
    "machine": {"class": "mower_walk_behind", "age_years": -1},
    "complaints": ["surgin"],
    "findings": [{"check": "fuel_flow", "outcome": "slowly"}],
    "prices": {"carburetor": "12.00"},
}
FIVE_PATHS = {"perspective", "machine.age_years", "complaints.0", "findings.0.outcome", "prices.carburetor"}
