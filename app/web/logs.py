"""One line of the log for each request: who asked for which kind of page, what it came to, and how long it took.

The address is told as the route's pattern: a filled-in one holds what people typed, or the key of a link.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from uuid import uuid4

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.logs import request_id

HEADER = "X-Request-ID"
TOKEN = re.compile(r"[A-Za-z0-9._-]{1,64}")
UNMATCHED = "unmatched"
log = logging.getLogger(__name__)


class Logged:
    """Wraps the application, the Guard too: also what is not let in leaves a line."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        state = scope.setdefault("state", {})
        state["request_id"] = name = identify(Headers(scope=scope).get(HEADER))
        # Never taken back: what fails is told outside of here, and each request has its own context.
        request_id.set(name)
        status: int | None = None

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = name
            await send(message)

        began = time.perf_counter()
        try:
            await self.app(scope, receive, sending)
        except Exception:
            status = 500
            raise
        finally:
            _tell(scope, status, round((time.perf_counter() - began) * 1000))


@contextmanager
def untold() -> Iterator[None]:
    """No lines meanwhile: of requests that nobody made."""
    log.disabled = True
    try:
        yield
    finally:
        log.disabled = False


def identify(given: str | None) -> str:
    """The name of a request: as a proxy gave it when that is a plain token, else a new one."""
    return given if given and TOKEN.fullmatch(given) else uuid4().hex


def _tell(scope: Scope, status: int | None, milliseconds: int) -> None:
    told = {
        "method": scope["method"] if scope["method"].isalpha() else "?",
        "route": pattern_of(scope),
        "status": status,  # None: whoever asked left before there was an answer
        "ms": milliseconds,
        "person_id": scope["state"].get("person_id"),
    }
    log.info("request", extra={"told": told})


def pattern_of(scope: Scope) -> str:
    """The address as the route states it, with names where values were."""
    found = scope.get("fastapi", {}).get("effective_route_context") or scope.get("route")
    path: str | None = getattr(found, "path", None)
    if path is None and "endpoint" in scope:  # a folder of files
        return f"{scope['root_path']}/..."
    return path or UNMATCHED
