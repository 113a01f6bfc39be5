"""Formulas: texts of strangers that a spreadsheet might take for a formula, told, marked in a CSV file, and read back.

A CSV file can't say that a cell is a text: what begins with = is worked out by whatever opens it. An apostrophe before
it is a mark by which no spreadsheet does.
"""

from __future__ import annotations

import re

# What spreadsheets take for the beginning of a formula, also behind spaces and a byte-order mark, which some take off;
# of full width too, as they stand on East Asian keyboards (common practice). A control character leads to no good.
_BEGINS = r"[\s\ufeff\u200b]*[=+\-@＝＋－＠]|[\x00-\x1f\x7f-\x9f]"
_FORMULA = re.compile(_BEGINS)
_MARKED = re.compile(rf"'+(?:{_BEGINS})")
_NUMBER = re.compile(r"[+-]?[0-9][0-9.,]*(?:\s?%)?")


def may_be_formula(text: str) -> bool:
    """Return whether a spreadsheet might take a text for a formula."""
    return _FORMULA.match(text) is not None


def marked(text: str) -> str:
    """Return a text as a cell of CSV that no spreadsheet takes for a formula.

    What looks as if it were marked already is marked once more, so that `unmarked` gives each text as it was.
    """
    return f"'{text}" if _FORMULA.match(text) or _MARKED.match(text) else text


def marked_cell(text: str) -> str:
    """Return what stands in a cell likewise, but a plain number below zero, which is no formula, as it is."""
    return text if _NUMBER.fullmatch(text) else marked(text)


def unmarked(text: str) -> str:
    """Return the text of a marked cell as it was."""
    return text[1:] if _MARKED.match(text) else text
