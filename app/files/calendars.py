"""Calendar files (iCalendar, RFC 5545) of whole days, for the calendars that people keep."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from icalendar import Calendar, Event

# What a line of text cannot hold; a line's end is kept as one.
_CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029]+")


@dataclass(frozen=True, slots=True)
class Entry:
    """Something from one whole day to another, both included. `uid` stays when the rest moves."""

    uid: str
    title: str
    first: date
    last: date
    place: str
    text: str
    address: str
    sure: bool


def calendar_bytes(
    name: str, entries: Iterable[Entry], made_at: datetime, about: str = ""
) -> bytes:
    """A calendar of these entries, as it stands at a moment; `about` says what it holds."""
    calendar = Calendar()
    calendar.add("prodid", "-//Stencilbook//Calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", _plain(name))
    if about:
        # By RFC 7986, 5.2, and as calendars called it before; both are read.
        calendar.add("description", _plain(about))
        calendar.add("x-wr-caldesc", _plain(about))
    for entry in entries:
        calendar.add_component(_event(entry, made_at))
    return bytes(calendar.to_ical())


def _event(entry: Entry, made_at: datetime) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", made_at)
    event.add("summary", _plain(entry.title))
    event.add("dtstart", entry.first)
    # The end is the day after the last (RFC 5545, 3.6.1).
    event.add("dtend", entry.last + timedelta(days=1))
    if entry.place:
        event.add("location", _plain(entry.place))
    event.add("description", _plain(entry.text))
    event.add("url", entry.address)
    event.add("status", "CONFIRMED" if entry.sure else "TENTATIVE")
    event.add("transp", "TRANSPARENT")
    return event


def _plain(text: str) -> str:
    return _CONTROLS.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n"))
