"""Noisy-OR, the two-outcome noisy-MAX: Russell and Norvig's fever table, and Pearl's formula with a leak."""

from __future__ import annotations

import numpy as np
import pytest

from econ.evidence import Clue, at_most, likelihood

from .figures import entry

FEVER = entry("noisy_or", "noisy_or_fever")["values"]
LEAK = entry("noisy_or", "noisy_or_leak")["values"]


def test_fever() -> None:
    """Russell and Norvig, AIMA: P(no fever) is the product of the inhibitions of the causes present."""
    rows = dict(enumerate(FEVER["inhibition"].values()))
    clue = Clue("fever", 1, (1.0 - FEVER["leak"],), {i: (q,) for i, q in rows.items()})
    printed = np.zeros(8)
    for cold, flu, malaria, p in FEVER["table"]:
        printed[cold | flu << 1 | malaria << 2] = p
    assert 1 - at_most(1.0, rows, 3) == pytest.approx(printed, abs=1e-12)
    assert likelihood(clue, 3) == pytest.approx(printed, abs=1e-12)


def test_leak() -> None:
    """Pearl 1988, p. 184, with a leak: 1 - (1 - leak) prod (1 - p_i)."""
    clue = Clue("effect", 1, (1 - LEAK["leak"],), {i: (1 - p,) for i, p in enumerate(LEAK["p"])})
    p = LEAK["p_effect"]
    assert likelihood(clue, 2) == pytest.approx([p["none"], p["cause_1"], p["cause_2"], p["both"]], abs=1e-12)
