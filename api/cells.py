"""Cells: the columns of a list read one by one: what a text may say there, and which rows are at fault.

Each check is made on the distinct texts of a column; single rows are looked at only to say what is wrong with them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.figures import COMMA, OPEN, POINT, Amounts, BoolArray, Figures, IntArray, look, scaled, settle
from api.sheets import Column
from econ.money import DIGITS
from econ.offers import Status
from econ.problems import Problem, nearest, shown

Said = str | Callable[[int], str]  # of all rows at fault, or of each
SPELLED = 100  # problems of single rows that are told one by one
ONE_SIGN = "a column has one decimal sign"
MOST_MONEY = 10**12  # [minor units]
# What may stand beside an amount; common practice.
SYMBOLS: Mapping[str, tuple[str, ...]] = {
    "$": ("USD", "AUD", "CAD", "NZD", "SGD", "TWD", "MXN", "CLP"), "us$": ("USD",), "c$": ("CAD",), "ca$": ("CAD",),
    "a$": ("AUD",), "au$": ("AUD",), "nz$": ("NZD",), "r$": ("BRL",), "€": ("EUR",), "£": ("GBP",),
    "kr": ("SEK", "NOK", "DKK", "ISK"), "kr.": ("SEK", "NOK", "DKK", "ISK"), "fr.": ("CHF",), "sfr.": ("CHF",),
    "¥": ("JPY", "CNY"), "zł": ("PLN",), "kč": ("CZK",), "₹": ("INR",), "ft": ("HUF",),
}  # fmt: skip
UNITLESS = ("", ",-", ".-", ",--", ".--", ",–", ".–", ",", ".")  # 12,- is a way to write a round price
STATUS_WORDS: Mapping[str, Status] = {
    "": "new", "new": "new", "in stock": "new", "available": "new", "back ordered": "back_ordered",
    "backordered": "back_ordered", "back order": "back_ordered", "backorder": "back_ordered",
    "on order": "back_ordered", "out of stock": "back_ordered", "discontinued": "discontinued",
    "no longer available": "discontinued",
    "nla": "discontinued", "obsolete": "discontinued", "used": "used", "second hand": "used", "secondhand": "used",
    "donor": "donor", "own stock": "own_stock", "own": "own_stock",
}  # fmt: skip
POUND = 0.45359237  # kg; the pound of 1959
WEIGHTS = {
    "": 1.0, "kg": 1.0, "g": 0.001, "lb": POUND, "lbs": POUND, "oz": POUND / 16, "kgs": 1.0, "kilogram": 1.0,
    "kilograms": 1.0, "gram": 0.001, "grams": 0.001, "pound": POUND, "pounds": POUND, "ounce": POUND / 16,
    "ounces": POUND / 16,
}  # fmt: skip
DAYS = {"": 1.0, "d": 1.0, "day": 1.0, "days": 1.0, "week": 7.0, "weeks": 7.0, "wk": 7.0, "wks": 7.0}
PIECES = {"": 1.0, "pc": 1.0, "pcs": 1.0, "piece": 1.0, "pieces": 1.0, "x": 1.0, "dozen": 12.0}
SHARES = {"": 1.0, "%": 0.01}
RETURN_WORDS = {  # with their sign, whatever the header says of cells without one
    "none": "100%", "no": "100%", "no returns": "100%", "final sale": "100%", "free": "0%", "full refund": "0%"
}  # fmt: skip
# What a spreadsheet says of a broken formula.
BROKEN = frozenset(["#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!"])


@dataclass(frozen=True)
class Cells:
    """A column over the rows that are not blank: for each row the place of its text among the distinct ones.

    unit: that the header names, of numbers that have none beside them.
    """

    header: str
    codes: NDArray[np.intp]
    texts: NDArray[np.object_]
    exact: BoolArray
    unit: str = ""

    @classmethod
    def of(cls, header: str, column: Column, rows: IntArray, unit: str = "") -> Cells:
        """Return some rows of a column with the distinct texts they use."""
        codes = column.codes[rows]
        used = np.bincount(codes, minlength=len(column.texts)) > 0
        return cls(header, (np.cumsum(used) - 1)[codes], column.texts[used], column.exact[used], unit)

    def text(self, row: int) -> str:
        """Return what stands in a row."""
        return str(self.texts[self.codes[row]])


@dataclass(frozen=True)
class Written:
    """How a column is written: ``comma`` or ``point``, or ``day`` or ``month`` first. seen: a cell that tells."""

    how: str
    seen: str = field(compare=False, repr=False)  # for messages; nothing is read by it


@dataclass
class Faults:
    """What is wrong with the rows of one file, gathered column by column, told row by row."""

    name: str
    headers: Mapping[str, str]  # of our columns, as the file has them and in its order
    numbers: IntArray  # of the rows, as messages count them
    bad: BoolArray
    word: str = "row"  # what messages call a row
    whole: list[Problem] = field(default_factory=list)  # of the file: nothing of it can be kept
    count: int = 0
    held: Mapping[str, Written] = field(default_factory=dict)  # by header, how another part of the file is written
    written: dict[str, Written] = field(default_factory=dict)  # by header, how this one is, where cells tell
    _told: list[tuple[int, int, Problem]] = field(default_factory=list)

    def header(self, column: str) -> str:
        """Return what the file calls a column."""
        return self.headers.get(column, column)

    def named(self, row: int) -> str:
        """Return what messages call a row, such as row 7."""
        return f"{self.word} {self.numbers[row]}"

    def at(self, row: int, header: str) -> str:
        """Return where a cell stands."""
        return f"{self.name}: {self.named(row)}, {header}"

    def held_to(self, header: str, seen: Mapping[str, str], rule: str) -> str | None:
        """Return how a column is written in the part of the file that it is held to, empty where that is not known.

        seen: the ways in which its own cells are, with one of each. None, and a fault of the file, where it is another.
        """
        held = self.held.get(header)
        other = [cell for how, cell in seen.items() if held and how != held.how]
        if held and other:
            value = ", ".join((held.seen, *other))
            self.whole.append(Problem(f"{self.name}: {header}", value, rule, "write the whole column one way"))
            return None
        if held:
            return held.how
        if len(seen) == 1:
            ((how, cell),) = seen.items()
            self.written[header] = Written(how, cell)
        return ""

    def rows(self, which: BoolArray, header: str, value: Callable[[int], str], rule: Said, remedy: Said) -> None:
        """Note a fault of some rows. value: what stands in a row."""
        found = np.flatnonzero(which)
        self.bad[found] = True
        self.count += len(found)
        there = list(self.headers.values())
        place = there.index(header) if header in there else len(there)

        def problem(row: int) -> Problem:
            said = (x if isinstance(x, str) else x(row) for x in (rule, remedy))
            return Problem(self.at(row, header), value(row), *said)

        self.note(found, place, problem)

    def note(self, found: IntArray, place: int, problem: Callable[[int], Problem]) -> None:
        """Keep the first of some problems. found: their rows; place: of their column in the file."""
        self._told += [(r, place, problem(r)) for r in found[:SPELLED].tolist()]

    def texts(self, cells: Cells, which: BoolArray, rule: Said, remedy: str | Callable[[str], str]) -> None:
        """Note a fault of some distinct texts of a column. remedy: of all of them, or of each."""
        if which.any():
            each = remedy if isinstance(remedy, str) else lambda r: remedy(cells.text(r))
            self.rows(which[cells.codes], cells.header, lambda r: shown(cells.text(r)), rule, each)

    def told(self) -> tuple[Problem, ...]:
        """Return the first problems of single rows, in the order of the rows."""
        return tuple(p for _, _, p in sorted(self._told, key=lambda x: x[:2])[:SPELLED])


@dataclass
class EveryFault(Faults):
    """What is wrong with the rows of one file, all of it to be had, each row's together."""

    _noted: list[tuple[IntArray, int, Callable[[int], Problem]]] = field(default_factory=list)

    def note(self, found: IntArray, place: int, problem: Callable[[int], Problem]) -> None:
        """Keep some problems; they are put into words when they are asked for."""
        super().note(found, place, problem)
        if len(found):
            self._noted.append((found, place, problem))

    def each(self) -> Iterator[tuple[int, tuple[Problem, ...]]]:
        """Yield every row at fault with its problems, rows and columns in the order of the file."""
        if not self._noted:
            return
        rows = np.concatenate([found for found, _, _ in self._noted])
        which = np.repeat(np.arange(len(self._noted)), [len(found) for found, _, _ in self._noted])
        places = np.array([place for _, place, _ in self._noted])[which]
        order = np.lexsort((which, places, rows))
        starts = np.flatnonzero(np.diff(rows[order], prepend=-1))
        for some in np.split(order, starts[1:]):
            row = int(rows[some[0]])
            yield row, tuple(self._noted[i][2](row) for i in which[some].tolist())


@dataclass(frozen=True)
class Words:
    """A column of clean text: for each row the place of its word among the distinct ones."""

    codes: NDArray[np.intp]
    words: NDArray[np.object_]

    def each(self) -> NDArray[np.object_]:
        """Return the word of each row."""
        return self.words[self.codes]

    def word(self, row: int) -> str:
        """Return the word of one row."""
        return str(self.words[self.codes[row]])

    def blank(self) -> BoolArray:
        """Return which rows have none."""
        found: BoolArray = (self.words == "")[self.codes]
        return found


def same(word: str, rows: int) -> Words:
    """Return a column that says the same in each row."""
    return Words(np.zeros(rows, np.intp), np.array([word], object))


def words(cells: Cells | None, rows: int, faults: Faults, longest: int, default: str = "") -> Words:
    """Return a column as clean text: spaces and line breaks as one space each. default: where a cell is empty."""
    if cells is None:
        return same(default, rows)
    clean = [" ".join(t.split()) for t in cells.texts]
    odd = np.array([not t.isprintable() for t in clean], bool)
    faults.texts(cells, odd, "text holds no control characters", "take it out")
    long = np.fromiter(map(len, clean), np.int64, len(clean)) > longest
    faults.texts(cells, long, f"it is at most {longest} characters long", "shorten it")
    faults.texts(cells, np.array([t in BROKEN for t in clean], bool), "this is a broken formula", "correct it")
    places, found = pd.factorize(np.array([t or default for t in clean], object))
    return Words(places[cells.codes], found)


def first_rows(codes: IntArray | NDArray[np.intp], size: int) -> IntArray:
    """Return the first row of each code below size; the number of rows where none has it."""
    first = np.full(size, len(codes), np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)  # of the rows of a code the last one set stays
    return first


def one_spelling(column: Words) -> Words:
    """Return a column whose words are one where they differ only in capitals, spelled as in the first row of them."""
    folded = [w.casefold() for w in column.words]
    if len(set(folded)) == len(folded):
        return column
    spelled: dict[str, str] = {}
    for i in np.argsort(first_rows(column.codes, len(folded)), kind="stable").tolist():
        spelled.setdefault(folded[i], column.words[i])
    place = {fold: j for j, fold in enumerate(spelled)}
    return Words(np.array([place[f] for f in folded], np.intp)[column.codes], np.array([*spelled.values()], object))


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[-_]", " ", text.casefold()).split())


def chosen(
    cells: Cells | None, rows: int, faults: Faults, known: Mapping[str, str], rule: str, default: str = ""
) -> Words:
    """Return a column of known words. known: what may be written, in small letters, to the word it stands for."""
    if cells is None:
        return same(default, rows)
    plain = [_plain(t) for t in cells.texts]
    odd = np.array([t not in known for t in plain], bool)
    if odd.any():
        faults.texts(cells, odd, rule, lambda t: nearest(_plain(t), set(known) - {""}))
    places, found = pd.factorize(np.array([known.get(t, default) or default for t in plain], object))
    return Words(places[cells.codes], found)


def _decimal_comma(cells: Cells, figures: Figures, faults: Faults, told: str) -> bool | None:
    """Return whether a column's decimal sign is the comma, from its unambiguous cells, else from what the user told.

    None, and a fault of the whole file, where that can't be known.
    """
    says = np.where(cells.exact, 0, figures.says)
    found = {sign: int((says == sign)[cells.codes].argmax()) for sign in (POINT, COMMA, OPEN) if (says == sign).any()}

    def seen(sign: int) -> str:
        row = found[sign]
        return f"{shown(cells.texts[cells.codes[row]])} in {faults.named(row)}"

    where = f"{faults.name}: {cells.header}"
    tells = {how: seen(sign) for sign, how in ((POINT, "point"), (COMMA, "comma")) if sign in found}
    held = faults.held_to(cells.header, tells, ONE_SIGN)
    if held != "":
        return None if held is None else held == "comma"
    if told and len(tells) != 1:
        return told == "comma"
    if {POINT, COMMA} <= set(found):
        remedy = "correct it, or say --decimal comma or --decimal point"
        faults.whole.append(Problem(where, f"{seen(POINT)}, {seen(COMMA)}", ONE_SIGN, remedy))
        return None
    if set(found) == {OPEN}:
        rule = "this may be thousands or a fraction, and no cell of the column tells"
        faults.whole.append(Problem(where, seen(OPEN), rule, "say --decimal comma or --decimal point"))
        return None
    return COMMA in found


@dataclass(frozen=True)
class Numbers:
    """A column of numbers read; units: for each distinct text, what stood beside it."""

    cells: Cells
    amounts: Amounts
    blank: BoolArray
    units: NDArray[np.str_]

    def stated(self) -> BoolArray:
        """Return which rows state a number."""
        return ~self.blank[self.cells.codes]


def numbers(cells: Cells, faults: Faults, decimal: str, rule: str, remedy: str) -> Numbers:
    """Return a column of numbers; those that are none are noted as faults with the rule."""
    figures = look(cells.texts)
    comma = _decimal_comma(cells, figures, faults, decimal)
    amounts = settle(figures, bool(comma), cells.exact)
    if comma is None:  # the file is refused: nothing is to be said of single rows
        amounts = Amounts(amounts.digits, amounts.places, ~figures.blank)
    else:
        faults.texts(cells, amounts.bad, rule, remedy)
    return Numbers(cells, amounts, figures.blank, np.char.lower(figures.unit))


def units_of(column: Numbers) -> tuple[NDArray[np.intp], list[str]]:
    """Return for each distinct text of a column the place of its unit, and the units."""
    units, places = np.unique(column.units, return_inverse=True)
    return places, [str(u) for u in units]


def floats(
    cells: Cells | None, rows: int, faults: Faults, decimal: str, units: Mapping[str, float], most: float, rule: str
) -> NDArray[np.float64]:
    """Return a column of measures for each row, not a number where nothing is stated.

    units: what may stand beside a number, with the factor it brings. most: the largest allowed.
    """
    if cells is None:
        return np.full(rows, np.nan)
    column = numbers(cells, faults, decimal, rule, "correct it, or leave it empty")
    if cells.unit == "%":
        _check_percent(column, faults)
    places, found = units_of(column)
    factor = np.array([units.get(u or cells.unit, np.nan) for u in found])[places]
    # 10^places is exact up to 22, so that this is the float nearest to the decimal text.
    value = column.amounts.digits / 10.0**column.amounts.places * factor
    value = np.where(column.blank, np.nan, value)
    odd = ~column.blank & ~column.amounts.bad & ~(value <= most)
    faults.texts(cells, odd, rule, "correct it, or leave it empty")
    return np.where(odd | column.amounts.bad, np.nan, value)[cells.codes]


def _check_percent(column: Numbers, faults: Faults) -> None:
    """Refuse a column of percentages by its header whose cells look like shares: 0.15 may be 15 % or 0.15 %."""
    bare = (column.units == "") & ~column.blank & ~column.amounts.bad & (column.amounts.digits > 0)
    small = bare & (column.amounts.digits <= 10**column.amounts.places)
    if bare.any() and (small == bare).all():
        cells = column.cells
        row = int(bare[cells.codes].argmax())
        value = f"{shown(cells.texts[cells.codes[row]])} in {faults.named(row)}"
        rule = "the header says per cent, but no cell is over 1, so that these may be shares"
        remedy = f'write them as 15 %, or take % out of the header; or leave the column out: --map "{cells.header}="'
        faults.whole.append(Problem(f"{faults.name}: {cells.header}", value, rule, remedy))


def money(column: Numbers, currency: Words, faults: Faults, before: int = 0) -> IntArray:
    """Return a column of amounts for each row [minor units of the row's currency]; 0 where nothing is stated.

    before: most digits before the decimal sign, where amounts are not only bounded in minor units.
    """
    cells = column.cells
    digits = np.array([DIGITS.get(str(c), 2) for c in currency.words], np.int64)[currency.codes]
    amounts = Amounts(column.amounts.digits[cells.codes], column.amounts.places[cells.codes], column.amounts.bad)
    value, over = scaled(amounts, digits)
    read = column.stated() & ~column.amounts.bad[cells.codes]

    def told(row: int) -> str:
        return shown(cells.texts[cells.codes[row]])

    rule = "it has more digits behind the decimal sign than its currency"
    faults.rows(read & over, cells.header, told, rule, "round it as the seller does")
    rule = f"an amount is at most 10^{len(str(MOST_MONEY)) - 1} minor units"
    high = value > MOST_MONEY
    if before:
        rule, high = f"an amount has at most {before} digits before the decimal sign", value >= 10 ** (before + digits)
    faults.rows(read & ~over & high, cells.header, told, rule, "correct it")
    places, units = units_of(column)
    fits = np.array([[_is_sign(u, str(c)) for c in currency.words] for u in units], bool)
    wrong = read & ~fits[places[cells.codes], currency.codes]
    rule = "what stands beside the amount is the sign of its row's currency, and no amount is below zero"
    faults.rows(wrong, cells.header, told, rule, "correct it, or the currency")
    return np.where(read, value, 0)


def _is_sign(unit: str, currency: str) -> bool:
    stripped = unit.removesuffix(",-").removesuffix(".-")
    return stripped in UNITLESS or stripped == currency.casefold() or currency in SYMBOLS.get(stripped, ())


def currency_of(unit: str) -> str:
    """Return the one currency that what stands beside an amount can mean, or empty."""
    could = (unit.upper(),) if unit.upper() in DIGITS else SYMBOLS.get(unit, ())
    return could[0] if len(could) == 1 else ""
