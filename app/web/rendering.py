"""Pages and parts of pages from Jinja templates.

Filters only spell things out; no template counts a date.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextvars import ContextVar
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.access import Viewer
from app.core import showing
from app.core.loading import MECHANICAL
from app.core.measure import exact, read, with_unit
from app.core.relief import range_in_words
from app.core.showing import AS_STORED, Preferences
from app.core.words import capitalized, label, noun
from app.store.change_list import version_of
from app.web import ground
from app.web.hosts import own_address
from app.web.navigation import leads
from app.web.requests import today

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "static"
HUNDRED_THOUSANDTH = Decimal("0.00001")
Measured = Fraction | Decimal | str


# How whoever is being answered wants days and measures written: filters have no other way to learn it, since
# macros do not know what a page was given.
_PREFERS: ContextVar[Preferences] = ContextVar("prefers", default=AS_STORED)


def day(value: date | None) -> str:
    """A day as the person writes days; a dash when there is none."""
    return showing.day(value, _PREFERS.get().days) if value else "–"


def day_or_month(value: date | None, month_only: bool) -> str:
    """A day, or only its month where no more is known."""
    return month(value) if value and month_only else day(value)


def month(value: date) -> str:
    """A month as the person writes it."""
    return showing.month(value, _PREFERS.get().days)


def in_length(value: Measured | None, side: showing.Side = "near") -> str:
    """Inches in the person's unit, rounded to a side where they have to be; a dash when there are none."""
    return "–" if value is None else showing.length(_number(value), _PREFERS.get().length, side)


def in_pressure(value: Measured | None, side: showing.Side = "near") -> str:
    """The same of psi."""
    return "–" if value is None else showing.pressure(_number(value), _PREFERS.get().pressure, side)


def in_words(text: str) -> str:
    """A sentence of the calculator for the person: days as they write them, their unit behind each figure."""
    return showing.in_words(text, _PREFERS.get())


def margin(text: str) -> str:
    """How far a reading is from its line, in the person's unit."""
    return showing.margin(text, _PREFERS.get().length)


def as_said(text: str, unit: str) -> str:
    """What an entry of field work states, with its unit: "0.438 in", "11.1 mm"."""
    return in_words(with_unit(text, unit))


def length_unit(*, long: bool = False) -> str:
    short = _PREFERS.get().length
    return {"in": "inches", "mm": "millimetres"}[short] if long else short


def pressure_unit() -> str:
    return _PREFERS.get().pressure


def gauge_unit() -> str:
    return _PREFERS.get().gauge


def _number(value: Measured) -> Fraction:
    return exact(read(value)) if isinstance(value, str) else Fraction(value)


def inches(value: Fraction | Decimal | None) -> str:
    """Inches to five decimals, rounded half up, without idle zeros: 13/32 is 0.40625."""
    if value is None:
        return "–"
    exact = Fraction(value)
    units = (exact / Fraction(HUNDRED_THOUSANDTH) + Fraction(1, 2)).__floor__()
    return f"{(Decimal(units) * HUNDRED_THOUSANDTH).normalize():f}"


def number(value: int) -> str:
    """A count with its thousands parted by a narrow space, as in a ledger."""
    return f"{value:,}".replace(",", "\u202f")


def counted(value: int, one: str, many: str | None = None) -> str:
    """So many of something: 1 car, 12 cars."""
    return f"{number(value)} {noun(value, one, many)}"


def size(value: int) -> str:
    """A file's size in the unit that reads best."""
    if value < 10_000:
        return f"{number(value)} bytes"
    return f"{value / 1e6:.1f} MB" if value >= 1_000_000 else f"{value // 1000} kB"


def query(values: Mapping[str, Any], **changes: Any) -> str:
    """The filter as the end of an address, with some of it changed; empty when nothing is left."""
    merged = {**values, **changes}
    kept = {name: value for name, value in merged.items() if value not in (None, "", False, ())}
    return f"?{urlencode(kept, doseq=True)}" if kept else ""


@cache
def asset(name: str) -> str:
    """The address of a static file, its sum in it: browsers keep it until it changes."""
    return f"/static/{name}?v={sha256((STATIC / name).read_bytes()).hexdigest()[:12]}"


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(ROOT / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,  # or each use asks the disk when the file was written; 0.6 ms of a page
    )
    filters = (
        as_said, day, day_or_month, in_length, in_pressure, in_words, inches, margin, month, number, size,
    )  # fmt: skip
    made.filters |= {each.__name__: each for each in filters}
    made.filters |= {"words": label, "sentence": capitalized, "allowed": range_in_words}
    made.tests["mechanical"] = MECHANICAL.__contains__
    made.globals |= {"asset": asset, "query": query, "counted": counted, "version_of": version_of}
    made.globals |= {each.__name__: each for each in (gauge_unit, length_unit, pressure_unit)}
    made.globals["main_navigation"] = leads
    return made


TEMPLATES = _environment()


def load_templates() -> None:
    """All of them now, and not each when it is first used."""
    for name in TEMPLATES.list_templates():
        TEMPLATES.get_template(name)


def _signed_in(request: Request) -> Viewer | None:
    found = getattr(request.state, "admitted", None)
    return found.viewer if found else None


def _rendered(request: Request, template: str, inputs: Mapping[str, Any]) -> str:
    zone = ZoneInfo(request.app.state.settings.time_zone)

    def moment(value: datetime | None) -> str:
        """A moment to the minute, in the time zone of the settings."""
        local = value.astimezone(zone) if value else None
        return f"{day(local)} {local:%H:%M}" if local else "–"

    viewer = _signed_in(request)
    around = {
        "here": request.url.path,
        "signed_in": viewer,
        "masthead_day": today(request),
        "request_id": getattr(request.state, "request_id", ""),
        "time_zone": zone.key,
        "moment": moment,
        "dark_media": ground.MEDIA[ground.chosen(request)],
    }
    found = TEMPLATES.get_template(template)
    token = _PREFERS.set(viewer.prefers if viewer else AS_STORED)
    try:
        return found.render(around | dict(inputs))
    finally:
        _PREFERS.reset(token)


def page(request: Request, template: str, status: int = 200, **inputs: Any) -> HTMLResponse:
    """A whole page. What the template uses and is not given is an error, not a blank."""
    return HTMLResponse(_rendered(request, template, inputs), status)


def partial(request: Request, template: str, status: int = 200, **inputs: Any) -> HTMLResponse:
    """A part of a page, for htmx to put in place. Answers differ by header, so caches are told."""
    answer = HTMLResponse(_rendered(request, template, inputs), status)
    answer.headers["Vary"] = "HX-Request"
    return answer


def see_other(address: str) -> RedirectResponse:
    """Where to look after something was recorded; a reload there records nothing twice."""
    return RedirectResponse(own_address(address), status_code=303)


__all__ = ["TEMPLATES", "asset", "page", "partial", "see_other"]
