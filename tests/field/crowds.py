"""A register with as many cars and inspectors as there are tablets, all invented; every car is due for it all."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from app.actions import components, events
from app.actions.changes import (
    CarDetails,
    NewComponent,
    NewEvent,
    NewInstallation,
    NewLining,
    NewService,
)
from app.actions.stamp import Stamp
from app.store.people import Membership, Person, SignIn
from app.store.signed_in import fingerprint
from app.store.tables import Party
from tests.fixtures.people import LONG_AGO, NEVER
from tests.store.cast import add_car

BUILT_ON, LINED_ON, CHANGED_ON = date(2016, 10, 1), date(2016, 10, 5), date(2019, 3, 4)
LINING_MONTHS = 60  # as the owner asks
REQUIRED = Decimal("0.4375")
ZONES = ("shell_top", "shell_bottom", "head_a", "head_b")
PARTS = (("relief_valve", "top", Decimal(75)), ("bottom_outlet", "bottom", None))
STAMP = Stamp("Somebody Before", LONG_AGO, LONG_AGO.date())


def key_of(number: int) -> str:
    """What the tablet of an inspector holds of being signed in."""
    return f"key-of-tablet-{number}"


def let_in_inspector(db: Session, keeper: Party, number: int) -> None:
    person = Person(name=f"Inspector {number}", email=f"{number}@tests.example", added_at=LONG_AGO)
    db.add(person)
    db.flush()
    member = {"person_id": person.id, "party_id": keeper.id, "role": "inspector"}
    db.add(Membership(**member, added_at=LONG_AGO, added_by="Fixture"))
    db.add(
        SignIn(key_sha256=fingerprint(key_of(number)), person_id=person.id, how="password",
               address="127.0.0.1", browser="tests", began_at=LONG_AGO, proved_at=LONG_AGO,
               seen_at=NEVER, expires_at=NEVER)
    )  # fmt: skip


def add_due_car(db: Session, number: int) -> int:
    """A lined car with a relief valve and a bottom outlet valve, all of it due.

    It was never measured for its lining, and a change before now still owes its leakage test.
    """
    lining = NewLining(kind="rubber", applied_on=LINED_ON, owner_interval_months=LINING_MONTHS)
    service = NewService("Invented acid", corrosive_or_reactive=True)
    car = add_car(db, number, details=_details(), service=service, lining=lining)
    for kind, position, psig in PARTS:
        device = NewComponent(kind, "Invented Valves", serial=f"{kind[0].upper()}V-{number}")
        put = NewInstallation(device, position, LINED_ON, set_psig=psig)
        components.install(db, car.id, put, STAMP)
    changed = NewEvent(CHANGED_ON, ("service_equipment_changed",), facility="Invented Works")
    events.record_event(db, car.id, changed, STAMP)
    return car.id


def _details() -> CarDetails:
    required = {f"required_{zone}_in": REQUIRED for zone in ZONES}
    return CarDetails(
        "DOT 111A100W5", BUILT_ON, inside_diameter_in=Decimal(110), tensile_psi=Decimal(70_000),
        **required,  # type: ignore[arg-type]
    )  # fmt: skip
