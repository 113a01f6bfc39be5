"""Reply: what a server's answer holds: its kind, its body unpacked, what it asks for. Each fault says why in words."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from email.message import Message
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

import requests

from api.address import without_secrets
from api.kept import Kind
from econ.problems import BadInput, Problem, shown

PIECE = 65_536  # bytes read at a time
KINDS: dict[str, Kind] = {"text/csv": "csv", "application/json": "json"}


class Failed(BadInput):
    """A feed that can't be read. again: another try may help. wait: seconds the server asks to wait before it."""

    def __init__(self, url: str, got: str, rule: str, remedy: str, again: bool = False, wait: float = 0) -> None:
        super().__init__([Problem(without_secrets(url), got, rule, remedy)])
        self.again, self.wait = again, wait


def unless_odd(header: str) -> str:
    """Return a header that may be sent back one day, or nothing where it is odd."""
    return header if header.isascii() and header.isprintable() and len(header) <= 500 else ""


def retry_after(told: str, now: datetime) -> float:
    """Return the seconds that a Retry-After asks for, 0 where it can't be read."""
    if told.isascii() and told.strip().isdigit():
        return float(told[:9])
    try:
        until = parsedate_to_datetime(told)
    except ValueError:
        return 0
    return max((until.replace(tzinfo=until.tzinfo or UTC) - now).total_seconds(), 0)


def kind_of(url: str, told: str) -> tuple[Kind, str]:
    """Return what a content type says a body is, and its charset."""
    header = Message()
    header["Content-Type"] = told
    media_type, charset = told.partition(";")[0].strip().lower(), str(header.get_param("charset") or "").lower()
    if media_type == "text/plain" and urlsplit(url).path.lower().endswith(".csv"):
        return "csv", charset
    if media_type not in KINDS:
        rule = "a price list is text/csv or application/json, or text/plain with a name that ends in .csv"
        got = f"content type {shown(media_type)}" if told else "no content type"
        raise Failed(url, got, rule, "ask who runs it, or save the list and read the file")
    return KINDS[media_type], charset


def read_body(url: str, response: requests.Response, most: int) -> bytes:
    """Return a body, unpacked. Stops as soon as it is too large, packed or not."""
    too_large = Failed(url, "more", f"a feed is at most {most:,} bytes", "allow more, or ask for a smaller list")
    length = response.headers.get("Content-Length", "")
    if length.isdigit() and int(length[:18]) > most:
        raise too_large
    packing = response.headers.get("Content-Encoding", "").strip().lower()
    pieces: Iterable[bytes] = response.raw.stream(PIECE, decode_content=False)
    if packing in ("gzip", "x-gzip"):
        pieces = _unpacked(url, pieces)
    elif packing not in ("", "identity"):
        raise Failed(url, f"content encoding {shown(packing)}", "a feed is packed by gzip or not", "ask who runs it")
    body = bytearray()
    for piece in pieces:
        body += piece
        if len(body) > most:
            raise too_large
    if not body:
        raise Failed(url, "nothing", "a feed has a body", "ask who runs it")
    return bytes(body)


def _unpacked(url: str, pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Yield what gzip packed, never much at a time, however tightly packed. Raises Failed where it is not whole.

    urllib3 unpacks too, but takes a stream that breaks off for a whole one.
    """
    unpack = zlib.decompressobj(wbits=16 + zlib.MAX_WBITS)
    try:
        for piece in pieces:
            while piece:
                if unpack.eof:  # one packed after another
                    unpack = zlib.decompressobj(wbits=16 + zlib.MAX_WBITS)
                yield unpack.decompress(piece, PIECE)
                piece = unpack.unconsumed_tail or unpack.unused_data
    except zlib.error:
        raise Failed(url, "what gzip can't unpack", "a packed feed is whole", "try later, or ask who runs it") from None
    if not unpack.eof:
        rule = "a packed feed is whole"
        raise Failed(url, "a packed feed that breaks off", rule, "try later, or ask who runs it", again=True)


def as_utf8(url: str, body: bytes, charset: str) -> bytes:
    """Return text in another charset as UTF-8."""
    try:
        return body.decode(charset).encode()
    except (LookupError, UnicodeError):
        rule = "a list is in the charset its server names"
        raise Failed(url, f"charset {shown(charset)}", rule, "ask who runs it") from None
