"""Columns: plain text for people, wrapped to a width, and small tables."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 98
NARROW = (20, 10)  # to which columns give way, at first and where that is not enough


def _fill(text: str, width: int, first: str = "", later: str = "") -> list[str]:
    """Return text in lines of a width; a number stays with its per cent sign."""
    held = text.replace(" %", "\xa0%")
    lines = textwrap.wrap(held, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
    return [line.replace("\xa0", " ") for line in lines]


def wrap(text: str, indent: str = "", hang: str | None = None) -> list[str]:
    """Return text as lines of at most WIDTH; hang: the indent of the lines after the first."""
    return _fill(text, WIDTH, indent, indent if hang is None else hang)


def bullet(text: str) -> list[str]:
    """Return text as one point of a list."""
    return wrap(text, "  - ", "    ")


def table(
    rows: Iterable[Sequence[str]],
    heads: Sequence[str] = (),
    right: Iterable[int] = (),
    wide: int = 0,
    whole: Iterable[int] = (),
) -> list[str]:
    """Return rows as aligned lines, indented by two.

    heads: a line above. right: the columns set to the right. wide: the column that gives way and wraps where the lines
    would be too long; where that is not enough, the widest others do. whole: the columns that give way last, such as
    ids to be copied.
    """
    cells = [list(heads)] * bool(heads) + [list(row) for row in rows]
    if not cells:
        return []
    width = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    order = [wide, *sorted((i for i in range(len(width)) if i != wide), key=lambda i: -width[i])]
    kept = set(whole)
    steps = [(i, least) for least in NARROW for i in order if i not in kept]
    steps += [(i, least) for least in NARROW for i in order if i in kept]
    for i, least in steps:
        spare = WIDTH - 2 - 2 * (len(width) - 1) - sum(width)
        width[i] = max(width[i] + min(spare, 0), min(width[i], least))
    lines = []
    for row in cells:
        sized = zip(row, width, strict=True)  # a column of empty cells has no width
        pieces = [[x] if len(x) <= w else _fill(x, w, later=" " * min(2, w - 1)) for x, w in sized]
        for n in range(max(map(len, pieces))):
            shown = [p[n] if n < len(p) else "" for p in pieces]
            cut = [x.rjust(width[i]) if i in set(right) else x.ljust(width[i]) for i, x in enumerate(shown)]
            lines.append(("  " + "  ".join(cut)).rstrip())
    return lines
