"""Changes of the best course of functions of which the roots are known, and the weights of three points."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from econ.breakeven import THREE_POINTS, find_changes, settle_changes
from econ.inputs import Input
from econ.worlds import Worth

Floats = NDArray[np.float64]

LINE = Input("terms.x", "money", "x", 500.0, 0.0, 1000.0, 0.0, 1000.0, 1.0, True, "")


def looker(*courses: Callable[[Floats], Floats]) -> Callable[[Sequence[tuple[int, Floats]]], list[Worth]]:
    def look(wanted: Sequence[tuple[int, Floats]]) -> list[Worth]:
        names = tuple("abc"[: len(courses)])
        return [Worth(np.stack([f(x) * np.ones_like(x) for f in courses], axis=1), names, 0) for _, x in wanted]

    return look


def changes(*courses: Callable[[Floats], Floats], grid: Sequence[float] = ()) -> list[tuple[float, int, int]]:
    values = np.array(grid) if len(grid) else np.linspace(0.0, 1000.0, 21)
    look = looker(*courses)
    (found,) = find_changes([LINE], [values], look([(0, values)]), look)
    assert all(g.high - g.low == pytest.approx(1.0) for g in found)
    return [(g.high, g.best_low, g.best_high) for g in found]


def test_several_crossings_are_all_found() -> None:
    """A wave of nine half turns crosses a constant where scipy's brentq has the roots, to the step."""

    def wave(x: Floats) -> Floats:
        return 900.0 * np.sin(x / 1000.0 * 9 * math.pi) + x

    edges = np.linspace(0, 1000, 2001)
    lead = wave(edges) - 450.0
    roots = [
        brentq(lambda x: wave(x) - 450.0, edges[k], edges[k + 1]) for k in np.flatnonzero(lead[1:] * lead[:-1] < 0)
    ]
    found = changes(lambda x: x * 0 + 450.0, wave)
    assert len(roots) == len(found) == 9
    for root, (value, _, _) in zip(roots, found, strict=True):
        assert value - 1.0 <= root <= value
    assert [a for _, a, _ in found] == [k % 2 for k in range(9)]


def test_steep_bend_is_found_to_the_step() -> None:
    """A root near the end of a curve that is flat first: brentq."""

    def curve(x: Floats) -> Floats:
        return np.exp(x / 60.0) - 4000.0

    root = brentq(lambda x: float(curve(np.array(x))), 0, 1000)
    ((value, below, above),) = changes(lambda x: x * 0, curve, grid=(0.0, 1000.0))
    assert value - 1.0 <= root <= value
    assert (below, above) == (0, 1)


@pytest.mark.parametrize("at", [1.0, 2.0, 333.0, 499.0, 998.0, 1000.0])
def test_jump_is_the_crossing(at: float) -> None:
    """A billing step: from that value on the work costs 80 more."""
    ((value, below, above),) = changes(lambda x: 100.0 - 80.0 * (x >= at), lambda x: x * 0 + 50.0, grid=(0.0, 1000.0))
    assert (value, below, above) == (at, 0, 1)


def test_none_in_range_is_an_answer() -> None:
    assert changes(lambda x: x, lambda x: x - 5.0) == []


def test_third_course_between_two_is_found() -> None:
    """0, x - 500, and (x - 500) / 2 + 5 that is best from 490 to 510 only; the grid has its ends alone."""
    found = changes(lambda x: x * 0, lambda x: x - 500.0, lambda x: (x - 500.0) / 2 + 5.0, grid=(0.0, 1000.0))
    assert found == [(491.0, 0, 2), (510.0, 2, 1)]  # of equal ones the earlier


@pytest.mark.parametrize("off", [-40.0, -0.3, 0.0, 7.0, 120.0])
def test_change_is_settled_by_the_finer_look(off: float) -> None:
    """The rough look has a course off by so much and bends otherwise; the finer one, of known root, is right."""

    def truth(x: Floats) -> Floats:
        return (x - 400.0) * (1 + x / 2000.0)

    rough = looker(lambda x: x * 0, lambda x: truth(x) + off)
    grid = np.linspace(0.0, 1000.0, 11)
    for finer, root in ((looker(lambda x: x * 0, truth), 400.0), (None, brentq(lambda x: truth(x) + off, 0, 1000))):
        ((g,),) = settle_changes([LINE], [grid], rough([(0, grid)]), rough, finer)
        assert g.low - 1e-6 <= root <= g.high + 1e-6
        assert g.high - g.low == pytest.approx(1.0)


def test_jump_stays_and_a_change_out_of_range_goes() -> None:
    grid = np.linspace(0.0, 1000.0, 11)
    jump = looker(lambda x: 100.0 - 80.0 * (x >= 333.0), lambda x: x * 0 + 50.0)
    nearly = looker(lambda x: 100.0 - 80.0 * (x >= 333.0), lambda x: x * 0 + 55.0)
    ((g,),) = settle_changes([LINE], [grid], jump([(0, grid)]), jump, nearly)
    assert g.high == 333.0
    tenths = replace(LINE, unit="years", most=30.0, step=0.1)
    grid_of_years = np.linspace(0.0, 30.0, 11)
    rough, truth = (looker(lambda x: x * 0, lambda x, at=at: x - at) for at in (2.95, 0.05))
    ((g,),) = settle_changes([tenths], [grid_of_years], rough([(0, grid_of_years)]), rough, truth)
    assert (g.low, g.high) == (0.0, pytest.approx(0.1)), "at the very end of the range, not a hair below it"
    line, beyond = (looker(lambda x: x * 0, lambda x, at=at: x - at) for at in (990.0, 1100.0))
    assert settle_changes([LINE], [grid], line([(0, grid)]), line, beyond) == [[]]


def test_three_points_stand_for_a_normal() -> None:
    """Keefer and Bodily 1983 (from memory): extended Pearson-Tukey has the mean exactly, the variance within 0.2 %."""
    points = np.array([-1.6448536269514722, 0.0, 1.6448536269514722])  # of the standard normal
    weights = np.array(THREE_POINTS)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert weights @ points == pytest.approx(0.0, abs=1e-12)
    assert weights @ points**2 == pytest.approx(1.0, abs=0.002)
