"""The list of ladings to choose from."""

import pytest

from app.actions import ladings
from app.actions.changes import NewLading
from app.errors import Conflict, NotFound, Refused
from app.store import ladings as listed


def test_a_lading_is_added_changed_and_listed_by_name(any_db):
    ladings.save(any_db, NewLading("invented tar"))
    acid = ladings.save(any_db, NewLading("  Invented  acid ", "UN1789", packing_group="II"))
    ladings.save(any_db, NewLading("Invented acid", "UN1790"), acid.id)
    assert [(each.name, each.un) for each in listed.all(any_db)] == [
        ("Invented acid", "UN1790"), ("invented tar", None),
    ]  # fmt: skip


def test_a_name_stands_in_the_list_once(any_db):
    ladings.save(any_db, NewLading("Invented acid"))
    tar = ladings.save(any_db, NewLading("Invented tar"))
    for entry in (None, tar.id):
        with pytest.raises(Conflict, match="in the list already"):
            ladings.save(any_db, NewLading("Invented acid"), entry)


@pytest.mark.parametrize(
    ("new", "path"),
    [
        (NewLading(" "), "name"),
        (NewLading("Acid", "UN17"), "un"),
        (NewLading("Acid", packing_group="0"), "packing_group"),
    ],
)
def test_what_no_lading_can_be_is_refused_at_its_field(db, new, path):
    with pytest.raises(Refused) as refusal:
        ladings.save(db, new)
    assert [each.path for each in refusal.value.faults] == [path]


def test_an_unknown_entry_is_not_found(db):
    with pytest.raises(NotFound, match="number 3"):
        ladings.save(db, NewLading("Acid"), 3)
