"""Find table: finds that were screened as columns, a row each, and single rows of it as values for people and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from econ.kerb import Tells
from econ.money import to_decimal
from econ.screening import Asked, Screened, Screenings
from econ.shortlist import UNKNOWN, Figures

IntArray = NDArray[np.int64]
THOUSAND = 1000
# Text as categories; money in whole minor units of the list's currency; what only a named price tells is 0 without one.
TEXTS = ("name", "machine_class", "course", "title", "reason", "holds", "question_id", "question", "check_id", "check")
WHOLE = ("asking_price", "highest_offer", "profit", "profit_per_hour", "cash", "question_worth", "check_worth")
FLOATS = ("bench_hours", "km", "chance_of_loss", "check_minutes")
COLUMNS = ("row", "id", "named", *TEXTS, *WHOLE, *FLOATS)


@dataclass(frozen=True)
class ScreenedFind:
    """A find of the list: its row and what the list calls it, km to fetch it, and what it is worth.

    km: None where the list does not tell. buy: it is one of those to buy.
    """

    row: int
    id: str
    name: str
    km: float | None
    buy: bool
    screened: Screened


class _Texts:
    """The texts of a column, each once, and the place of that of each row."""

    def __init__(self, rows: int) -> None:
        self._places: dict[str, int] = {}
        self.codes = np.zeros(rows, dtype=np.int64)

    def code(self, text: str) -> int:
        return self._places.setdefault(text, len(self._places))

    def column(self) -> pd.Categorical:
        texts = list(self._places) or [""]  # no row was put in
        return pd.Categorical.from_codes(self.codes, categories=pd.Index(texts, dtype=object))


class FindTable:
    """Fills a table of so many rows, finds of a kind at a time."""

    def __init__(self, rows: pd.DataFrame) -> None:
        """rows: as `FindList` has them."""
        n = len(rows)
        self._rows = rows
        self._done = np.zeros(n, dtype=bool)
        self._texts = {name: _Texts(n) for name in TEXTS if name != "name"}
        self._numbers: dict[str, Any] = {name: np.zeros(n, dtype=np.int64) for name in WHOLE}
        self._numbers |= {name: np.zeros(n) for name in FLOATS if name != "km"}

    def put(self, at: IntArray, x: Screenings) -> None:
        """Put in what finds of a kind are worth. at: their rows."""
        self._done[at] = True
        for name, text in (
            ("machine_class", x.machine_class), ("course", x.course), ("title", x.title), ("reason", x.reason),
            ("holds", "; ".join(x.holds)),
        ):  # fmt: skip
            self._texts[name].codes[at] = self._texts[name].code(text)
        named = x.asking.named
        for name, amounts in (
            ("asking_price", x.asking.price), ("profit", x.bought.left), ("profit_per_hour", x.bought.per_hour),
            ("cash", x.bought.cash),
        ):  # fmt: skip
            self._numbers[name][at] = np.where(named, amounts, 0)
        self._numbers["highest_offer"][at] = x.bought.highest
        self._numbers["chance_of_loss"][at] = np.where(named, x.bought.loss, np.nan)
        self._numbers["bench_hours"][at] = round(x.bench_hours, 3)
        self._first(at, "question", x.questions, x.question.which, x.question.worth)
        self._first(at, "check", x.checks, x.check.which, x.check.worth)
        minutes = np.array([*(t.minutes for t in x.checks), np.nan])
        self._numbers["check_minutes"][at] = minutes[x.check.which]

    def _first(self, at: IntArray, name: str, tells: Sequence[Tells], which: IntArray, worth: Any) -> None:
        for column, field in ((f"{name}_id", "id"), (name, "title")):
            texts = self._texts[column]
            codes = np.array([texts.code(x) for x in (*(getattr(t, field) for t in tells), "")])
            texts.codes[at] = codes[which]
        self._numbers[f"{name}_worth"][at] = np.rint(worth).astype(np.int64)

    def frame(self) -> pd.DataFrame:
        """Return the table, with a column for each of COLUMNS; rows that were not put in are left out."""
        rows = self._rows
        found: dict[str, Any] = {
            "row": rows["row"].to_numpy(),
            "id": rows["id"].to_numpy(),
            "named": rows["asking_price_stated"].to_numpy(),
            "name": rows["title"].array,
            **{name: x.column() for name, x in self._texts.items()},
            **self._numbers,
            "km": rows["travel_km"].to_numpy(),
        }
        table = pd.DataFrame({name: found[name] for name in COLUMNS}, copy=False)
        return table if self._done.all() else table[self._done].reset_index(drop=True)


def stacked(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return tables as one, the rows of each under those of the one before."""
    from pandas.api.types import union_categoricals

    if len(tables) == 1:
        return tables[0]
    columns: dict[str, Any] = {}
    for name in COLUMNS:
        parts = [x[name] for x in tables]
        columns[name] = union_categoricals(parts) if name in TEXTS else np.concatenate([p.to_numpy() for p in parts])
    return pd.DataFrame(columns, copy=False)


def joined(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return tables as one, in the order of their rows in the list."""
    if len(tables) == 1:
        return tables[0]
    whole = stacked(tables)
    return whole.iloc[np.argsort(whole["row"].to_numpy(), kind="stable")].reset_index(drop=True)


def figures(table: pd.DataFrame) -> Figures:
    """Return what of a table bears on the choice among its finds."""
    hours: IntArray = np.rint(table["bench_hours"].to_numpy() * THOUSAND).astype(np.int64)
    known = table["km"].notna().to_numpy()
    metres: IntArray = np.where(known, np.rint(np.where(known, table["km"].to_numpy(), 0.0) * THOUSAND), UNKNOWN)
    named, profit, highest, cash = (table[x].to_numpy() for x in ("named", "profit", "highest_offer", "cash"))
    return Figures(named, profit, highest, hours, cash, metres.astype(np.int64))


def find_of(table: pd.DataFrame, i: int, currency: str, buy: bool) -> ScreenedFind:
    """Return a row of a table. buy: it is one of those to buy."""
    x: dict[Any, Any] = table.iloc[i].to_dict()
    named = bool(x["named"])

    def money(name: str, stated: bool = named) -> Any:
        return to_decimal(int(x[name]), currency) if stated else None

    def first(name: str, minutes: float) -> Asked | None:
        told = x[f"{name}_id"]
        return Asked(told, x[name], minutes, money(f"{name}_worth", True)) if told else None

    screened = Screened(
        x["machine_class"],
        x["course"],
        x["title"],
        money("highest_offer", True),
        money("asking_price"),
        money("profit"),
        float(x["bench_hours"]),
        money("profit_per_hour", named and x["bench_hours"] > 0),
        money("cash"),
        float(x["chance_of_loss"]) if named else None,
        x["reason"],
        first("check", float(x["check_minutes"])),
        first("question", 0.0),
        tuple(filter(None, x["holds"].split("; "))),
    )
    km = None if np.isnan(x["km"]) else float(x["km"])
    return ScreenedFind(int(x["row"]), str(x["id"]), str(x["name"]), km, buy, screened)
