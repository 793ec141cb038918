"""Adding and changing cars through the actions, on a real database."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from app.actions import cars, events
from app.actions.changes import (
    CarDetails,
    NewApproval,
    NewFitting,
    NewLining,
    NewName,
    NewOwnership,
    NewService,
    NewStanding,
    NewStencil,
)
from app.errors import Conflict, NotFound, Refused
from app.store import car_counts, due, facts
from app.store import cars as recorded
from tests.store.cast import TODAY, add_car, new_car, stamp, visual

TOMORROW = TODAY + timedelta(days=1)
BEFORE_BUILT = date(2015, 5, 31)


def item(db, car, name):
    return next(row for row in due.for_car(db, car.id, TODAY) if row.item == name)


def test_a_new_car_has_its_due_items_and_its_line_in_the_register(any_db):
    car = add_car(any_db)
    # 49 CFR 180.509(c) and (d), 2019 edition: ten years, counted from construction.
    assert item(any_db, car, "visual").due_on == date(2025, 6, 1)
    (row,) = recorded.register(any_db, recorded.RegisterFilter()).rows
    # 49 CFR 232.305(d), 2015 edition, from memory: the first air brake test within eight years.
    assert (row.name, row.commodity, row.next_item, row.next_due_on) == (
        "ZQKX 1045", "Invented mild lading", "air_brake", date(2023, 6, 1),
    )  # fmt: skip


def test_a_name_in_record_is_taken(any_db):
    add_car(any_db)
    with pytest.raises(Conflict, match="ZQKX 1045 is in the register already"):
        add_car(any_db)


def test_the_name_of_a_sold_car_is_free_and_its_history_stays(any_db):
    old = add_car(any_db)
    cars.change_standing(any_db, old.id, NewStanding("sold", from_on=TODAY), stamp())
    new = add_car(any_db)
    assert recorded.by_name(any_db, "ZQKX", 1045).id == new.id
    assert [car.id for car in recorded.once_named(any_db, "ZQKX", 1045)] == [old.id, new.id]
    # Back in record it would bear the name of another car.
    with pytest.raises(Conflict, match="in the register already"):
        cars.change_standing(any_db, old.id, NewStanding("stored", from_on=TODAY), stamp(1))


def test_a_stored_car_leaves_the_due_list_but_not_the_record(any_db):
    car = add_car(any_db)
    cars.change_standing(any_db, car.id, NewStanding("stored", from_on=TODAY), stamp())
    seen = due.DueFilter(TODAY)
    assert due.page(any_db, seen).rows == ()
    assert due.page(any_db, replace(seen, listed_only=False)).rows


def test_a_car_cannot_be_re_marked_to_a_name_in_record(any_db):
    add_car(any_db, 1)
    car = add_car(any_db, 2)
    with pytest.raises(Conflict, match="ZQKX 1 is in the register already"):
        cars.re_mark(any_db, car.id, NewName("ZQKX", 1, TODAY), stamp())


def handed_over(db):
    """ZQKX 1 until it was re-marked ZQAX 77 in 2018."""
    car = add_car(db, 1)
    cars.re_mark(db, car.id, NewName("ZQAX", 77, date(2018, 1, 1)), stamp())
    return car


def test_a_car_does_not_take_a_name_over_days_on_which_another_bore_it(any_db):
    handed_over(any_db)
    car = add_car(any_db, 2)
    problem = "ZQKX 1 was the name of another car, ZQAX 77 today, from 2017-12-31 until 2017-12-31"
    with any_db.begin_nested() as before, pytest.raises(Conflict, match=problem):
        cars.re_mark(any_db, car.id, NewName("ZQKX", 1, date(2017, 12, 31)), stamp())
    assert not before.is_active
    assert cars.re_mark(any_db, car.id, NewName("ZQKX", 1, date(2018, 1, 1)), stamp())


def test_an_older_name_is_not_put_under_the_name_another_bore_then(any_db):
    handed_over(any_db)
    car = add_car(any_db, 2)
    cars.re_mark(any_db, car.id, NewName("ZQBX", 5, date(2020, 1, 1)), stamp())
    with pytest.raises(Conflict, match="from 2016-01-01 until 2017-12-31"):
        cars.re_mark(any_db, car.id, NewName("ZQKX", 1, date(2016, 1, 1)), stamp(1))


def test_a_car_is_not_added_under_a_name_on_a_day_on_which_another_bore_it(any_db):
    handed_over(any_db)
    with pytest.raises(Conflict, match="another car, ZQAX 77 today, from 2016-01-01 until"):
        cars.add_car(any_db, new_car(name=NewName("ZQKX", 1, date(2016, 1, 1))), stamp())


def test_a_name_without_a_day_is_borne_since_the_last_car_gave_it_up(any_db):
    handed_over(any_db)
    car = add_car(any_db, 1)
    (name,) = recorded.histories(any_db, car.id).names
    assert name.row.from_on == date(2018, 1, 1)


def test_a_sale_is_not_withdrawn_when_another_bore_the_name_since(any_db):
    old = add_car(any_db)
    sold = cars.change_standing(
        any_db, old.id, NewStanding("sold", from_on=date(2019, 1, 1)), stamp()
    )
    new = add_car(any_db)
    cars.re_mark(any_db, new.id, NewName("ZQAX", 77, date(2021, 1, 1)), stamp())
    with pytest.raises(Conflict, match="ZQAX 77 today, from 2019-01-01 until 2020-12-31"):
        cars.withdraw_fact(any_db, "standing", sold.id, "", stamp(1))


@pytest.mark.parametrize(
    ("change", "path", "problem"),
    [
        ({"name": NewName("Z", 1)}, "name.mark", "'Z' is no mark"),
        ({"name": NewName("zqkx", 1)}, "name.mark", "2 to 4 capital letters"),
        ({"name": NewName("ZQKX", 1_000_000)}, "name.number", "1 to 999999"),
        ({"ownership": NewOwnership("  ")}, "ownership.owner", "say who owns"),
        ({"standing": NewStanding("lost")}, "standing.standing", "'lost' is not known"),
        ({"details": CarDetails("DOT 999A100W1")}, "details.specification", "at character"),
        ({"details": CarDetails("DOT 111A100W1", TOMORROW)}, "details.built_on", "in the future"),
        ({"details": CarDetails("DOT 111A100W1", date(2015, 6, 1), date(2014, 1, 1))},
         "details.rebuilt_on", "before the car was built"),
        ({"details": CarDetails("DOT 111A100W1", material="TIN")}, "details.material", "'TIN'"),
        ({"details": CarDetails("DOT 111A100W1", joint_efficiency=Decimal("1.1"))},
         "details.joint_efficiency", "at most 1"),
        ({"details": CarDetails("DOT 111A100W1", inside_diameter_in=Decimal(0))},
         "details.inside_diameter_in", "above 0"),
        ({"service": NewService("")}, "service.commodity", "say what"),
        ({"service": NewService("Acid", "1789")}, "service.un", "no UN number"),
        ({"service": NewService("Acid", packing_group="IV")}, "service.packing_group", "'IV'"),
        ({"lining": NewLining(applied_on=TOMORROW)}, "lining.applied_on", "in the future"),
        ({"lining": NewLining(applied_on=BEFORE_BUILT)}, "lining.applied_on", "before the car"),
        ({"lining": NewLining(owner_interval_months=0)}, "lining.owner_interval_months", "1 to"),
        ({"fitting": NewFitting(sheeting_installed_on=TOMORROW)},
         "fitting.sheeting_installed_on", "in the future"),
        ({"stencil": NewStencil(TOMORROW)}, "stencil.marked_on", "in the future"),
        ({"stencil": NewStencil(visual="2025-02-30")}, "stencil.visual", "no date"),
        ({"stencil": NewStencil(visual="25")}, "stencil.visual", "no date"),
        ({"approvals": (NewApproval("age_limit", 12),)}, "approvals.0.item", "'age_limit'"),
    ],
)  # fmt: skip
def test_what_no_car_can_be_is_refused_at_its_field(db, change, path, problem):
    with pytest.raises(Refused) as refusal:
        cars.add_car(db, new_car(**change), stamp())
    assert any(each.path == path and problem in each.problem for each in refusal.value.faults), (
        refusal.value.faults
    )
    assert car_counts.count(db, recorded.RegisterFilter(standing="all")) == 0


CHANGES = [
    (cars.re_mark, NewName("ZQBX", 7)),
    (cars.change_ownership, NewOwnership("Second Invented Owner", "south")),
    (cars.change_standing, NewStanding("out_of_service")),
    (cars.put_into_service, NewService("Other lading")),
    (cars.change_lining, NewLining(kind="rubber")),
    (cars.change_fitting, NewFitting(96)),
    (cars.mark_stencil, NewStencil(visual="2030")),
    (cars.change_approval, NewApproval("visual", 96, "Letter 7")),
    (cars.change_construction, CarDetails("DOT 111A100W5", date(2015, 6, 1))),
]
ids = [action.__name__ for action, _ in CHANGES]


@pytest.mark.parametrize(("action", "stated"), CHANGES, ids=ids)
def test_no_fact_holds_from_the_future_or_from_before_built(db, action, stated):
    car = add_car(db)
    for day, problem in ((TOMORROW, "in the future"), (BEFORE_BUILT, "before the car was built")):
        with pytest.raises(Refused, match=f"from_on.*{problem}"):
            action(db, car.id, replace(stated, from_on=day), stamp())


@pytest.mark.parametrize(("action", "stated"), CHANGES, ids=ids)
def test_what_holds_already_is_not_written_twice(any_db, action, stated):
    car = add_car(any_db)
    stated = replace(stated, from_on=date(2024, 1, 1))
    first = action(any_db, car.id, stated, stamp())
    assert action(any_db, car.id, stated, stamp(1)).id == first.id


@pytest.mark.parametrize(("action", "stated"), CHANGES, ids=ids)
def test_a_wrong_fact_can_be_corrected_and_withdrawn_and_the_one_before_holds_again(
    any_db, action, stated
):
    car = add_car(any_db)
    before = facts.load(any_db, [car.id], TODAY)[car.id]
    wrong = action(any_db, car.id, replace(stated, from_on=date(2024, 1, 1)), stamp(1))
    table = wrong.__tablename__
    right = cars.correct_fact(
        any_db, table, wrong.id, replace(stated, from_on=date(2024, 2, 2)), stamp(2)
    )
    assert (right.corrects, right.from_on) == (wrong.id, date(2024, 2, 2))
    with pytest.raises(Conflict, match=f"already corrected; row {right.id}"):
        cars.correct_fact(any_db, table, wrong.id, stated, stamp(3))
    cars.withdraw_fact(any_db, table, right.id, "another car's", stamp(4))
    assert facts.load(any_db, [car.id], TODAY)[car.id] == before
    with pytest.raises(Conflict, match="already withdrawn"):
        cars.withdraw_fact(any_db, table, right.id, "", stamp(5))


def test_a_correction_without_a_day_holds_from_where_the_wrong_row_did(db):
    car = add_car(db)
    wrong = cars.put_into_service(
        db, car.id, NewService("Wrnog", from_on=date(2024, 1, 1)), stamp()
    )
    right = cars.correct_fact(db, "service", wrong.id, NewService("Wrong"), stamp(1))
    assert right.from_on == date(2024, 1, 1)


def test_a_fact_without_a_day_does_not_slip_under_one_that_has_a_day(db):
    car = add_car(db)
    cars.put_into_service(db, car.id, NewService("Dated", from_on=date(2024, 1, 1)), stamp())
    with pytest.raises(Refused, match="say from which day it holds"):
        cars.put_into_service(db, car.id, NewService("Undated"), stamp(1))


@pytest.mark.parametrize(
    ("action", "stated"),
    [(cars.re_mark, NewName("ZQBX", 7)), (cars.change_standing, NewStanding("sold"))],
    ids=["re-marked", "sold"],
)
def test_what_a_car_was_until_now_it_stays_until_a_day_that_is_named(db, action, stated):
    car = add_car(db)
    with pytest.raises(Refused, match="say from which day it holds"):
        action(db, car.id, stated, stamp(1))


@pytest.mark.parametrize("table", ["car_name", "ownership", "standing", "construction"])
def test_a_car_keeps_what_it_cannot_be_without(db, table):
    car = add_car(db)
    with pytest.raises(Refused, match="Correct it instead"):
        cars.withdraw_fact(db, table, 1, "", stamp(1))
    assert facts.load(db, [car.id], TODAY)


def test_a_fact_is_corrected_by_one_of_its_own_kind(db):
    add_car(db)
    with pytest.raises(Refused, match="own kind"):
        cars.correct_fact(db, "service", 1, NewName("ZQKX", 3), stamp())


def test_a_car_cannot_have_been_built_after_what_was_done_to_it(db):
    car = add_car(db)
    events.record_event(db, car.id, visual(date(2016, 1, 1)), stamp())
    with pytest.raises(Refused, match="after an event recorded on 2016-01-01"):
        cars.correct_fact(
            db, "construction", 1, CarDetails("DOT 111A100W1", date(2017, 1, 1)), stamp(1)
        )


def test_another_lading_moves_dates_in_the_same_transaction(any_db):
    """49 CFR 180.509(f)(2), 2019 edition: five years for a corrosive lading in an unlined tank."""
    car = add_car(any_db)
    mild = item(any_db, car, "thickness")
    acid = NewService("Invented acid", corrosive_or_reactive=True, from_on=date(2024, 1, 1))
    cars.put_into_service(any_db, car.id, acid, stamp(1))
    corrosive = item(any_db, car, "thickness")
    assert (mild.interval_months, corrosive.interval_months) == (120, 60)
    assert corrosive.due_on < mild.due_on
    assert recorded.car_or_raise(any_db, car.id).commodity == "Invented acid"


def test_a_re_marked_car_is_listed_under_its_new_name_everywhere(any_db):
    car = add_car(any_db)
    cars.re_mark(any_db, car.id, NewName("ZQBX", 7, TODAY), stamp())
    assert (car.mark, car.number) == ("ZQBX", 7)
    assert {row.name for row in due.page(any_db, due.DueFilter(TODAY)).rows} == {"ZQBX 7"}


def test_an_unknown_car_or_fact_is_not_found(db):
    with pytest.raises(NotFound, match="key 9"):
        cars.re_mark(db, 9, NewName("ZQKX", 1), stamp())
    for table in ("service", "party", "nonsense"):
        with pytest.raises(NotFound):
            cars.withdraw_fact(db, table, 9, "", stamp())
