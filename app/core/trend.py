"""How the thickness of a zone goes over the years: a straight line through its readings, and when it comes to a line.

An owner's aid and not the rule: 180.509 asks for no rate of wear. Inches and years; a rate below zero is wear.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from functools import lru_cache
from math import cos, pi, sin, sqrt, tan
from statistics import fmean, linear_regression

from app.core.facts import (
    SHELL_AND_HEAD_ZONES,
    Answer,
    Event,
    Extent,
    Facts,
    Reading,
    ZoneThickness,
)
from app.core.lining import lining_steps
from app.core.rule import Rulebook
from app.core.thickness import judged_extent
from app.core.words import counted, noun

DAYS_A_YEAR = 365.25
# Of 100 such intervals 95 hold the true rate, if the readings stray about a straight line as chance has it.
SHARE = 0.95
# What lies further ahead nobody can tell from a few readings.
MOST_YEARS = 100
REPAIRED = "a repair or blasting thinned the tank"

Series = tuple[str, Extent]


@dataclass(frozen=True, slots=True)
class Beginning:
    """The day on which another tank shell began, as far as wear goes, and why."""

    on: date
    why: str


@dataclass(frozen=True, slots=True)
class Point:
    """The least that was read of a zone on a day, inches; `left_out` says why the line leaves it out."""

    on: date
    inches: Fraction
    left_out: str = ""
    month_only: bool = False


@dataclass(frozen=True, slots=True)
class Rate:
    """A line by least squares: inches on `since`, inches a year, and their 95 % interval by Student's t.

    With two days alone there is no standard error and no interval.
    """

    since: date
    inches: float
    a_year: float
    error: float | None = None
    steepest: float | None = None
    flattest: float | None = None

    def on(self, day: date) -> float:
        """Inches by the line on a day."""
        return self.inches + self.a_year * _years(self.since, day)


@dataclass(frozen=True, slots=True)
class Reaching:
    """When a zone comes to one of its lines.

    `on` at the rate, `earliest` at the steepest rate of the interval, `already` when it was read there.
    """

    letter: str
    inches: Fraction
    on: date | None = None
    earliest: date | None = None
    already: date | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """The readings of a zone over time, general and local ones apart, with what can be said of them."""

    zone: ZoneThickness
    extent: Extent
    points: tuple[Point, ...]
    began: Beginning | None
    rate: Rate | None
    reaching: tuple[Reaching, ...]
    said: tuple[str, ...]

    @property
    def in_line(self) -> tuple[Point, ...]:
        return tuple(point for point in self.points if not point.left_out)


def trends(answer: Answer, rulebook: Rulebook) -> tuple[Trend, ...]:
    """Every zone of the answer, also those that were never measured; its local readings apart, where there are any."""
    facts = answer.facts
    began, found = beginning(facts), points(facts, rulebook)
    return tuple(
        _trend(zone, extent, found.get((zone.zone, extent), ()), began)
        for zone in answer.thickness
        for extent in _EXTENTS
        if extent == "general" or (zone.zone, extent) in found
    )


_EXTENTS: tuple[Extent, ...] = ("general", "local")


def beginning(facts: Facts) -> Beginning | None:
    """The last time that the shell became another: relined, stripped, thinned (180.509(f)(6)) or rebuilt."""
    car, events = facts.car, facts.events
    steps = [
        Beginning(on, f"the lining was {'applied' if applied else 'removed'}")
        for on, applied in lining_steps(car.lining, events)
    ]
    steps += [
        Beginning(event.on, REPAIRED)
        for event in events
        if "repair_reducing_thickness" in event.items
    ]
    if car.rebuilt_on:
        steps.append(Beginning(car.rebuilt_on, "the car was rebuilt"))
    # A day that is stated may lie ahead.
    known = (step for step in steps if step.on <= facts.as_of)
    return max(known, key=lambda step: step.on, default=None)


def points(facts: Facts, rulebook: Rulebook) -> dict[Series, tuple[Point, ...]]:
    """By zone and extent, a point for each day on which it was read, the earliest first.

    What was read on the day of a beginning was read after it.
    """
    began = beginning(facts)
    days: dict[Series, dict[date, list[tuple[Event, Reading]]]] = defaultdict(dict)
    for event in facts.events:
        for reading in event.readings:
            extent = judged_extent(reading, rulebook)[0]
            days[reading.zone, extent].setdefault(event.on, []).append((event, reading))
    return {
        series: tuple(_point(on, by_day[on], began) for on in sorted(by_day))
        for series, by_day in days.items()
    }


def _point(on: date, read: Sequence[tuple[Event, Reading]], began: Beginning | None) -> Point:
    """The least of a day; a spot check alone may have missed the thinnest place, so no line goes through it."""
    full = any("thickness" in event.items for event, _ in read)
    left_out = "" if full else "a spot check, not a thickness test"
    if began and on < began.on:
        left_out = f"before {began.on}, when {began.why}"
    least = min(reading.inches for _, reading in read)
    return Point(on, least, left_out, any(event.month_only for event, _ in read))


def _trend(
    zone: ZoneThickness, extent: Extent, found: tuple[Point, ...], began: Beginning | None
) -> Trend:
    used = [point for point in found if not point.left_out]
    rate = fitted(used)
    since = [point for point in found if not (began and point.on < began.on)]
    reaching = tuple(
        _reaching(letter, inches, since, used, rate) for letter, inches in _lines(zone, extent)
    )
    return Trend(zone, extent, found, began, rate, reaching, _said(found, used, rate, began))


def _lines(zone: ZoneThickness, extent: Extent) -> list[tuple[str, Fraction]]:
    """Line C, and the condemning line of readings of this extent (180.509(f), figure A)."""
    condemning = ("D", zone.line_d_in) if extent == "general" else ("E", zone.line_e_in)
    return [(letter, inches) for letter, inches in (("C", zone.line_c_in), condemning) if inches]


# The line --------------------------------------------------------------------------------------------------------


def fitted(read: Sequence[Point]) -> Rate | None:
    """The straight line of these points, no two of one day, by least squares; None for fewer than two."""
    if len(read) < 2:
        return None
    since = read[0].on
    years = [_years(since, point.on) for point in read]
    inches = [float(point.inches) for point in read]
    a_year, start = linear_regression(years, inches)
    if len(read) == 2:
        return Rate(since, start, a_year)
    middle = fmean(years)
    strayed = sum((y - start - a_year * x) ** 2 for x, y in zip(years, inches, strict=True))
    freedom = len(read) - 2
    error = sqrt(strayed / freedom / sum((x - middle) ** 2 for x in years))
    half = student_t(SHARE, freedom) * error
    return Rate(since, start, a_year, error, a_year - half, a_year + half)


@lru_cache(maxsize=256)
def student_t(share: float, freedom: int) -> float:
    """The t within which, either side of zero, a Student variable lies with probability `share`.

    By halving the angle of Abramowitz and Stegun 26.7.3 and 26.7.4, whose sums are exact for whole degrees of freedom.
    """
    low, high = 0.0, pi / 2
    for _ in range(60):
        angle = (low + high) / 2
        if _within(angle, freedom) < share:
            low = angle
        else:
            high = angle
    return sqrt(freedom) * tan(low)


def _within(angle: float, freedom: int) -> float:
    """The probability that |T| is less than sqrt(freedom) tan(angle)."""
    odd = freedom % 2
    term, total = (cos(angle) if odd else 1.0), 0.0
    for power in range(2 + odd, freedom + 1, 2):
        total += term
        term *= cos(angle) ** 2 * (power - 1) / power
    return (2 / pi) * (angle + sin(angle) * total) if odd else sin(angle) * total


def _years(since: date, day: date) -> float:
    return (day - since).days / DAYS_A_YEAR


# When it comes to a line ------------------------------------------------------------------------------------------


def _reaching(
    letter: str, inches: Fraction, since: Sequence[Point], used: Sequence[Point], rate: Rate | None
) -> Reaching:
    already = next((point.on for point in since if point.inches <= inches), None)
    if already or rate is None:
        return Reaching(letter, inches, already=already)
    last = used[-1]
    # Where the last reading lies below the line, it is later than the line thinks.
    left = min(float(last.inches), rate.on(last.on)) - float(inches)
    return Reaching(
        letter, inches, _in_time(last.on, left, rate.a_year), _in_time(last.on, left, rate.steepest)
    )


def _in_time(day: date, left: float, a_year: float | None) -> date | None:
    """When so many inches are gone; None at a rate that is not known, is no wear, or takes more than `MOST_YEARS`."""
    if a_year is None or a_year >= 0:
        return None
    years = max(left, 0.0) / -a_year
    return day + timedelta(days=int(years * DAYS_A_YEAR)) if years <= MOST_YEARS else None


# In words ---------------------------------------------------------------------------------------------------------


def _said(
    found: Sequence[Point], used: Sequence[Point], rate: Rate | None, began: Beginning | None
) -> tuple[str, ...]:
    said = [_how_many_days(len(used), began)]
    if rate and rate.a_year >= 0:
        said.append("The readings show no wear, so no month is given at this rate")
    if began and found:
        said.append(f"The line begins on {began.on}, when {began.why}")
    left_out = sum(1 for point in found if point.left_out)
    if left_out:
        days = counted(len(found), "day")
        said.append(
            f"{left_out} of {days} {noun(left_out, 'is', 'are')} not in the line; the table says why"
        )
    if any(point.month_only for point in used):
        said.append("Where only the month of a reading is known, its first day was taken")
    return tuple(text for text in said if text)


def _how_many_days(count: int, began: Beginning | None) -> str:
    since = f" since {began.on}" if began else ""
    told: Mapping[int, str] = {
        0: f"No thickness test was read here{since}, so there is no rate",
        1: f"Read in one thickness test{since}, so there is no rate: it takes two",
        2: f"Read in two thickness tests{since}: a rate, but no interval, which takes three",
    }
    return told.get(count, "")


def fastest(facts: Facts, rulebook: Rulebook) -> Rate | None:
    """The rate of the shell or head zone that wears fastest by its general readings; None where none has a rate."""
    found = points(facts, rulebook)
    rates = [
        fitted([point for point in found.get((zone, "general"), ()) if not point.left_out])
        for zone in SHELL_AND_HEAD_ZONES
    ]
    return min((rate for rate in rates if rate), key=lambda rate: rate.a_year, default=None)
