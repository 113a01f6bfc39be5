"""Kept: the last good copy of a feed on disk, a file for each address."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO, Literal, get_args

from api.whole import put

Kind = Literal["csv", "json"]


@dataclass(frozen=True)
class Copy:
    """A feed as it was read. fetched_at: when the server last gave it or said it was unchanged.

    etag, last_modified: what the server called this version, empty where it said nothing.
    """

    body: bytes
    kind: Kind
    fetched_at: datetime
    etag: str = ""
    last_modified: str = ""


def file_of(folder: Path, url: str) -> Path:
    """Return where the copy of an address is kept; the name tells nothing of the address, which may hold a secret."""
    return folder / f"{sha256(url.encode()).hexdigest()}.feed"


def keep(folder: Path, url: str, copy: Copy) -> None:
    """Write a copy: one file, a line of JSON and then the body, put in place at once, so that the two belong together.

    Raises OSError where it can't be written.
    """
    about = {
        "kind": copy.kind,
        "fetched_at": copy.fetched_at.isoformat(),
        "etag": copy.etag,
        "last_modified": copy.last_modified,
        "sha256": sha256(copy.body).hexdigest(),
    }
    folder.mkdir(parents=True, exist_ok=True)
    body = json.dumps(about).encode() + b"\n" + copy.body

    def write(file: BinaryIO) -> None:
        file.write(body)

    put(file_of(folder, url), write, own=True)


def recall(folder: Path, url: str) -> Copy | None:
    """Return the copy kept of an address, or None where there is none that is whole."""
    try:
        head, _, body = file_of(folder, url).read_bytes().partition(b"\n")
        about = json.loads(head)
        copy = Copy(
            body,
            about["kind"],
            datetime.fromisoformat(about["fetched_at"]),
            about["etag"],
            about["last_modified"],
        )
        names = all(isinstance(x, str) and x.isascii() and x.isprintable() for x in (copy.etag, copy.last_modified))
        whole = about["sha256"] == sha256(body).hexdigest() and copy.kind in get_args(Kind)
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None  # damaged: as good as none
    return copy if whole and names and copy.fetched_at.tzinfo else None
