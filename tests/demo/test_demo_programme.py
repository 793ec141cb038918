"""The programme of an invented owner: it is read, it is stricter, it is in force for nobody by itself."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.access.reach import EVERYTHING
from app.actions import rulebook_effect, rulebooks
from app.actions.stamp import Stamp
from app.store import cars
from app.store import rulebooks as stored
from app.store.db import make_engine, sessions
from seed_demo import demo_files
from seed_demo.shapes import OWNERS

PROGRAMME = Path(demo_files.__file__).with_name("programme.toml").read_text()


@pytest.fixture(scope="module")
def loaded(demo_template: Path):
    """A session on the demo with the programme loaded beside it; nothing of it is kept."""
    engine = make_engine(f"sqlite:///{demo_template}")
    now = datetime.now(UTC)
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        stamp = Stamp("tour", now, now.date())
        yield db, rulebooks.load(db, PROGRAMME, stamp), stamp.today
        db.rollback()
    engine.dispose()


def test_it_is_an_owners_of_the_demo_and_in_force_for_nobody(loaded):
    db, row, _ = loaded

    assert cars.party_names(db)[row.owner_id] in OWNERS
    assert stored.in_force(db) == {}


def test_its_effect_only_brings_dates_forward_and_only_for_that_owners_cars(loaded):
    db, row, today = loaded
    found = rulebook_effect.effect(db, row.id, row.owner_id, today)

    assert found.cars > 100
    assert {shift.owner_id for shift in found.shifts} == {row.owner_id}
    assert {each.item for each in found.by_item} == {
        "visual", "structural_integrity", "service_equipment", "relief_device", "air_brake",
    }  # fmt: skip
    assert all(each.later == 0 for each in found.by_item)
    assert found.stopped > 0
