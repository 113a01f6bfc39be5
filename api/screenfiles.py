"""Screen files: the finds of a list as CSV or Parquet, some at a time."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, BinaryIO, TextIO

import numpy as np
import pandas as pd

from api.findtable import IntArray
from api.formulas import marked
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
            found[name] = table[column].reset_index(drop=True)  # as it is: of arrays pandas makes what it thinks best
    frame = pd.DataFrame(found, columns=list(COLUMNS))
    frame["spot_minutes"] = frame["spot_minutes"].astype("Float64")
    return frame


def each_text(column: Any, do: Callable[[str], Any]) -> list[Any]:
    """Return what a function makes of the texts of a column; of one of categories it is called once for each there."""
    if not isinstance(column.dtype, pd.CategoricalDtype):
        return [do(str(x)) for x in column]
    used, places = np.unique(column.cat.codes.to_numpy(), return_inverse=True)
    made = [do(str(column.cat.categories[code]) if code >= 0 else "") for code in used.tolist()]
    return [made[i] for i in places.tolist()]


def frames(
    ranked: Ranked, tables: Iterable[tuple[pd.DataFrame, IntArray]] | None = None, most: int = AT_ONCE
) -> Iterator[pd.DataFrame]:
    """Yield finds as columns of a file, some at a time. tables: of them, else all. most: rows at a time."""
    for table, rank in ranked.each() if tables is None else tables:
        for start in range(0, max(len(table), 1), most):
            rows = slice(start, start + most)
            yield shown(table.iloc[rows], rank[rows], ranked.shortlist.buy, ranked.currency)


@contextmanager
def as_text(file: BinaryIO) -> Iterator[TextIO]:
    """Give a binary file as one of text in UTF-8, its line ends as they are written.

    Half of a surrogate pair, which UTF-8 has no place for, becomes a question mark.
    """
    wrapped = io.TextIOWrapper(file, encoding="utf-8", errors="replace", newline="")
    try:
        yield wrapped
        wrapped.flush()
    finally:
        wrapped.detach()


def as_csv(ranked: Ranked, file: BinaryIO) -> None:
    """Write the finds as CSV in UTF-8; texts that a spreadsheet might take for a formula are marked."""
    with as_text(file) as text:
        for n, frame in enumerate(frames(ranked)):
            _change(frame, _marked_line)
            frame.to_csv(text, index=False, header=n == 0, lineterminator="\n")


def _marked_line(text: str) -> str:
    """Return a text that is marked; a carriage return, for which no quotation marks would be set, as a line feed."""
    return marked(text).replace("\r\n", "\n").replace("\r", "\n")


def _change(frame: pd.DataFrame, do: Callable[[str], str]) -> None:
    """Have a function change each text of a frame."""
    for name in _TEXTS:
        frame[name] = pd.Series(each_text(frame[name], do), dtype=object)  # as str pandas refuses what is no UTF-8


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
            _change(frame, _whole)
            writer.write_table(arrow.Table.from_pandas(frame, schema, preserve_index=False))


def _whole(text: str) -> str:
    """Return a text of whole characters: Parquet, as UTF-8, has no place for half of a surrogate pair."""
    return text.encode("utf-8", "replace").decode()


def pyarrow(option: str, rule: str) -> Any:
    """Return pyarrow. Raises BadInput where it is not installed. rule: why it is asked for."""
    try:
        import pyarrow as found  # type: ignore[import-untyped, import-not-found, unused-ignore]
    except ImportError:
        problem = Problem(option, "no pyarrow", rule, 'pip install "mendworth[parquet]"')
        raise BadInput([problem]) from None
    return found
