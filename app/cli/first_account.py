"""The link that makes the first account, for `serve` and `people`."""

from __future__ import annotations

from app.actions import invitations
from app.cli.register import moment, register, who
from app.errors import Busy
from app.settings import Settings
from app.store import accounts
from app.store.db import read_session, write_session
from app.store.doer import Doer


def set_up_path(settings: Settings) -> str | None:
    """Where the first account is made, by a new link; None when there is one.

    None as well where the store cannot be written just now: it is served all the same.
    """
    with register(settings) as factory:
        with read_session(factory) as db:
            if accounts.anybody(db):
                return None
        try:
            with write_session(factory, doer=Doer(who())) as db:
                key = invitations.set_up_link(db, moment())
        except Busy:
            return None
    return f"/set-up/{key}" if key else None


def told(link: str) -> str:
    return (
        "Nobody has an account yet. Make the first one on this machine, within a day, at\n"
        f"  {link}\n"
        "The link works once; starting again, or python -m app people --set-up, prints a new one."
    )
