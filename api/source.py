"""Source: the bytes of a price list from a file or a feed, and what else is to be known of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from api.address import without_secrets
from api.feed import FeedSettings, fetch, named
from api.jsonrows import json_rows
from api.kept import Kind
from api.sheets import MOST_BYTES, OBJECTS, ROWS, Counted


@dataclass(frozen=True)
class Sourced:
    """A price list as it came.

    name: for messages; of a feed its address without user, password and query. note: what else to know. counted: what
    its rows are called in messages. seen_on: of a feed the day its server last gave it, or said it was unchanged.
    stale: of a feed that could not be read now, its last good copy.
    """

    name: str
    body: bytes
    note: str = ""
    counted: Counted = ROWS
    seen_on: date | None = None
    stale: bool = False


Check = Callable[[Sourced], object]


def is_feed(name: str) -> bool:
    """Return whether a list is named by its address."""
    return name.lower().startswith(("http://", "https://"))


def read_file(name: str) -> Sourced:
    """Return the bytes of a file, not much more than a price list may have. Raises OSError."""
    with Path(name).open("rb") as opened:
        return Sourced(name, opened.read(MOST_BYTES + 1))


def read_feed(url: str, cache_folder: Path, allow_private: bool, check: Check = lambda _: None) -> Sourced:
    """Return what a feed holds, or its last good copy; rows of JSON as CSV. Raises BadInput where there is neither.

    check: raises BadInput where a list is no good, so that it takes the place of no good copy.
    """
    name = without_secrets(url)

    def sourced(body: bytes, kind: Kind, note: str, day: date | None, stale: bool) -> Sourced:
        if kind == "csv":
            return Sourced(name, body, note, seen_on=day, stale=stale)
        with named(name):
            return Sourced(name, _as_csv(json_rows(body)), note, OBJECTS, day, stale)

    def check_body(body: bytes, kind: Kind) -> None:
        check(sourced(body, kind, "", now.date(), False))

    now = datetime.now(UTC)
    found = fetch(url, FeedSettings(allow_private=allow_private), cache_folder, now, check=check_body)
    return sourced(found.body, found.kind, found.note, found.fetched_at.date(), found.stale)


def _as_csv(rows: list[dict[str, str]]) -> bytes:
    """Return rows as CSV, the columns in the order in which they first come up."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()
