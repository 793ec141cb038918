"""The stand-in of the register by HTTP, and the program's own pages by the application's own routes."""

from __future__ import annotations

import json
import socket
import threading
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from app.pages import field_program as program_pages
from app.settings import Settings
from app.web import Guard, field_program
from app.web.limits import Limits
from tests.browser.field.engine.register import Register

with warnings.catch_warnings():
    warnings.filterwarnings("ignore", message="Using `httpx` with `starlette.testclient`")
    from fastapi.testclient import TestClient

OF_THE_SERVER = {"content-length", "content-encoding", "date", "server"}


class Server(ThreadingHTTPServer):
    """Serves whatever register `register` gives at the moment, one request after the other."""

    daemon_threads = True

    def __init__(self, register: Callable[[], Register]) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.register = register
        self.pages = TestClient(_pages(), headers={"Host": "127.0.0.1"})
        self.turn = threading.Lock()

    def handle_error(self, *_: object) -> None:
        """A connection that a test broke is no news."""


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: Server

    def do_GET(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        if self.path.startswith("/api/"):
            self._api(body)
            return
        answer = self.server.pages.get(self.path)
        self._send(answer.status_code, dict(answer.headers), answer.content)

    do_POST = do_PUT = do_GET  # noqa: N815

    def _api(self, body: bytes) -> None:
        with self.server.turn:
            answer = self.server.register().weathered(self.command, self.path, body)
        if answer is None:
            self.close_connection = True
            self.connection.shutdown(socket.SHUT_RDWR)
            return
        status, content, headers = answer
        kind = {"Content-Type": "application/json", "Cache-Control": "no-store"}
        self._send(status, kind | headers, json.dumps(content).encode())

    def _send(self, status: int, headers: Mapping[str, str], body: bytes) -> None:
        self.send_response(status)
        for name, value in headers.items():
            if name.lower() not in OF_THE_SERVER:
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        # On a connection of old a browser tries again by itself what was broken off.
        self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Tests say what went wrong themselves."""


def _pages() -> FastAPI:
    app = FastAPI()
    app.include_router(program_pages.router)

    @app.get("/field")
    @app.get("/sign-in")
    def page() -> HTMLResponse:
        return HTMLResponse(field_program.shell())

    settings = Settings()
    app.add_middleware(Guard, settings=settings, limits=Limits(settings))
    return app


@contextmanager
def serving(register: Callable[[], Register]) -> Iterator[str]:
    """The address at which `register()` is served while the block lasts."""
    server = Server(register)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
