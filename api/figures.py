"""Figures: columns of text as whole numbers and places after the decimal sign, exactly, never through binary fractions.

Works on the distinct texts of a column, all at once, as a matrix of characters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Matrix = NDArray[np.uint32]

LONGEST = 40  # characters of a number with its unit
MOST_DIGITS = 15
SILENT, POINT, COMMA, OPEN = 0, 1, 2, 3  # what a text says of its column's decimal sign; OPEN: 1.234 may be either
_DOT, _COMMA = ord("."), ord(",")
# Between groups of three digits: space, no-break, thin, figure and narrow no-break space, apostrophes (those of the
# Unicode CLDR, against which they are tested).
_GAPS = np.array([32, 0xA0, 0x2009, 0x2007, 0x202F, ord("'"), 0x2019], np.uint32)


@dataclass(frozen=True)
class Figures:
    """The distinct texts of a column as they may be read; one entry for each text.

    spans: the characters of the number, set left. unit: what stands beside it, without spaces. says: SILENT, POINT,
    COMMA or OPEN. broken: no number, or too long. blank: no text at all.
    """

    spans: Matrix
    unit: NDArray[np.str_]
    says: NDArray[np.int8]
    broken: BoolArray
    blank: BoolArray


def _is_digit(chars: Matrix) -> BoolArray:
    return np.logical_and(chars >= ord("0"), chars <= ord("9"))


def _set_left(chars: Matrix, keep: BoolArray) -> Matrix:
    """Return the kept characters of each row set left, the rest of the row zero."""
    order = np.argsort(~keep, axis=1, kind="stable")
    return np.take_along_axis(np.where(keep, chars, 0), order, axis=1).astype(np.uint32)


def look(texts: Sequence[str] | NDArray[np.object_]) -> Figures:
    """Return what each text of a column may be read as."""
    lengths = np.fromiter(map(len, texts), np.int64, len(texts))
    width = int(min(max(lengths.max(initial=1), 1), LONGEST))
    chars: Matrix = np.array(texts, dtype=f"U{width}").view(np.uint32).reshape(len(texts), width)
    digit, gap = _is_digit(chars), np.isin(chars, _GAPS)
    places = np.arange(width)
    some: BoolArray = np.asarray(digit.any(axis=1))
    first: IntArray = digit.argmax(axis=1).astype(np.int64)
    last: IntArray = width - 1 - digit[:, ::-1].argmax(axis=1).astype(np.int64)
    rows = np.arange(len(texts))
    before, ahead = chars[rows, np.maximum(first - 1, 0)], chars[rows, np.maximum(first - 2, 0)]
    bare = (first == 1) | np.isin(ahead, _GAPS)  # .50 as against Fr.50
    first -= (first > 0) & ((before == _DOT) | (before == _COMMA)) & bare
    within = (places >= first[:, None]) & (places <= last[:, None]) & some[:, None]
    text = np.not_equal(chars, 0)
    outside: BoolArray = text & ~within & ~gap
    unit = np.full(len(texts), "", dtype=f"U{width}")
    if outside.any():
        has = np.flatnonzero(outside.any(axis=1))
        unit[has] = np.ascontiguousarray(_set_left(chars[has], outside[has])).view(f"U{width}").ravel()
    at = np.minimum(first[:, None] + places, width - 1)
    inside = (places <= (last - first)[:, None]) & some[:, None]
    left: Matrix = np.where(inside, np.take_along_axis(chars, at, axis=1), 0).astype(np.uint32)
    spans: Matrix = np.where(np.isin(left, _GAPS), ord(" "), left).astype(np.uint32)
    signs = np.array([0, _DOT, _COMMA, ord(" ")], np.uint32)
    known = (_is_digit(spans) | np.isin(spans, signs)).all(axis=1) & (_is_digit(spans).sum(axis=1) <= MOST_DIGITS)
    could = some & known & (lengths <= LONGEST)
    by_point, by_comma = could & _well(spans, _DOT), could & _well(spans, _COMMA)
    parted = ((spans == _DOT) | (spans == _COMMA)).any(axis=1)
    says = np.select([by_point & by_comma & parted, by_point & ~by_comma, by_comma & ~by_point], [OPEN, POINT, COMMA])
    blank = ~(text & ~gap).any(axis=1) & (lengths <= LONGEST)
    return Figures(spans, unit, says.astype(np.int8), ~(by_point | by_comma | blank), blank)


def _well(spans: Matrix, sign: int | Matrix) -> BoolArray:
    """Return which numbers are well written with that decimal sign: thousands parted by one kind of sign, in threes."""
    width = spans.shape[1]
    digit, decimal = _is_digit(spans), spans == sign
    parts = (spans != 0) & ~digit & ~decimal
    padded = np.pad(digit, ((0, 0), (0, 4)))
    three = padded[:, 1 : width + 1] & padded[:, 2 : width + 2] & padded[:, 3 : width + 3] & ~padded[:, 4 : width + 4]
    some, begin = parts.any(axis=1), parts.argmax(axis=1)
    kind = spans[np.arange(len(spans)), begin]
    after = decimal.any(axis=1) & (parts & (np.arange(width) > decimal.argmax(axis=1)[:, None])).any(axis=1)
    wrong = (parts & (~three | (spans != kind[:, None]))).any(axis=1) | after
    wrong |= some & ((begin < 1) | (begin > 3) | (spans[:, 0] == ord("0")))
    found: BoolArray = (decimal.sum(axis=1) <= 1) & ~wrong
    return found


@dataclass(frozen=True)
class Amounts:
    """Numbers read: digits x 10^-places. bad: not written as a number with that decimal sign."""

    digits: IntArray
    places: IntArray
    bad: BoolArray


def settle(figures: Figures, comma: bool, exact: BoolArray | None = None) -> Amounts:
    """Return the numbers of a column. comma: its decimal sign. exact: texts that have a point whatever it has."""
    spans = figures.spans
    by_comma = np.full(len(spans), comma) if exact is None else comma & ~exact
    sign = np.where(by_comma, _COMMA, _DOT)[:, None].astype(np.uint32)
    decimal, digit = spans == sign, _is_digit(spans)
    length = (spans != 0).sum(axis=1)
    at = np.where(decimal.any(axis=1), decimal.argmax(axis=1), length - 1)
    digits = np.zeros(len(spans), np.int64)
    for j in range(spans.shape[1]):
        digits = np.where(digit[:, j], digits * 10 + (spans[:, j].astype(np.int64) - ord("0")), digits)
    bad = figures.broken | (~_well(spans, sign) & ~figures.blank)
    return Amounts(np.where(bad, 0, digits), np.maximum(length - 1 - at, 0).astype(np.int64), bad)


def scaled(amounts: Amounts, wanted: IntArray | int) -> tuple[IntArray, BoolArray]:
    """Return numbers as whole multiples of 10^-wanted, and which have more digits than that."""
    shift = wanted - amounts.places
    up = amounts.digits * 10 ** np.clip(shift, 0, 4)
    down = 10 ** np.clip(-shift, 0, MOST_DIGITS)
    over = (shift < 0) & (amounts.digits % down != 0)
    return np.where(shift >= 0, up, amounts.digits // down), over
