"""The gate that every request passes.

Asked by a name of ours, by HTTPS where that is wanted, not too often; no change from another site,
no body that is too large or too slow, no foreign code in a page. Plain ASGI, since it must see a
body before anything reads it.
"""

from __future__ import annotations

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import TooMany
from app.settings import Settings
from app.web.admission import READING
from app.web.bodies import HANG_UP, Body
from app.web.cookies import HOST_ONLY, SESSION
from app.web.headers import headers_for
from app.web.hosts import (
    ASKED_BY_MACHINES,
    allowed_hosts,
    from_this_machine,
    host_of,
    passed_on,
)
from app.web.limits import Limits, cost_of, counted_address
from app.web.problems import explain

FOREIGN = (
    "A change was asked for by a page of another site, so nothing was recorded. "
    "Open Stencilbook itself and record it there."
)
UNSAID = (
    "This change came with a sign-in but did not say which page asked for it, so nothing was "
    "recorded. Use a browser of today; a program uses a token instead."
)
NO_HOST = "A request has to say once, in its Host header, which register it asks."
OTHER_HOST = (
    "This register does not answer to the name in the address. Open it by the address you were "
    "given; whoever looks after the program adds further names with ALLOWED_HOSTS."
)
TWO_LENGTHS = "A request has to say in one way only where it ends."
PLAIN = "This register is reached by HTTPS only. Nothing was recorded."
UNKNOWN_PROXY = (
    "A proxy that is not named in TRUSTED_PROXIES passed this request on, so whether it came by "
    "HTTPS cannot be told. Whoever looks after the program names the proxy there."
)


class Guard:
    """Wraps the application, before anything else of ours sees a request."""

    def __init__(self, app: ASGIApp, settings: Settings, limits: Limits) -> None:
        self.app = app
        self.settings = settings
        self.limits = limits
        self.hosts = allowed_hosts(settings)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        # The server's adapter makes `state` for each request a copy of the lifespan's, or none.
        scope.setdefault("state", {})
        sending = self._with_headers(scope, send)
        body = Body(receive, self.settings.upload_limit_mb)
        refused = self._refused(Request(scope)) or await self._too_large(Request(scope), body)
        if refused:
            await refused(scope, receive, sending)
        else:
            await self.app(scope, body.receive, sending)

    def _refused(self, request: Request) -> Response | None:
        """The answer to a request that is not let in; None for all others."""
        return (
            self._misread(request)
            or self._misdirected(request)
            or self._unsafe(request)
            or self._too_often(request)
            or self._foreign(request)
        )

    def _misread(self, request: Request) -> Response | None:
        lengths = request.headers.getlist("content-length")
        unclear = len(lengths) > 1 or (lengths and "transfer-encoding" in request.headers)
        if unclear or not all(each.isascii() and each.isdigit() for each in lengths):
            return _hung_up(explain(request, 400, TWO_LENGTHS))
        return None

    def _misdirected(self, request: Request) -> Response | None:
        host = host_of(request.headers)
        if request.url.path in ASKED_BY_MACHINES or host in self.hosts:
            return None
        return explain(request, 421, OTHER_HOST) if host else explain(request, 400, NO_HOST)

    def _unsafe(self, request: Request) -> Response | None:
        """Answer what came without HTTPS where that is wanted."""
        known = request.scope["scheme"] == "https" or request.url.path in ASKED_BY_MACHINES
        if not self.settings.https or known or from_this_machine(request):
            return None
        if not request.scope["state"].get("proxied") and passed_on(request.headers):
            return explain(request, 403, UNKNOWN_PROXY)
        # A program that is led on would go on sending its token in the clear.
        if request.method not in ("GET", "HEAD") or request.url.path.startswith("/api/"):
            return explain(request, 403, PLAIN)
        path = request.scope.get("raw_path", b"/").decode("ascii", "replace")
        query = request.scope["query_string"].decode("ascii", "replace")
        wanted = f"{self.settings.public_url}{path}" + (f"?{query}" if query else "")
        return RedirectResponse(wanted, status_code=308)

    def _too_often(self, request: Request) -> Response | None:
        cost = cost_of(request.method, request.url.path)
        address = counted_address(request.scope.get("client"))
        seconds = self.limits.count("address", address, cost) if cost else 0
        if not seconds:
            return None
        answer = explain(request, 429, str(TooMany(seconds)))
        answer.headers["Retry-After"] = str(seconds)
        return answer

    def _foreign(self, request: Request) -> Response | None:
        if request.method in READING:
            return None
        headers = request.headers
        if came_from_elsewhere(headers, request.scope["scheme"], self.settings.public_url):
            return explain(request, 403, FOREIGN)
        says = "sec-fetch-site" in headers or "origin" in headers
        signed_in = {SESSION, HOST_ONLY + SESSION} & request.cookies.keys()
        return explain(request, 403, UNSAID) if signed_in and not says else None

    async def _too_large(self, request: Request, body: Body) -> Response | None:
        if body.holds(int(request.headers.get("content-length", "0"))):
            return None
        try:
            await body.drain()
        except HTTPException as slow:
            return _hung_up(explain(request, slow.status_code, str(slow.detail)))
        return _hung_up(explain(request, 413, body.too_large()))

    def _with_headers(self, scope: Scope, send: Send) -> Send:
        told = headers_for(self.settings.https, scope["path"])

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in told.items():
                    headers.setdefault(name, value)
            await send(message)

        return sending


def came_from_elsewhere(headers: Headers, scheme: str, public_url: str = "") -> bool:
    """Whether a browser says that another site asked. Programs say nothing of it and may pass.

    `scheme` is that of the request: a page of the same host by the other scheme is another site.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin not in (None, public_url or None, f"{scheme}://{headers.get('host')}")


def _hung_up(answer: Response) -> Response:
    answer.headers.update(HANG_UP)
    return answer
