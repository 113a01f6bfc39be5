"""Listings: what `mendworth prices` answers, as data: imports, and offers that hold on a day."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from difflib import get_close_matches

import numpy as np
import pandas as pd

from api.book import Asked, Book, Held, Page, Revision
from api.headers import plain
from api.pricelist import PriceList
from api.source import Sourced
from econ.money import to_decimal
from econ.offers import Offer
from econ.pricebook import STALE_DAYS, age_days, piece
from econ.problems import BadInput, Problem, nearest, shown

ENOUGH = 1_000  # offers looked through for the cheapest
MOST_NAMED = 3  # prices in a headline


@dataclass(frozen=True)
class ListImported:
    """A price list added, or only checked: revision then is none. dropped: rows repeated word for word.

    unchanged: it is in the book already, as that revision, and nothing was added. stale: a feed that could not be read
    now; this is its last good copy.
    """

    source: str
    revision: int | None
    unchanged: bool
    stale: bool
    rows: int
    parts: int
    sellers: tuple[str, ...]
    left_out: int
    dropped: int
    blank: int
    ignored_headers: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Imported:
    """The answer to an import; problems: of rows that were left out."""

    book: str
    dry_run: bool
    lists: tuple[ListImported, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class OfferLine:
    """An offer. price: of a pack; price_each: of a piece; none where no price is known.

    stale: older than stale_days of the listing.
    """

    part: str
    title: str
    designation: str
    seller: str
    status: str
    price: Decimal | None
    currency: str
    pack: int
    price_each: Decimal | None
    core_charge: Decimal
    weight_kg: float | None
    lead_days: float | None
    return_loss: float | None
    seen_on: date
    age_days: int
    stale: bool
    superseded_by: str
    machine_class: str
    revision: int


@dataclass(frozen=True)
class Listing:
    """Offers that hold on a day, as of a revision of the book; offers: the first ones, of total in all."""

    book: str
    revision: int
    as_of: date
    stale_days: int
    headline: str
    total: int
    parts: int
    sellers: int
    offers: tuple[OfferLine, ...]


@dataclass(frozen=True)
class Revisions:
    """The imports of a book, the oldest first."""

    book: str
    revisions: tuple[Revision, ...]


@dataclass(frozen=True)
class Withdrawn:
    """An import taken back: the revision that does so, and the one whose rows no longer count."""

    book: str
    revision: Revision
    withdrawn: Revision


def under_known_names(listed: PriceList, names: Iterable[str]) -> PriceList:
    """Return a price list with each seller called as the book calls it: `fen parts` where that has Fen Parts."""
    known = {name.casefold(): name for name in names}
    column = listed.rows["seller"].cat
    called = [known.get(name.casefold(), name) for name in column.categories]
    if called == list(column.categories):
        return listed
    places, distinct = pd.factorize(np.array(called, object))
    seller = pd.Categorical.from_codes(places[column.codes], categories=pd.Index(distinct, dtype=object))
    stated = {(known.get(n.casefold(), n), c): t for (n, c), t in listed.stated.items()}
    return replace(listed, rows=listed.rows.assign(seller=seller), stated=stated)


def imported(
    listed: PriceList,
    revision: Revision | None,
    classes: Collection[str],
    circles: Sequence[Sequence[str]] = (),
    unchanged: bool = False,
    feed: Sourced | None = None,
) -> ListImported:
    """Return what became of a price list.

    classes: ids of the machine classes that ship. circles: parts of the book that replace each other since.
    feed: where it came from.
    """
    rows, stale = listed.rows, feed is not None and feed.stale
    odd = [c for c in rows["machine_class"].unique() if c and c not in classes]
    notes = (feed.note, *listed.notes) if stale and feed is not None else listed.notes
    if odd:
        named = ", ".join(map(shown, odd[:5])) + (", ..." if len(odd) > 5 else "")
        notes += (f"no such machine class ships: {named}; these rows serve only a class of your own of that name",)
    for circle in circles[:5]:
        notes += (
            f"with lists added before, parts replace each other in a circle: {' -> '.join(map(shown, circle))}; the "
            "newest word holds: correct superseded_by at the one that is on sale",
        )
    return ListImported(
        listed.name, revision.number if revision else None, unchanged, stale, 0 if unchanged else len(rows),
        int(rows["part"].nunique()), tuple(sorted(map(str, rows["seller"].unique()))), listed.bad, listed.dropped,
        listed.blank, listed.ignored, notes,
    )  # fmt: skip


def _line(held: Held, day: date, stale_days: int) -> OfferLine:
    o, currency = held.offer, held.currency
    age = age_days(o, day)
    known = o.price > 0 or o.status == "donor"  # which may be had for nothing
    price, each = (to_decimal(x, currency) if known else None for x in (o.price, piece(o)))
    return OfferLine(
        part=o.part, title=o.title, designation=o.designation, seller=o.seller, status=o.status, price=price,
        currency=currency, pack=o.pack, price_each=each, core_charge=to_decimal(o.core_charge, currency),
        weight_kg=o.weight_kg, lead_days=o.lead_days, return_loss=o.return_loss, seen_on=o.seen_on, age_days=age,
        stale=age > stale_days, superseded_by=o.superseded_by, machine_class=o.machine_class, revision=held.revision,
    )  # fmt: skip


def _listing(
    book: Book, day: date, revision: int | None, page: Page, days: int, headline: str, limit: int | None = None
) -> Listing:
    lines = tuple(_line(h, day, days) for h in page.held[:limit])
    at = book.newest() if revision is None else revision
    return Listing(str(book.path), at, day, days, headline, page.total, page.parts, page.sellers, lines)


def count(n: int, word: str) -> str:
    """Return a number of things in words."""
    return f"{n:,} {word}{'' if n == 1 else 's'}"


def list_offers(book: Book, day: date, revision: int | None, seller: str, limit: int) -> Listing:
    """Return all offers that hold on a day, or a seller's. Raises BadInput where there is no such seller."""
    if seller:
        known = {name.casefold(): name for name in book.seller_names()}
        if seller.casefold() not in known:
            rule = "the book holds no such seller"
            raise BadInput([Problem("--seller", shown(seller), rule, nearest(seller, known.values()))])
        seller = known[seller.casefold()]
    page = book.current(day, revision, Asked(seller=seller, limit=limit))
    who = seller or count(page.sellers, "seller")
    headline = f"{count(page.total, 'offer')} of {count(page.parts, 'part')} by {who} on {day}."
    if not page.total:
        headline = f"No offer was seen by {day}."
    return _listing(book, day, revision, page, STALE_DAYS, headline)


def stale_offers(book: Book, day: date, revision: int | None, days: int, limit: int) -> Listing:
    """Return the offers that hold on a day and are older than some days."""
    every = book.current(day, revision, Asked(limit=0))
    page = book.current(day, revision, Asked(before=day - timedelta(days=min(days, day.toordinal() - 1)), limit=limit))
    if page.total:
        headline = (
            f"{page.total:,} of {count(every.total, 'offer')} {'is' if page.total == 1 else 'are'} stale: older than "
            f"{count(days, 'day')} on {day}, the oldest seen on {page.oldest}."
        )
    else:
        headline = f"None of {count(every.total, 'offer')} is older than {count(days, 'day')} on {day}."
    return _listing(book, day, revision, page, days, headline)


def find_offers(book: Book, day: date, revision: int | None, text: str, limit: int) -> Listing:
    """Return the offers of the parts that a text fits: every word of it stands in id, title or designation.

    Where none does, its words are taken for the nearest there are.
    """
    texts: dict[str, str] = {}
    for part, title, designation in book.names():
        texts[part] = f"{texts.get(part, '')} {plain(f'{part} {title} {designation}')}"
    asked = plain(text).split()
    if not asked:
        raise BadInput([Problem("TEXT", shown(text), "it holds a word or a number to look for", "give one")])
    parts, said = _fitting(asked, texts), f'"{text}"'
    if not parts:
        known = sorted({word for found in texts.values() for word in found.split()})
        close = [(get_close_matches(word, known, n=1, cutoff=0.7) or [word])[0] for word in asked]
        parts = _fitting(close, texts)
        said = f'Nothing holds "{text}"; the nearest, "{" ".join(close)}",' if parts else said
    page = book.current(day, revision, Asked(parts=tuple(parts), limit=max(limit, ENOUGH)))
    if not parts:
        headline = f"No part of the book fits {said}."
    elif not page.total:
        headline = f"{said} fits {count(len(parts), 'part')}, but no offer was seen by {day}."
    else:
        headline = f"{said} fits {count(page.parts, 'part')}, {count(page.total, 'offer')}{_cheapest(page, day)}"
    return _listing(book, day, revision, page, STALE_DAYS, headline, limit)


def _fitting(asked: list[str], texts: dict[str, str]) -> list[str]:
    return [p for p, t in texts.items() if all(w in t or w in t.replace(" ", "") for w in asked)]


def _cheapest(page: Page, day: date) -> str:
    """Return what the cheapest new one of each part costs in each currency; nothing where that is many."""
    if len(page.held) < page.total:
        return "."
    best: dict[tuple[str, str], Offer] = {}
    for h in page.held:
        o, key = h.offer, (h.offer.part, h.currency)
        if o.status == "new" and not o.superseded_by and (key not in best or _rank(o, day) < _rank(best[key], day)):
            best[key] = o
    if not best:
        return "; none is new."
    if len(best) > MOST_NAMED:
        return "."
    parts = {part for part, _ in best}
    said = []
    for (part, currency), o in best.items():
        seen = f"seen on {o.seen_on}" + (", stale" if age_days(o, day) > STALE_DAYS else "")
        name = f"{part} " if len(parts) > 1 else ""
        said.append(f"{name}{to_decimal(piece(o), currency)} {currency} a piece at {o.seller}, {seen}")
    of = " of each part" if len(parts) > 1 else f", {parts.pop()},"
    return f"; the cheapest new one{of} is {'; '.join(said)}."


def _rank(o: Offer, day: date) -> tuple[object, ...]:
    return age_days(o, day) > STALE_DAYS, piece(o), o.seller
