"""What a form sent in vain, held on a page from which it can be sent again: nothing typed is lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from app.errors import Refused
from app.web.admission import READING
from app.web.requests import form_of

# What forms call passwords and codes. These stand in no page, so their forms are not held at all.
SECRETS = frozenset({"password", "again", "current", "code"})
# What forms carry besides what is typed.
CARRIED = frozenset({"form_key", "version", "meanwhile"})
FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


@dataclass(frozen=True, slots=True)
class Held:
    """Where to send it, every value by the name of its field, and the same of its files."""

    address: str
    values: Sequence[tuple[str, str]]
    files: Sequence[tuple[str, str]]

    @property
    def typed(self) -> list[tuple[str, str]]:
        """The values that a person would type again, to be read and copied."""
        return [(name, value) for name, value in self.values if value and name not in CARRIED]


async def held(request: Request) -> Held | None:
    """What was sent, in its order, as it was typed.

    None when it was no form, or none to be read, or one with a secret in it.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method in READING or kind not in (*FORMS, ""):
        return None
    try:
        form = await form_of(request)
    except (HTTPException, Refused):
        return None
    return None if SECRETS & form.keys() else _held(request, form)


def _held(request: Request, form: FormData) -> Held:
    query = f"?{request.url.query}" if request.url.query else ""
    every = form.multi_items()
    return Held(
        f"{request.url.path}{query}",
        [(name, value) for name, value in every if isinstance(value, str)],
        [(name, value.filename or "") for name, value in every if isinstance(value, UploadFile)],
    )
