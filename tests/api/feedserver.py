"""A real HTTP server on this machine for the tests of feeds: what a path does is a function of the handler."""

from __future__ import annotations

import gzip
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

CSV = b"part,price\nblade,1.10\n"
JSON = b'[{"part": "blade", "price": 12.50, "currency": "USD", "seller": "Feed (invented)", "seen_on": "2026-05-01"}]'
CERTIFICATE = Path(__file__).with_name("prices_example.pem")
DRIP_SECONDS = 0.03  # between two bytes


class Handler(BaseHTTPRequestHandler):
    """Answers a path by the method of its name, and keeps the headers it was sent."""

    protocol_version = "HTTP/1.1"
    server: Server

    def do_GET(self) -> None:
        self.server.asked.append((self.path, dict(self.headers)))
        getattr(self, self.path.strip("/").partition(".")[0].partition("?")[0])()

    def log_message(self, *args: object) -> None:
        pass

    def end_headers(self) -> None:
        self.send_header("Connection", "close")  # which closes it, too
        super().end_headers()

    def say(self, body: bytes, status: int = 200, **headers: str) -> None:
        self.send_response(status)
        for name, value in {"Content_Type": "text/csv", "Content_Length": str(len(body)), **headers}.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(body)

    def list(self) -> None:
        self.say(CSV, Set_Cookie="seen=1; Path=/")

    def rows(self) -> None:
        self.say(JSON, Content_Type="application/json")

    def changing(self) -> None:
        """Answer as the test says."""
        body, status = self.server.answer
        self.say(body, status)

    def dayless(self) -> None:
        body = b'[{"part": "belt", "price": "9.50", "currency": "USD", "seller": "Fen Parts (invented)"}]'
        self.say(body, Content_Type="application/json")

    def tagged(self) -> None:
        if self.headers.get("If-None-Match") == '"v1"':
            self.send_response(304)
            self.end_headers()
        else:
            self.say(CSV, ETag='"v1"')

    def dated(self) -> None:
        day = "Fri, 01 May 2026 10:00:00 GMT"
        if self.headers.get("If-Modified-Since") == day:
            self.send_response(304)
            self.end_headers()
        else:
            self.say(CSV, Last_Modified=day)

    def packed(self) -> None:
        self.say(gzip.compress(CSV), Content_Encoding="gzip")

    def twice_packed(self) -> None:
        self.say(gzip.compress(CSV) + gzip.compress(CSV), Content_Encoding="gzip")

    def cut_packed(self) -> None:
        self.say(gzip.compress(CSV)[:-6], Content_Encoding="gzip")

    def not_packed(self) -> None:
        self.say(CSV, Content_Encoding="gzip")

    def bomb(self) -> None:
        self.say(gzip.compress(bytes(30_000_000), 1), Content_Encoding="gzip")

    def chunked(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/csv")
        self.send_header("Transfer-Encoding", "chunked")
        self.end_headers()
        for piece in (CSV[:5], CSV[5:], b""):
            self.wfile.write(b"%x\r\n%s\r\n" % (len(piece), piece))

    def endless(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/csv")
        self.end_headers()
        while True:
            self.wfile.write(bytes(65_536))

    def short(self) -> None:
        self.say(CSV, Content_Length="1000")

    def says_it_is_huge(self) -> None:
        self.say(CSV, Content_Length="10000000000")

    def two_lengths(self) -> None:
        self.say(CSV, **{"Content-Length": "1000"})

    def page(self) -> None:
        self.say(b"<html>", Content_Type="text/html; charset=utf-8")

    def workbook(self) -> None:
        self.say(CSV, Content_Type="application/vnd.ms-excel")

    def plain(self) -> None:
        self.say(CSV, Content_Type="text/plain")

    def moved(self) -> None:
        self.say(b"", 302, Location="/list.csv")

    def circle(self) -> None:
        self.say(b"", 307, Location="/circle")

    def elsewhere(self) -> None:
        self.say(b"", 301, Location=f"http://localhost:{self.server.server_port}/list.csv")

    def drip(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/csv")
        self.end_headers()
        while True:
            self.wfile.write(b"a")
            time.sleep(DRIP_SECONDS)

    def dripping_headers(self) -> None:
        self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Long: ")
        self.drip_forever()

    def dripping_status(self) -> None:
        self.drip_forever()

    def drip_forever(self) -> None:
        while True:
            self.wfile.write(b"a")
            time.sleep(DRIP_SECONDS)

    def silent(self) -> None:
        time.sleep(0.4)
        self.close_connection = True

    def hangs_up_once(self) -> None:
        self.close_connection = True
        if len(self.server.asked) > 1:
            self.list()


class Server(ThreadingHTTPServer):
    """asked: the paths and headers of all requests. answer: what `changing` says next, and with which status."""

    daemon_threads = True
    block_on_close = False

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.answer: tuple[bytes, int] = (b"", 200)

    def handle_error(self, *args: object) -> None:
        pass  # a client that hangs up is what the tests are about


@contextmanager
def serving(tls: bool = False) -> Iterator[tuple[Server, Callable[[str], str]]]:
    """Yield a server and what turns a path into its address."""
    server = Server()
    if tls:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(CERTIFICATE)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    scheme = "https" if tls else "http"
    try:
        yield server, lambda path: f"{scheme}://127.0.0.1:{server.server_port}/{path}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
