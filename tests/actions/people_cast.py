"""Invented people and parties for the tests of accounts, and how a person is made in one line."""

from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from app.actions import passwords, people, sign_in
from app.actions.people import Office
from app.actions.sign_in import Lasting, Place
from app.store.people import Person
from app.store.tables import Party

NOW = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
PASSWORD = "seven green ladders hum"
OTHER_PASSWORD = "nine blue kettles wander"
HERE = Place("203.0.113.7", "A browser of the tests")
ELSEWHERE = Place("198.51.100.20", "Another browser")
LASTING = Lasting(timedelta(hours=12), timedelta(days=7))
KEEPER, SHOP = "Quarrel Invented Leasing", "Made-up Valley Shop"


def party(db: Session, name: str = KEEPER, keeps_register: bool = False) -> Party:
    made = Party(name=name, keeps_register=keeps_register)
    db.add(made)
    db.flush()
    return made


def person(
    db: Session, name: str = "Ada Example", party: Party | None = None, *roles: str
) -> Person:
    """A person of this name, `first@people.invalid`, with PASSWORD and these roles in the party."""
    email = f"{name.split()[0].lower()}@people.invalid"
    made = people.new_person(db, name, email, NOW)
    passwords.put(made, PASSWORD, NOW)
    if party:
        people.add_memberships(db, made, party.id, roles, "the test", NOW)
    return made


def signed_in(db: Session, who: Person, place: Place = HERE) -> str:
    """The key of a browser in which the person is signed in."""
    return sign_in.begin(db, who, "password", "", place, LASTING, NOW)


def office(*parties: Party) -> Office:
    """That of an administrator of these parties; of the register's own where none is named."""
    return Office(frozenset(each.id for each in parties) if parties else None, "Olga Office")
