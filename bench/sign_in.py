"""What it costs to know who asks: pages with a signed-in browser beside the same without any check.

`python -m bench.sign_in` loads the demo fleet into a temporary store. Both ask in turn, so that both
see the same machine; the ratio of the processor's medians is what counts.
"""

from __future__ import annotations

import asyncio
import secrets
import statistics
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from fastapi import FastAPI, Request
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import EVERYTHING
from app.main import create_app, routes_with
from app.settings import Settings
from app.store.db import make_engine, sessions, write_session
from app.store.people import Membership, SignIn
from app.store.signed_in import SignedIn, fingerprint, viewer_by_key
from app.store.tables import Car
from app.web.admission import Admitted, admitted
from bench.pages import get
from tests.fixtures.server import load_demo

TIMES, LIMIT = 300, 1.15


def main() -> int:
    with TemporaryDirectory(prefix="stencilbook-bench-") as name:
        url = f"sqlite:///{Path(name) / 'store.db'}"
        load_demo(url)
        return asyncio.run(_compare(url))


async def _compare(url: str) -> int:
    key = secrets.token_urlsafe(32)
    engine = make_engine(url)
    with write_session(sessions(engine)) as db:
        known = _sign_in(db, key)
        car = db.scalar(select(Car.id).order_by(Car.id)) or 0
    engine.dispose()
    settings = Settings(database_url=url)
    checked = create_app(settings)
    unchecked = create_app(settings, routes=routes_with({admitted: _without_a_check(known)}))
    missed = False
    for name, address in (("due list", "/due"), ("car page", f"/cars/{car}"), ("home", "/")):
        with_check, without = await _in_turn(checked, unchecked, address, key)
        ratio = with_check / without
        missed |= ratio > LIMIT
        verdict = "" if ratio <= LIMIT else f"  (wanted: at most {LIMIT})"
        print(
            f"{name:10} {with_check:6.2f} ms of processor with the check, {without:6.2f} ms without: "
            f"{ratio:.3f} times{verdict}"
        )
    return int(missed)


def _sign_in(db: Session, key: str) -> SignedIn:
    """Sign in somebody of the demo who may look into the register."""
    now = datetime.now(UTC)
    person_id = db.scalar(select(Membership.person_id).where(Membership.role == "planner"))
    assert person_id is not None
    db.add(
        SignIn(
            key_sha256=fingerprint(key), person_id=person_id, how="password", began_at=now,
            proved_at=now, seen_at=now, expires_at=now + timedelta(hours=1),
        )
    )  # fmt: skip
    db.flush()
    known = viewer_by_key(db, key, now)
    assert known is not None
    return known


def _without_a_check(known: SignedIn) -> Callable[[Request], Admitted]:
    def found(request: Request) -> Admitted:
        request.state.admitted = Admitted(known, EVERYTHING)
        return Admitted(known, EVERYTHING)

    return found


async def _in_turn(
    checked: FastAPI, unchecked: FastAPI, address: str, key: str
) -> tuple[float, float]:
    """The processor's median milliseconds of each."""
    taken: tuple[list[float], list[float]] = ([], [])
    async with (
        checked.router.lifespan_context(checked),
        unchecked.router.lifespan_context(unchecked),
    ):
        for turn in range(TIMES + 10):
            for app, kept in zip((checked, unchecked), taken, strict=True):
                _, processor = await get(app, address, key)
                if turn >= 10:
                    kept.append(processor)
    return statistics.median(taken[0]), statistics.median(taken[1])


if __name__ == "__main__":
    sys.exit(main())
