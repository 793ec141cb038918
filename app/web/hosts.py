"""Under which names the register answers, which proxies are believed, which addresses are its own."""

from __future__ import annotations

import re
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from app.settings import Settings

THIS_MACHINE = frozenset({"localhost", "127.0.0.1", "::1"})
EVERYWHERE = frozenset({"0.0.0.0", "::", ""})
# What a load balancer asks by whatever name it has for us; it tells nothing of the register.
ASKED_BY_MACHINES = ("/health", "/ready")
HOST = re.compile(r"(\[[0-9a-f:.]+\]|[a-z0-9_.-]+)(:[0-9]{1,5})?")
# What proxies write of those on whose behalf they ask, besides all that begins with x-forwarded.
FORWARDING = frozenset(
    {
        "forwarded", "via", "x-real-ip", "x-client-ip", "x-cluster-client-ip", "true-client-ip",
        "cf-connecting-ip", "x-original-forwarded-for", "x-proxyuser-ip",
    }
)  # fmt: skip


def allowed_hosts(settings: Settings) -> frozenset[str]:
    """The names and addresses, without port, by which the register may be asked."""
    public = urlsplit(settings.public_url).hostname if settings.public_url else None
    served = settings.host.strip("[]").lower()
    named = {*settings.allowed_hosts, *({public} if public else ())}
    return THIS_MACHINE | named | ({served} - EVERYWHERE)


def host_of(headers: Headers) -> str | None:
    """The name asked for, without port; None when there is none, or several, or no name at all."""
    given = headers.getlist("host")
    found = HOST.fullmatch(given[0].lower()) if len(given) == 1 else None
    return found[1].strip("[]").rstrip(".") if found else None


def from_this_machine(asked: HTTPConnection) -> bool:
    """Whether a person or tool on this very machine asks, and no proxy on behalf of another."""
    return (
        _is_loopback(asked.client.host if asked.client else "")
        and not passed_on(asked.headers)
        and host_of(asked.headers) in THIS_MACHINE
    )


def passed_on(headers: Headers) -> bool:
    """Whether a proxy says that it asks on behalf of somebody, truly or not."""
    return any(name in FORWARDING or name.startswith("x-forwarded") for name in headers)


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False


def own_address(given: str, otherwise: str = "/") -> str:
    r"""`given` when it leads to a page of the register itself, else `otherwise`.

    For every address that came with a request: browsers take `//name` and `/\name` for another
    site, and leave out tabs and line breaks before they look.
    """
    own = re.fullmatch(r"/(?![/\\])[^\\\x00-\x20\x7f]*", given)
    return given if own else otherwise


class Forwarded:
    """Takes address, scheme and host of the asking browser from trusted proxies, and only these."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self._address_and_scheme = ProxyHeadersMiddleware(
            self._host,  # type: ignore[arg-type]
            trusted_hosts=list(settings.trusted_proxies),
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] in ("http", "websocket"):
            client = scope.get("client")
            believed = (client[0] if client else "") in self._address_and_scheme.trusted_hosts
            scope.setdefault("state", {})["proxied"] = believed
        await self._address_and_scheme(scope, receive, send)  # type: ignore[arg-type]

    async def _host(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope.get("state", {}).get("proxied"):
            # The last is what the nearest proxy wrote.
            told = Headers(scope=scope).getlist("x-forwarded-host")
            if told:
                host = told[-1].rpartition(",")[2].strip().encode("latin-1")
                others = [each for each in scope["headers"] if each[0] != b"host"]
                scope["headers"] = [*others, (b"host", host)]
        await self.app(scope, receive, send)
