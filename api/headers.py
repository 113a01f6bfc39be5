"""Headers: the columns of a list, the words lists use for them, and which header of a file is which column.

What the columns are is a value, `Heads`: those of price lists stand here, those of finds in `api.findheads`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cached_property

from api.cells import DAYS, PIECES, SHARES, WEIGHTS
from econ.money import DIGITS, SIGNS
from econ.problems import BadInput, Problem, nearest, shown


@dataclass(frozen=True)
class Head:
    """A column of a list: what it holds, and other headers that mean it, as `plain` gives them."""

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
_SIGNED = {sign: code for code, sign in SIGNS.items()}
UNITS_NAMED = 5  # the rest are other names of them
NEAR = 0.82  # least likeness of a header that may be a known one misspelled: a letter in six may be wrong; judgement


def plain(header: str) -> str:
    """Return a header in small letters and single spaces, without punctuation."""
    return " ".join(re.sub(r"[^\w$€£]|_", " ", header.casefold()).split())


@dataclass(frozen=True)
class Heads:
    """The columns of one kind of list.

    called: what such a list is called in messages. columns: by their names. units: what a header may name as the unit
    of its cells, by column, with the factor it brings. of_money: columns whose header may name a currency. unsure:
    words that may as well mean none of the columns. required: columns of which a list has one, the first of them named
    in messages. either: pairs of columns of which a list has one at most, with the rule.
    """

    called: str
    columns: Mapping[str, Head]
    units: Mapping[str, Mapping[str, float]]
    of_money: frozenset[str]
    unsure: frozenset[str] = frozenset()
    required: tuple[tuple[str, ...], ...] = ()
    either: Mapping[tuple[str, str], str] = field(default_factory=dict)

    @cached_property
    def words(self) -> Mapping[str, tuple[str, ...]]:
        """Return for each plain header that is known the columns it may mean; an empty name: none of them."""
        found: dict[str, tuple[str, ...]] = {}
        for column, head in self.columns.items():
            for word in dict.fromkeys((plain(column), *head.others)):
                found[word] = (*found.get(word, ()), column)
        return {word: columns + (("",) if word in self.unsure else ()) for word, columns in found.items()}

    @cached_property
    def any_unit(self) -> frozenset[str]:
        """Return every unit that some column takes."""
        return frozenset(unit for units in self.units.values() for unit in units) - {""}

    def fits(self, unit: str, column: str) -> bool:
        """Return whether a unit or currency is one of a column."""
        return unit in self.units.get(column, ()) or (unit in DIGITS and column in self.of_money)

    def parted(self, header: str) -> tuple[str, str]:
        """Return the words of a header, plain, and apart from them the unit or currency it names: `Weight (g)`."""
        word = plain(header)
        if "%" in header:  # which is no word
            return word, "%"
        rest, _, last = word.rpartition(" ")
        unit = last if last in self.any_unit else _SIGNED.get(last, last.upper())
        return (word, "") if word in self.words or unit not in self.any_unit | DIGITS.keys() else (rest, unit)

    def meant(self, header: str, mapped: Mapping[str, str]) -> tuple[tuple[str, ...], str]:
        """Return the columns a header may mean, and the unit or currency it names. mapped: as `read_map` gives it."""
        word, unit = self.parted(header)
        if plain(header) not in mapped:
            return self.words.get(word, ()), unit
        column = mapped[plain(header)]
        return (column,), unit if self.fits(unit, column) else ""  # what the user says goes before what seems a unit

    def near(self, header: str) -> tuple[str, ...]:
        """Return the columns of a known header that is nearly this one, or this one but for what is in brackets."""
        for word in (plain(re.sub(r"[(\[].*", "", header)), self.parted(header)[0]):
            for close in get_close_matches(word, self.words, n=1, cutoff=NEAR):
                return tuple(c for c in self.words[close] if c)
        return ()


def _in_brackets(header: str) -> str:
    """Return what stands in brackets behind a header, which may be a unit that is not known here."""
    found = re.search(r"[(\[]([^)\]]+)", header)
    return found[1].strip() if found else ""


# What a header may name as the unit of its cells, with the factor it brings.
UNITS: Mapping[str, Mapping[str, float]] = {
    "weight_kg": WEIGHTS, "lead_days": DAYS, "return_loss": SHARES, "pack": PIECES
}  # fmt: skip
PRICE_LIST = Heads(
    "price list",
    COLUMNS,
    UNITS,
    frozenset({"price", "price_each", "core_charge", "currency", *OF_SELLER}),
    frozenset(UNSURE),
    (("part",), ("price", "price_each")),
    {("price", "price_each"): "a list states the price of a pack or of a piece"},
)


def matches(cells: Sequence[str], mapped: Mapping[str, str], heads: Heads = PRICE_LIST) -> int:
    """Return how many columns of ours a row of cells names; to tell the header from the rows above it."""
    return len({c for cell in cells for c in heads.meant(cell, mapped)[0]} - {""})


@dataclass(frozen=True)
class Matched:
    """Which column of a file is which of ours.

    units: of columns whose header names one, for cells that state none. ignored: headers that mean none. near: those of
    them that are nearly a known one, to the column they may be, where the file has no other. currency: named in price
    headers.
    """

    places: Mapping[str, int]
    units: Mapping[str, str]
    ignored: tuple[str, ...]
    near: Mapping[str, str]
    currency: str
    problems: tuple[Problem, ...]
    heads: Heads = PRICE_LIST

    def notes(self) -> tuple[str, ...]:
        """Return what is to be said of headers that are nearly a known one."""
        return tuple(
            f"{shown(header)} looks like {column} ({self.heads.columns[column].about}); "
            + (f"if its cells are in that, and not in {other}: " if (other := _in_brackets(header)) else "if it is: ")
            + f"--map {shown(f'{header}={column}')}"
            for header, column in self.near.items()
        )


def match(headers: Sequence[str], mapped: Mapping[str, str], where: str, heads: Heads = PRICE_LIST) -> Matched:
    """Return which column of a file is which of ours.

    headers: as the file has them. mapped: what the user said, plain header -> column of ours, or empty to ignore it.
    where: the headers stand, for problems: the file and its row. heads: the columns of ours.
    """
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    ignored: list[str] = []
    problems: list[Problem] = []
    currencies: dict[str, str] = {}
    for i, header in enumerate(headers):
        if not header.strip():
            continue
        could, unit = heads.meant(header, mapped)
        fitting = tuple(c for c in could if not unit or not c or heads.fits(unit, c))
        here = f"{where}, {header}"
        if could and not fitting:
            rule = f"{shown(unit)} is no unit of {' or '.join(could)}" + "".join(
                f"; its units are {', '.join([u for u in heads.units[c] if u][:UNITS_NAMED])}"
                for c in could
                if c in heads.units
            )
            remedy = f'correct it, or say what the header means: --map "{header}={could[0]}"'
            problems.append(Problem(here, shown(header), rule, remedy))
        elif not any(fitting):
            ignored.append(header)
        elif len(fitting) > 1:
            rule = f"this header may mean {' or '.join(c or 'none of these columns' for c in fitting)}"
            problems.append(Problem(here, shown(header), rule, f'say which: --map "{header}={fitting[0]}"'))
        elif fitting[0] in places:
            rule = f"{shown(headers[places[fitting[0]]])} is the column {fitting[0]} already"
            problems.append(Problem(here, shown(header), rule, f'leave one out: --map "{header}="'))
        else:
            places[fitting[0]] = i
            if unit in DIGITS:
                currencies[unit] = header
            elif unit:
                units[fitting[0]] = unit
    like = {h: [c for c in heads.near(h) if c not in places] for h in ignored if plain(h) not in mapped}
    near = {header: columns[0] for header, columns in like.items() if columns}
    if len(currencies) > 1:
        rule = "a row has one currency"
        problems.append(Problem(where, " and ".join(currencies), rule, "leave it to a currency column"))
    there = {plain(h) for h in headers}
    for word, column in mapped.items():
        if word not in there:
            rule, remedy = "the file has no such header", nearest(word, [h for h in headers if h.strip()])
            problems.append(Problem("--map", shown(f"{word}={column}"), rule, remedy))
    for pair, rule in heads.either.items():
        if set(pair) <= set(places):
            problems.append(Problem(where, " and ".join(pair), rule, 'leave one out with --map "...="'))
    for columns in heads.required:
        if not set(columns) & set(places):
            got = ", ".join(shown(h) for h in headers if h.strip()) or "no headers"
            rule = f"a {heads.called} has a column {columns[0]}"
            header = next((h for h, c in near.items() if c == columns[0] and not _in_brackets(h)), "header")
            problems.append(Problem(where, got[:200], rule, f'say which it is: --map "{header}={columns[0]}"'))
    return Matched(places, units, tuple(ignored), near, next(iter(currencies), ""), tuple(problems), heads)


def read_map(said: Sequence[str], heads: Heads = PRICE_LIST) -> Mapping[str, str]:
    """Return `--map` options, each "their header=our column", as plain header -> column. Raises BadInput."""
    found: dict[str, str] = {}
    problems = []
    for text in said:
        header, sign, column = text.rpartition("=")
        column = column.strip().replace(" ", "_").casefold()
        if not sign or not plain(header):
            problems.append(Problem("--map", shown(text), "it is written header=column", "put = between them"))
        elif column and column not in heads.columns:
            rule = f"a {heads.called} has no such column"
            problems.append(Problem("--map", shown(text), rule, nearest(column, heads.columns)))
        elif found.get(plain(header), column) != column:
            problems.append(Problem("--map", shown(text), "this header is mapped twice", "leave one out"))
        else:
            found[plain(header)] = column
    if problems:
        raise BadInput(problems)
    return found
