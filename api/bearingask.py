"""Bearingask: what a query asks of the bearings, read and answered with the prices of the book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from api.asked import MOST_REVISION, asked_day, asked_whole
from api.supply import bearing_prices
from econ import __version__
from econ.bearings import Bearing, Sought, answer_sought, read_sought
from econ.problems import BadInput, Problem, shown


def asked_bearing(
    path: Path | None, given: Mapping[str, str], today: date, wrong_book: Sequence[Problem] = ()
) -> Bearing:
    """Return the bearing a query asks for.

    path: of the price book, None where none is in use. given: size or designation, and tolerance, currency, as_of and
    revision, these optional, all as text. wrong_book: what is wrong with the price book that was named. Raises BadInput
    with all that is wrong.
    """
    problems: list[Problem] = []
    sought = _sought(given, problems)
    day = asked_day(given, today, problems)
    revision = asked_whole(given, "revision", 1, MOST_REVISION, problems)
    if revision is not None and path is None and not wrong_book:
        rule = "no price book is in use here"
        problems.append(Problem("revision", shown(revision), rule, "leave it out, or name the book"))
    problems += wrong_book
    if problems or sought is None:
        raise BadInput(problems)
    return answer_sought(sought, bearing_prices(path, day, revision), __version__)


def _sought(given: Mapping[str, str], problems: list[Problem]) -> Sought | None:
    try:
        return read_sought(
            given.get("size"), given.get("designation"), given.get("tolerance"), given.get("currency", "USD")
        )
    except BadInput as error:
        problems += error.problems
        return None
