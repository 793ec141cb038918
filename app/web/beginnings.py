"""Which of the many routers are tried for an address: those alone that have a route of the same beginning.

Trying all of them took about half of what a page costs that shows nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from fastapi import APIRouter
from starlette.routing import BaseRoute, Match, Route
from starlette.types import Receive, Scope, Send


def by_beginning(
    together: APIRouter, routers: Sequence[tuple[str, APIRouter]], **how: Any
) -> list[BaseRoute]:
    """What an application serves: these routers, each under its prefix, as `together` includes them with `how`."""
    for prefix, router in routers:
        together.include_router(router, prefix=prefix, **how)
    return [
        Beginning(included, prefix, [_address(each) for each in router.routes])
        for included, (prefix, router) in zip(together.routes, routers, strict=True)
    ]


class Beginning(BaseRoute):
    """A router, tried only where what stands between `prefix` and the next / begins one of its addresses."""

    def __init__(self, router: BaseRoute, prefix: str, addresses: Iterable[str]) -> None:
        self.router = router
        self.before = f"{prefix}/"
        self.parts = {_first(address) for address in addresses}
        if any("{" in part for part in self.parts):
            raise ValueError(f"a router begins with something variable: {sorted(self.parts)}")

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        path = scope["path"].removeprefix(scope.get("root_path", ""))
        if path.startswith(self.before) and _first(path[len(self.before) - 1 :]) in self.parts:
            return self.router.matches(scope)
        return Match.NONE, {}

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.router.handle(scope, receive, send)


def _address(route: BaseRoute) -> str:
    if not isinstance(route, Route):
        raise TypeError(f"{route} within a router would never be tried")
    return route.path


def _first(address: str) -> str:
    """The first part of "/first/second", without its slashes."""
    return address[1:].partition("/")[0]
