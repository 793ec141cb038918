"""The tablet's screens served by themselves: its own modules and database, with a pack of ours.

No program runs. One server and one open page serve a whole test module; a page starts anew by its address.
"""

import json
import mimetypes
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from app.web.headers import POLICY

HERE = Path(__file__).parent
FIELD = HERE.parents[2] / "static" / "field"
OURS = ("harness.js", "pack.json")
SHELL = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Field</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<link rel="stylesheet" href="app/field.css"></head><body class="field"><main id="screen"></main>
<script type="module" src="app/harness.js"></script></body></html>"""


class Screens(BaseHTTPRequestHandler):
    """`/` is the page; `/app/NAME` a module of the program, or one of ours."""

    def do_GET(self) -> None:
        name = self.path.partition("?")[0].removeprefix("/app/")
        folder = HERE if name in OURS else FIELD.parent if name.startswith("vendor/") else FIELD
        found = folder / name
        if self.path == "/":
            self._answer(200, "text/html", SHELL.encode())
        elif self.path.startswith("/app/") and found.is_file():
            kind = mimetypes.guess_type(found.name)[0] or "text/plain"
            self._answer(200, kind, found.read_bytes())
        else:
            self._answer(404, "text/plain", b"")

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: object) -> None:
        """Tests say what went wrong themselves."""


@pytest.fixture(scope="module")
def screens() -> Iterator[str]:
    """The address of the screens' page."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Screens)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()


@pytest.fixture(scope="session")
def pack() -> dict[str, object]:
    """What the tablet took along."""
    return dict(json.loads((HERE / "pack.json").read_text()))
