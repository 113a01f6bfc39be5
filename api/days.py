"""Days: a column of days as people write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from api.cells import Cells, Faults, Words, same
from econ.problems import Problem, shown

ONE_ORDER = "the day comes first in some rows and the month in others"
EARLIEST = date(1990, 1, 1)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?:[T ][\d:.Z+-]*)?")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4})")


def days(cells: Cells | None, rows: int, faults: Faults, told: str, today: date | None, default: date | None) -> Words:
    """Return a column of days as YYYY-MM-DD, empty where none is known. today: no day is later, where it is given.

    told: ``day`` or ``month`` where the user said what comes first in 3/4/2026; else it is told by the column: a number
    over 12 is a day. With points, 3.4.2026, the day comes first (common practice). A year has four digits.
    """
    filled = default.isoformat() if default else ""
    if cells is None:
        return same(filled, rows)
    texts = [str(t).strip() for t in cells.texts]
    split = [_YEAR_LAST.fullmatch(t) for t in texts]
    slashed = [(int(m[1]), int(m[3])) for m in split if m and m[2] != "."]
    day_first, month_first = any(a > 12 for a, _ in slashed), any(b > 12 for _, b in slashed)
    where = f"{faults.name}: {cells.header}"
    if not told:
        told = faults.held_to(cells.header, _tells(cells, faults, split), ONE_ORDER) or ""
    if not told and day_first and month_first:
        faults.whole.append(Problem(where, "both", ONE_ORDER, "write days as YYYY-MM-DD"))
    elif not told and not (day_first or month_first) and any(a != b for a, b in slashed):
        example = next(t for t, m in zip(texts, split, strict=True) if m and m[2] != "." and m[1] != m[3])
        rule = "no row tells whether the day or the month comes first"
        faults.whole.append(Problem(where, shown(example), rule, "say --dates day or --dates month"))
    first = told or ("month" if month_first else "day")
    found = [filled if not t else _day(t, first) for t in texts]
    faults.texts(cells, np.array([d is None for d in found], bool), "it is a day, YYYY-MM-DD", "correct it")
    if today is not None:
        latest = today + timedelta(days=1)  # where the seller is, it may be tomorrow
        odd = [bool(d) and not EARLIEST.isoformat() <= str(d) <= latest.isoformat() for d in found]
        rule = f"prices are seen from {EARLIEST} on and not after today"
        faults.texts(cells, np.array(odd, bool), rule, "correct it")
    places, distinct = pd.factorize(np.array([d or "" for d in found], object))
    return Words(places[cells.codes], distinct)


def _tells(cells: Cells, faults: Faults, split: Sequence[re.Match[str] | None]) -> dict[str, str]:
    """Return the ways in which days are written, with the first cell of each that tells."""
    found: dict[str, str] = {}
    for i, m in enumerate(split):
        if m and m[2] != ".":
            for how, x in (("day", m[1]), ("month", m[3])):
                if int(x) > 12 and how not in found:
                    found[how] = f"{shown(cells.texts[i])} in {faults.named(int((cells.codes == i).argmax()))}"
    return found


def _day(text: str, first: str) -> str | None:
    a = _YEAR_FIRST.fullmatch(text)
    b = _YEAR_LAST.fullmatch(text)
    try:
        if a:
            return date(int(a[1]), int(a[3]), int(a[4])).isoformat()
        if b:
            day, month = (b[1], b[3]) if b[2] == "." or first == "day" else (b[3], b[1])
            return date(int(b[4]), int(month), int(day)).isoformat()
    except ValueError:
        return None
    return None
