"""Companies that share cars in one register, their people's browsers, and sessions as their requests have them."""

from __future__ import annotations

from datetime import date

from fastapi import FastAPI
from sqlalchemy.orm import Session

from app.access import Capability, Member, Role, Viewer
from app.actions import cars, components, events
from app.actions.changes import (
    CarDetails,
    NewCar,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
)
from app.actions.stamp import Stamp
from app.store import reach
from app.store.people import Membership, Person, SignIn
from app.store.signed_in import fingerprint
from app.store.tables import Car, Party
from tests.fixtures.people import LONG_AGO, NEVER
from tests.fixtures.web import NOW, TODAY, TestClient, asking

OWNER, BUYER = "Quillon Tank Lines", "Zephyr Invented Leasing"
LINER, FITTER = "Invented Lining Works", "Made-up Valve Company"
SHOP, OTHER_SHOP = "Made-up Car Shop", "Another Made-up Shop"
COMPANIES = (OWNER, BUYER, LINER, FITTER, SHOP, OTHER_SHOP)
STAMP = Stamp("Fixture", NOW, TODAY)
MARK, NUMBER = "ZQAX", 1045


def companies(db: Session, *names: str) -> dict[str, Party]:
    """Parties that stand for themselves; the first keeps the register."""
    made = {name: Party(name=name, keeps_register=not place) for place, name in enumerate(names)}
    db.add_all(made.values())
    db.flush()
    return made


def viewer(party: Party, *roles: Role) -> Viewer:
    """Somebody in these roles of a party, without an account."""
    return Viewer(1, "Somebody", tuple(Member(party.id, party.name, role) for role in roles))


def asks(db: Session, party: Party, role: Role, capability: Capability) -> Session:
    """The session as a request of somebody in this role has it."""
    db.info["reach"] = reach.of_viewer(db, viewer(party, role), capability)
    return db


def signed_in(db: Session, party: Party, role: Role) -> None:
    """A person in this role of the party, signed in under `browser`'s key."""
    person = Person(
        name=f"{role} at {party.name}", email=f"{role}-{party.id}@tests.example", added_at=LONG_AGO
    )
    db.add(person)
    db.flush()
    moments = dict.fromkeys(("began_at", "proved_at"), LONG_AGO) | {"seen_at": NEVER}
    db.add(
        Membership(
            person_id=person.id, party_id=party.id, role=role, added_at=LONG_AGO, added_by="Fixture"
        )
    )
    db.add(
        SignIn(
            key_sha256=fingerprint(_key(party.name, role)), person_id=person.id, how="password",
            second="", address="127.0.0.1", browser="tests", expires_at=NEVER, **moments,
        )
    )  # fmt: skip
    db.flush()


def _key(party: str, role: str) -> str:
    return f"key-of-{role}-at-{party}"


def browser(app: FastAPI, party: str, role: Role) -> TestClient:
    """What the person whom `signed_in` made asks with."""
    return asking(app, {"session": _key(party, role)})


def lined_car(
    db: Session,
    owner: Party,
    number: int = NUMBER,
    lining_owner: str | None = None,
    equipment_owner: str | None = None,
) -> Car:
    """A lined car in acid with a relief valve, a truck and inspections of all and of single items."""
    db.info["reach"] = reach.of_viewer(db, viewer(owner, "planner"), "record_facts")
    car = cars.add_car(
        db,
        NewCar(
            NewName(MARK, number),
            NewOwnership(owner.name, "Gulf of Nowhere", lining_owner, equipment_owner),
            CarDetails("DOT 111A100W5", built_on=date(2012, 3, 1)),
            service=NewService("Hydrochloric acid", "UN1789", corrosive_or_reactive=True),
            lining=NewLining(kind="invented rubber", applied_on=date(2019, 5, 6)),
        ),
        STAMP,
    )
    for event in INSPECTIONS:
        events.record_event(db, car.id, event, STAMP)
    for kind, serial in (("relief_valve", f"RV-{number}"), ("truck", f"TRUCK-{number}")):
        new = NewInstallation(NewComponent(kind, serial=serial), "top", date(2020, 1, 2))
        components.install(db, car.id, new, STAMP)
    return car


INSPECTIONS = (
    NewEvent(date(2020, 2, 3), ("visual", "lining"), facility="Whole Works", notes="secret of the owner"),
    NewEvent(date(2022, 2, 3), ("lining",), facility="Lining Works"),
    NewEvent(date(2022, 3, 4), ("relief_device", "leakage"), facility="Valve Works"),
    NewEvent(date(2023, 4, 5), ("air_brake",), facility="Brake Works"),
)  # fmt: skip
