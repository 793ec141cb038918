"""Wear of a car's shell over the years: pictures by zone, what they say, and the readings that they are made of.

An owner's aid and not the rule; no date of the car rests on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import looking_back, rulebooks
from app.actions.car_seen import Heading, heading
from app.actions.standpoint import Lookback
from app.core.facts import ZoneThickness
from app.core.trend import DAYS_A_YEAR, Point, Rate, Trend, trends
from app.errors import NotFound
from app.files.charts import Course, Drawn, Track, course_svg
from app.pages.car_view import seen_from
from app.pages.changing import Looking, Seen
from app.pages.exports import as_picture
from app.pages.looking_back import Back
from app.store import cars, wear
from app.store.columns import BEGINNING

router = APIRouter()

# Further ahead nothing is drawn, or the readings would crowd at the left.
MOST_DRAWN = timedelta(days=30 * DAYS_A_YEAR)


@dataclass(frozen=True, slots=True)
class Zone:
    """A zone with a picture of its own: its lines, and the trends of its general and its local readings."""

    thickness: ZoneThickness
    trends: Sequence[Trend]

    @property
    def name(self) -> str:
        return self.thickness.zone

    @property
    def measured(self) -> bool:
        return any(each.points for each in self.trends)


@dataclass(frozen=True, slots=True)
class CarTrends:
    """The page: whose trends, as of which day, the zones in the order of every list, what it carried."""

    car: Heading
    day: date
    owner: str
    zones: Sequence[Zone]
    carried: Sequence[tuple[date, str]]

    @property
    def measured(self) -> list[Zone]:
        return [zone for zone in self.zones if zone.measured]

    @property
    def never_measured(self) -> list[Zone]:
        return [zone for zone in self.zones if not zone.measured]


@router.get("/cars/{car_id}/trend")
@web.may("read", looks_back=True)
def trend_page(
    request: Request, car_id: web.Key, db: web.Db, looking: Looking, back: Back
) -> Response:
    shown = _view(db, car_id, looking, back)
    return web.page(
        request, "cars/trend.html", car=shown.car, view=shown, back=back, beginning=BEGINNING
    )


@router.get("/cars/{car_id}/trend/{zone}.svg")
@web.may("read", looks_back=True)
def trend_picture(car_id: web.Key, zone: str, db: web.Db, looking: Looking, back: Back) -> Response:
    shown = _view(db, car_id, looking, back)
    found = next((each for each in shown.zones if each.name == zone), None)
    if found is None:
        raise NotFound("There is no such picture.")
    return as_picture(course_svg(_course(found)))


def _view(db: Session, car_id: int, looking: Seen, back: Lookback | None) -> CarTrends:
    cars.car_or_raise(db, car_id)
    at = seen_from(looking, back)
    record = looking_back.record_of(db, car_id, at)
    programme = rulebooks.in_force(db, at.known_at)
    answer = programme.whole_answer(record, at.as_of).answer
    found = trends(answer, programme.of(record.owner_id).rulebook)
    zones = [Zone(zone, [each for each in found if each.zone is zone]) for zone in answer.thickness]
    owner = cars.party_names(db)[record.owner_id]
    carried = wear.carried(db, car_id, at)
    return CarTrends(heading(record), at.as_of, owner, zones, carried)


# The picture ------------------------------------------------------------------------------------------------------


def _course(zone: Zone) -> Course:
    """The lines B to D, and E where there are local readings; then readings, then what is worked out of them."""
    drawn = [track for trend in zone.trends for track in _of_trend(trend)]
    found = zone.thickness
    local = any(trend.extent == "local" for trend in zone.trends)
    levels = (
        ("B", found.required_in),
        ("C", found.line_c_in),
        ("D", found.line_d_in),
        ("E", found.line_e_in if local else None),
    )
    return Course(drawn, [(letter, float(inches)) for letter, inches in levels if inches])


def _of_trend(trend: Trend) -> Iterable[Track]:
    what = trend.extent.capitalize()
    left_out = [point for point in trend.points if point.left_out]
    if trend.in_line:
        yield Track(what, _dots(trend.in_line), "dots")
    if left_out:
        yield Track(f"{what}, left out", _dots(left_out), "hollow")
    if trend.rate:
        yield from _lines_of(trend, trend.rate)


def _lines_of(trend: Trend, rate: Rate) -> Iterable[Track]:
    """The line through the readings, and from the last of them on as far as it tells of a line."""
    last = trend.in_line[-1]
    yield Track(
        f"{trend.extent.capitalize()}, by the line",
        [_place(rate, rate.since), _place(rate, last.on)],
        "solid",
    )
    left = min(float(last.inches), rate.on(last.on))
    ahead: Sequence[tuple[str, list[date | None], float | None, Drawn]] = (
        ("At this rate", [each.on for each in trend.reaching], rate.a_year, "dashed"),
        ("At the steepest", [each.earliest for each in trend.reaching], rate.steepest, "dotted"),
    )
    for name, ends, a_year, drawn in ahead:
        until = max((end for end in ends if end), default=None)
        if until and a_year is not None:
            until = min(until, last.on + MOST_DRAWN)
            there = left + a_year * (until - last.on).days / DAYS_A_YEAR
            yield Track(name, [(_year(last.on), left), (_year(until), there)], drawn)


def _place(rate: Rate, day: date) -> tuple[float, float]:
    return _year(day), rate.on(day)


def _dots(points: Iterable[Point]) -> list[tuple[float, float]]:
    return [(_year(point.on), float(point.inches)) for point in points]


def _year(day: date) -> float:
    return day.year + (day.timetuple().tm_yday - 1) / DAYS_A_YEAR
