"""The columns answer what the pure function answers, field by field, whatever the car."""

from datetime import date

import pytest
from sqlalchemy.orm import Session

from app.bulk.answers import due_columns
from app.bulk.days import WrittenDays
from app.core.facts import ITEMS, Due, Settings
from app.rules.reader import default_rulebook
from app.store import facts, fleet_rows
from tests.bulk.random_fleet import AS_OF, fill
from tests.length import tries

BATCH = 500
CARS = tries(short=1_500, long=5_000)  # for each of four settings


def by_the_reference(db: Session, keys: list[int], as_of: date, settings: Settings):
    """By car: its due items and what comes first, worked out car by car."""
    for first in range(0, len(keys), BATCH):
        records = facts.load(db, keys[first : first + BATCH], as_of, settings=settings)
        for key, record in records.items():
            answer = record.whole_answer(as_of, default_rulebook()).answer
            yield key, [_told(due) for due in answer.items], answer.next and answer.next.item


def _told(due: Due) -> tuple[object, ...]:
    cited = next((reason.citation for reason in due.reasons if reason.citation), "")
    return (
        due.item, due.state, due.due_on, due.basis_on, due.interval_months,
        due.calculated_due_on, due.confidence, due.rule, cited,
    )  # fmt: skip


def by_columns(db: Session, keys: list[int], as_of: date, settings: Settings):
    """The same by columns, and the cars that they leave to the reference."""
    found = due_columns(fleet_rows.read(db, keys, as_of), as_of, default_rulebook(), settings)
    items: dict[int, list[tuple[object, ...]]] = {}
    days = WrittenDays()
    for key, item_no, *told in found.rows(days):
        items.setdefault(key, []).append((ITEMS[item_no], *told))
    first = {key: item for key, (item, *_) in found.first(days)}
    return items, first, found.left


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "settings"),
    [
        (1, Settings()),
        # End of month, and years painted read as their end: both common practice.
        (2, Settings(due_precision="month_end", stencil_year="end")),
        (3, Settings(due_precision="year_end")),
        (4, Settings(stencil_year="end")),
    ],
)
def test_the_columns_answer_as_the_pure_function_does(
    db: Session, seed: int, settings: Settings
) -> None:
    keys = fill(db, CARS, seed)
    items, first, left = by_columns(db, keys, AS_OF, settings)
    unequal = [
        (key, [pair for pair in zip(told, items[key], strict=True) if pair[0] != pair[1]])
        for key, told, next_item in by_the_reference(db, keys, AS_OF, settings)
        if key not in left and (told != items[key] or next_item != first[key])
    ]
    assert not unequal, f"{len(unequal)} cars, such as {unequal[:3]}"
    assert not left
