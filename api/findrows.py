"""Find rows: the columns of a list of finds read one by one, each held to what a case is held to."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from api.cells import (
    Cells,
    EveryFault,
    Faults,
    Numbers,
    Words,
    Written,
    chosen,
    first_rows,
    floats,
    money,
    numbers,
    same,
    words,
)
from api.days import days
from api.figures import MOST_DIGITS, BoolArray, IntArray
from api.findheads import HOURS, KM, MINUTES, OF_FACT, OF_MONEY, YEARS
from api.findtold import Item, Names, Pattern, Told, Wrong, bound, by_name, merged, plain
from api.headers import Matched
from api.rows import Below, categories, currencies, required
from econ.case import Find, Machine
from econ.money import DIGITS, to_decimal, to_minor
from econ.problems import nearest, shown
from econ.rulebook import Shelf

PER_KM = Decimal("0.30")  # cost of driving a kilometre [currency/km]; judgement
LONGEST_ID = 100
LONGEST_TITLE = 200  # as a case's name of a machine
BEFORE_POINT = 9  # digits of an amount, as a case has them
MOST_KM = 40_000.0  # once round the earth
MOST_AGE, MOST_HOURS = bound(Machine, "age_years", "le"), bound(Machine, "hours", "le")
MOST_MINUTES = 60 * bound(Find, "travel_hours", "le")
LEAST_NEW = int(bound(Machine, "new_price", "ge"))
AMOUNT = "it is an amount of money, such as 12.50"
CONDITIONS = {x: x for x in ("restored", "good", "fair", "poor")} | {"": "fair"}
USES = {x: x for x in ("residential", "commercial")} | {"": "residential"}
YES_NO = dict.fromkeys(("yes", "y", "true", "1", "x"), "yes") | dict.fromkeys(("no", "n", "false", "0", ""), "no")
FRAME = (
    "row", "id", "title", "machine_class", "pattern", "age_years", "hours", "currency",
    *(f"{name}_{kind}" for name in OF_MONEY for kind in ("minor", "stated")),
    "travel_km", "travel_minutes", "trip_minor", "seen_on", "note",
)  # fmt: skip
Said = tuple[IntArray, list[tuple[Item, ...]]]  # for each row the place of what it says, and what is said


@dataclass(frozen=True)
class ToldOfFinds:
    """What the user says of a list of finds, where it doesn't tell.

    seen_on: the day decisions are made for; today if left out. decimal: ``comma`` or ``point``. dates: ``day`` or
    ``month``, which comes first. mapped: plain header -> column. per_km: cost of driving a kilometre [currency/km].
    held: of part of a list, how the first part has columns written, by header.
    """

    currency: str = ""
    seen_on: date | None = None
    decimal: str = ""
    dates: str = ""
    encoding: str = ""
    sheet: str = ""
    mapped: Mapping[str, str] = field(default_factory=dict)
    per_km: Decimal = PER_KM
    held: Mapping[str, Written] = field(default_factory=dict)


class FindRows:
    """The rows of one file, column by column. What is wrong goes to the faults; ids, titles and notes are to be had."""

    def __init__(self, under: Below, faults: EveryFault, told: ToldOfFinds, matched: Matched, classes: Shelf) -> None:
        self.n, self.cells, self.faults = len(under.rows), under.cells, faults
        self.told, self.matched, self.classes = told, matched, classes
        self.ids = words(self.cells.get("id"), self.n, faults, LONGEST_ID)
        self.titles = _titles(self.cells.get("title"), self.n, faults)
        self.kinds = self._kinds()
        self.notes = _repeated(self.ids)

    def _kinds(self) -> Words:
        """Return the machine class of each row, empty where it is not known."""
        cells = self.cells["machine_class"]
        ids = {plain(i): i for i in self.classes}
        texts = [plain(t) for t in cells.texts]
        if any(t not in ids for t in texts if t):  # perhaps titles, for which every class is composed
            ids = by_name({i: self.classes[i].about.title for i in self.classes})
        blank = np.array([not t.strip() for t in cells.texts], bool)
        odd = np.array([t not in ids for t in texts], bool) & ~blank
        rule = "the rulebooks hold no such machine class"
        self.faults.texts(cells, odd, rule, lambda t: nearest(plain(t).replace(" ", "_"), self.classes))
        places, found = pd.factorize(np.array([ids.get(t, "") for t in texts], object))
        column = Words(places[cells.codes], found)
        required(column, "machine_class", self.cells, self.faults, "each row names its machine class", "add it")
        return column

    def frame(self, day: date) -> pd.DataFrame:
        """Return all rows as columns, those at fault with whatever could be read. day: where a row names none."""
        told, faults, cells = self.told, self.faults, self.cells
        amounts = {c: numbers(cells[c], faults, told.decimal, AMOUNT, "correct it") for c in OF_MONEY if c in cells}
        default = self.matched.currency or told.currency
        currency = currencies(cells.get("currency"), self.n, faults, default, amounts.values())
        remedy = "add it, or say --currency, such as USD"
        required(currency, "currency", cells, faults, "each row has a currency", remedy)
        ids, blank = self.ids.each(), self.ids.blank()
        ids[blank] = [str(x) for x in faults.numbers[blank].tolist()]
        found: dict[str, Any] = {
            "row": faults.numbers,
            "id": pd.Series(ids, dtype=object),
            "title": categories(self.titles),
            "machine_class": categories(self.kinds),
            "age_years": self._measure("age_years", YEARS, MOST_AGE, "an age in years"),
            "hours": self._measure("hours", HOURS, MOST_HOURS, "hours on the machine"),
            "currency": categories(currency),
        }
        for column in OF_MONEY:
            found[f"{column}_minor"], found[f"{column}_stated"] = self._money(column, amounts.get(column), currency)
        found["travel_km"] = self._measure("travel_km", KM, MOST_KM, "kilometres there and back")
        found["travel_minutes"] = self._measure("travel_minutes", MINUTES, MOST_MINUTES, "minutes there and back")
        found["trip_minor"] = self._trip(found["travel_km"], found["travel_cost_minor"], currency)
        found["seen_on"] = categories(days(cells.get("seen_on"), self.n, faults, told.dates, None, day))
        found["note"] = categories(_tidy(cells.get("note"), self.n))
        return pd.DataFrame(found, copy=False)

    def _measure(self, column: str, units: Mapping[str, float], most: float, what: str) -> Any:
        cells = self.cells.get(column)
        rule = f"{what}, from 0 to {most:,.0f}"
        return floats(cells and _shortened(cells), self.n, self.faults, self.told.decimal, units, most, rule)

    def _money(self, column: str, read: Numbers | None, currency: Words) -> tuple[IntArray, BoolArray]:
        """Return a column of amounts [minor units], and which rows state one."""
        if read is None:
            return np.zeros(self.n, np.int64), np.zeros(self.n, bool)
        minor, stated, cells = money(read, currency, self.faults, BEFORE_POINT), read.stated(), read.cells
        if column == "new_price":
            low = stated & ~read.amounts.bad[cells.codes] & (minor < LEAST_NEW * 10 ** _digits(currency))
            rule, remedy = f"a price new is {LEAST_NEW} or more", "correct it, or leave it empty where it is not known"
            self.faults.rows(low, cells.header, lambda r: shown(cells.text(r)), rule, remedy)
        return minor, stated

    def _trip(self, km: Any, stated: IntArray, currency: Words) -> IntArray:
        """Return what each trip comes to [minor units]: the stated cost and that of its kilometres, rounded once."""
        total = stated.copy()
        places, distances = pd.factorize(km)  # -1 where not a number
        for i, code in enumerate(currency.words):
            if code in DIGITS:  # else the row is at fault
                costs = [to_minor(Decimal(repr(x)) * self.told.per_km, code) for x in distances.tolist()]
                total += np.where(currency.codes == i, np.array([*costs, 0], np.int64)[places], 0)
        limit = 10 ** (BEFORE_POINT + _digits(currency))
        header = self.faults.header("travel_km")

        def told(row: int) -> str:
            code = currency.word(row)
            return f"{to_decimal(int(total[row]), code):f} {code} in all" if code in DIGITS else shown(int(total[row]))

        rule = f"a trip costs an amount of at most {BEFORE_POINT} digits before the decimal sign"
        self.faults.rows((total >= limit) & (stated < limit), header, told, rule, "correct the distance or the cost")
        return total

    def patterns(self) -> tuple[IntArray, Callable[[int], Pattern]]:
        """Return the pattern of each row as a whole number, and what gives the pattern of such a number."""
        kinds = self.kinds
        names = [Names(self.classes[str(w)]) if w else None for w in kinds.words]
        complaints = self._told("complaints", names, Names.complaints_in)
        history = self._history(names)
        findings = self._told("findings", names, Names.findings_in)
        condition = self._chosen("condition", CONDITIONS, "a machine is restored, good, fair or poor", "fair")
        use = self._chosen("use", USES, "the use is residential or commercial", "residential")
        rusty = self._chosen("rusty", YES_NO, "it is yes or no", "no")
        codes, first = _together(
            [kinds.codes, complaints[0], history[0], findings[0], condition.codes, use.codes, rusty.codes]
        )

        def pattern(code: int) -> Pattern:
            row = int(first[code])
            return Pattern(
                kinds.word(row), complaints[1][complaints[0][row]], history[1][history[0][row]],
                findings[1][findings[0][row]], condition.word(row), use.word(row), rusty.word(row) == "yes",
            )  # fmt: skip

        return codes, pattern

    def _chosen(self, column: str, known: Mapping[str, str], rule: str, default: str) -> Words:
        return chosen(self.cells.get(column), self.n, self.faults, known, rule, default)

    def _told(self, column: str, names: Sequence[Names | None], read: Callable[[Names, str], Told[Item]]) -> Said[Item]:
        """Return what the cells of a column say, each distinct text read once for each machine class."""
        cells = self.cells.get(column)
        if cells is None:
            return np.zeros(self.n, np.int64), [()]
        pairs, distinct = pd.factorize(self.kinds.codes.astype(np.int64) * len(cells.texts) + cells.codes)
        said: dict[tuple[Item, ...], int] = {(): 0}
        wrong: list[tuple[Wrong, ...]] = []
        place = []
        for kind, i in (divmod(x, len(cells.texts)) for x in distinct.tolist()):
            name, text = names[kind], str(cells.texts[i])
            told: Told[Item] = read(name, text) if name and text.strip() else Told()
            place.append(said.setdefault(told.said, len(said)))
            wrong.append(told.wrong)
        self._note(cells.header, pairs, wrong)
        return np.array(place, np.int64)[pairs], list(said)

    def _note(self, header: str, codes: IntArray, wrong: Sequence[Sequence[Wrong]]) -> None:
        """Note what is wrong in a column. codes: of each row's cell, whose faults stand in wrong."""
        for k in range(max(map(len, wrong), default=0)):
            which = np.array([len(w) > k for w in wrong], bool)[codes]

            def of(what: str, row: int, k: int = k) -> str:
                return str(getattr(wrong[codes[row]][k], what))

            value, rule, remedy = (partial(of, what) for what in ("value", "rule", "remedy"))
            self.faults.rows(which, header, value, rule, remedy)

    def _history(self, names: Sequence[Names | None]) -> Said[tuple[str, str]]:
        """Return the facts of each row: those of the column of all, and those that have a column each."""
        parts = {"": self._told("history", names, Names.history_in)}
        for column in (c for c in self.cells if c.startswith(OF_FACT)):
            fact = column.removeprefix(OF_FACT)
            parts[fact] = self._told(column, names, partial(Names.level_in, fact=fact))
        if len(parts) == 1:
            return parts[""]
        codes, first = _together([self.kinds.codes, *(p[0] for p in parts.values())])
        said: dict[tuple[tuple[str, str], ...], int] = {(): 0}
        place, wrong = [], []
        for row in first.tolist():
            levels, odd = merged(all_said[at[row]] for at, all_said in parts.values())
            name = names[self.kinds.codes[row]]
            place.append(said.setdefault(name.in_order(levels) if name else (), len(said)))
            wrong.append(odd)
        for fact in (f for f in parts if f):
            self._note(self.faults.header(f"{OF_FACT}{fact}"), codes, [[w[fact]] if fact in w else [] for w in wrong])
        return np.array(place, np.int64)[codes], list(said)


def _digits(currency: Words) -> IntArray:
    """Return how many digits behind the decimal sign the currency of each row has."""
    return np.array([DIGITS.get(str(c), 2) for c in currency.words], np.int64)[currency.codes]


def _together(parts: Sequence[Any]) -> tuple[IntArray, IntArray]:
    """Return for each row the place of what its parts are together, and the first row of each place."""
    codes = np.asarray(parts[0], np.int64)
    for part in parts[1:]:
        if part.any():
            codes = pd.factorize(codes * (int(part.max()) + 1) + part)[0].astype(np.int64)
    return codes, first_rows(codes, int(codes.max()) + 1)


def _tidy(cells: Cells | None, rows: int) -> Words:
    """Return a column of text of any kind: spaces and line breaks as one space each."""
    if cells is None:
        return same("", rows)
    places, found = pd.factorize(np.array([" ".join(t.split()) for t in cells.texts], object))
    return Words(places[cells.codes], found)


def _titles(cells: Cells | None, rows: int, faults: Faults) -> Words:
    """Return what finds are called. Unlike ids, they may hold signs that only join others, as emoji do."""
    if cells is not None:
        clean = [" ".join(t.split()) for t in cells.texts]
        odd = [not t.isprintable() and any(unicodedata.category(x) in ("Cc", "Cs") for x in t) for t in clean]
        faults.texts(cells, np.array(odd, bool), "text holds no control characters", "take it out")
        long = np.array([len(t) > LONGEST_TITLE for t in clean], bool)
        faults.texts(cells, long, f"it is at most {LONGEST_TITLE} characters long", "shorten it")
    return _tidy(cells, rows)


def _repeated(ids: Words) -> tuple[str, ...]:
    """Return what is to be said of ids that stand in several rows."""
    times = np.bincount(ids.codes, minlength=len(ids.words))
    again = [str(w) for w in ids.words[times > 1] if w]
    if not again:
        return ()
    many = f"{len(again):,} ids stand" if len(again) > 1 else "an id stands"
    return (f"{many} in several rows, such as {shown(again[0])}; each row is taken as a find of its own",)


_LONG = re.compile(r"(\D*)(\d+)([.,])(\d+)(\D*)")


def _shortened(cells: Cells) -> Cells:
    """Return a column of measures with 15 digits at most: what a program works out has more than it means."""
    if max(map(len, cells.texts), default=0) <= MOST_DIGITS:
        return cells

    def short(text: str) -> str:
        m = _LONG.fullmatch(text)
        if m is None or len(m[2]) + len(m[4]) <= MOST_DIGITS or len(m[2]) >= MOST_DIGITS or len(m[4]) > 60:
            return text
        return f"{m[1]}{round(Decimal(f'{m[2]}.{m[4]}'), MOST_DIGITS - len(m[2])):f}{m[5]}".replace(".", m[3])

    return replace(cells, texts=np.array([short(str(t)) for t in cells.texts], object))
