"""That somebody was there: from where, for how long that lets them in, and writing it now and then."""

from __future__ import annotations

from datetime import datetime, timedelta

from fastapi import Request

from app.actions import sign_in
from app.actions.sign_in import Lasting, Place
from app.settings import Settings
from app.store.signed_in import SignedIn, mark_seen


def place(request: Request) -> Place:
    """From where the request comes."""
    address = request.client.host if request.client else ""
    return Place(address, request.headers.get("user-agent", ""))


def lasting(settings: Settings) -> Lasting:
    return Lasting(
        timedelta(hours=settings.sign_in_idle_hours), timedelta(days=settings.sign_in_days)
    )


def seen(request: Request, found: SignedIn) -> None:
    """Write, at most every few minutes and without waiting, that this person was there."""
    now: datetime = request.app.state.clock()
    if found.seen_at is not None and now - found.seen_at < sign_in.SEEN_EVERY:
        return
    until = lasting(request.app.state.settings).until(found.began_at, now)
    mark_seen(request.app.state.engine, found, place(request).address, now, until)
