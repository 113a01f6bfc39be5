"""Saving: the workbook as a file, each chart with a text, and formulas with what they come to at first.

A program that only shows a file, a preview or one that opens a letter's attachment read-only, works no formula out: it
shows what stands beside the formula. The library that writes the file has no place for that, nor for a chart's text.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO
from xml.sax.saxutils import escape, quoteattr

from openpyxl import Workbook
from openpyxl.writer.excel import ExcelWriter

_FORMULA = re.compile(r'<c r="([A-Z]+[0-9]+)"([^>]*)><f>(.*?)</f><v ?(?:/>|></v>)', re.DOTALL)


def _bytes(data: Any) -> bytes:
    return data if isinstance(data, bytes) else bytes(data.encode())


class _Saved(zipfile.ZipFile):
    """The file of a workbook; parts of it are completed as they are written."""

    texts: Sequence[Sequence[str]] = ()
    firsts: Sequence[Mapping[str, Any]] = ()

    def writestr(self, zinfo_or_arcname: Any, data: Any, *more: Any, **others: Any) -> None:
        """Write a part; a drawing with the texts of its charts."""
        drawing = re.fullmatch(r"xl/drawings/drawing(\d+)\.xml", str(zinfo_or_arcname))
        if drawing:
            body = _bytes(data)
            for n, alt in enumerate(self.texts[int(drawing[1]) - 1], 1):
                chart = f'name="Chart {n}"'.encode()
                body = body.replace(chart, chart + f" descr={quoteattr(alt)}".encode(), 1)
            data = body
        if str(zinfo_or_arcname) == "docProps/app.xml":  # the library names a program that did not write it
            data = re.sub(rb"<Application>.*?</Application>", b"<Application>mendworth</Application>", _bytes(data))
        super().writestr(zinfo_or_arcname, data, *more, **others)

    def write(self, filename: Any, arcname: Any = None, *more: Any, **others: Any) -> None:
        """Write a part from a file; a sheet with what its formulas come to at first."""
        sheet = re.fullmatch(r"xl/worksheets/sheet(\d+)\.xml", str(arcname))
        first = self.firsts[int(sheet[1]) - 1] if sheet and self.firsts else {}
        if not first:
            super().write(filename, arcname, *more, **others)
            return
        body = Path(filename).read_text(encoding="utf-8")
        super().writestr(arcname, _FORMULA.sub(lambda found: _with_first(found, first), body))


def _with_first(found: re.Match[str], first: Mapping[str, Any]) -> str:
    """Return a cell with what its formula comes to at first, where that is known."""
    place, more, formula = found.groups()
    value = first.get(place)
    if value is None:
        return found[0]
    kind = ' t="str"' if isinstance(value, str) else ""
    shown = escape(value) if isinstance(value, str) else repr(float(value))
    return f'<c r="{place}"{more}{kind}><f>{formula}</f><v>{shown}</v>'


def save(
    book: Workbook,
    file: BinaryIO,
    texts: Sequence[Sequence[str]] = (),
    firsts: Sequence[Mapping[str, Any]] = (),
) -> None:
    """Save a workbook.

    texts: of the charts of each drawing, in the order of the sheets. firsts: of each sheet, by cell, what formulas come
    to with the figures of the answer.
    """
    book.properties.creator = "mendworth"
    archive = _Saved(file, "w", zipfile.ZIP_DEFLATED, allowZip64=True)
    archive.texts, archive.firsts = texts, firsts
    ExcelWriter(book, archive).save()
