"""On which ground a browser shows pages: light or dark as its system asks, or always the one; the browser keeps it."""

from __future__ import annotations

from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from app.errors import Fault, Refused
from app.web.cookies import drop_cookie, read_cookie, set_cookie

COOKIE: Final = "ground"
SYSTEM, LIGHT, DARK = "system", "light", "dark"
# For which media the sheet of dark colours is linked. Paper is always light.
MEDIA: Final = {SYSTEM: "screen and (prefers-color-scheme: dark)", LIGHT: "", DARK: "screen"}
# The longest that browsers keep a cookie (RFC 6265bis, 5.5).
KEPT_SECONDS: Final = 400 * 24 * 3600


def chosen(request: Request) -> str:
    """What was chosen in this browser; the system's where nothing was."""
    kept = read_cookie(request, request.app.state.settings, COOKIE)
    return kept if kept in MEDIA else SYSTEM


def keep(request: Request, answer: Response, ground: str) -> None:
    """Have the browser keep the choice."""
    if ground not in MEDIA:
        raise Refused.because(
            [Fault("ground", f"want one of {', '.join(MEDIA)}, found “{ground}”")]
        )
    settings = request.app.state.settings
    if ground == SYSTEM:
        drop_cookie(answer, settings, COOKIE)
    else:
        set_cookie(answer, settings, ground, name=COOKIE, seconds=KEPT_SECONDS)
