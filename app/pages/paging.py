"""Where a page of a list begins that goes by a whole number."""

from __future__ import annotations

from fastapi import Request

from app.errors import Refused


def began_behind(request: Request) -> int:
    """The number behind which the page that is asked for begins; Refused when it is none."""
    text = request.query_params.get("after", "")
    if text and not (text.isdecimal() and len(text) <= 16):
        raise Refused("This address of a page in the list is damaged. Open the list anew.")
    return int(text or 0)
