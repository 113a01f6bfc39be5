"""Bearingask: what a query asks of the bearings, read and answered with the prices of the book."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from api.asked import asked_day
from api.supply import bearing_prices
from econ import __version__
from econ.bearings import Bearing, answer_sought, read_sought
from econ.problems import BadInput, Problem


def asked_bearing(path: Path | None, given: Mapping[str, str], today: date) -> Bearing:
    """Return the bearing a query asks for.

    path: of the price book, None where none is in use. given: size or designation, and tolerance, currency and as_of,
    these optional, all as text. Raises BadInput with all that is wrong.
    """
    problems: list[Problem] = []
    day = asked_day(given, today, problems)
    try:
        sought = read_sought(
            given.get("size"), given.get("designation"), given.get("tolerance"), given.get("currency", "USD")
        )
    except BadInput as error:
        raise BadInput([*error.problems, *problems]) from None
    if problems:
        raise BadInput(problems)
    return answer_sought(sought, bearing_prices(path, day), __version__)
