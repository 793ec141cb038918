"""The benches ask the calculator for the cars of a store as another program would."""

from pathlib import Path

from sqlalchemy.orm import Session

from app import answers
from app.rules.reader import default_rulebook
from app.store import cars, facts
from app.store.db import sessions
from bench import fleet_files
from bench.import_fleet import bring_in_both
from bench.requests import request_of
from tests.store.cast import TODAY, stamp


def test_the_contract_answers_a_car_of_a_store_as_the_store_does(
    db: Session, tmp_path: Path
) -> None:
    bring_in_both(sessions(db.get_bind()), *fleet_files.write(tmp_path, 60, TODAY), stamp())
    records = facts.load(db, list(cars.all_ids(db)), TODAY).values()
    told = answers.due_dates([request_of(record.facts(TODAY)) for record in records])
    assert len(told) == 60
    for record, answer in zip(records, told, strict=True):
        own = record.whole_answer(TODAY, default_rulebook()).answer
        assert [(each["item"], each["due_on"]) for each in answer["items"]] == [
            (each.item, each.due_on and each.due_on.isoformat()) for each in own.items
        ]
