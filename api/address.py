"""Address: what a feed's address may be, which machine it leads to, and a connection to that machine alone."""

from __future__ import annotations

import io
import ipaddress
import re
import socket
import time
from functools import partial
from http.client import HTTPResponse
from typing import Any
from urllib.parse import SplitResult, urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.connectionpool import HTTPConnectionPool

from econ.problems import BadInput, Problem, shown

LONGEST_URL = 2_000  # characters; judgement
MOST_ADDRESSES = 4  # of one host that are tried in turn; judgement
_NOT_IN_A_URL = re.compile(r"[\s\\\x00-\x1f\x7f]")
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")  # RFC 6052, an IPv4 address in its last four bytes
# Not public either, by the registries; whether `ipaddress` says so depends on the version of Python.
_IETF = ipaddress.IPv4Network("192.0.0.0/24")  # RFC 6890, protocol assignments
_IN_IPV6 = (ipaddress.IPv6Network("2002::/16"), ipaddress.IPv6Network("3fff::/20"))  # RFC 3056 6to4; RFC 9637

IPAddress = ipaddress.IPv4Address | ipaddress.IPv6Address


def without_secrets(url: str) -> str:
    """Return an address as it may be shown: no user, no password, no query."""
    head, mark, rest = re.split(r"[?#]", url, maxsplit=1)[0].partition("://")
    if not mark:
        return head.rpartition("@")[2]
    host, slash, path = rest.partition("/")
    return head + mark + host.rpartition("@")[2] + slash + path


def read_url(url: str) -> SplitResult:
    """Return the parts of a feed's address as it is asked for: name and path written in ASCII.

    Raises BadInput with all that is wrong with it.
    """
    bad = partial(Problem, "url", shown(without_secrets(url)))
    if len(url) > LONGEST_URL:
        raise BadInput([bad(f"an address has at most {LONGEST_URL:,} characters", "shorten it")])
    if _NOT_IN_A_URL.search(url):
        raise BadInput([bad("an address has no blanks, line ends or backslashes", "write them as %20 and the like")])
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise BadInput([bad("this is not an address", "write it as https://host/path")]) from None
    problems = []
    if parts.scheme not in ("http", "https"):
        problems.append(bad("a feed is read over http or https", "write it as https://host/path"))
    if not host:
        problems.append(bad("an address names a host", "write it as https://host/path"))
    if port == 0:
        problems.append(bad("a port is 1 to 65535", "correct it, or leave it out"))
    if "@" in parts.netloc:
        rule = "an address holds no user and no password: they would end up in logs"
        problems.append(bad(rule, "ask for a feed that is open to read"))
    if problems:
        raise BadInput(problems)
    try:
        written = requests.Request("GET", url).prepare().url or ""
    except (requests.RequestException, ValueError):
        raise BadInput([bad("a host has a name that can be looked up", "correct it")]) from None
    return urlsplit(written)


def _meant(address: IPAddress) -> IPAddress:
    """Return the IPv4 address that an IPv6 address leads to, or the address itself."""
    if isinstance(address, ipaddress.IPv6Address):
        if address in _NAT64:
            return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        return address.ipv4_mapped or address
    return address


def is_public(address: str) -> bool:
    """Say whether an IP address is one of the open internet, by the IANA special-purpose registries (RFC 6890)."""
    a = _meant(ipaddress.ip_address(address))
    special = a.is_multicast or a.is_reserved or a.is_unspecified or a.is_loopback or a.is_link_local
    if isinstance(a, ipaddress.IPv6Address):
        return a.is_global and not special and not a.is_site_local and not any(a in net for net in _IN_IPV6)
    return a.is_global and not special and a not in _IETF


def resolve(parts: SplitResult, allow_private: bool) -> tuple[str, ...]:
    """Return the IP addresses of a host, each of them checked.

    allow_private: whether addresses that are not public will do. Raises BadInput where one will not, or where the name
    is not known. The system's resolver has time limits of its own.
    """
    host = parts.hostname or ""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    bad = partial(Problem, without_secrets(parts.geturl()))
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise BadInput([bad(shown(host), "no address is known for this name", "correct it, or go online")]) from None
    addresses = tuple(dict.fromkeys(str(entry[4][0]) for entry in found))
    if not allow_private:
        problems = [
            bad(
                f"{shown(host)} at {a}",
                "a feed is not on this machine or network",
                "allow private addresses: --allow-private",
            )
            for a in addresses
            if not is_public(a)
        ]
        if problems:
            raise BadInput(problems)
    return addresses[:MOST_ADDRESSES]


class _Timed(io.RawIOBase):
    """What a connection brings, up to a moment of the monotonic clock. Raises TimeoutError after it."""

    def __init__(self, raw: io.RawIOBase, connection: socket.socket, until: float) -> None:
        self._raw, self._connection, self._until = raw, connection, until

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int | None:
        left = self._until - time.monotonic()
        if left <= 0:
            raise TimeoutError("the time is up")
        self._connection.settimeout(min(self._connection.gettimeout() or left, left))
        return self._raw.readinto(buffer)

    def close(self) -> None:
        if not self.closed:
            self._raw.close()
        super().close()


class _TimedResponse(HTTPResponse):
    """A response whose status, headers and body together end in time, however slowly a server lets them drip."""

    def __init__(self, sock: socket.socket, *args: Any, until: float, **options: Any) -> None:
        super().__init__(sock, *args, **options)
        self.fp = io.BufferedReader(_Timed(self.fp.detach(), sock, until))


def _timed(pool: type[HTTPConnectionPool], until: float) -> type[HTTPConnectionPool]:
    response = staticmethod(partial(_TimedResponse, until=until))
    connection = type("TimedConnection", (pool.ConnectionCls,), {"response_class": response})
    return type("TimedPool", (pool,), {"ConnectionCls": connection})


class Pinned(HTTPAdapter):
    """Connects to addresses that were checked, in turn, and to no other.

    A name looked up again may lead elsewhere the second time: to a machine of the inner network, say. So the name is
    looked up once and the connection made to what was found; the certificate is still held against the name, which the
    server is told as ever. To look at the other end of a connection once it stands would be late: it has been made.

    addresses: of the host. host: its name. until: when all must be over, by the monotonic clock.
    """

    def __init__(self, addresses: tuple[str, ...], host: str, until: float) -> None:
        super().__init__()
        self._addresses, self._host, self._until = addresses, host.rstrip("."), until
        self._address = ""  # the one to connect to next
        kinds = self.poolmanager.pool_classes_by_scheme
        self.poolmanager.pool_classes_by_scheme = {scheme: _timed(pool, until) for scheme, pool in kinds.items()}

    def build_connection_pool_key_attributes(
        self, request: requests.PreparedRequest, verify: Any, cert: Any = None
    ) -> tuple[Any, Any]:
        """Return host and TLS parameters of the connection: the address to connect to, the name to hold it against."""
        where, tls = super().build_connection_pool_key_attributes(request, verify, cert)
        if where["scheme"] == "https":
            named = {"server_hostname": self._host, "assert_hostname": self._host}
            return {**where, "host": self._address}, {**tls, **named}
        return {**where, "host": self._address}, tls

    def send(
        self,
        request: requests.PreparedRequest,
        stream: bool = False,
        timeout: Any = None,
        verify: Any = True,
        cert: Any = None,
        proxies: Any = None,
    ) -> requests.Response:
        """Send a request to the first address that takes a connection. timeout: of connecting and of reading [s]."""
        *others, last = self._addresses
        for address in others:
            try:
                return self._send_to(address, request, stream, timeout, verify)
            except requests.ConnectionError:
                continue
        return self._send_to(last, request, stream, timeout, verify)

    def _send_to(
        self,
        address: str,
        request: requests.PreparedRequest,
        stream: bool,
        timeout: tuple[float, float],
        verify: Any,
    ) -> requests.Response:
        self._address = address
        left = max(self._until - time.monotonic(), 0.001)  # none at all would mean no limit
        return super().send(request, stream, (min(timeout[0], left), min(timeout[1], left)), verify, None, {})
