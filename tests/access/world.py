"""Two companies, a lining's owner and a shop in one register: who reaches which car is asked of them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from dataclasses import field as of
from datetime import date
from typing import cast

from fastapi import FastAPI
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.access import ROLES, Reach
from app.actions import (
    audits,
    cars,
    components,
    directives,
    events,
    facilities,
    field,
    instructions,
    may_load,
    pictures,
    plans,
    rulebooks,
    uploads,
)
from app.actions import imports as imports_
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewName,
    NewOwnership,
    NewService,
    NewStencil,
)
from app.actions.codes import Seal
from app.actions.directives import NewClosing, NewDirective, Term
from app.actions.facilities import NewFacility
from app.actions.instructions import NewInstruction, NewStep
from app.actions.stamp import Stamp
from app.answers.field_entries import read_entry
from app.core.plan import problem as planned
from app.core.plan.basis import FIRST
from app.core.plan.demand import Selection
from app.core.plan.soonest import Soonest
from app.files import sheets
from app.pictures import Attachments, Limits
from app.store import auditing, dated, directive_list, reports
from app.store.cars import RegisterFilter
from app.store.changes import ChangeAbout
from app.store.db import write_session
from app.store.derived import ImportRun, Job
from app.store.directive_list import MatchFilter
from app.store.field import Report
from app.store.handing_over import HandOver
from app.store.people import Membership, Person, SignIn
from app.store.plans import PlanVersion
from app.store.signed_in import fingerprint
from app.store.tables import Ownership, Party, Standing
from app.store.told_orders import ToldOrder
from app.store.visits import Visit
from app.store.watch import SavedList
from tests.field.entries import Tablet
from tests.fixtures.people import LONG_AGO, NEVER
from tests.fixtures.web import NOW, TODAY
from tests.pictures import shots

STAMP = Stamp("Fixture", NOW, TODAY)
OWN, FOREIGN = "Quillon Tank Lines", "Zephyr Invented Leasing"
LINER, SHOP = "Invented Lining Works", "Made-up Car Shop"
OFFICE = "Register Office of Nowhere"
OWN_CAR, FOREIGN_CAR = ("ZQAX", 101), ("ZQBX", 909)
EDITION = """
id = "{code}"
edition = "an invented programme"
base = "us-49cfr"
owner = "{owner}"
[rules.visual]
text = "An invented owner asks for a visual inspection every five years."
citation = "an invented instruction"
interval_months = 60
"""


@dataclass
class World:
    """Keys of the same things twice, by the name of the parameter in an address."""

    own: dict[str, str] = of(default_factory=dict)
    foreign: dict[str, str] = of(default_factory=dict)
    # Keys that nothing has.
    missing: dict[str, str] = of(default_factory=dict)


def browser_key(role: str, party: str = OWN) -> str:
    """What the browser of a person in this role of this party holds."""
    return f"key-of-{role}-at-{party}".replace(" ", "-")


def fill(app: FastAPI) -> World:
    """Fill the empty store of a program, and know also its entries in the record of change."""
    with write_session(app.state.sessions) as db:
        world = build(db, app.state.attachments)
    with write_session(app.state.sessions) as db:
        _add_changes(db, world)
    return world


def build(db: Session, attachments: Attachments) -> World:
    """Fill an empty store."""
    parties = {
        name: Party(name=name, keeps_register=name == OFFICE)
        for name in (OWN, FOREIGN, LINER, SHOP, OFFICE)
    }
    db.add_all(parties.values())
    db.flush()
    world = World()
    for name, car in ((OWN, OWN_CAR), (FOREIGN, FOREIGN_CAR)):
        for role in ROLES:
            _person(db, role, parties[name])
        things = _things(db, parties[name], car)
        things["digest"] = _photograph(db, attachments, things)
        (world.own if name == OWN else world.foreign).update(things)
    for party in (LINER, SHOP, OFFICE):
        for role in ROLES:
            _person(db, role, parties[party])
    world.missing = {name: _missing(value) for name, value in world.foreign.items()} | NOTHING
    return world


def _add_changes(db: Session, world: World) -> None:
    """The entries in the record of change about each car, which are there once all is committed."""
    for things in (world.own, world.foreign):
        change = select(ChangeAbout.change_id).where(
            ChangeAbout.kind == "car", ChangeAbout.key == things["car_id"]
        )
        things["change_id"] = str(db.scalars(change).first())
    world.missing["change_id"] = "987654321"


def _missing(value: str) -> str:
    return "987654321" if value.isdecimal() else "no-such-thing"


# As they could be.
NOTHING = {"mark": "ZQZX", "number": "777", "digest": "0" * 64, "report_key": "0" * 32}


def _person(db: Session, role: str, party: Party) -> None:
    person = Person(
        name=f"{role} at {party.name}", email=f"{role}-{party.id}@tests.example", added_at=LONG_AGO
    )
    db.add(person)
    db.flush()
    db.add(
        Membership(
            person_id=person.id, party_id=party.id, role=role, added_at=LONG_AGO, added_by="Fixture"
        )
    )
    db.add(
        SignIn(
            key_sha256=fingerprint(browser_key(role, party.name)), person_id=person.id, how="password",
            address="127.0.0.1", browser="tests", began_at=LONG_AGO, proved_at=NOW, seen_at=NEVER,
            expires_at=NEVER,
        )
    )  # fmt: skip


def _things(db: Session, party: Party, name: tuple[str, int]) -> dict[str, str]:
    db.info["reach"] = Reach(
        frozenset((party.id,)), members=frozenset((party.id,)), named=frozenset((party.id,))
    )
    car = cars.add_car(
        db,
        NewCar(
            NewName(*name), NewOwnership(party.name), CarDetails("DOT 111A100W1", built_on=date(2015, 3, 1)),
            service=NewService("Invented solvent", hazardous=True),
        ),
        STAMP,
    )  # fmt: skip
    event = events.record_event(
        db,
        car.id,
        NewEvent(date(2024, 5, 6), ("visual",), facility=f"Works of {party.name}"),
        STAMP,
    )
    stencil = cars.mark_stencil(db, car.id, NewStencil(visual="2030-01"), STAMP)
    installed = components.install(
        db,
        car.id,
        NewInstallation(
            NewComponent("relief_valve", serial=f"S{party.id}"), "top", date(2020, 1, 2)
        ),
        STAMP,
    )
    upload = uploads.keep(db, "events", f"{party.id}.csv", b"mark,number,on,items\n", STAMP)
    waits = uploads.keep(db, "hand_over", f"{party.id}.zip", b"not really a file", STAMP)
    sheet = sheets.read(
        "events.csv", f"mark,number,on,items\n{name[0]},{name[1]},2020-02-03,visual\n".encode()
    )
    run = imports_.apply(db, "events", sheet, STAMP)
    edition = rulebooks.load(
        db, EDITION.format(code=f"programme-{party.id}", owner=party.name), STAMP
    )
    facility = facilities.record(
        db, NewFacility(party.name, f"Works of {party.name}", "1 Invented Lane"), STAMP
    )
    steps = (NewStep("Look at the invented weld"),)
    instruction = instructions.record(
        db, NewInstruction(party.name, "visual", TODAY, steps=steps), STAMP
    )
    directive = directives.freeze(
        db,
        NewDirective(
            party.id, "maker", "Invented Works", "7", "Look at the valve", "Look at it.", TODAY, TODAY,
            Term(due_days=90), {"kind": "relief_valve"},
        ),
        STAMP,
    )  # fmt: skip
    [match] = directive_list.matches_of(db, directive.id, MatchFilter(TODAY))
    [closing] = directives.close(db, [match.row.id], NewClosing(TODAY, "nothing_found"), STAMP)
    visit = Visit(car_id=car.id, shop_id=party.id, **STAMP.columns())
    db.add(visit)
    listed = SavedList(
        party_id=party.id, person_id=people_of(db, party)[0].id, name=f"List of {party.name}",
        asked={"q": name[0]}, shared=True, made_at=NOW,
    )  # fmt: skip
    db.add(listed)
    version = _plan(db, party, car.id, f"{name[0]} {name[1]}")
    people = people_of(db, party)
    someone = people[0]
    for thing in (upload, waits, run):
        thing.person_id = someone.id
    db.get_one(ImportRun, run.id).parties = [party.id]
    report = _report(db, car.id, people[2], party)
    audit, drawn, finding = _audit(db, party)
    handed = _handed_over(db, party, car.id)
    told = _told_order(db, car.id, run.id)
    list_key = _asked_about(db, f"{name[0]} {name[1]}", someone)
    job = Job(
        id=f"job-of-{party.id}",
        kind="refresh-due",
        payload={},
        state="done",
        result={"cars": 1},
        asked_by="Fixture",
        person_id=someone.id,
        asked_at=NOW,
    )
    db.add(job)
    db.commit()  # so that each company's things are an entry of their own
    return {
        "car_id": str(car.id), "event_id": str(event.id), "row_id": str(stencil.id),
        "installation_id": str(installed.id), "upload_id": upload.id, "waiting_id": waits.id,
        "told_order_id": str(told), "import_id": str(run.id),
        "edition_id": str(edition.id), "visit_id": str(visit.id), "job_id": job.id,
        "facility_id": str(facility.id), "instruction_id": str(instruction.id),
        "mark": name[0], "number": str(name[1]), "party_id": str(party.id), "person_id": str(people[2].id),
        "plan_id": str(version.plan_id), "version_id": str(version.id),
        "report_id": str(report.id), "report_key": report.key, "list_id": str(listed.id),
        "list_key": list_key,
        "audit_id": str(audit), "audit_car_id": str(drawn), "finding_id": str(finding),
        "directive_id": str(directive.id), "closing_id": str(closing.id),
        "hand_over_id": str(handed),
    }  # fmt: skip


def _asked_about(db: Session, car: str, person: Person) -> str:
    """A question of somebody's whether the car may be loaded."""
    db.info["reach"] = replace(db.info["reach"], person_id=person.id)
    asked, when = [may_load.Asked(car)], may_load.When(TODAY)
    return may_load.keep(db, asked, when, may_load.answers(db, asked, when), STAMP)


def _audit(db: Session, party: Party) -> tuple[int, int, int]:
    """An audit of the one car, with a finding on it."""
    selected = audits.Selected("fleet", {}, RegisterFilter(), "Cars in the register.")
    new = audits.NewAudit(f"Audit of {party.name}", selected, 1, "17", ("in_date",))
    audit = audits.draw(db, party.id, new, STAMP)
    [drawn] = auditing.drawn(db, audit.id)
    wrong = audits.NewFinding("A paper lacks.", "remark", audit_car_id=drawn.id)
    return audit.id, drawn.id, audits.find(db, audit.id, wrong, STAMP).id


def people_of(db: Session, party: Party) -> list[Person]:
    """Those of the party, in the order of the roles."""
    query = select(Person).join(Membership, Membership.person_id == Person.id)
    return list(db.scalars(query.where(Membership.party_id == party.id).order_by(Person.id)))


def _handed_over(db: Session, party: Party, car_id: int) -> int:
    """That the car was handed over once, which left it here, as after it came back."""
    ownership, standing = (dated.in_force(db, table, car_id) for table in (Ownership, Standing))
    made = HandOver(
        car_id=car_id, from_id=party.id, to_id=party.id, handed_on=TODAY, recorded_at=NOW,
        recorded_by="Fixture", ownership_id=ownership.id, standing_id=standing.id,
    )  # fmt: skip
    db.add(made)
    db.flush()
    return made.id


def _told_order(db: Session, car_id: int, import_id: int) -> int:
    """A directive as the hand-over of the car would have told it."""
    told = ToldOrder(
        car_id=car_id, import_id=import_id, recorded_at=NOW, recorded_by="Fixture", company=LINER,
        ordered_by="maker", orderer="Invented Works", number="8", title="Look", what="Look at it.",
        caution="", ordered_on=TODAY, due_on=TODAY, forbids_loading=False, about="", by_hand=False,
        closed_on=None, outcome="", reference="", finding="", said="",
    )  # fmt: skip
    db.add(told)
    db.flush()
    return told.id


def _plan(db: Session, party: Party, car_id: int, name: str) -> PlanVersion:
    """A plan of one car that goes to one shop."""
    plan = plans.make(db, party.id, f"Plan of {party.name}", Selection("2027-01", 12), STAMP)
    shop = planned.Shop("Invented Works", frozenset({"tank"}), (40.0,) * 12)
    car = planned.Car(
        name, 100.0, {shop.code: 50.0}, (planned.Job("visual", "tank", 2.0, 5, 10.0),)
    )
    visit = planned.Visit(name, shop.code, 5, ("visual",))
    content = plans.Content(
        FIRST, planned.Problem("2027-01", 12, 1e5, (shop,), (car,)), {name: car_id}, (),
        planned.Solved((visit,), 150.0, 150.0), Soonest(150.0, 0),
    )  # fmt: skip
    return plans.add_version(db, plan.id, f"Version of {party.name}", None, content, STAMP)


def _photograph(db: Session, attachments: Attachments, things: dict[str, str]) -> str:
    """A picture of the report, no two alike; the sum under which it was sent."""
    content = shots.file(image=shots.halves((40, int(things["car_id"]) + 40)))
    digest = shots.sum_of(content)

    @contextmanager
    def same() -> Iterator[Session]:
        yield db

    desk = pictures.Desk(attachments, Limits(1_000_000, 1_000_000), same, same)
    piece = pictures.Piece(digest, things["report_key"], 0, len(content), content)
    assert pictures.receive(desk, piece, STAMP).whole
    db.commit()
    return digest


def _report(db: Session, car_id: int, person: Person, party: Party) -> Report:
    """A report of field work as far as its beginning, which needs no codes."""
    tablet = Tablet(car_id, f"report of {party.name}").begin("visual", taken_at=None)
    by = field.Receiver(person.id, STAMP, cast(Seal, None))
    results = field.receive(db, [field.Sent(*read_entry(each)) for each in tablet.entries], by)
    assert [each.state for each in results] == ["stored"]
    return reports.by_key(db, [tablet.report])[tablet.report]
