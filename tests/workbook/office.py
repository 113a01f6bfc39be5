"""Office: workbooks recalculated by a spreadsheet program, LibreOffice Calc, and printed to PDF.

Where there is none these tests are skipped; with MENDWORTH_NEEDS_OFFICE set, as in .ci/run, they fail instead.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest

REQUIRED = bool(os.environ.get("MENDWORTH_NEEDS_OFFICE"))
CALC = shutil.which("soffice")
TEXTS = shutil.which("pdftotext")
needs_calc = pytest.mark.skipif(CALC is None and not REQUIRED, reason="no LibreOffice Calc here (soffice)")
needs_pdf = pytest.mark.skipif(
    (CALC is None or TEXTS is None) and not REQUIRED, reason="no LibreOffice Calc (soffice) or no pdftotext here"
)


def _convert(paths: Iterable[Path], to: str, folder: Path) -> None:
    assert CALC is not None, "LibreOffice Calc is needed"
    profile = f"-env:UserInstallation=file://{folder}/profile"  # own, so that tests run beside each other
    command = [CALC, "--headless", profile, "--convert-to", to, "--outdir", str(folder), *map(str, paths)]
    subprocess.run(command, check=True, capture_output=True, timeout=1_800)  # noqa: S603 - paths of our own


def recalculated(paths: list[Path], folder: Path) -> list[Any]:
    """Return workbooks with all figures as the spreadsheet program works them out, in the order of the paths."""
    _convert(paths, "xlsx:Calc MS Excel 2007 XML", folder)
    return [openpyxl.load_workbook(folder / path.name, data_only=True) for path in paths]


def printed(path: Path, folder: Path) -> list[str]:
    """Return the text of each page that a workbook prints on."""
    _convert([path], "pdf", folder)
    assert TEXTS is not None, "pdftotext is needed"
    done = subprocess.run(  # noqa: S603
        [TEXTS, "-layout", str(folder / f"{path.stem}.pdf"), "-"], check=True, capture_output=True, text=True
    )
    return done.stdout.split("\f")[:-1]


@cache
def errors_of(value: object) -> bool:
    """Return whether a cell holds an error."""
    return isinstance(value, str) and value.startswith(("#", "Err:"))


def without_firsts(path: Path) -> None:
    """Take what formulas come to at first out of a workbook, so that whoever opens it has to work all of it out."""
    book = openpyxl.load_workbook(path)
    book.save(path)
