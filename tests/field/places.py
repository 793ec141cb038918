"""A car on a store, somebody who records at it, and sending entries as the API does."""

from datetime import date
from decimal import Decimal

from sqlalchemy import select

from app.actions import components
from app.actions.changes import NewComponent, NewInstallation
from app.actions.field import Receiver, Sent, receive
from app.answers.field_entries import read_entry
from app.store.field import FieldEntry
from app.store.people import Person
from app.store.tables import EventRow
from tests.field.entries import Tablet
from tests.fixtures.people import LONG_AGO
from tests.store.cast import add_car, stamp

NEW_VALVE = {"kind": "relief_valve", "maker": "Invented", "serial": "RV-9", "set_psig": "75"}


class NoSeal:
    def close(self, secret):
        return secret

    def open(self, sealed):
        return sealed


def person(db, name="Ada Nobody"):
    made = Person(name=name, email=f"{name.split()[0].lower()}@example.invalid", added_at=LONG_AGO)
    db.add(made)
    db.flush()
    return made


def placed(db):
    car = add_car(db)
    valve = NewInstallation(
        NewComponent("relief_valve", serial="RV-1"), "top", date(2020, 1, 2), set_psig=Decimal(75)
    )
    row = components.install(db, car.id, valve, stamp())
    somebody = person(db)
    db.commit()
    return Place(db, car.id, row.id, Receiver(somebody.id, stamp(60), NoSeal()))


class Place:
    def __init__(self, db, car_id, valve, by):
        self.db, self.car_id, self.valve, self.by = db, car_id, valve, by

    def send(self, *entries, by=None):
        return receive(self.db, [Sent(*read_entry(each)) for each in entries], by or self.by)

    def states(self, *entries):
        return [each.state for each in self.send(*entries)]

    def tablet(self, *items):
        return Tablet(self.car_id).begin(*items)

    def kept(self):
        rows = self.db.execute(select(FieldEntry.place, FieldEntry.key).order_by(FieldEntry.id))
        return [tuple(row) for row in rows]

    def events(self):
        return self.db.scalars(select(EventRow).order_by(EventRow.id)).all()

    def second_valve(self):
        device = NewComponent("relief_valve", serial="RV-2")
        return NewInstallation(device, "A end", date(2020, 1, 2), set_psig=Decimal(75))
