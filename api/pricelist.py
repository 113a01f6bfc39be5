"""Price list: the bytes of a CSV or XLSX file in, its rows in one shape and all that is wrong with it out.

The columns are those of `api.headers`; what they may hold is in `sample_prices/README.md`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np
import pandas as pd

from api.cells import (
    DAYS,
    PIECES,
    RETURN_WORDS,
    SHARES,
    STATUS_WORDS,
    WEIGHTS,
    Cells,
    Faults,
    chosen,
    floats,
    money,
    numbers,
    one_spelling,
    words,
)
from api.days import days
from api.figures import BoolArray, IntArray
from api.headers import OF_SELLER, Matched, match, matches
from api.lists import duplicates, one_statement, successors, two_states
from api.rows import below, beside, categories, currencies, required, unknown_currency
from api.sheets import ROWS, Counted, read_sheet
from econ.offers import TERMS, Seller, Stated
from econ.pricebook import SINGLE
from econ.problems import BadInput, Problem, shown

LONGEST_NAME = 100
MOST_PIECES = 1_000  # as `econ.basket` takes them
MOST_KG = 1_000.0
MOST_DAYS = 730.0
NAMED = 3  # ids told one by one
AMOUNT = "it is an amount of money, such as 12.50"


@dataclass(frozen=True)
class Told:
    """What the user says of a file: what its rows leave open, and how it is to be read where the file doesn't tell.

    decimal: ``comma`` or ``point``. dates: ``day`` or ``month``, which comes first. mapped: plain header -> column.
    """

    seller: str = ""
    currency: str = ""
    seen_on: date | None = None
    decimal: str = ""
    dates: str = ""
    encoding: str = ""
    sheet: str = ""
    mapped: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class PriceList:
    """A price list read.

    rows: the good ones, a column for each of FRAME. stated: (name, currency) -> terms, of those that state any.
    problems: of single rows, the first ones; count: of all of them. read: rows that are not blank; bad: rows at fault;
    dropped: repeated word for word. ignored: headers that mean nothing here. notes: how the file was read.
    undated: rows leave their day open, so that the user's holds.
    """

    name: str
    rows: pd.DataFrame
    stated: Mapping[tuple[str, str], Stated]
    problems: tuple[Problem, ...]
    count: int
    read: int
    bad: int
    blank: int
    dropped: int
    ignored: tuple[str, ...]
    notes: tuple[str, ...]
    undated: bool = False

    @property
    def sellers(self) -> Mapping[tuple[str, str], Seller]:
        """The terms of each seller that states any, by name and currency."""
        return {key: terms.seller(key[0]) for key, terms in self.stated.items()}

    def told(self) -> tuple[Problem, ...]:
        """Return the problems with a last one for those that are not told one by one."""
        more = self.count - len(self.problems)
        if not more:
            return self.problems
        rule = f"the first {len(self.problems)} are told one by one"
        remedy = "put these right first, or keep the good rows: --keep-good"
        return (*self.problems, Problem(self.name, f"{more:,} more values at fault", rule, remedy))


FRAME = (
    "part", "title", "designation", "seller", "status", "pack", "price_minor", "currency", "core_minor", "weight_kg",
    "lead_days", "return_loss", "seen_on", "superseded_by", "machine_class",
)  # fmt: skip


def read_prices(body: bytes, name: str, told: Told, today: date, counted: Counted = ROWS) -> PriceList:
    """Return a price list.

    body: the bytes of a CSV or XLSX file; name: for its problems. today: no price is seen after it.
    counted: what its rows are called and how they are counted in problems.
    Raises BadInput, with every problem, where nothing of the file can be kept; a PriceList may have problems of single
    rows, which are left out of its rows.
    """
    _check(told)
    sheet = read_sheet(body, name, lambda cells: matches(cells, told.mapped), told.encoding, told.sheet)
    matched = match(sheet.headers, told.mapped, f"{name}: {counted.headers(sheet.header_row)}")
    if matched.problems:
        raise BadInput(matched.problems)
    under = below(sheet, matched, name, counted)
    rows, cells = under.rows, under.cells
    faults = Faults(name, under.headers, under.numbers, np.zeros(len(rows), bool), counted.word)
    aside = beside(sheet, rows, faults)
    frame, terms = _read(cells, len(rows), faults, told, matched, today)
    if faults.whole:
        raise BadInput([*faults.whole, *faults.told()])
    dropped = duplicates(frame, faults)
    stated = _stated(frame, terms, faults)
    successors(frame, faults)
    kept = frame[~faults.bad & ~dropped].reset_index(drop=True)
    notes = (
        *sheet.notes, *matched.notes(), *aside, *_pieces_note(cells, frame), *_capitals_note(frame),
        *_states_note(kept),
    )  # fmt: skip
    return PriceList(
        name, kept, stated, faults.told(), faults.count, len(rows), int(faults.bad.sum()), sheet.rows - len(rows),
        int((dropped & ~faults.bad).sum()), matched.ignored, notes, _undated(cells.get("seen_on")),
    )  # fmt: skip


def _undated(seen: Cells | None) -> bool:
    return seen is None or not all(t.strip() for t in seen.texts)


def _check(told: Told) -> None:
    problems = [*unknown_currency(told.currency)]
    if not told.seller.isprintable() or len(told.seller) > LONGEST_NAME:
        rule = f"a name is plain text of at most {LONGEST_NAME} characters"
        problems.append(Problem("--seller", shown(told.seller), rule, "shorten it"))
    if problems:
        raise BadInput(problems)


def _read(
    cells: Mapping[str, Cells], n: int, faults: Faults, told: Told, matched: Matched, today: date
) -> tuple[pd.DataFrame, Mapping[str, tuple[IntArray, BoolArray]]]:
    """Return the rows in one shape, and for each of a seller's terms its amounts and which rows state them."""
    part = words(cells.get("part"), n, faults, LONGEST_NAME)
    seller = one_spelling(words(cells.get("seller"), n, faults, LONGEST_NAME, " ".join(told.seller.split())))
    status = chosen(
        cells.get("status"), n, faults, STATUS_WORDS,
        "a part is new, back-ordered, discontinued, used, donor or own stock", "new",
    )  # fmt: skip
    after = words(cells.get("superseded_by"), n, faults, LONGEST_NAME)
    seen = days(cells.get("seen_on"), n, faults, told.dates, today, told.seen_on)
    of_money = {
        c: numbers(cells[c], faults, told.decimal, AMOUNT, "correct it")
        for c in ("price", "price_each", "core_charge", *OF_SELLER)
        if c in cells
    }
    price = of_money.get("price") or of_money["price_each"]
    currency = currencies(cells.get("currency"), n, faults, matched.currency or told.currency, [price])
    state = status.each()
    pack = _pack(cells.get("pack"), n, faults, told, np.isin(state, list(SINGLE)))
    amounts = {c: money(column, currency, faults) for c, column in of_money.items()}
    cost = amounts["price"] if "price" in amounts else amounts["price_each"] * pack
    idle = np.isin(state, ["discontinued", "own_stock"]) | ~after.blank() | (pack == 0)
    header = price.cells.header
    for column, name, rule, remedy in (
        (part, "part", "each row names its part", "add it"),
        (seller, "seller", "each row names its seller", "add it, or say --seller NAME"),
        (currency, "currency", "each row has a currency", "add it, or say --currency, such as USD"),
        (seen, "seen_on", "each row has the day its price was seen", "add it, or say --seen-on DAY"),
    ):
        like = "".join(f', or --map "{header}={name}"' for header, near in matched.near.items() if near == name)
        required(column, name, cells, faults, rule, remedy + like)
    faults.rows(~price.stated() & ~idle, header, lambda _: "nothing", "each part for sale has a price", "add it")
    free = price.stated() & (cost == 0) & ~price.amounts.bad[price.cells.codes] & ~idle & (state != "donor")
    faults.rows(free, header, lambda _: "0", "what is for sale costs something", "correct it, or leave the row out")
    loss = cells.get("return_loss")
    frame = pd.DataFrame(
        {
            "part": categories(part),
            "title": categories(words(cells.get("title"), n, faults, 300)),
            "designation": categories(words(cells.get("designation"), n, faults, 60)),
            "seller": categories(seller),
            "status": categories(status),
            "pack": pack,
            "price_minor": cost,
            "currency": categories(currency),
            "core_minor": amounts.get("core_charge", np.zeros(n, np.int64)),
            "weight_kg": floats(
                cells.get("weight_kg"), n, faults, told.decimal, WEIGHTS, MOST_KG, "a weight in kg, at most 1,000"
            ),
            "lead_days": floats(cells.get("lead_days"), n, faults, told.decimal, DAYS, MOST_DAYS, "days, at most 730"),
            "return_loss": floats(
                loss and _returns(loss), n, faults, told.decimal, SHARES, 1.0, "a share from 0 to 1, or a percentage"
            ),
            "seen_on": categories(seen),
            "superseded_by": categories(after),
            "machine_class": categories(words(cells.get("machine_class"), n, faults, 64)),
        }
    )
    return frame, {c: (amounts[c], of_money[c].stated()) for c in OF_SELLER if c in amounts}


def _pack(cells: Cells | None, n: int, faults: Faults, told: Told, single: BoolArray) -> IntArray:
    """Return the pieces of each pack. single: rows of pieces one by one, of which there may be none left."""
    rule = f"pieces in a pack, a whole number from 1 to {MOST_PIECES:,}; 0 of own stock, used or donor parts used up"
    pieces = floats(cells, n, faults, told.decimal, PIECES, MOST_PIECES, rule)
    pieces = np.where(np.isnan(pieces), 1.0, pieces)
    if cells is not None:
        odd = (pieces < 1) & ~((pieces == 0) & single) | (pieces != np.floor(pieces))
        faults.rows(odd, cells.header, lambda r: shown(cells.texts[cells.codes[r]]), rule, "correct it")
        pieces = np.where(odd, 1.0, pieces)
    return pieces.astype(np.int64)


def _returns(cells: Cells) -> Cells:
    """Return return terms with the words for none and for free turned into shares."""
    said = [RETURN_WORDS.get(" ".join(str(t).casefold().split())) for t in cells.texts]
    texts = np.array([t if s is None else s for t, s in zip(cells.texts, said, strict=True)], object)
    return replace(cells, texts=texts)


def _stated(
    frame: pd.DataFrame, terms: Mapping[str, tuple[IntArray, BoolArray]], faults: Faults
) -> Mapping[tuple[str, str], Stated]:
    """Return the terms of each seller in each currency that states any, as of the newest day of its rows."""
    said = one_statement(frame, terms, faults)
    keys = dict.fromkeys(key for c in TERMS for key in said[c])
    if not keys:
        return {}
    good = frame.loc[~faults.bad, ["seller", "currency", "seen_on"]].astype(str)
    days = good.groupby(["seller", "currency"])["seen_on"].max()
    return {key: Stated(date.fromisoformat(days[key]), *(said[c].get(key) for c in TERMS)) for key in keys}


def _pieces_note(cells: Mapping[str, Cells], frame: pd.DataFrame) -> tuple[str, ...]:
    header = cells["price"].header if "price" in cells else ""
    if header.casefold().startswith("unit") and bool((frame["pack"] > 1).any()):
        return (f'"{header}" is taken as the price of a pack; if it is of a piece: --map "{header}=price_each"',)
    return ()


def _states_note(frame: pd.DataFrame) -> tuple[str, ...]:
    parts = two_states(frame)
    named = ", ".join(map(shown, parts[:5])) + (", ..." if len(parts) > 5 else "")
    said = "listed in more than one state on one day; the one that promises less holds"
    return (f"{said}: {named}",) if parts else ()


def _capitals_note(frame: pd.DataFrame) -> tuple[str, ...]:
    """Note part ids, of parts and of what took their place, that differ only in capital letters."""
    ids = list(dict.fromkeys(frame["part"].cat.categories.tolist() + frame["superseded_by"].cat.categories.tolist()))
    whole = "\n".join(ids)  # all at once: there may be many
    small = whole.lower()
    if small == whole or len(set(small.split("\n"))) == len(ids):
        return ()
    alike: dict[str, list[str]] = {}
    for each, written in zip(ids, small.split("\n"), strict=True):
        alike.setdefault(written, []).append(shown(each))
    groups = [" and ".join(x) for x in alike.values() if len(x) > 1]
    more = f"; and {len(groups) - NAMED:,} more" if len(groups) > NAMED else ""
    first = "; ".join(groups[:NAMED])
    return (f"part ids that differ only in capital letters count as parts of their own: {first}{more}",)
