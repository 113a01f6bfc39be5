"""Parquet: the bytes of a Parquet file as a sheet of text, so that one path checks every list.

What was a number, a day or a list there is written as a CSV file would write it, exactly: 12.5, 2026-04-18, a;b.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from math import isfinite, isnan
from typing import Any

import numpy as np
import pandas as pd

from api.sheets import MOST_COLUMNS, Column, Kind, Sheet
from econ.problems import BadInput, Problem

BEGINS = b"PAR1"
REMEDY = 'pip install "mendworth[parquet]", or save it as CSV'


def read_parquet(body: bytes, name: str, kind: Kind) -> Sheet:
    """Return a Parquet file as a sheet, as though its headers stood in row 1.

    kind: of list, for messages and its size. Raises BadInput where the file can't be read, or pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError:
        problem = Problem(name, "a Parquet file", "pyarrow, which reads them, is not installed", REMEDY)
        raise BadInput([problem]) from None
    try:
        file = parquet.ParquetFile(io.BytesIO(body))
        about = file.metadata
        unpacked = sum(about.row_group(i).total_byte_size for i in range(about.num_row_groups))
        _check(name, kind, len(body), about.num_rows, about.num_columns, unpacked)
        fields = file.schema_arrow
        texts = [f.name for f in fields if pa.types.is_string(f.type) or pa.types.is_large_string(f.type)]
        # As codes, so that one long text that stands in many rows is held once.
        table = parquet.ParquetFile(io.BytesIO(body), read_dictionary=texts).read()
        columns = []
        for i, field in enumerate(fields):
            columns.append(_column(table.column(0), field.type, pa))
            table = table.remove_column(0) if i + 1 < len(fields) else table
    except BadInput:
        raise
    except Exception as error:  # a broken file raises whatever the broken place makes of it
        rule = f"this Parquet file can't be read: {type(error).__name__}: {error}"
        raise BadInput([Problem(name, "a broken file", rule, "save it anew, or as CSV")]) from None
    headers = tuple(" ".join(str(f.name).split()) for f in fields)
    return Sheet(headers, tuple(columns), 1, about.num_rows, (), parted=False)


def _check(name: str, kind: Kind, size: int, rows: int, columns: int, unpacked: int) -> None:
    if max(size, unpacked) > kind.most_bytes or rows > kind.lines() or columns > MOST_COLUMNS:
        raise kind.oversized(name, f"{max(size, unpacked):,} bytes, {rows:,} rows and {columns} columns")


def _column(values: Any, kind: Any, pa: Any) -> Column:
    """Return an Arrow column as text. kind: its type in the file."""
    of = pa.types
    kind = kind.value_type if of.is_dictionary(kind) else kind
    exact = of.is_integer(kind) or of.is_floating(kind) or of.is_decimal(kind)
    single = of.is_floating(kind) and kind.bit_width < 64
    try:
        coded = values if of.is_dictionary(values.type) else values.dictionary_encode()
        whole = coded.unify_dictionaries().combine_chunks()
        if isinstance(whole, pa.ChunkedArray):  # of no rows
            whole = pa.concat_arrays(whole.chunks) if whole.num_chunks else pa.array([], coded.type)
        codes = whole.indices.fill_null(len(whole.dictionary)).to_numpy(zero_copy_only=False).astype(np.intp)
        distinct = whole.dictionary.to_pylist()
    except (pa.ArrowNotImplementedError, pa.ArrowInvalid, pa.ArrowTypeError):  # lists and the like
        distinct, codes = values.to_pylist(), np.arange(len(values), dtype=np.intp)
    written = np.array([_text(v, single) for v in (*distinct, None)], object)
    places, texts = pd.factorize(written)
    return Column(places[codes], texts, np.full(len(texts), exact))


def _text(value: Any, single: bool = False) -> str:
    """Return a value as a CSV file would write it. single: it is a float of less than 64 bits."""
    if value is None or (isinstance(value, float) and isnan(value)):
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not isfinite(value):
            return str(value)
        # Fifteen digits, as spreadsheets show: what was written with as many comes back as it was. Nought has no sign.
        return f"{Decimal(str(np.float32(value + 0.0)) if single else f'{value + 0.0:.15g}'):f}"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return value.decode(errors="backslashreplace")
    if isinstance(value, Mapping):
        return ";".join(f"{_text(k)}={_text(v)}" for k, v in value.items() if v is not None)
    if isinstance(value, list | tuple):
        pairs = [f"{_text(v[0])}={_text(v[1])}" if isinstance(v, tuple) and len(v) == 2 else _text(v) for v in value]
        return ";".join(p for p in pairs if p)
    return str(value)
