"""The gate that every request passes.

No change from another site, no body over the limit, no foreign code in a page.
Plain ASGI, since it must see a body before anything reads it.
"""

from __future__ import annotations

from urllib.parse import quote, urlsplit

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import Refused
from app.web.headers import HEADERS
from app.web.problems import explain
from app.web.requests import READING, RECORDER_COOKIE

# What a form adds around its file.
SLACK = 1_000_000
# A browser shows our answer only when it could send all; beyond this many limits we hang up.
PATIENCE = 8
YEAR = 365 * 24 * 3600
FOREIGN = (
    "A change was asked for by a page of another site, so nothing was recorded. "
    "Open Stencilbook itself and record it there."
)


class Guard:
    """Wraps the application; `upload_limit_mb` bounds the body of a request."""

    def __init__(self, app: ASGIApp, upload_limit_mb: int) -> None:
        self.app = app
        self.limit_mb = upload_limit_mb
        self.limit = upload_limit_mb * 1_000_000 + SLACK

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        # The server's adapter makes `state` for each request a copy of the lifespan's, or none.
        scope.setdefault("state", {})
        sending = _with_headers(scope, send)
        headers = Headers(scope=scope)
        if scope["method"] not in READING and came_from_elsewhere(headers):
            await explain(Request(scope), 403, FOREIGN)(scope, receive, sending)
        elif int(headers.get("content-length", "0")) > self.limit:
            await self._drain(receive)
            await explain(Request(scope), 413, self._too_large())(scope, receive, sending)
        else:
            await self.app(scope, self._counting(receive), sending)

    def _too_large(self) -> str:
        return (
            f"At most {self.limit_mb} MB can be brought in at once, and this is more. Part the "
            f"file into several, or have whoever looks after the program raise UPLOAD_LIMIT_MB."
        )

    async def _drain(self, receive: Receive) -> None:
        read = 0
        while read < self.limit * PATIENCE:
            message = await receive()
            read += len(message.get("body", b""))
            if not message.get("more_body", False):
                return

    def _counting(self, receive: Receive) -> Receive:
        """For bodies that come without saying how long they are."""
        read = 0

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > self.limit:
                raise Refused(self._too_large())
            return message

        return counted


def came_from_elsewhere(headers: Headers) -> bool:
    """Whether a browser says that another site asked. Programs say nothing of it and may pass."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != headers.get("host")


def _with_headers(scope: Scope, send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-cache")
            name = scope["state"].get("remember_recorder")
            if name:
                headers.append("Set-Cookie", _cookie(name))
        await send(message)

    return sending


def _cookie(name: str) -> str:
    return f"{RECORDER_COOKIE}={quote(name)}; Max-Age={YEAR}; Path=/; HttpOnly; SameSite=Lax"
