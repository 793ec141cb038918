"""Which entries of the record somebody finds: by who did it and by each thing that an entry is about, and no others."""

import pytest
from sqlalchemy import insert

from app.store import change_list
from app.store.change_list import Wanted, Whose
from app.store.changes import Change, ChangeAbout
from app.store.people import Membership, Person
from tests.store.cast import NOON, add_car
from tests.store.counting import statements

OTHERS = "Another Invented Owner"
# What each entry is about; `{}` stands for a key of the cast.
ABOUT = {
    "a car": [("car", "car")],
    "a car of others": [("car", "their car")],
    "many cars, one of them of others": [("car", "car"), ("car", "their car")],
    "a party": [("party", "party")],
    "another party": [("party", "their party")],
    "a person": [("person", "colleague")],
    "a person of others": [("person", "stranger")],
    "oneself": [("person", "me")],
    "a setting": [("setting", "rulebook")],
    "a file": [("import", "1")],
    "a component": [("component", "1")],
    "nothing": [],
}
NOBODYS = {"a file", "a component", "nothing"}
OURS = {"a car", "many cars, one of them of others", "a party"}
OWN = {"oneself", "what one did"}
EVERYBODYS = ABOUT.keys() - NOBODYS - {"a person", "a person of others"} - OWN


@pytest.fixture
def keys(any_db):
    """Two owners with a car and somebody each; an entry about each thing, and one of a deed of one's own."""
    car, theirs = add_car(any_db, 1), add_car(any_db, 2, owner=OTHERS)
    people = {}
    for name, party in (("me", None), ("colleague", car.owner_id), ("stranger", theirs.owner_id)):
        person = Person(name=name, email=f"{name}@example.test", added_at=NOON)
        any_db.add(person)
        any_db.flush()
        people[name] = person.id
        if party:
            any_db.add(
                Membership(
                    person_id=person.id, party_id=party, role="planner", added_at=NOON, added_by=""
                )
            )
    any_db.flush()
    named = {
        "car": car.id,
        "their car": theirs.id,
        "party": car.owner_id,
        "their party": theirs.owner_id,
        **people,
    }
    for number, (name, about) in enumerate(ABOUT.items(), 501):
        _entry(any_db, number, name)
        for kind, key in about:
            told = {"kind": kind, "key": str(named.get(key, key)), "change_id": number}
            any_db.execute(insert(ChangeAbout).values(told))
    _entry(any_db, 900, "what one did", people["me"])
    return named


def _entry(db, number, deed, person_id=None):
    row = dict.fromkeys(("by", "origin", "address", "request", "previous"), "") | {
        "id": number, "at": NOON, "deed": deed, "body": '{"rows": []}', "hash": str(number), "person_id": person_id,
    }  # fmt: skip
    db.execute(insert(Change).values(row))


CASES = {
    "somebody without a car": (None, None, False, OWN),
    "who has cars": ("party", None, False, OWN | OURS),
    "who administers a party": (None, "party", False, OWN | {"a party", "a person"}),
    "who has cars and administers": ("party", "party", False, OWN | OURS | {"a person"}),
    "who looks after the register": (None, None, True, OWN | {"a setting"}),
    "who has all cars": ("all", None, False, OWN | EVERYBODYS - {"a setting"}),
    "who has all cars and settings": (
        "all",
        "their party",
        True,
        OWN | EVERYBODYS | {"a person of others"},
    ),
}


@pytest.mark.parametrize("who", CASES)
def test_everybody_finds_the_entries_that_are_theirs(any_db, keys, who):
    of, administers, settings, expected = CASES[who]
    cars = None if of == "all" else frozenset([keys[of]] if of else [])
    seen = Whose(keys["me"], cars, frozenset([keys[administers]] if administers else []), settings)
    found = change_list.page(any_db, seen, Wanted(), None, 50).rows
    assert {each.deed for each in found if each.id > 500} == expected


def test_where_nothing_is_found_nothing_more_is_asked(any_db, keys):
    nobody = Whose(0, frozenset(), frozenset(), settings=False)
    with statements(any_db) as sent:
        assert change_list.page(any_db, nobody, Wanted(), None, 50).rows == ()
    assert len(sent) == 1
