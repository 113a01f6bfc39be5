"""Source: the bytes of a price list from a file or a feed, and what else is to be known of them."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from api.feed import FeedSettings, fetch
from api.jsonrows import json_rows
from api.sheets import MOST_BYTES


@dataclass(frozen=True)
class Sourced:
    """A price list as it came. name: for messages, and by its ending how it is read; note: what else to know."""

    name: str
    body: bytes
    note: str = ""


def is_feed(name: str) -> bool:
    """Return whether a list is named by its address."""
    return name.lower().startswith(("http://", "https://"))


def read_file(name: str) -> Sourced:
    """Return the bytes of a file, not much more than a price list may have. Raises OSError."""
    with Path(name).open("rb") as opened:
        return Sourced(name, opened.read(MOST_BYTES + 1))


def read_feed(url: str, cache_folder: Path, allow_private: bool) -> Sourced:
    """Return what a feed holds, or its last good copy; rows of JSON as CSV. Raises BadInput where there is neither."""
    found = fetch(url, FeedSettings(allow_private=allow_private), cache_folder, datetime.now(UTC))
    body = found.body if found.kind == "csv" else _as_csv(json_rows(found.body))
    return Sourced(url, body, found.note)


def _as_csv(rows: list[dict[str, str]]) -> bytes:
    """Return rows as CSV, the columns in the order in which they first come up."""
    columns = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()
