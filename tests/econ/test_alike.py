"""Figures of several machines side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from econ.alike import side_by_side


@dataclass(frozen=True)
class Curve:
    rate: Any
    method: str


@dataclass(frozen=True)
class Prices:
    running: Any
    as_is: Any
    curve: Curve


def test_what_is_the_same_stays_and_what_differs_becomes_a_column() -> None:
    whole = side_by_side([Prices(200.0, None, Curve(0.2, "geometric")), Prices(150.0, 40, Curve(0.2, "geometric"))])
    assert whole.running.tolist() == [[200.0], [150.0]]
    np.testing.assert_array_equal(whole.as_is, [[np.nan], [40.0]])
    assert whole.curve == Curve(0.2, "geometric")
    nested = side_by_side([Prices(1.0, None, Curve(0.2, "geometric")), Prices(1.0, None, Curve(0.3, "geometric"))])
    assert (nested.running, nested.as_is, nested.curve.method) == (1.0, None, "geometric")
    assert nested.curve.rate.tolist() == [[0.2], [0.3]]


def test_words_that_differ_are_refused() -> None:
    with pytest.raises(TypeError, match="side by side"):
        side_by_side([Curve(0.2, "geometric"), Curve(0.2, "straight_line")])
