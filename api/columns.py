"""Columns: plain text for people, wrapped to a width, and small tables."""

from __future__ import annotations

import textwrap
from collections.abc import Container, Iterable, Sequence

WIDTH = 98
NARROW, NARROWEST = 20, 10  # to which a column gives way, at first and where nothing else is left
ENOUGH = 100  # rows by which widths are settled


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
    would be too long; where that is not enough, the widest others do, at first without breaking words. whole: the
    columns that give way last, such as ids to be copied.
    """
    cells = [list(heads)] * bool(heads) + [list(row) for row in rows]
    if not cells:
        return []
    width = _widths(cells, wide, set(whole))
    lines = []
    for row in cells:
        sized = zip(row, width, strict=True)  # a column of empty cells has no width
        pieces = [[x] if len(x) <= w else _fill(x, w, later=" " * min(2, w - 1)) for x, w in sized]
        for n in range(max(map(len, pieces))):
            shown = [p[n] if n < len(p) else "" for p in pieces]
            cut = [x.rjust(width[i]) if i in set(right) else x.ljust(width[i]) for i, x in enumerate(shown)]
            lines.append(("  " + "  ".join(cut)).rstrip())
    return lines


def _widths(cells: Sequence[Sequence[str]], wide: int, whole: Container[int]) -> list[int]:
    """Return the width of each column so that all fit in a line."""
    columns = list(zip(*cells, strict=True))
    width = [max(map(len, column)) for column in columns]
    words = [
        max((len(w) + 2 * (n > 0) for x in column for n, w in enumerate(x.split())), default=0) for column in columns
    ]
    spare = WIDTH - 2 - 2 * (len(width) - 1) - sum(width)
    least = max(NARROW, words[wide])
    given = min(max(width[wide] - least, 0), max(-spare, 0))
    width[wide] -= given
    spare += given
    words = [n if i not in whole else width[i] for i, n in enumerate(words)]
    lengths = [list(map(len, row)) for row in cells[:ENOUGH]]
    broken = [NARROWEST if i not in whole else width[i] for i in range(len(width))]
    for floor in (words, broken, [NARROWEST] * len(width)):
        while spare < 0:
            loose = [i for i in range(len(width)) if width[i] > floor[i]]
            if not loose:
                break
            narrowed = min(loose, key=lambda i: (_height(lengths, width, i), -width[i], i != wide))
            width[narrowed] -= 1
            spare += 1
    return width


def _height(lengths: Sequence[Sequence[int]], width: Sequence[int], narrowed: int) -> int:
    """Return how many lines rows take, or nearly so, with one column a sign narrower. lengths: of the cells."""
    of = [w - (i == narrowed) for i, w in enumerate(width)]
    return sum(max(1 - min(w - n, 0) // max(w - 2, 1) for n, w in zip(row, of, strict=True)) for row in lengths)
