"""Priceask: what a query asks of the price book, read and answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from api.asked import MOST_REVISION, asked_day, asked_whole
from api.book import Book
from api.listings import Listing, find_offers, list_offers
from econ.problems import BadInput, Problem

MOST_OFFERS, USUAL_OFFERS = 1000, 50
_NAMES = {"TEXT": "part", "--revision": "revision"}  # what the command line calls them


def asked_prices(path: Path, given: Mapping[str, str], today: date) -> Listing:
    """Return the offers a query asks for.

    given: part, as_of, revision and limit as text, all of them optional. Raises BadInput with all that is wrong.
    """
    problems: list[Problem] = []
    day = asked_day(given, today, problems)
    revision = asked_whole(given, "revision", 1, MOST_REVISION, problems)
    limit = asked_whole(given, "limit", 0, MOST_OFFERS, problems)
    if problems:
        raise BadInput(problems)
    most = USUAL_OFFERS if limit is None else limit
    with Book(path) as book:
        try:
            if "part" in given:
                return find_offers(book, day, revision, given["part"], most)
            return list_offers(book, day, revision, "", most)
        except BadInput as error:
            raise BadInput([replace(x, path=_NAMES.get(x.path, x.path)) for x in error.problems]) from None
