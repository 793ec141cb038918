"""Sending the mails of the day, from the hour of the settings on; asked again and again, each goes once."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app import mail
from app.access import Reach
from app.actions import notices
from app.actions.notices import Letter
from app.settings import Settings
from app.store import accounts, reach, signed_in, watching
from app.store.db import Sessions, read_session, write_session


def send_due(settings: Settings, factory: Sessions, now: datetime) -> int:
    """Send what is to go now; how many mails the server took. Without a server, or too early, none."""
    local = now.astimezone(ZoneInfo(settings.time_zone))
    if not mail.can_mail(settings) or local.hour < settings.notices_hour:
        return 0
    today = local.date()
    with read_session(factory) as db:
        waiting = [(wish.person_id, kind) for wish, kind in notices.due_today(db, today, now)]
    return sum(_send(settings, factory, person_id, kind, now) for person_id, kind in waiting)


def _send(settings: Settings, factory: Sessions, person_id: int, kind: str, now: datetime) -> bool:
    today = now.astimezone(ZoneInfo(settings.time_zone)).date()
    with read_session(factory) as db:
        found = _reached(db, person_id)
    if found is None:
        return False
    email, reached = found
    with write_session(factory) as db:
        if not notices.begin(db, person_id, kind, today, now):
            return False
    with read_session(factory, reached) as db:
        wish = watching.wish(db, person_id)
        told = notices.letter(db, wish, kind, today, site(settings)) if wish else None
    state = _handed_over(settings, email, told)
    with write_session(factory) as db:
        notices.end(db, person_id, kind, today, state, now)
    return state == "sent"


def _reached(db: Session, person_id: int) -> tuple[str, Reach] | None:
    """The person's address of mail and what they reach now; None for one who may not see the list any more."""
    viewer = signed_in.viewer_of(db, person_id)
    if viewer is None or not viewer.may("watch"):
        return None
    return accounts.person_or_raise(db, person_id).email, reach.of_viewer(db, viewer, "watch")


def _handed_over(settings: Settings, email: str, told: Letter | None) -> str:
    if told is None:
        return "nothing"
    return "sent" if mail.send(settings, email, told.subject, told.text) else "failed"


def site(settings: Settings) -> str:
    """The address that links begin with: what people open, else this machine's own."""
    return settings.public_url or f"http://localhost:{settings.port}"
