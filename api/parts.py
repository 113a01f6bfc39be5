"""Parts: a long list of finds cut into lists that can be read by themselves, each with the headers of the whole.

A CSV file is cut between records: a line end within quotation marks ends none. Only some of it is held at a time.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from api.findheads import FINDS
from api.headers import matches
from api.parquet import BEGINS
from api.sheets import HEADER_WITHIN, parted_by, read_sheet

LONG = 64_000_000  # a list that is larger is read in parts [bytes]
PART = 16_000_000  # of a part [bytes]; some hundred thousand finds
SMALL = (
    1_000_000  # and where the list is not long; the same whatever its length, so that rows added at its end add parts
)
PART_ROWS = 100_000  # of a part of a Parquet file
LINE = 10
Ends = NDArray[np.intp]


@dataclass(frozen=True)
class Part:
    """A list of finds that is part of a longer one.

    number: from 0. before: what is added to the numbers of its rows for those of the whole. size: what it takes of the
    whole [bytes], to tell how far a run is.
    """

    number: int
    before: int
    body: bytes
    size: int


def begins_cuttable(start: bytes, seekable: bool) -> bool:
    """Return whether a file that begins so can be cut: Parquet on disk, or text whose line ends are a byte."""
    if start.startswith(BEGINS):
        return seekable
    return not start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")) and b"\x00" not in start and b"\n" in start


def opened(start: bytes, file: BinaryIO) -> BinaryIO:
    """Return a file at its start, of which some was read already."""
    if file.seekable():
        file.seek(0)
        return file
    return io.BufferedReader(_Chained(start, file))


class _Chained(io.RawIOBase):
    """What was read already, and then the rest."""

    def __init__(self, start: bytes, file: BinaryIO) -> None:
        super().__init__()
        self._start, self._file = memoryview(start), file

    def readable(self) -> bool:
        return True

    def readinto(self, room: Any) -> int:
        got: Any = self._start[: len(room)] if self._start else self._file.read(len(room))
        self._start = self._start[len(got) :] if self._start else self._start
        room[: len(got)] = got
        return len(got)


def part_size(whole: int) -> int:
    """Return how large to make the parts of a file of a size [bytes], 0 where that is not known."""
    return PART if not whole or whole > LONG else SMALL


def parts_of(file: BinaryIO, name: str, mapped: Mapping[str, str], size: int) -> Iterator[Part]:
    """Yield the parts of a file. mapped: header -> column, as the user says. size: of each [bytes].

    Raises BadInput where no headers can be found.
    """
    start = file.read(len(BEGINS))
    yield from _of_parquet(file) if start == BEGINS else _of_csv(file, start, name, mapped, size)


def _of_csv(file: BinaryIO, start: bytes, name: str, mapped: Mapping[str, str], size: int) -> Iterator[Part]:
    head, left, seen, number, sign = b"", start, 0, 0, ""
    while True:
        more = file.read(max(size - len(left), 1))
        body, ended = left + more, not more
        sign = sign or _sign(body, mapped)
        ends = _ends(body, sign)
        cut = len(body) if ended else int(ends[-1]) + 1 if ends.size else 0
        whole = body[:cut]
        above = head or _headers(whole, ends, name, mapped)
        if not ended and _blank(whole.partition(above)[2] if above and not head else whole):  # no record yet: take more
            left, size = body, 2 * size
            continue
        left = body[cut:]
        if not _blank(whole) or (ended and not number):  # what holds no find at all is told of as such
            yield Part(number, seen - bool(head), head + whole, len(whole))
            number += 1
        head, seen = above, seen + ends.size
        if ended:
            return


def _blank(body: bytes) -> bool:
    """Return whether there is nothing in records but signs that part them."""
    return not body.translate(None, b' \t\r\n,;|"')


def _sign(body: bytes, mapped: Mapping[str, str]) -> str:
    """Return the sign that parts the fields, as the reader of the list finds it; empty where there is none yet."""
    text = body[:100_000].decode("latin-1")
    return "" if _blank(body) else parted_by(text, lambda c: matches(c, mapped, FINDS))


def _ends(body: bytes, sign: str) -> Ends:
    """Return where records end: at line ends that stand in no field within quotation marks.

    Such a field begins with one; anywhere else it is a sign like others, of inches say.
    """
    ends = np.flatnonzero(np.frombuffer(body, dtype=np.uint8) == LINE)
    if b'"' not in body or not sign:
        return ends
    field = re.compile(rb'(?:^|(?<=[\n\r%s])) *"[^"]*(?:""[^"]*)*(?:"|\Z)' % re.escape(sign.encode()))
    spans = np.array([m.span() for m in field.finditer(body)], dtype=np.intp).reshape(-1, 2)
    within = np.searchsorted(spans[:, 0], ends, side="right") - 1
    inside = (within >= 0) & (ends < spans[within, 1]) if len(spans) else np.zeros(ends.size, dtype=bool)
    outside: Ends = ends[~inside]
    return outside


def _headers(body: bytes, ends: Ends, name: str, mapped: Mapping[str, str]) -> bytes:
    """Return the record with the headers, and its line end; empty where there is no whole record."""
    if _blank(body) or not ends.size:
        return b""
    few = body[: int(ends[min(2 * HEADER_WITHIN, ends.size) - 1]) + 1]
    row = read_sheet(few, name, lambda c: matches(c, mapped, FINDS)).header_row
    return body[int(ends[row - 2]) + 1 if row > 1 else 0 : int(ends[row - 1]) + 1]


def _of_parquet(file: BinaryIO) -> Iterator[Part]:
    import pyarrow as arrow  # type: ignore[import-untyped, import-not-found, unused-ignore]
    from pyarrow import parquet

    file.seek(0)
    before = 0
    for number, batch in enumerate(parquet.ParquetFile(file).iter_batches(PART_ROWS)):
        body = io.BytesIO()
        parquet.write_table(arrow.Table.from_batches([batch]), body)
        yield Part(number, before, body.getvalue(), batch.nbytes)
        before += batch.num_rows
