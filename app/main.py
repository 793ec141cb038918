"""create_app(): settings, engine, routers, error handlers, static files.

The one module that sees the whole web side.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache, partial
from types import SimpleNamespace
from typing import Any

from fastapi import APIRouter, Depends, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.staticfiles import StaticFiles
from sqlalchemy.exc import DBAPIError
from starlette.responses import Response
from starlette.routing import BaseRoute
from starlette.types import Scope

from app import __version__, api, pages
from app.errors import Problem
from app.settings import Settings, read_settings
from app.store.db import Room, is_there, make_engine, read_session, sessions
from app.store.replica import Replica
from app.web import Guard, answer_problems, keeping
from app.web.admission import admitted, every_route_says
from app.web.beginnings import by_beginning
from app.web.hosts import Forwarded
from app.web.limits import Limits
from app.web.logs import Logged
from app.web.rehearsing import addresses, rehearse, somebody
from app.web.rendering import STATIC

TITLE = "Stencilbook"
KEPT = "public, max-age=31536000, immutable"


class KeptFiles(StaticFiles):
    """Static files; one asked for by its sum (`?v=`) never changes, so browsers may keep it."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        answer = await super().get_response(path, scope)
        kept = answer.status_code == 200 and scope["query_string"].startswith(b"v=")
        answer.headers["Cache-Control"] = KEPT if kept else "no-cache"
        return answer


def _utc_now() -> datetime:
    return datetime.now(UTC)


@asynccontextmanager
async def _engine_open_to_the_end(app: FastAPI) -> AsyncIterator[None]:
    # The connection stays in the pool: none to SQLite can be opened anew once its disk is full.
    if is_there(app.state.engine):
        with suppress(DBAPIError):
            app.state.engine.connect().close()
    if app.state.make_ready:
        await app.state.make_ready()
    yield
    app.state.engine.dispose()
    if app.state.replica:
        app.state.replica.close()


Overrides = dict[Callable[..., Any], Callable[..., Any]]


@dataclass(frozen=True, slots=True)
class Routes:
    """What an application serves, and what stands in the place of some dependencies meanwhile."""

    routes: Sequence[BaseRoute]
    overrides: Overrides


@cache
def all_routes() -> Routes:
    """The pages and the API, once a process: what a route asks for is worked out when it is first used."""
    return routes_with({})


def routes_with(overrides: Overrides) -> Routes:
    """The pages and the API with others in the place of some dependencies."""
    provider = SimpleNamespace(dependency_overrides=overrides)
    together = APIRouter(dependency_overrides_provider=provider)
    routers = [(api.ADDRESS, each) for each in api.ROUTERS] + [("", each) for each in pages.ROUTERS]
    for _, router in routers:
        every_route_says(router.routes)
    routes = by_beginning(together, routers, dependencies=[Depends(admitted)])
    return Routes(routes, overrides)


@cache
def _description() -> dict[str, Any]:
    """Of the API, for programs, from its routes as they are written."""
    return get_openapi(title=TITLE, version=__version__, routes=api.router.routes)


def create_app(
    settings: Settings | None = None,
    clock: Callable[[], datetime] = _utc_now,
    routes: Routes | None = None,
) -> FastAPI:
    """The web application; `clock` tells the moment in UTC, and what day it is follows from it.

    With `routes` it serves these instead of `all_routes()`.
    """
    settings = settings or read_settings()
    app = FastAPI(
        title=TITLE,
        version=__version__,
        docs_url=None,  # its page loads code from elsewhere
        redoc_url=None,
        openapi_url=None,  # the API answers its own, with examples
        lifespan=_engine_open_to_the_end,
        routes=list((routes or all_routes()).routes),
    )
    app.openapi = _description  # type: ignore[method-assign]
    app.state.settings = settings
    app.state.clock = clock
    room = Room(
        settings.database_connections,
        settings.database_wait_seconds,
        settings.database_statement_seconds,
    )
    app.state.engine = make_engine(settings.database_url, room)
    app.state.sessions = sessions(app.state.engine)
    app.state.replica = (
        Replica(settings.database_url_read, room) if settings.database_url_read else None
    )
    app.state.store_checked = False
    app.state.make_ready = None
    app.state.attachments = keeping.opened(settings)
    app.mount("/static", KeptFiles(directory=STATIC), name="static")
    answer_problems(app)
    app.state.limits = Limits(settings)
    app.add_middleware(Guard, settings=settings, limits=app.state.limits)
    # The last added sees a request first.
    app.add_middleware(Forwarded, settings=settings)
    app.add_middleware(Logged)
    return app


def create_rehearsed_app() -> FastAPI:
    """The same once it has answered the usual pages, for processes to be forked from this one.

    Nobody listens to the application that answers them, and what it connected to is closed again.
    """
    app = create_app()
    engine, asked = app.state.engine, _usual(app)
    rehearsal = create_app(routes=routes_with({admitted: somebody}))
    rehearsal.state.engine, rehearsal.state.sessions = engine, app.state.sessions
    asyncio.run(rehearse(rehearsal, asked))
    engine.dispose()
    if engine.dialect.name == "postgresql":
        connections = app.state.settings.database_connections
        app.state.make_ready = partial(rehearse, rehearsal, asked, connections)
    return app


def _usual(app: FastAPI) -> list[str]:
    """None where the store is away just now."""
    with suppress(Problem), read_session(app.state.sessions) as db:
        return addresses(db)
    return []
