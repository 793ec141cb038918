"""Reading from where somebody wants the record looked at: as of a day, as known at a moment; and saying so in words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from app.errors import Fault, Refused
from app.store.asked import Standpoint

# Years that can be meant; calendar sums beyond them leave the calendar.
EARLIEST, LATEST = date(1850, 1, 1), date(2199, 12, 31)
WRITTEN = re.compile(r"((?:18|19|20|21)\d\d-\d\d-\d\d)(?:[T ](\d\d:\d\d)(:\d\d)?)?", re.ASCII)
WANTED = "want a day YYYY-MM-DD, or a minute YYYY-MM-DDTHH:MM"
LEAST = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Lookback:
    """An answer that is not for now: its day and moment, the day it is today, and the moment as it was asked for."""

    at: Standpoint
    today: date
    zone: ZoneInfo
    known: str | None = None

    @property
    def stored(self) -> bool:
        """Whether what is stored answers it: by all that is known now, and no day that is past."""
        return self.at.known_at is None and self.at.as_of >= self.today

    @property
    def query(self) -> str:
        """The end of an address that looks from here."""
        asked = {"as_of": self.at.as_of.isoformat()} | ({"known": self.known} if self.known else {})
        return f"?{urlencode(asked)}"

    @property
    def known_in_words(self) -> str:
        """Such as "2026-01-05 12:00"; a day alone is its end."""
        if self.known is None:
            return "now"
        return self.known.replace("T", " ") if ":" in self.known else f"the end of {self.known}"

    @property
    def name(self) -> str:
        """What tells a file from one that shows another day or moment."""
        known = f"-as-known-{re.sub('[T :]', '', self.known)}" if self.known else ""
        return f"{self.at.as_of}{known}"

    @property
    def cells(self) -> tuple[date, str]:
        """What a file's columns as_of and known_at say in each row."""
        return self.at.as_of, self.known_at_text or "now"

    @property
    def known_at_text(self) -> str | None:
        """The moment with its offset from UTC, to the second."""
        if self.at.known_at is None:
            return None
        return self.at.known_at.astimezone(self.zone).isoformat(timespec="seconds")

    def in_words(self) -> str:
        """As of which day and by what was known when, as a sentence without its full stop."""
        return f"As of {self.at.as_of}, as known {self._known_when()}"

    def _known_when(self) -> str:
        return f"at {self.known_in_words} ({self.zone.key})" if self.known else "now"


def lookback(
    as_of: date | None, known: str | None, now: datetime, zone: ZoneInfo
) -> Lookback | None:
    """From where to look; None for today by what is known now.

    Without a day it is the day of the moment. Raises Refused where a day or moment cannot be read or
    meant, and where the moment has not come yet.
    """
    today = now.astimezone(zone).date()
    if as_of is not None and not EARLIEST <= as_of <= LATEST:
        raise _wrong("as_of", f"found {as_of}, want a day from {EARLIEST} to {LATEST}")
    if known is None:
        if as_of is None or as_of == today:
            return None
        return Lookback(Standpoint(as_of), today, zone)
    first, last = _span(known, zone)
    if first > now:
        raise _wrong("known", f"{known} has not come yet; what will be known then nobody can tell")
    day = as_of or first.astimezone(zone).date()
    return Lookback(Standpoint(day, min(last, now)), today, zone, known.strip())


def _span(text: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The first and the last moment of a day, a minute or a second: all that was recorded in it counts."""
    match = WRITTEN.fullmatch(text.strip())
    if match is None:
        raise _wrong("known", f"found {text!r}, {WANTED}")
    day, minute, second = match.groups()
    try:
        begins = datetime.fromisoformat(f"{day}T{minute or '00:00'}{second or ''}")
    except ValueError:
        raise _wrong("known", f"{text!r} is no day and time; {WANTED}") from None
    if minute is None:
        ends = datetime.combine(begins.date() + timedelta(days=1), time())
    else:
        ends = begins + (timedelta(seconds=1) if second else timedelta(minutes=1))
    # Where a clock was put back the hour comes twice; the later one is meant, so that nothing
    # recorded at such a time is left out.
    return _utc(begins, zone, fold=0), _utc(ends, zone, fold=1) - LEAST


def _utc(local: datetime, zone: ZoneInfo, fold: int) -> datetime:
    return local.replace(tzinfo=zone, fold=fold).astimezone(UTC)


def _wrong(path: str, problem: str) -> Refused:
    return Refused.because([Fault(path, problem)])
