"""Bearing fit: every size of the table held against what was measured, in arrays: one bearing or a million alike.

Deviations are what was measured less what the size should be [mm].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from econ.bearing_sizes import SIZES
from econ.calliper import TOLERANCE, mm

Fit = Literal["as_measured", "if_rounded", "if_worn", "nearest"]
FITS: tuple[Fit, ...] = get_args(Fit)  # from good to bad; their places are what the kernel gives
FloatArray = NDArray[np.float64]

WEAR = 0.5  # how far wear, rust or a worn shaft may move a measure, beyond reading [mm]; judgement
HAIR = 1e-9  # [mm]; so that 16.9 is 0.1 from 17
RANKS = 4  # more than the measures that may be worn
BLOCK = 256  # rows held against the table at once
WORN = {
    ("bore", 1): "worn by turning on its shaft, so look at the shaft",
    ("bore", -1): "measured on a worn shaft, or over a burr",
    ("outside", 1): "rust or paint on it",
    ("outside", -1): "worn by turning in its housing, so look at the housing",
    ("width", 1): "a seal, snap ring or spacer measured with it",
    ("width", -1): "a face worn, or the calliper not square",
}
_NOMINAL: FloatArray = np.array([(s.bore, s.outside, s.width) for s in SIZES], float).T


@dataclass(frozen=True)
class Matches:
    """What each row of measures fits. best: row of `SIZES`; fit: place in `FITS`; count: sizes that fit as well."""

    best: NDArray[np.int64]
    fit: NDArray[np.int64]
    count: NDArray[np.int64]


@dataclass(frozen=True)
class Deviation:
    """One measure held against a size [mm]. measured, off: None where it was not taken; off: measured less size."""

    measure: str
    size: float
    measured: float | None
    off: float | None
    says: str


def against(measured: FloatArray, step: FloatArray, tolerance: float) -> tuple[NDArray[np.int64], FloatArray]:
    """Return the rank of each size for each row of measures, and how far it is off; less is better; rows x sizes.

    Rank: RANKS times the place in `FITS`, and where it fits if worn the number of measures that are. Wear is not added
    to rounding: measures in whole millimetres are no sign of wear, and another size may have just these.
    """
    shape = len(measured), len(SIZES)
    unread, unrounded, unworn = (np.full(shape, -np.inf) for _ in range(3))
    far = np.zeros(shape)
    worn = np.zeros(shape, np.int64)
    for j, nominal in enumerate(_NOMINAL):  # measure by measure: whole rows of sizes at a time
        taken, rounded = measured[:, j, None], step[:, j, None]
        off = np.where(np.isnan(taken), 0.0, np.abs(taken - nominal)) - (tolerance + HAIR)
        np.maximum(unread, off, out=unread)
        np.maximum(unrounded, off - rounded, out=unrounded)
        most = np.maximum(rounded, WEAR)
        np.maximum(unworn, off - most, out=unworn)
        worn += off > rounded
        far += ((off + tolerance) / (tolerance + most)) ** 2
    fit = len(FITS) - 1 - (unworn <= 0).astype(np.int64) - (unrounded <= 0) - (unread <= 0)
    return RANKS * fit + np.where(fit == FITS.index("if_worn"), worn, 0), far


def match(measured: FloatArray, step: FloatArray | float = 0.0, tolerance: float = TOLERANCE) -> Matches:
    """Return the size that each row of measures fits best.

    measured: rows of bore, outside, width [mm], NaN where not taken, at least one taken. step: what rounding alone may
    have moved each, either way [mm], of any shape that broadcasts to it. tolerance: reading error [mm]. Raises
    ValueError where a row holds none.
    """
    if not np.isfinite(measured).any(1).all():
        raise ValueError("each row holds one measure at least")
    steps = np.broadcast_to(np.asarray(step, float), measured.shape)
    best, fit, count = (np.empty(len(measured), np.int64) for _ in range(3))
    for begin in range(0, len(measured), BLOCK):
        rows = slice(begin, begin + BLOCK)
        rank, far = against(measured[rows], steps[rows], tolerance)
        least = rank.min(1)
        alike = rank == least[:, None]
        best[rows] = np.where(alike, far, np.inf).argmin(1)
        fit[rows], count[rows] = least // RANKS, alike.sum(1)
    return Matches(best, fit, count)


def deviation(name: str, size: float, measured: float | None, tolerance: float, step: float) -> Deviation:
    """Return one measure held against a size, in words; arguments in mm, `measured` None where it was not taken."""
    if measured is None:
        return Deviation(name, round(size, 4), None, None, "not measured")
    off = measured - size
    amount = f"{mm(round(abs(off), 2))} mm {'over' if off > 0 else 'under'}"
    if abs(off) <= tolerance + HAIR:
        says = "as measured"
    elif abs(off) <= tolerance + step + HAIR:
        says = f"{amount}: rounded"
    elif abs(off) <= tolerance + max(step, WEAR) + HAIR:
        says = f"{amount}: {WORN[name, 1 if off > 0 else -1]}"
    else:
        says = f"{amount}: too far off"
    return Deviation(name, round(size, 4), round(measured, 4), round(off, 4), says)
