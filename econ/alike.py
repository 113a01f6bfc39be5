"""Alike: the figures of several machines side by side, so that they are worked out together.

What is the same in all of them stays as it is; what differs becomes a column with a row for each machine, a world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from econ.market import Market
from econ.terms import Terms


def side_by_side(figures: Sequence[Any]) -> Any:
    """Return a figure of W machines as it is where it is the same in all, else as a column (W, 1), NaN for None.

    Of a dataclass this holds for each of its fields. Raises TypeError for what is neither that nor a number.
    """
    first = figures[0]
    if all(x == first for x in figures[1:]):
        return first
    if is_dataclass(first) and not isinstance(first, type):
        return replace(first, **{x.name: side_by_side([getattr(f, x.name) for f in figures]) for x in fields(first)})
    if not all(x is None or isinstance(x, int | float) for x in figures):
        message = f"{first!r} and {figures[-1]!r} can't stand side by side"
        raise TypeError(message)
    return np.array([[np.nan if x is None else x] for x in figures], dtype=float)


def together(terms: Sequence[Terms], markets: Sequence[Market]) -> tuple[Terms, Market]:
    """Return the terms and the markets of W machines as those of one with W worlds; a single one stays as it is.

    What else terms and markets tell, in words, is of the first.
    """
    if len(terms) == 1:
        return terms[0], markets[0]
    names = dict.fromkeys(name for t in terms for name in t.figures)
    figures = {name: side_by_side([t.figures.get(name) for t in terms]) for name in names}
    bare = [replace(m, assumptions=()) for m in markets]
    return replace(terms[0], figures=figures), replace(side_by_side(bare), assumptions=markets[0].assumptions)
