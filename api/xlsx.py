"""Xlsx: what goes into the cells of a workbook, so that a spreadsheet reads each value as what it is."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

LONGEST = 32_767  # characters a cell holds, by ECMA-376, Part 1 (from memory)
# Characters that XML 1.0 (fifth edition, 2.2) has no place for, and halves of surrogate pairs.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Return a text as a cell can hold it: characters that XML has no place for left out, no longer than a cell."""
    return _UNWRITABLE.sub("", text)[:LONGEST]


def put(cell: Any, value: Any) -> None:
    """Put a value into a cell: a text always as a text, whatever it begins with; numbers and days as they are.

    A text that a spreadsheet might take for a formula is marked so that it stays a text when somebody edits it.
    """
    if isinstance(value, str):
        cell.value = clean(value)
        if cell.data_type != "s" and cell.value:  # "=1+1" would be a formula, "#N/A" an error
            cell.data_type = "s"
            cell.quotePrefix = True
        return
    cell.value = float(value) if isinstance(value, Decimal) else value
