"""The network between a tablet and the register, which breaks as it does in a yard: cut, flaking, answers lost."""

from __future__ import annotations

import http.client
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

# What becomes of a request: it goes through, never arrives, or is answered and the answer is lost.
PASS, GONE, LOST = "pass", "gone", "lost"
OF_ONE_HOP = {"connection", "keep-alive", "transfer-encoding", "content-length"}


class Network(ThreadingHTTPServer):
    """Passes requests on; `weather` says what becomes of the API's, one after the other."""

    daemon_threads = True

    def __init__(self, behind: str) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.behind = urlsplit(behind).netloc
        self.url = f"http://127.0.0.1:{self.server_port}"
        self.cut = False
        self.weather: Callable[[str, str], str] = lambda method, path: PASS
        self.broken: list[tuple[str, str, str]] = []
        self.turn = threading.Lock()

    def becomes_of(self, method: str, path: str) -> str:
        with self.turn:
            if self.cut:
                return GONE
            found = self.weather(method, path) if path.startswith("/api/") else PASS
            if found != PASS:
                self.broken.append((found, method, path.partition("?")[0]))
            return found

    def handle_error(self, *_: object) -> None:
        """A connection that is broken off is no news here."""


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: Network

    def do_GET(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        becomes = self.server.becomes_of(self.command, self.path)
        if becomes == GONE:
            self._break_off()
            return
        status, headers, content = self._passed_on(body)
        if becomes == LOST:
            self._break_off()
            return
        self.send_response(status)
        for name, value in headers:
            if name.lower() not in OF_ONE_HOP:
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(content)))
        # On a connection of old a browser tries again by itself what was broken off.
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(content)

    do_POST = do_PUT = do_GET  # noqa: N815

    def _passed_on(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        onward = http.client.HTTPConnection(self.server.behind, timeout=60)
        try:
            headers = {
                name: value for name, value in self.headers.items() if name.lower() != "connection"
            }
            onward.request(self.command, self.path, body or None, headers)
            answer = onward.getresponse()
            return answer.status, answer.getheaders(), answer.read()
        finally:
            onward.close()

    def _break_off(self) -> None:
        self.close_connection = True
        self.connection.shutdown(socket.SHUT_RDWR)

    def log_message(self, *_: object) -> None:
        """Tests say themselves what went wrong."""


def flaking() -> Callable[[str, str], str]:
    """Every second request never arrives; of those that do every third answer is lost after it was stored."""
    asked = arrived = 0

    def weather(method: str, path: str) -> str:
        nonlocal asked, arrived
        asked += 1
        if asked % 2:
            return GONE
        arrived += 1
        return LOST if arrived % 3 == 0 else PASS

    return weather


@contextmanager
def network(behind: str) -> Iterator[Network]:
    """A network before the program at `behind`, while the block lasts."""
    server = Network(behind)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
