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
# A plus that an address did not escape arrives as a space.
WRITTEN = re.compile(
    r"(?P<day>(?:18|19|20|21)\d\d-\d\d-\d\d)"
    r"(?:[T ](?P<minute>\d\d:\d\d)(?:(?P<second>:\d\d)(?P<fraction>\.\d{1,6})?)?"
    r"(?P<offset>Z|[-+ ]\d\d:\d\d)?)?",
    re.ASCII,
)
WANTED = (
    "want a day YYYY-MM-DD, or a minute YYYY-MM-DDTHH:MM, with seconds :SS or :SS.ffffff and the "
    "offset from UTC, Z or +HH:MM, where they matter"
)
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
        """Such as "2026-01-05 12:00 (UTC)", with the offset that was asked for; a day alone is its end."""
        if self.known is None:
            return "now"
        found = WRITTEN.fullmatch(self.known)
        if found is None or found["minute"] is None:
            return f"the end of {self.known} ({self.zone.key})"
        day, clock, offset = _parts(found)
        where = {"": self.zone.key, "Z": "UTC"}.get(offset, f"UTC{offset}")
        return f"{day} {clock} ({where})"

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
        """The moment with its offset from UTC (see `in_text`)."""
        return in_text(self.at.known_at.astimezone(self.zone)) if self.at.known_at else None

    def in_words(self) -> str:
        """As of which day and by what was known when, as a sentence without its full stop."""
        return f"As of {self.at.as_of}, as known {self._known_when()}"

    def _known_when(self) -> str:
        return f"at {self.known_in_words}" if self.known else "now"


def in_text(moment: datetime) -> str:
    """A moment as it can be asked for again: the end of a second by that second, others in full."""
    ends_second = moment.microsecond == 999_999
    return moment.isoformat(timespec="seconds" if ends_second else "microseconds")


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
    text = known.strip()
    found = WRITTEN.fullmatch(text)
    if found is None:
        raise _wrong("known", f"found {text!r}, {WANTED}")
    first, last = _span(found, zone)
    if first > now:
        raise _wrong("known", f"{text} has not come yet; what will be known then nobody can tell")
    day = as_of or first.astimezone(zone).date()
    asked = "T".join(filter(None, _parts(found)[:2])) + _parts(found)[2]
    return Lookback(Standpoint(day, min(last, now)), today, zone, asked)


def _parts(found: re.Match[str]) -> tuple[str, str, str]:
    """The day, the time of day and the offset, as they are written; empty where there are none."""
    told = {name: part or "" for name, part in found.groupdict().items()}
    clock = told["minute"] + told["second"] + told["fraction"]
    return told["day"], clock, told["offset"].replace(" ", "+")


def _span(found: re.Match[str], zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The first and the last moment of what is written: all that was recorded in it counts."""
    day, clock, offset = _parts(found)
    try:
        begins = datetime.fromisoformat(f"{day}T{clock or '00:00'}{offset}")
    except ValueError:
        raise _wrong("known", f"{found[0]!r} is no day and time; {WANTED}") from None
    if clock:
        ends = begins + _lasting(found)
    else:
        ends = datetime.combine(begins.date() + timedelta(days=1), time())
    if offset:
        return begins.astimezone(UTC), ends.astimezone(UTC) - LEAST
    # Where a clock was put back the hour comes twice; the later one is meant, so that nothing
    # recorded at such a time is left out.
    return _utc(begins, zone, fold=0), _utc(ends, zone, fold=1) - LEAST


def _lasting(found: re.Match[str]) -> timedelta:
    """How long a minute, a second or a written part of a second lasts."""
    if found["second"] is None:
        return timedelta(minutes=1)
    digits = len(found["fraction"] or ".") - 1
    return LEAST * int(10 ** (6 - digits))


def _utc(local: datetime, zone: ZoneInfo, fold: int) -> datetime:
    return local.replace(tzinfo=zone, fold=fold).astimezone(UTC)


def _wrong(path: str, problem: str) -> Refused:
    return Refused.because([Fault(path, problem)])
