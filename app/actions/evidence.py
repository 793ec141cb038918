"""What an evidence packet says of a car: all that its page says, and all that was recorded, as plain data.

Looked at as of a day and as known at a moment, like the page. Days and moments are ISO 8601 text, exact figures
decimal text, so that the same record gives the same words whoever writes them down.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from app import __version__
from app.actions import evidence_record as record
from app.actions.car_checks import Checks, checks
from app.actions.car_seen import CarSeen, DeviceLine, DueLine, car_seen, heading, specification
from app.actions.evidence_directives import directives
from app.actions.evidence_reports import inspections
from app.actions.evidence_words import day, exact
from app.actions.standpoint import Lookback, in_text
from app.core.facts import ZONES, Reason, ZoneThickness
from app.core.loading import MECHANICAL
from app.core.relief import range_in_words
from app.core.words import capitalized, label, sentence
from app.errors import NotFound, Refused
from app.files.drawings import ZoneScale, zone_scales
from app.files.packet import Front
from app.store import cars, evidence, proof
from app.store.asked import Standpoint
from app.store.events import EventShown
from app.store.tables import ReadingRow

Told = dict[str, Any]
# What a packet may hold at most; more is asked for in parts.
MOST_CARS = 2_000
AID = (
    "Due dates are an aid to calculation, not an authority. The rule in force, the owner’s written instructions "
    "and the qualified shop decide."
)


@dataclass(frozen=True, slots=True)
class View:
    """From where a packet looks, and how many days off is soon; `known` is how the moment was asked for."""

    at: Standpoint
    soon_days: int
    looks_back: bool = False
    known: str = "now"

    @classmethod
    def of(cls, back: Lookback | None, today: date, soon_days: int) -> View:
        """Where a page looks from that is asked for from there."""
        if back is None:
            return cls(Standpoint(today), soon_days)
        return cls(back.at, soon_days, True, back.known_in_words)

    def told(self) -> Told:
        known_at = self.at.known_at
        return {
            "as_of": self.at.as_of.isoformat(),
            "known_at": in_text(known_at) if known_at else None,
            "known_in_words": self.known,
            "soon_days": self.soon_days,
        }


def chosen(db: Session, car_ids: Iterable[int]) -> list[int]:
    """These cars without those that the session does not reach wholly. Raises Refused for none, and for too many."""
    wanted = list(dict.fromkeys(car_ids))
    reached = evidence.wholly_reached(db, wanted)
    found = [each for each in wanted if each in reached]
    if not found:
        raise Refused("There is no car to put into a packet.")
    if len(found) > MOST_CARS:
        raise Refused(
            f"These are more than {MOST_CARS:,} cars, which is as many as a packet holds. "
            f"Filter further, or ask in parts."
        )
    return found


def must_be_reached(db: Session, car_ids: Collection[int]) -> None:
    """Raise NotFound unless the session reaches all of each of these cars still."""
    if len(evidence.wholly_reached(db, car_ids)) < len(set(car_ids)):
        raise NotFound("This packet holds a car that you do not reach any more. Ask for another.")


def front(db: Session, view: View) -> Front:
    """What a packet says of itself. By the head of the record of change it can be held against the record later."""
    head = proof.head(db)
    return Front(view.told(), json.loads(head.as_text()) if head else None, AID, __version__)


def of_car(db: Session, car_id: int, view: View) -> Told:
    """Everything about one car; NotFound unless the session reaches all of it, and it was in the register then."""
    cars.car_or_raise(db, car_id)
    seen = car_seen(db, car_id, view.at, view.soon_days, view.looks_back)
    checked = checks(db, seen.record, seen.mounted, view.at)
    told: Told = {
        "car": _car(seen),
        "rulebook": {"id": seen.answer.rulebook_id, "edition": seen.answer.rulebook_edition},
        "loading": _loading(seen),
        "warnings": _warnings(seen, checked),
        "due": [_due(each) for each in seen.due],
        "devices": [_device(each) for each in seen.devices],
        "directives": directives(db, car_id, view.at, view.soon_days),
        "specification": [
            list(each) for each in specification(seen.record.car.specification, seen.rulebook)
        ],
        "facts": record.facts(seen.histories),
        "thickness": _thickness(seen),
        "test_pressure": _test_pressure(checked),
        "relief": _relief(checked),
        "inspections": inspections(db, car_id, seen, view.at),
        "events": [record.event(each) for each in seen.events],
        "readings": [record.reading(each, row) for each in seen.events for row in each.readings],
        "components": record.components(seen),
        "photographs": record.photographs(db, car_id, view.at),
    }
    return {**told, "corrections": record.corrections(told)}


# The car and its dates ------------------------------------------------------------------------------------------


def _car(seen: CarSeen) -> Told:
    shown, parties = heading(seen.record), seen.histories.parties
    owned = next((each.row for each in seen.histories.ownerships if each.in_force), None)
    former = [each.row for each in seen.histories.names if not each.in_force]
    return {
        "key": shown.id,
        "mark": shown.mark,
        "number": shown.number,
        "name": f"{shown.mark} {shown.number}",
        "specification": shown.specification,
        "standing": label(shown.standing),
        "lading": shown.commodity or "",
        "owner": parties[seen.record.owner_id],
        "lining_owner": parties.get(owned.lining_owner_id or 0, "") if owned else "",
        "equipment_owner": parties.get(owned.equipment_owner_id or 0, "") if owned else "",
        "region": shown.region,
        "formerly": [f"{each.mark} {each.number}" for each in former],
    }


def _loading(seen: CarSeen) -> Told:
    loading = seen.answer.loading
    return {
        "verdict": loading.verdict,
        "word": {
            "may_load": "May be loaded",
            "check": "Check before loading",
            "may_not_load": "May not be loaded",
        }[loading.verdict],
        "reasons": _reasons(loading.reasons),
        "caution": loading.caution,
    }


def _warnings(seen: CarSeen, checked: Checks) -> list[Told]:
    found = (*seen.answer.warnings, *checked.contradictions, *checked.warnings)
    return [{**each, "text": capitalized(each["text"])} for each in _reasons(found)]


def _reasons(given: Iterable[Reason]) -> list[Told]:
    return [
        {
            "text": each.text,
            "citation": each.citation or "",
            "part": each.part or "",
            "known_from": each.known_from,
        }
        for each in given
    ]


def _due(line: DueLine) -> Told:
    due = line.due
    return {
        "item": due.item,
        "title": sentence(due.item),
        "mechanical": due.item in MECHANICAL,
        "state": due.state,
        "status": line.status,
        "status_word": label(line.status),
        "due_on": day(due.due_on),
        "days_left": line.days_left,
        "basis_on": day(due.basis_on),
        "interval_months": due.interval_months,
        "calculated_due_on": day(due.calculated_due_on),
        "rule": due.rule,
        "confidence": due.confidence,
        "reasons": _reasons(due.reasons),
    }


def _device(each: DeviceLine) -> Told:
    device = each.relief.device
    return {
        "label": each.relief.label,
        "first_due": each.first,
        "tested_on": day(device.tested_on),
        "installed_on": day(device.installed_on),
        **_due(each.line),
    }


# Thickness ------------------------------------------------------------------------------------------------------


def _thickness(seen: CarSeen) -> Told:
    """Each zone against its lines, how it is drawn, and what was measured of it over the years."""
    scales = zone_scales(seen.answer.thickness)
    return {"zones": [_zone(each) for each in scales], "trend": _trend(seen.events)}


def _zone(scale: ZoneScale) -> Told:
    zone = scale.zone
    return {
        "zone": zone.zone,
        "title": sentence(zone.zone),
        "verdict": zone.verdict,
        "verdict_word": label(zone.verdict),
        "margin": scale.margin,
        "line_b_in": exact(zone.required_in),
        "line_b_by": _governing(zone),
        "line_c_in": exact(zone.line_c_in),
        "line_d_in": exact(zone.line_d_in),
        "line_e_in": exact(zone.line_e_in),
        "reading_in": exact(zone.reading_in),
        "measured_on": day(zone.measured_on, zone.measured_month_only),
        "extent": zone.extent or "",
        "reasons": _reasons(zone.reasons),
        "drawn": {
            "ticks": [
                {"letter": each.letter, "inches": exact(each.inches), "x": each.x, "row": each.row}
                for each in scale.ticks
            ],
            "reading_x": scale.reading_x,
            "condemned_to": scale.condemned_to,
        },
    }


def _governing(zone: ZoneThickness) -> str:
    by = {"table": "table", "formula": "plate formula", "owner": "owner’s minimum"}
    return next((by[each.source] for each in zone.sources if each.governs), "")


def _trend(events: Sequence[EventShown]) -> list[Told]:
    """By zone the least reading of each day on which it was measured, oldest first; what counts alone."""
    least: dict[str, dict[date, ReadingRow]] = {}
    for each in events:
        for row in each.readings if each.in_force else ():
            days = least.setdefault(row.zone, {})
            day = each.row.happened_on
            days[day] = min(days.get(day, row), row, key=lambda one: one.inches)
    return [
        {
            "zone": zone,
            "title": sentence(zone),
            "points": [
                {"on": day.isoformat(), "day": day.toordinal(), "inches": exact(row.inches)}
                for day, row in sorted(days.items())
            ],
            "change_in": _change(days),
        }
        for zone, days in sorted(least.items(), key=lambda found: ZONES.index(found[0]))
    ]


def _change(days: Mapping[date, ReadingRow]) -> str | None:
    """How much the least reading moved from the first day to the last; None for one day."""
    if len(days) < 2:
        return None
    return exact(days[max(days)].inches - days[min(days)].inches)


# Pressures ------------------------------------------------------------------------------------------------------


def _test_pressure(found: Checks) -> Told | None:
    pressure = found.pressure
    if pressure is None:
        return None
    return {
        "needed_psig": exact(pressure.needed_psig),
        "because": pressure.governing.text,
        "marked_psig": exact(pressure.marked_psig),
        "verdict": pressure.verdict,
        "missing": list(pressure.missing),
        "reasons": _reasons(pressure.reasons),
    }


def _relief(found: Checks) -> list[Told]:
    return [
        {
            "device": capitalized(device.label),
            "measure": each.measure,
            "psig": exact(each.psig),
            "allowed": range_in_words(each.range),
            "verdict": each.verdict,
        }
        for device in found.devices
        for each in device.judged
    ]
