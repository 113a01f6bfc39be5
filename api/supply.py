"""Supply: what the price book offers for the parts of a case, read from its file."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

from econ.bearing_offers import DayPrices
from econ.case import Case
from econ.offers import Seller
from econ.pricebook import Supply
from econ.problems import BadInput, Problem, shown
from econ.rulebook import MachineClass


def book_at(path: str | None) -> Path | None:
    """Return the price book to use: the one named, else the usual one if it is there. Raises BadInput if it is not."""
    from api.book import VARIABLE, default_path

    said = path or os.environ.get(VARIABLE)
    if said is not None and said:
        if not Path(said).is_file():
            rule, where = "there is no price book here", "--book" if path else VARIABLE
            remedy = "make one: mendworth prices import FILE" + (" --book FILE" if path else ", or correct it")
            raise BadInput([Problem(where, shown(said), rule, remedy)])
        return Path(said)
    usual = default_path()
    return usual if usual.is_file() else None


def bearing_prices(path: Path | None, day: date, revision: int | None = None) -> DayPrices | None:
    """Return what a price book offers on a day that has a standard designation, for `bearings`; None without a book.

    revision: as the book was then; the newest if left out. Raises BadInput where there is no such.
    """
    if path is None:
        return None
    from api.book import Book

    with Book(path) as book:
        at = book.newest() if revision is None else revision
        return DayPrices(day, book.designated(day, revision), at)


def supply_of(case: Case, c: MachineClass, path: Path | None) -> Supply | None:
    """Return what a price book offers for a case's parts, under their ids in the rulebook; None without a book.

    Raises BadInput where the case asks for a revision and there is no such.
    """
    if path is None:
        if case.price_revision is not None:
            rule = "no price book is in use here"
            raise BadInput(
                [Problem("price_revision", shown(case.price_revision), rule, "leave it out, or name the book")]
            )
        return None
    from api.book import Book

    meant: dict[str, list[str]] = {}
    for p in c.parts:
        meant.setdefault(case.listed_as.get(p, p), []).append(p)
    with Book(path) as book:
        try:
            offers = book.offers(meant, case.currency, c.id, case.price_revision)
            stated = book.sellers(case.currency, case.price_revision, case.as_of)
        except BadInput as error:
            raise BadInput([replace(x, path="price_revision") for x in error.problems]) from None
        revision = case.price_revision or book.newest()
        elsewhere = () if offers else book.currencies(meant, case.price_revision)
    there = {o.part for o in offers}
    lost = [(p, x) for p, x in case.listed_as.items() if x not in there]
    if lost:
        rule = f"the price book has no such part in {case.currency}"
        remedy = "see mendworth prices find, or leave it out"
        raise BadInput([Problem(f"listed_as.{p}", shown(x), rule, remedy) for p, x in lost])
    sellers = {o.seller: Seller(o.seller, stated=False) for o in offers} | stated
    under = (replace(o, part=p) for o in offers for p in meant.get(o.part, [o.part]))
    return Supply(tuple(under), sellers, revision, elsewhere)
