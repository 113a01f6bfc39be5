"""Screen files: the finds of a list as CSV or Parquet, each put in place whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, BinaryIO, TextIO

import numpy as np
import pandas as pd

from api.findtable import IntArray
from api.ranked import Ranked
from econ.money import DIGITS, to_decimal
from econ.problems import BadInput, Problem

# Of each column: its header, what it is called in a table of finds, and how wide it is shown in a workbook.
COLUMNS = {
    "rank": ("", 6), "buy": ("", 6), "row": ("row", 7), "id": ("id", 10), "name": ("name", 40),
    "machine_class": ("machine_class", 22), "course": ("course", 22), "do": ("title", 44),
    "asking_price": ("asking_price", 11), "highest_offer": ("highest_offer", 11), "profit": ("profit", 10),
    "bench_hours": ("bench_hours", 9), "profit_per_hour": ("profit_per_hour", 10), "cash": ("cash", 10),
    "currency": ("", 6), "km": ("km", 8), "chance_of_loss": ("chance_of_loss", 10), "reason": ("reason", 50),
    "question_id": ("question_id", 16), "question": ("question", 50), "question_worth": ("question_worth", 10),
    "spot_check_id": ("check_id", 16), "spot_check": ("check", 44), "spot_minutes": ("check_minutes", 9),
    "spot_worth": ("check_worth", 10), "holds": ("holds", 24),
}  # fmt: skip
_TEXTS = {
    "id", "name", "machine_class", "course", "currency", "do", "reason", "question_id", "question",
    "spot_check_id", "spot_check", "holds",
}  # fmt: skip
MONEY = {"asking_price", "highest_offer", "profit", "profit_per_hour", "cash", "question_worth", "spot_worth"}
_OF_PRICE = {"asking_price", "profit", "profit_per_hour", "cash"}  # known where a price is named alone
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet may take for a formula at the start of a text
AT_ONCE = 50_000  # rows of a file made at a time


def shown(table: pd.DataFrame, rank: IntArray, buy: int, currency: str) -> pd.DataFrame:
    """Return finds as the columns of a file, None where there is nothing; money as decimals, each amount made once.

    rank: of each find, from 1. buy: how many are to buy.
    """

    def money(name: str, known: Any) -> Any:
        places, amounts = pd.factorize(table[name].to_numpy())
        each = np.array([*(to_decimal(int(x), currency) for x in amounts), None], dtype=object)
        return each[np.where(known, places, -1)]

    named, every = table["named"].to_numpy(), np.ones(len(table), dtype=bool)
    known = dict.fromkeys(_OF_PRICE, named)
    known["profit_per_hour"] = named & (table["bench_hours"].to_numpy() > 0)
    known["question_worth"] = table["question_id"].to_numpy() != ""
    known["spot_worth"] = table["check_id"].to_numpy() != ""
    found: dict[str, Any] = {"rank": rank, "buy": np.where(rank <= buy, "yes", "no"), "currency": currency}
    for name, (column, _) in COLUMNS.items():
        if name in MONEY:
            found[name] = money(column, known.get(name, every))
        elif column:
            found[name] = table[column].array
    frame = pd.DataFrame(found, columns=list(COLUMNS))
    frame["spot_minutes"] = frame["spot_minutes"].astype("Float64")
    return frame


def safe(value: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula: texts come from strangers."""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def safe_texts(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame none of whose texts a spreadsheet takes for a formula."""
    for name in _TEXTS:
        column = frame[name]
        if isinstance(column.dtype, pd.CategoricalDtype):
            clean = [safe(x) for x in column.cat.categories]
            frame[name] = np.array([*clean, ""], dtype=object)[column.cat.codes]
        else:
            frame[name] = [safe(x) for x in column]
    return frame


def frames(ranked: Ranked) -> Iterator[pd.DataFrame]:
    """Yield the finds as columns of a file, some at a time."""
    for table, rank in ranked.each():
        for start in range(0, max(len(table), 1), AT_ONCE):
            rows = slice(start, start + AT_ONCE)
            yield shown(table.iloc[rows], rank[rows], ranked.shortlist.buy, ranked.currency)


@contextmanager
def as_text(file: BinaryIO) -> Iterator[TextIO]:
    """Give a binary file as one of text in UTF-8, its line ends as they are written."""
    wrapped = io.TextIOWrapper(file, encoding="utf-8", newline="")
    try:
        yield wrapped
        wrapped.flush()
    finally:
        wrapped.detach()


def as_csv(ranked: Ranked, file: TextIO) -> None:
    """Write the finds as CSV to a text file."""
    for n, frame in enumerate(frames(ranked)):
        safe_texts(frame).to_csv(file, index=False, header=n == 0, lineterminator="\n")


def write_csv(ranked: Ranked, file: BinaryIO) -> None:
    """Write the finds as CSV in UTF-8."""
    with as_text(file) as text:
        as_csv(ranked, text)


def as_parquet(ranked: Ranked, file: BinaryIO) -> None:
    """Write the finds as Parquet, some at a time; money as decimals."""
    arrow = pyarrow("--parquet", "Parquet is written by pyarrow")
    money = arrow.decimal128(18, DIGITS[ranked.currency])
    whole, text, real = arrow.int64(), arrow.string(), arrow.float64()
    kinds = {"rank": whole, "row": whole, **dict.fromkeys(MONEY, money), "buy": text, **dict.fromkeys(_TEXTS, text)}
    schema = arrow.schema([(name, kinds.get(name, real)) for name in COLUMNS])
    from pyarrow import parquet

    with parquet.ParquetWriter(file, schema) as writer:
        for frame in frames(ranked):
            writer.write_table(arrow.Table.from_pandas(frame, schema, preserve_index=False))


def pyarrow(option: str, rule: str) -> Any:
    """Return pyarrow. Raises BadInput where it is not installed. rule: why it is asked for."""
    try:
        import pyarrow as found  # type: ignore[import-untyped, import-not-found, unused-ignore]
    except ImportError:
        problem = Problem(option, "no pyarrow", rule, 'pip install "mendworth[parquet]"')
        raise BadInput([problem]) from None
    return found
