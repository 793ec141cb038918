"""What the page of a car shows, put together from its record and the calculator's answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from app.actions.car_seen import DeviceLine, DueLine, Heading, car_seen, heading, specification
from app.actions.standpoint import Lookback
from app.core.facts import Answer
from app.files.drawings import ZoneScale, zone_scales
from app.pages.car_drawing import Spot, place_of, spots
from app.pages.changing import Link, Seen
from app.pages.fact_forms import FACTS
from app.pages.fact_history import Section, sections
from app.store.asked import Standpoint
from app.store.components import Mounted
from app.store.events import EventShown
from app.store.facts import CarRecord


@dataclass(frozen=True, slots=True)
class CarView:
    """Everything on the page of a car; `forms` are none where it looks back."""

    car: Heading
    day: date
    owner: str
    record: CarRecord
    answer: Answer
    specification: Sequence[tuple[str, str]]
    due: Sequence[DueLine]
    devices: Sequence[DeviceLine]
    scales: Sequence[ZoneScale]
    mounted: Sequence[Mounted]
    spots: Sequence[Spot]
    once_mounted: Sequence[Mounted]
    events: Sequence[EventShown]
    sections: Sequence[Section]
    forms: Sequence[Link]

    @property
    def former_names(self) -> list[str]:
        names = next(each for each in self.sections if each.kind == "name")
        return [f"{past.lines[0][1]}, until {past.until}" for past in names.past if past.until]


def seen_from(seen: Seen, back: Lookback | None) -> Standpoint:
    return back.at if back else Standpoint(seen.stamp.today)


def view(db: Session, car_id: int, looking: Seen, back: Lookback | None = None) -> CarView:
    """The page of a car on the day it is looked at, or as it was; a bounded number of queries."""
    at = seen_from(looking, back)
    seen = car_seen(db, car_id, at, looking.soon_days, looks_back=back is not None)
    mounted = sorted(seen.mounted, key=_place)
    return CarView(
        car=heading(seen.record),
        day=seen.day,
        owner=seen.histories.parties[seen.record.owner_id],
        record=seen.record,
        answer=seen.answer,
        specification=specification(seen.record.car.specification, seen.rulebook),
        due=seen.due,
        devices=seen.devices,
        scales=zone_scales(seen.answer.thickness),
        mounted=mounted,
        spots=spots(mounted),
        once_mounted=seen.once_mounted,
        events=seen.events,
        sections=sections(seen.histories),
        forms=[] if back else _forms(car_id),
    )


def _place(mounted: Mounted) -> tuple[tuple[int, int, int], str, str]:
    position = mounted.installation.position
    return place_of(position).order, position, mounted.component.kind


def _forms(car_id: int) -> list[Link]:
    recorded = [(f"/cars/{car_id}/facts/{kind}", fact.title) for kind, fact in FACTS.items()]
    return [
        *recorded,
        (f"/cars/{car_id}/components/new", "Install a component"),
        (f"/cars/{car_id}/visits/new", "Send to a shop"),
        (f"/cars/{car_id}/hand-over", "Hand over"),
    ]
