"""Blade-tip speed: the limit quoted from ANSI/OPEI B71.1, 19,000 ft/min, and what follows by geometry."""

from __future__ import annotations

import pytest

from econ.release import TIP_SPEED_LIMIT, highest_speed, tip_speed

from .figures import load

FIGURES = load("blade_tip_speed")
INCH, FOOT = 0.0254, 0.3048


def test_limit() -> None:
    assert FIGURES["values"]["limit_m_per_s"] == TIP_SPEED_LIMIT
    assert FIGURES["values"]["limit_ft_per_min"] * FOOT / 60 == pytest.approx(TIP_SPEED_LIMIT, abs=1e-9)


@pytest.mark.parametrize("row", [r for r in FIGURES["recomputed"] if "rpm" in r], ids=lambda r: str(r["rpm"]))
def test_longest_blade_at_a_speed(row: dict) -> None:
    assert tip_speed(row["max_blade_length_in"] * INCH, row["rpm"]) == pytest.approx(TIP_SPEED_LIMIT, rel=3e-5)


@pytest.mark.parametrize("row", [r for r in FIGURES["recomputed"] if "max_rpm" in r], ids=lambda r: str(r["blade_in"]))
def test_highest_speed_of_a_blade(row: dict) -> None:
    length = row["blade_in"] * INCH
    assert round(highest_speed(length), 1) == row["max_rpm"]
    assert tip_speed(length, highest_speed(length)) == pytest.approx(TIP_SPEED_LIMIT, rel=1e-12)
