"""The store that benchmarks go by: as sound as any other, and no copy like another."""

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.actions.verifying import Asked, verify
from app.store.db import read_session, sessions
from app.store.derived import DueRow
from app.store.tables import Car, EventRow, Party, ReadingRow
from bench import big_fleet
from tests.actions.test_copies import opened, quiet
from tests.store.cast import TODAY, add_car


def test_a_store_with_copies_is_sound_and_spread(
    engine_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(big_fleet, "FIRST", 12)
    big_fleet.make(engine_url, 40, TODAY)
    with opened(engine_url) as engine, read_session(sessions(engine)) as db:
        wrong = [found for _, found in verify(db, Asked(TODAY, dates=True), quiet) if found]
        assert wrong == []
        assert many(db, Car) == 40
        assert many(db, EventRow) == 40 * 11
        assert many(db, ReadingRow) == 40 * 48
        assert many(db, DueRow) > 40 * 8
        assert many(db, Party) == 14
        names = db.execute(select(Car.mark, Car.number)).all()
        days = db.execute(select(EventRow.happened_on, EventRow.items, EventRow.reference)).all()
        assert len(set(names)) == 40
        assert len(set(days)) == 40 * 11
        add_car(db, 9)  # under a key that no copy has


def many(db: Session, table: type) -> int:
    return db.scalar(select(func.count()).select_from(table)) or 0
