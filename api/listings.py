"""Listings: what `mendworth prices` answers, as data: imports, and offers that hold on a day."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from difflib import get_close_matches

from api.book import Asked, Book, Held, Page, Revision
from api.headers import plain
from api.pricelist import PriceList
from econ.money import to_decimal
from econ.pricebook import STALE_DAYS, age_days, piece
from econ.problems import BadInput, Problem, nearest, shown


@dataclass(frozen=True)
class ListImported:
    """A price list added, or only checked: revision then is none. dropped: rows repeated word for word."""

    source: str
    revision: int | None
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
    """An offer. price: of a pack; price_each: of a piece; stale: older than stale_days of the listing."""

    part: str
    title: str
    designation: str
    seller: str
    status: str
    price: Decimal
    currency: str
    pack: int
    price_each: Decimal
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


def imported(listed: PriceList, revision: Revision | None, classes: Collection[str]) -> ListImported:
    """Return what became of a price list. classes: ids of the machine classes that ship."""
    rows = listed.rows
    odd = [c for c in rows["machine_class"].unique() if c and c not in classes]
    notes = listed.notes
    if odd:
        named = ", ".join(map(shown, odd[:5])) + (", ..." if len(odd) > 5 else "")
        notes += (f"no such machine class ships: {named}; these rows serve only a class of your own of that name",)
    return ListImported(
        listed.name, revision.number if revision else None, len(rows), int(rows["part"].nunique()),
        tuple(sorted(map(str, rows["seller"].unique()))), listed.bad, listed.dropped, listed.blank, listed.ignored,
        notes,
    )  # fmt: skip


def _line(held: Held, day: date, stale_days: int) -> OfferLine:
    o, currency = held.offer, held.currency
    age = age_days(o, day)
    return OfferLine(
        o.part, o.title, o.designation, o.seller, o.status, to_decimal(o.price, currency), currency, o.pack,
        to_decimal(piece(o), currency), to_decimal(o.core_charge, currency), o.weight_kg, o.lead_days, o.return_loss,
        o.seen_on, age, age > stale_days, o.superseded_by, o.machine_class, held.revision,
    )  # fmt: skip


def _listing(book: Book, day: date, revision: int | None, page: Page, days: int, headline: str) -> Listing:
    lines = tuple(_line(h, day, days) for h in page.held)
    at = book.newest() if revision is None else revision
    return Listing(str(book.path), at, day, days, headline, page.total, page.parts, page.sellers, lines)


def _count(n: int, word: str) -> str:
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
    who = seller or _count(page.sellers, "seller")
    headline = f"{_count(page.total, 'offer')} of {_count(page.parts, 'part')} by {who} on {day}."
    if not page.total:
        headline = f"No offer was seen by {day}."
    return _listing(book, day, revision, page, STALE_DAYS, headline)


def stale_offers(book: Book, day: date, revision: int | None, days: int, limit: int) -> Listing:
    """Return the offers that hold on a day and are older than some days."""
    every = book.current(day, revision, Asked(limit=0))
    page = book.current(day, revision, Asked(before=day - timedelta(days=min(days, day.toordinal() - 1)), limit=limit))
    if page.total:
        headline = (
            f"{page.total:,} of {_count(every.total, 'offer')} {'is' if page.total == 1 else 'are'} stale: older than "
            f"{_count(days, 'day')} on {day}, the oldest seen on {page.oldest}."
        )
    else:
        headline = f"None of {_count(every.total, 'offer')} is older than {_count(days, 'day')} on {day}."
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
    page = book.current(day, revision, Asked(parts=tuple(parts), limit=limit))
    if not parts:
        headline = f"No part of the book fits {said}."
    elif not page.total:
        headline = f"{said} fits {_count(len(parts), 'part')}, but no offer was seen by {day}."
    else:
        headline = f"{said} fits {_count(page.parts, 'part')}, {_count(page.total, 'offer')}{_cheapest(page)}"
    return _listing(book, day, revision, page, STALE_DAYS, headline)


def _fitting(asked: list[str], texts: dict[str, str]) -> list[str]:
    return [p for p, t in texts.items() if all(w in t or w in t.replace(" ", "") for w in asked)]


def _cheapest(page: Page) -> str:
    new = [h for h in page.held if h.offer.status == "new" and not h.offer.superseded_by]
    if not new or len({h.currency for h in new}) > 1 or len(page.held) < page.total:
        return "."
    best = min(new, key=lambda h: (piece(h.offer), h.offer.part, h.offer.seller))
    o, price = best.offer, f"{to_decimal(piece(best.offer), best.currency)} {best.currency}"
    return f"; the cheapest new one, {o.part}, is {price} a piece at {o.seller}, seen on {o.seen_on}."
