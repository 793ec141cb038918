"""Files of visits: the visit that a row tells of, what it adds, what it contradicts, and taking it back."""

from datetime import date

import pytest
from sqlalchemy.orm import Session

from app.actions import imports, visits
from app.actions.imports.report import silent
from app.actions.visits import Planning, Sending
from app.errors import Conflict, Refused
from app.store import digests, proof, proof_rows, visiting
from app.store.visits import CarReach
from tests.actions.importing import CARS, bring_in, car, counts, faults, look, stamp

SHOP = "Made-up Car Shop"
HEADER = "mark,number,shop,sent_on,arrived_on,released_on\n"
GOING = f"ZQKX,1,{SHOP},2026-11-02,2026-11-05,\n"
OVER = f"ZQKX,1,{SHOP},2026-11-02,2026-11-05,2026-11-20\n"


@pytest.fixture
def fleet(any_db: Session) -> Session:
    bring_in(any_db, "cars", CARS)
    return any_db


def told(db: Session, number: int = 1) -> list[tuple[str, str, dict[str, date]]]:
    """Shop, state and days of a car's visits that count, the earliest first."""
    found = visiting.of_car(db, car(db, number).id)
    return [(each.shop, each.state, dict(each.days)) for each in reversed(found)]


def plan(db: Session, month: date = date(2026, 12, 1)) -> int:
    planning = Planning(SHOP, month, ("visual",), 20)
    made = visits.plan(db, car(db).id, planning, stamp(-60)).id
    db.commit()
    return made


def test_a_row_of_a_visit_that_nobody_knows_makes_one(fleet):
    preview = look(fleet, "visits", HEADER + GOING)
    assert (counts(preview), preview.new_parties) == ((1, 0, 0), (SHOP,))
    assert told(fleet) == []
    assert counts(bring_in(fleet, "visits", HEADER + GOING)) == (1, 0, 0)
    assert told(fleet) == [
        (SHOP, "in_shop", {"sent": date(2026, 11, 2), "arrived": date(2026, 11, 5)})
    ]
    [shared] = rows_of_reach(fleet)
    assert (shared.car_id, shared.kind) == (car(fleet).id, "shop")


def rows_of_reach(db: Session) -> list[CarReach]:
    return list(db.query(CarReach).all())


def test_the_same_file_again_repeats_and_a_later_one_completes_the_visit(fleet):
    bring_in(fleet, "visits", HEADER + GOING)
    assert counts(bring_in(fleet, "visits", HEADER + GOING)) == (0, 0, 1)
    preview = look(fleet, "visits", HEADER + OVER)
    [change] = preview.changes
    assert (change.car, change.what, change.will_be) == ("ZQKX 1", "released_on", "2026-11-20")
    assert counts(bring_in(fleet, "visits", HEADER + OVER)) == (0, 1, 0)
    assert [state for _, state, _ in told(fleet)] == ["released"]
    assert rows_of_reach(fleet) == []


def test_arrival_and_release_alone_are_of_the_visit_that_is_going_on(fleet):
    visits.send(fleet, car(fleet).id, Sending(SHOP, date(2026, 11, 2)), stamp())
    fleet.commit()
    row = f"zqkx,1,{SHOP.lower()},,2026-11-05,2026-11-20\n"
    assert counts(bring_in(fleet, "visits", HEADER + row)) == (0, 1, 0)
    assert [state for _, state, _ in told(fleet)] == ["released"]


def test_a_row_of_a_car_with_a_planned_visit_to_that_shop_is_of_the_plan(fleet):
    visit = plan(fleet)
    assert counts(bring_in(fleet, "visits", HEADER + GOING)) == (0, 1, 0)
    [shown] = visiting.of_car(fleet, car(fleet).id)
    assert (shown.id, shown.state) == (visit, "in_shop")


def test_a_visit_that_was_over_before_another_was_planned_is_one_of_its_own(fleet):
    plan(fleet)
    row = f"ZQKX,1,{SHOP},2025-03-02,,2025-04-02\n"
    assert counts(bring_in(fleet, "visits", HEADER + row)) == (1, 0, 0)
    assert [state for _, state, _ in told(fleet)] == ["planned", "released"]


def test_many_visits_of_a_car_in_one_file_are_taken_in_the_order_of_their_days(fleet):
    earlier = "ZQKX,1,Another Made-up Shop,2024-03-02,2024-03-04,2024-04-02\n"
    run = bring_in(fleet, "visits", HEADER + GOING + earlier)
    assert counts(run) == (2, 0, 0)
    assert [(shop, state) for shop, state, _ in told(fleet)] == [
        ("Another Made-up Shop", "released"), (SHOP, "in_shop"),
    ]  # fmt: skip


# A row beside a visit to the shop from 2 November, arrived on the 5th, not released; and the refusal.
WRONG = [
    (f"ZQKX,2,{SHOP},,,", "at least one of"),
    (f"ZQKX,2,{SHOP},2026-11-26,,", "not after today"),
    (f"ZQKX,2,{SHOP},2011-01-01,,", "when the car was built"),
    (f"ZQKX,2,{SHOP},2026-11-05,2026-11-04,", "not before 2026-11-05, which is sent_on"),
    (f"ZQKX,2,{SHOP},,2026-11-04,", "the day sent as well"),
    (f"ZQKX,9,{SHOP},2026-11-04,,", "a car that is in the register"),
    ("ZQKX,2,,2026-11-04,,", "shop"),
    (f"ZQKX,1,{SHOP},2026-11-02,2026-11-06,", "2026-11-05, as is stored of this visit"),
    (f"ZQKX,1,{SHOP},,,2026-11-04", "in the order sent, arrived, released"),
    ("ZQKX,1,Another Made-up Shop,2026-11-10,,", "the car was sent to Made-up Car Shop"),
    ("ZQKX,1,Another Made-up Shop,2026-10-10,,2026-11-10", "the car was sent to Made-up Car Shop"),
]


@pytest.mark.parametrize(("row", "said"), WRONG)
def test_a_row_that_contradicts_is_refused_and_nothing_of_the_file_stored(fleet, row, said):
    bring_in(fleet, "visits", HEADER + GOING)
    before = told(fleet), told(fleet, 2)
    good = f"ZQKX,2,{SHOP},2024-01-02,,2024-01-09\n"
    [fault] = faults(fleet, "visits", HEADER + good + row)
    assert said in fault
    with pytest.raises(Refused, match="nothing of it was stored"):
        bring_in(fleet, "visits", HEADER + good + row)
    assert (told(fleet), told(fleet, 2)) == before


def test_an_import_of_visits_is_taken_back_whole(fleet):
    plan(fleet)
    run = bring_in(fleet, "visits", HEADER + GOING + f"ZQKX,2,{SHOP},2026-11-02,,\n")
    imports.take_back(fleet, run.id, stamp(1))
    fleet.commit()
    assert [state for _, state, _ in told(fleet)] == ["planned"]
    assert told(fleet, 2) == []
    assert rows_of_reach(fleet) == []


def test_the_record_of_change_tells_of_what_a_file_of_visits_brought_and_took_back(fleet):
    def behind() -> str | None:
        return proof_rows.first_change_behind(fleet, proof.replay(fleet, silent), silent)

    run = bring_in(fleet, "visits", HEADER + OVER)
    told = digests.brought(fleet, run.id, run.recorded_at)
    assert {name: each["rows"] for name, each in told.items()} == {"visit": 1, "visit_step": 3}
    assert behind() is None
    imports.take_back(fleet, run.id, stamp(1))
    fleet.commit()
    assert behind() is None


def test_an_import_of_visits_is_not_taken_back_under_a_step_noted_since(fleet):
    run = bring_in(fleet, "visits", HEADER + GOING)
    [shown] = visiting.of_car(fleet, car(fleet).id)
    visits.step(fleet, shown.id, "released", date(2026, 11, 20), stamp())
    fleet.commit()
    with pytest.raises(Conflict) as refused:
        imports.take_back(fleet, run.id, stamp(1))
    assert [fault.problem for fault in refused.value.faults] == ["a step of a visit noted since"]
