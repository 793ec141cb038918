"""The one way a cookie that says who is there is set, read and taken away.

Lax, not Strict: a link in a message or on a shop's page must lead to a signed-in page, and an
identity provider sends people back by such a link. What Lax lets through only reads; each change is
held to its origin by Guard.
"""

from __future__ import annotations

from typing import Literal

from starlette.requests import HTTPConnection
from starlette.responses import Response

from app.settings import Settings

SESSION = "session"
# A browser takes a cookie of this name from a secure page of this very host only.
HOST_ONLY = "__Host-"
SameSite = Literal["lax", "strict"]


def cookie_name(settings: Settings, name: str = SESSION) -> str:
    """The name in the browser, which depends on whether the register is reached by HTTPS."""
    return f"{HOST_ONLY}{name}" if settings.https else name


def set_cookie(
    answer: Response,
    settings: Settings,
    value: str,
    *,
    name: str = SESSION,
    seconds: int | None = None,
    same_site: SameSite = "lax",
) -> None:
    """Have the browser keep `value` for so many seconds, or until it is closed; no script sees it.

    `strict` suits a cookie that no link from elsewhere has to carry.
    """
    answer.set_cookie(
        cookie_name(settings, name),
        value,
        max_age=seconds,
        path="/",
        secure=settings.https,
        httponly=True,
        samesite=same_site,
    )


def drop_cookie(answer: Response, settings: Settings, name: str = SESSION) -> None:
    """Have the browser forget it."""
    answer.delete_cookie(
        cookie_name(settings, name), path="/", secure=settings.https, httponly=True, samesite="lax"
    )


def read_cookie(asked: HTTPConnection, settings: Settings, name: str = SESSION) -> str:
    """What the browser sent back; empty when it sent none. By HTTPS only the guarded name counts."""
    return asked.cookies.get(cookie_name(settings, name), "")
