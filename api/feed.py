"""Feed: a price list read over HTTP, with care, and the last good copy where that fails.

What holds of HTTP here is RFC 9110: conditional requests (13.1), 304 (15.4.5), redirects (15.4), Retry-After (10.2.3);
429 is RFC 6585. A stale copy instead of an error is the stale-if-error of RFC 5861.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal
from urllib.parse import SplitResult, urljoin

import requests
from urllib3.exceptions import HTTPError, ReadTimeoutError

from api.address import Pinned, read_url, resolve, without_secrets
from api.jsonrows import json_rows
from api.kept import Copy, Kind, keep, recall
from api.reply import Failed, as_utf8, kind_of, read_body, retry_after, unless_odd
from econ import __version__
from econ.problems import BadInput, shown

REDIRECTS = (301, 302, 303, 307, 308)
Origin = Literal["network", "unchanged", "last good copy"]


@dataclass(frozen=True)
class FeedSettings:
    """How a feed is read. Times in seconds, sizes in bytes. All defaults are judgement unless said otherwise.

    connect_seconds: until a connection stands, for each address of the host; a little over twice the 3 s after which
        TCP tries again (from memory: advice of the documentation of Requests).
    read_seconds: of silence while an answer is awaited or read. total_seconds: for everything, waits included.
    retries: after a connection that failed, 429 and 5xx. backoff_seconds: before the first, doubled before each next.
    longest_wait_seconds: of a Retry-After; a server that asks for more is left alone.
    most_bytes: of the list once unpacked: some 200,000 rows.
    redirects: followed, to the same host only.
    allow_private: read from this machine and its own network, too.
    ca_file: certificates to trust instead of those that ship with Requests; empty for those.
    """

    connect_seconds: float = 6.1
    read_seconds: float = 15.0
    total_seconds: float = 60.0
    retries: int = 2
    backoff_seconds: float = 0.5
    longest_wait_seconds: float = 20.0
    most_bytes: int = 20_000_000
    redirects: int = 3
    allow_private: bool = False
    ca_file: str = ""


@dataclass(frozen=True)
class Fetched:
    """A feed. stale: it could not be read now, this is the copy of `fetched_at`; note: why, or what else to know."""

    body: bytes
    kind: Kind
    origin: Origin
    fetched_at: datetime
    stale: bool
    etag: str
    last_modified: str
    note: str = ""


@dataclass(frozen=True)
class _Asking:
    """One reading of a feed: where, how, what is kept already, and until when by the monotonic clock."""

    parts: SplitResult
    settings: FeedSettings
    kept: Copy | None
    now: datetime
    until: float

    def failed(self, got: str, rule: str, remedy: str, again: bool = False, wait: float = 0) -> Failed:
        return Failed(self.parts.geturl(), got, rule, remedy, again, wait)


@contextmanager
def named(name: str) -> Iterator[None]:
    """Put the name of a feed before the path of each problem found in what it holds."""
    try:
        yield
    except BadInput as error:
        raise BadInput(replace(p, path=f"{name}: {p.path}") for p in error.problems) from None


def check_body(body: bytes, kind: Kind) -> None:
    """Refuse a JSON body that holds no rows, so that it takes the place of no good copy. Raises BadInput."""
    if kind == "json":
        json_rows(body)


def fetch(
    url: str,
    settings: FeedSettings,
    cache_folder: Path,
    now: datetime,
    sleep: Callable[[float], None] = time.sleep,
    check: Callable[[bytes, Kind], object] = check_body,
) -> Fetched:
    """Return what a feed holds, from the network or else from the last good copy, which is then marked stale.

    cache_folder: where copies are kept; made where it is missing. now: the present, with its time zone.
    sleep: waits between tries. check: raises BadInput where a body is no good; then the last good copy stays.
    Raises BadInput where the address is wrong, or where the feed can't be read and no copy is kept.
    """
    parts = read_url(url)
    kept = recall(cache_folder, url)
    asking = _Asking(parts, settings, kept, now, time.monotonic() + settings.total_seconds)
    try:
        read = _read(asking, sleep)
        if read is not kept:
            with named(without_secrets(url)):
                check(read.body, read.kind)
    except BadInput as error:
        if kept is None:
            raise
        more = f" And {len(error.problems) - 1} more." if len(error.problems) > 1 else ""
        note = f"not read now, kept from {_said(kept.fetched_at)}: {error.problems[0].sentence()}{more}"
        return _fetched(kept, "last good copy", note)
    origin: Origin = "network"
    if kept is not None and read is kept:
        origin, read = "unchanged", replace(kept, fetched_at=now)
    try:
        keep(cache_folder, url, read)
    except OSError as error:
        return _fetched(read, origin, f"no copy could be kept: {error.strerror or error}")
    return _fetched(read, origin)


def _fetched(copy: Copy, origin: Origin, note: str = "") -> Fetched:
    stale = origin == "last good copy"
    return Fetched(copy.body, copy.kind, origin, copy.fetched_at, stale, copy.etag, copy.last_modified, note)


def _said(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _read(asking: _Asking, sleep: Callable[[float], None]) -> Copy:
    """Return the feed as it is now, the very copy that is kept where it is unchanged. Raises BadInput.

    The tries are a loop of our own: urllib3's Retry sleeps by itself, knows no limit for the whole, and does not see a
    body that breaks off.
    """
    parts, settings, until = asking.parts, asking.settings, asking.until
    adapter = Pinned(resolve(parts, settings.allow_private), parts.hostname or "", until)
    with requests.Session() as session:
        session.trust_env = False  # no proxy, password file or certificates that the environment names
        session.verify = settings.ca_file or True
        session.mount("http://", adapter)
        session.mount("https://", adapter)
        for tried in range(settings.retries):
            try:
                return _once(asking, session)
            except Failed as failure:
                wait = max(failure.wait, settings.backoff_seconds * 2**tried)
                in_time = failure.wait <= settings.longest_wait_seconds and time.monotonic() + wait < until
                if not (failure.again and in_time):
                    raise
            sleep(wait)
        return _once(asking, session)


def _once(asking: _Asking, session: requests.Session) -> Copy:
    """Ask for a feed once, following redirects. Raises BadInput, its reason in words."""
    settings, again = asking.settings, False
    try:
        return _follow(asking, session)
    except BadInput:
        raise
    except (requests.RequestException, HTTPError, OSError) as error:
        if time.monotonic() >= asking.until:
            got = f"no end within {settings.total_seconds:g} seconds"
        elif isinstance(error, requests.ConnectTimeout):
            got, again = f"no connection within {settings.connect_seconds:g} seconds", True
        elif isinstance(error, requests.ReadTimeout | ReadTimeoutError):
            got = f"nothing for {settings.read_seconds:g} seconds"
        elif isinstance(error, requests.exceptions.SSLError):
            got = "a certificate that does not hold"
        elif isinstance(error, requests.ConnectionError | HTTPError):
            got, again = "no connection, or one that broke off", True
        elif isinstance(error, requests.RequestException):
            got = "an answer that is not HTTP"
        else:
            raise asking.failed(settings.ca_file, "ca_file is a file of certificates", "correct the setting") from None
    raise asking.failed(got, "a feed answers whole and in time", "try later, or ask who runs it", again)


def _follow(asking: _Asking, session: requests.Session) -> Copy:
    """Follow redirects to the answer and return its copy."""
    parts, settings = asking.parts, asking.settings
    limits = (settings.connect_seconds, settings.read_seconds)
    for _ in range(settings.redirects + 1):
        # Made apart from the session: no cookies go with it, and no password from a file.
        request = requests.Request("GET", parts.geturl(), headers=_headers(parts, asking.kept)).prepare()
        with closing(session.send(request, stream=True, allow_redirects=False, timeout=limits)) as response:
            if response.status_code not in REDIRECTS:
                return _answer(asking, response, parts)
            parts = _redirected(asking, parts, response.headers.get("Location", ""))
    got = f"more than {settings.redirects} redirects"
    raise asking.failed(got, "a feed answers where it is", "ask who runs it for its present address")


def _headers(parts: SplitResult, kept: Copy | None) -> dict[str, str]:
    headers = {
        "Host": parts.netloc,  # the connection goes to an IP address
        "User-Agent": f"mendworth/{__version__}",
        "Accept": "text/csv, application/json, text/plain;q=0.5",
        "Accept-Encoding": "gzip",
    }
    if kept and kept.etag:
        headers["If-None-Match"] = kept.etag
    if kept and kept.last_modified:
        headers["If-Modified-Since"] = kept.last_modified
    return headers


def _redirected(asking: _Asking, parts: SplitResult, location: str) -> SplitResult:
    """Return where a redirect leads. Raises BadInput unless it is the same host, and no less safe."""
    if not location:
        raise asking.failed("a redirect to nowhere", "a redirect names an address", "ask who runs the feed")
    ahead = read_url(urljoin(parts.geturl(), location))
    safer = (parts.scheme, ahead.scheme) == ("http", "https")
    same = ahead.hostname == parts.hostname and (ahead.scheme, ahead.port) == (parts.scheme, parts.port)
    if not same and not (safer and ahead.hostname == parts.hostname):
        got = f"a redirect to {shown(without_secrets(ahead.geturl()))}"
        rule = "a redirect stays on the host and its port, and does not go from https to http"
        raise asking.failed(got, rule, "if it is right, give that address instead")
    return ahead


def _answer(asking: _Asking, response: requests.Response, parts: SplitResult) -> Copy:
    url, status = parts.geturl(), response.status_code
    if status == 304 and asking.kept is not None:
        return asking.kept
    if status == 304:
        raise asking.failed("status 304, unchanged", "a feed that was not read before is sent whole", "ask who runs it")
    if status != 200:
        again = status == 429 or status >= 500
        wait = retry_after(response.headers.get("Retry-After", ""), asking.now) if again else 0
        asked = f", to come back in {wait:,.0f} seconds" if wait else ""
        remedy = "try later" if again else "correct the address, or ask who runs it"
        raise asking.failed(f"status {status}{asked}", "a feed answers with status 200", remedy, again, wait)
    kind, charset = kind_of(url, response.headers.get("Content-Type", ""))
    body = read_body(url, response, asking.settings.most_bytes)
    if kind == "csv" and charset not in ("utf-8", "us-ascii", ""):
        body = as_utf8(url, body, charset)
    etag, modified = (unless_odd(response.headers.get(name, "")) for name in ("ETag", "Last-Modified"))
    return Copy(body, kind, asking.now, etag, modified)
