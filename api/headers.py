"""Headers: the columns of a price list, the words lists use for them, and which header of a file is which column."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from econ.money import DIGITS, SIGNS
from econ.problems import BadInput, Problem, nearest, shown


@dataclass(frozen=True)
class Head:
    """A column of a price list: what it holds, and other headers that mean it, as `plain` gives them."""

    about: str
    others: tuple[str, ...] = ()


# The words of the trade are common practice. One that stands at two columns is asked about, not guessed.
COLUMNS: Mapping[str, Head] = {
    "part": Head(
        "id of the part: the rulebooks' or your own",
        ("part id", "part no", "part number", "part nr", "partno", "item", "item no", "item number", "item id", "sku",
         "article", "article no", "article number", "stock no", "reference"),
    ),
    "title": Head("what it is, in words", ("description", "item description", "part description", "name", "part name")),
    "designation": Head(
        "standard designation, if it has one, such as 6203-2RS", ("standard", "standard designation", "reference")
    ),
    "seller": Head("who sells it", ("vendor", "supplier", "dealer", "shop", "sold by", "seller name", "source")),
    "status": Head(
        "new, back-ordered, discontinued, used, donor or own stock; new where empty",
        ("availability", "available", "condition", "part status", "stock"),
    ),
    "pack": Head(
        "pieces in a pack; 1 where empty",
        ("pack size", "pack qty", "pack quantity", "qty per pack", "quantity per pack", "pieces per pack", "per pack",
         "pieces", "pcs", "qty", "quantity", "stock"),
    ),
    "price": Head(
        "price of one pack",
        ("unit price", "pack price", "price per pack", "net price", "cost", "list price"),
    ),
    "price_each": Head(
        "price of one piece, in place of price", ("price each", "each", "price per piece", "piece price")
    ),
    "currency": Head("three letters of ISO 4217", ("ccy", "cur", "curr", "currency code")),
    "core_charge": Head(
        "paid on each piece and refunded when the old part goes back",
        ("core", "core deposit", "core price", "exchange charge"),
    ),
    "weight_kg": Head(
        "weight of one pack in kg, or with its unit: 120 g, 2 lb", ("weight", "weight per pack", "shipping weight")
    ),
    "lead_days": Head(
        "days from order to doorstep",
        ("lead time", "lead time days", "lead", "days", "delivery days", "delivery time", "delivery"),
    ),
    "return_loss": Head(
        "share of the price lost when it goes back unused: 0.15, 15 %, none where it can't go back",
        ("returns", "return terms", "restocking", "restocking fee", "return fee"),
    ),
    "seen_on": Head(
        "day the price was seen, YYYY-MM-DD",
        ("date", "price date", "date seen", "seen", "as of", "valid from", "effective", "effective date", "updated"),
    ),
    "superseded_by": Head(
        "part that took its place",
        ("replaced by", "replacement", "supersession", "new part", "successor"),
    ),
    "machine_class": Head("the only machine class it fits, if it fits one alone", ("machine", "fits")),
    "shipping": Head(
        "what the seller charges to send an order", ("shipping flat", "flat shipping", "postage", "freight", "delivery")
    ),
    "shipping_per_kg": Head("and for each kg of it", ("shipping per kg", "freight per kg", "postage per kg")),
    "free_from": Head(
        "goods from which on the seller sends free",
        ("free shipping from", "free shipping over", "free delivery from", "free over"),
    ),
    "minimum_order": Head("least value of an order there", ("min order", "minimum order value")),
}  # fmt: skip
UNSURE = {"qty", "quantity", "stock"}  # may as well be what lies on the seller's shelf, which is none of ours
OF_SELLER = ("shipping", "shipping_per_kg", "free_from", "minimum_order")
_WORDS: Mapping[str, tuple[str, ...]] = {
    word: tuple(c for c, head in COLUMNS.items() if word == c.replace("_", " ") or word in head.others)
    + (("",) if word in UNSURE else ())
    for word in {w for c, head in COLUMNS.items() for w in (c.replace("_", " "), *head.others)}
}
_UNITS = ("kg", "days")
_SIGNED = {sign: code for code, sign in SIGNS.items()}


def plain(header: str) -> str:
    """Return a header in small letters and single spaces, without punctuation."""
    return " ".join(re.sub(r"[^\w$€£]|_", " ", header.casefold()).split())


def _candidates(header: str) -> tuple[tuple[str, ...], str]:
    """Return the columns a header may mean, and the currency it names, as in `Unit price (EUR)`."""
    word = plain(header)
    if word in _WORDS:
        return _WORDS[word], ""
    rest, _, last = word.rpartition(" ")
    if last in _UNITS:
        return _WORDS.get(rest, ()), ""
    code = _SIGNED.get(last, last.upper())
    return (_WORDS.get(rest, ()), code) if code in DIGITS else ((), "")


def matches(cells: Sequence[str], mapped: Mapping[str, str]) -> int:
    """Return how many columns of ours a row of cells names; to tell the header from the rows above it."""
    known = {c for cell in cells for c in _candidates(cell)[0]}
    return len((known | {mapped[plain(cell)] for cell in cells if plain(cell) in mapped}) - {""})


@dataclass(frozen=True)
class Matched:
    """Which column of a file is which of ours; ignored: headers that mean none; currency: named in price headers."""

    places: Mapping[str, int]
    ignored: tuple[str, ...]
    currency: str
    problems: tuple[Problem, ...]


def match(headers: Sequence[str], mapped: Mapping[str, str], name: str, row: int) -> Matched:
    """Return which column of a file is which of ours.

    headers: as the file has them. mapped: what the user said, plain header -> column of ours, or empty to ignore it.
    name, row: of the file and its header row, for problems.
    """
    places: dict[str, int] = {}
    ignored: list[str] = []
    problems: list[Problem] = []
    currencies: dict[str, str] = {}
    for i, header in enumerate(headers):
        if not header.strip():
            continue
        said = plain(header) in mapped
        could, code = ((mapped[plain(header)],), "") if said else _candidates(header)
        where = f"{name}: row {row}, {header}"
        if not could or could == ("",):
            ignored.append(header)
        elif len(could) > 1:
            rule = f"this header may mean {' or '.join(c or 'none of these columns' for c in could)}"
            problems.append(Problem(where, shown(header), rule, f'say which: --map "{header}={could[0]}"'))
        elif could[0] in places:
            rule = f"{shown(headers[places[could[0]]])} is the column {could[0]} already"
            problems.append(Problem(where, shown(header), rule, f'leave one out: --map "{header}="'))
        else:
            places[could[0]] = i
            if code:
                currencies[code] = header
    if len(currencies) > 1:
        rule = "a row has one currency"
        problems.append(Problem(f"{name}: row {row}", " and ".join(currencies), rule, "leave it to a currency column"))
    there = {plain(h) for h in headers}
    for word, column in mapped.items():
        if word not in there:
            rule, remedy = "the file has no such header", nearest(word, [h for h in headers if h.strip()])
            problems.append(Problem("--map", shown(f"{word}={column}"), rule, remedy))
    if {"price", "price_each"} <= set(places):
        rule = "a list states the price of a pack or of a piece"
        problems.append(Problem(f"{name}: row {row}", "price and price_each", rule, 'leave one out with --map "...="'))
    for column in ("part", "price"):
        if column not in places and not (column == "price" and "price_each" in places):
            got = ", ".join(shown(h) for h in headers if h.strip()) or "no headers"
            rule = f"a price list has a column {column}"
            problems.append(Problem(f"{name}: row {row}", got[:200], rule, f'say which it is: --map "header={column}"'))
    return Matched(places, tuple(ignored), next(iter(currencies), ""), tuple(problems))


def read_map(said: Sequence[str]) -> Mapping[str, str]:
    """Return `--map` options, each "their header=our column", as plain header -> column. Raises BadInput."""
    found: dict[str, str] = {}
    problems = []
    for text in said:
        header, sign, column = text.rpartition("=")
        column = column.strip().replace(" ", "_").casefold()
        if not sign or not plain(header):
            problems.append(Problem("--map", shown(text), "it is written header=column", "put = between them"))
        elif column and column not in COLUMNS:
            problems.append(Problem("--map", shown(text), "a price list has no such column", nearest(column, COLUMNS)))
        elif found.get(plain(header), column) != column:
            problems.append(Problem("--map", shown(text), "this header is mapped twice", "leave one out"))
        else:
            found[plain(header)] = column
    if problems:
        raise BadInput(problems)
    return found
