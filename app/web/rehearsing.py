"""The usual pages before anybody asks: templates and statements are made then, once for all processes.

A connection to PostgreSQL has yet to read the catalogue of whatever it is first asked about, so there each process asks
once more on each of its own: met by thirty requests a second at once, new ones took ten seconds to answer them.
"""

from __future__ import annotations

import asyncio
import itertools
import logging
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from fastapi import FastAPI, Request
from sqlalchemy.orm import Session

from app.access import EVERYTHING, Member, Viewer
from app.store.cars import highest_key
from app.store.signed_in import SignedIn
from app.web.admission import Admitted
from app.web.logs import untold
from app.web.rendering import load_templates

# None that takes seconds on a large register, as the forecast and the morning list do: a start would wait for them.
USUAL = (
    "/",
    "/due",
    "/overdue",
    "/fleet",
    "/directives",
    "/imports",
    "/plans",
    "/visits",
    "/changes",
)
OF_A_CAR = ("/cars/{}", "/cars/{}/events/new", "/api/v1/field/pack?car={}")
log = logging.getLogger(__name__)
HEADERS = ((b"host", b"localhost"),)


def somebody(request: Request) -> Admitted:
    """Somebody who may do everything, admitted unseen: only ever in the place of `admitted` where nobody listens."""
    seen = Viewer(0, "", (Member(0, "", "planner", keeps_register=True),))
    now = datetime.now(UTC)
    found = Admitted(SignedIn(seen, "", "", now, now, now, ""), EVERYTHING)
    request.state.admitted = found
    return found


def addresses(db: Session) -> list[str]:
    """The lists, and what is asked of a car where there is one."""
    car = highest_key(db)
    return [*USUAL, *(each.format(car) for each in OF_A_CAR if car)]


async def rehearse(app: FastAPI, asked: Sequence[str], at_once: int = 1) -> list[int]:
    """The statuses of the answers to all of these, asked by so many at once, each on a connection of its own.

    A fault of a page is told in the log and keeps nobody from serving the others.
    """
    load_templates()
    with untold():
        by_each = await asyncio.gather(*(_asked(app, asked) for _ in range(at_once)))
    return list(itertools.chain(*by_each))


async def _asked(app: FastAPI, asked: Sequence[str]) -> list[int]:
    return [await _sound(app, each) for each in asked]


async def _sound(app: FastAPI, address: str) -> int:
    try:
        return await status(app, address)
    except Exception:
        log.exception("%s could not be answered before anybody asks", address)
        return 500


async def status(
    app: FastAPI, address: str, headers: Iterable[tuple[bytes, bytes]] = HEADERS
) -> int:
    """What the application answers with, asked in its own process and to the last byte."""
    path, _, query = address.partition("?")
    statuses: list[int] = []

    async def receive() -> dict[str, object]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, object]) -> None:
        if message["type"] == "http.response.start":
            statuses.append(int(str(message["status"])))

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET",
        "scheme": "http", "path": path, "raw_path": path.encode(), "query_string": query.encode(),
        "root_path": "", "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "headers": list(headers),
    }  # fmt: skip
    await app(scope, receive, send)  # type: ignore[arg-type]
    return statuses[0]
