"""Handing a car over to another register: what changes here, and the file that goes with the car."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from app import __version__
from app.actions import facts, looking_back, pictures, rows, rulebooks, told_orders
from app.actions.cars import change_standing
from app.actions.changes import NewOwnership, NewStanding
from app.actions.checks import tidy
from app.actions.stamp import Stamp
from app.core.facts import Answer
from app.core.retention import papers_until
from app.errors import Conflict, Fault, Refused
from app.files import archive, hand_overs
from app.files.hand_overs import Handed, HandOverManifest, StatedDue
from app.pictures import Attachments
from app.store import cars, dated, handing_over, instructions, migrate
from app.store.asked import Standpoint
from app.store.columns import table_of
from app.store.gathering import note
from app.store.handing_over import GOES_ALONG, HandOver, Rows
from app.store.tables import IN_RECORD, Car, Ownership, Standing


@dataclass(frozen=True, slots=True)
class Clocks:
    """What the former owner keeps, and until when (49 CFR 180.517, 2019 edition)."""

    papers_until: date
    papers: str = (
        "the certificate of construction and related papers: a year after the ownership ended"
    )
    reports: str = (
        "the reports: each until the next inspection of the same type has passed. That of the new owner is not "
        "recorded here, so the register lets none of them go by itself"
    )
    citation: str = "49 CFR 180.517"


def clocks(handed_on: date) -> Clocks:
    """What begins to run with the hand-over."""
    return Clocks(papers_until(handed_on))


def hand_over(db: Session, car_id: int, to: str, on: date, stamp: Stamp) -> HandOver:
    """Record that a car is another party's since a day and left this register; its file can be made from then on.

    Raises Refused with faults for `to` and `on`, Conflict for a party that keeps its cars here.
    """
    car = cars.locked_one(db, car_id)
    ownership, standing = _in_force(db, car)
    _must_be_possible(db, car, (ownership.from_on, standing.from_on), on, stamp)
    name = _buyer(db, car, tidy(to))
    note(db, "car.handed_over", ("car", car_id))
    # Not anybody else's company of this name: whether there is one in this register is not told.
    buyer = rows.party(db, name)
    held_by = cars.party_names(db)
    whose = NewOwnership(
        name, ownership.region, held_by.get(ownership.lining_owner_id or 0),
        held_by.get(ownership.equipment_owner_id or 0), on,
    )  # fmt: skip
    left = change_standing(db, car_id, NewStanding("sold", f"handed over to {name}", on), stamp)
    owned = facts.write(db, car, whose, on, stamp, owner_id=buyer.id)
    facts.settle(db, car, stamp)
    made = HandOver(
        car_id=car_id, from_id=ownership.owner_id, to_id=buyer.id, handed_on=on,
        ownership_id=owned.id, standing_id=left.id, recorded_at=stamp.at, recorded_by=stamp.by,
    )  # fmt: skip
    db.add(made)
    db.flush()
    return made


def _in_force(db: Session, car: Car) -> tuple[Ownership, Standing]:
    ownership = dated.in_force(db, Ownership, car.id)
    standing = dated.in_force(db, Standing, car.id)
    assert ownership is not None
    assert standing is not None
    return ownership, standing


def _must_be_possible(
    db: Session, car: Car, held_from: Sequence[date], on: date, stamp: Stamp
) -> None:
    if car.standing not in IN_RECORD:
        raise Conflict(f"{car.mark} {car.number} is out of the register already: {car.standing}.")
    if on > stamp.today:
        raise Refused.because([Fault("on", f"{on} lies in the future; today is {stamp.today}")])
    last = max((*held_from, handing_over.last_event(db, car.id)))
    if on < last:
        raise Refused.because(
            [Fault("on", f"{on} lies before {last}, of which something is recorded")]
        )


def _buyer(db: Session, car: Car, name: str) -> str:
    if not name:
        raise Refused.because([Fault("to", "say to which company the car goes")])
    known = cars.party_by_name(db, name)
    if known and known.id == car.owner_id:
        raise Refused.because([Fault("to", f"the car is {name}’s already")])
    if known and handing_over.is_at_home(db, known):
        sentence = f"{name} has its cars in this register; change the owner of the car instead"
        raise Conflict(f"{sentence}, no file is needed.", [Fault("to", sentence)])
    return name


# The file ---------------------------------------------------------------------------------------------------------


def write_file(
    db: Session, attachments: Attachments, made: HandOver, path: Path
) -> HandOverManifest:
    """Write what goes with the car to `path`: all that was on record of it when it was handed over.

    Raises Refused when `path` is taken, OSError when it cannot be written.
    """
    found = _without_own_steps(db, handing_over.rows_of(db, made))
    with archive.making(path) as making:
        for mapped in GOES_ALONG:
            table = table_of(mapped)
            lines = map(_line, found[table.name])
            making.add_table(table.name, handing_over.kinds(table), lines)
        for digest in sorted({row["sha256"] for row in found["photograph"]}):
            making.add_attachment(digest, attachments.blocks(pictures.name(digest)))
        return hand_overs.finish(making, _handed(db, made))


def _line(row: Mapping[str, Any]) -> bytes:
    return json.dumps(row, ensure_ascii=False).encode() + b"\n"


def _without_own_steps(db: Session, found: dict[str, list[dict[str, Any]]]) -> Rows:
    """An owner's own steps stay with that owner: of one that was answered goes along what it asked for."""
    says = [json.loads(row["says"]) for row in found["field_entry"]]
    asked = instructions.looked_at(db, {each["step"] for each in says if "step" in each})
    for row, each in zip(found["field_entry"], says, strict=True):
        if each.get("step") in asked:
            row["says"] = json.dumps(each | {"step": asked[each["step"]]}, ensure_ascii=False)
    return found


def _handed(db: Session, made: HandOver) -> Handed:
    names = cars.party_names(db)
    as_of = made.recorded_at.date() if made.recorded_at.date() > made.handed_on else made.handed_on
    answer = answer_of(db, made.car_id, Standpoint(as_of, made.recorded_at), made.from_id)
    return Handed(
        program_version=__version__, schema_revision=migrate.revision_of(db.connection()),
        engine=db.get_bind().dialect.name, taken_at=made.recorded_at, car=answer.facts.car.name,
        from_party=names[made.from_id], to_party=names[made.to_id], handed_on=made.handed_on,
        as_of=as_of, by=made.recorded_by, rulebook=answer.rulebook_id,
        edition=answer.rulebook_edition, due=tuple(stated(answer)),
        orders=tuple(told_orders.stated(db, made)),
    )  # fmt: skip


def answer_of(db: Session, car_id: int, at: Standpoint, owner_id: int) -> Answer:
    """What the calculator says of a car by the rules that hold for an owner, as known at a moment."""
    record = looking_back.record_of(db, car_id, at)
    programme = rulebooks.in_force(db, at.known_at)
    return programme.whole_answer(replace(record, owner_id=owner_id), at.as_of).answer


def stated(answer: Answer) -> Iterator[StatedDue]:
    """The due items as a file states them."""
    for due in answer.items:
        reasons = tuple((each.text, each.citation) for each in due.reasons)
        yield StatedDue(
            item=due.item, state=due.state, due_on=due.due_on, basis_on=due.basis_on,
            interval_months=due.interval_months, reasons=reasons,
        )  # fmt: skip
