"""Directives: the cars frozen, what is added afterwards, the due item, closing, and looking back."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from app.actions import cars, components, directive_matches, directives, facts, looking_back
from app.actions.changes import (
    CarDetails,
    NewComponent,
    NewInstallation,
    NewOwnership,
    NewService,
    NewStanding,
)
from app.actions.directives import NewClosing, NewDirective, Term
from app.errors import Conflict, NotFound, Refused
from app.store import components as on_cars
from app.store import directive_list, due
from app.store import facts as crossing
from app.store.asked import Standpoint
from app.store.directive_list import MatchFilter
from app.store.directives import Directive
from app.store.tables import Car, Ownership
from tests.store.cast import OWNER, TODAY, add_car, stamp
from tests.store.counting import statements

TODAYS = MatchFilter(TODAY)
BEFORE = date(2026, 6, 1)  # all valves of the cast are on their first car
LATER = date(2026, 9, 1)
LOT = {"kind": "relief_valve", "lot": "L12"}


def valve(
    serial: str, lot: str = "L12", on: date = date(2020, 5, 1), **more: Any
) -> NewInstallation:
    component = NewComponent("relief_valve", "Brindle Invented Valves", "EX-1", lot, serial)
    return replace(NewInstallation(component, "top", on), **more)


def fitted(db: Session, number: int, serial: str, lot: str = "L12", **more: Any) -> Car:
    car = add_car(db, number, **more)
    components.install(db, car.id, valve(serial, lot), stamp())
    return car


def owner_of(db: Session, car: Car) -> int:
    return db.scalars(select(Ownership.owner_id).where(Ownership.car_id == car.id)).first() or 0


def order(party_id: int, condition: dict[str, Any] = LOT, **more: Any) -> NewDirective:
    new = NewDirective(
        party_id=party_id, ordered_by="authority", orderer="Invented Authority", number="7",
        title="Relief valves of one lot", what="Look at the spring.", ordered_on=date(2026, 11, 1),
        as_of=BEFORE, term=Term(due_on=TODAY + timedelta(days=30)), condition=condition,
    )  # fmt: skip
    return replace(new, **more)


def of(db: Session, directive: Directive, state: str | None = None) -> list[tuple[str, str]]:
    """The cars of a directive, and how each came to be one."""
    found = directive_list.matches_of(db, directive.id, replace(TODAYS, state=state))
    return [(each.name, each.row.found) for each in found]


def item(db: Session, car: Car):
    rows = due.for_car(db, car.id, TODAY)
    return next((row for row in rows if row.item == "directive"), None)


def taken_off(db: Session, car: Car, on: date) -> None:
    [mounted] = on_cars.on_car(db, car.id, TODAY)
    components.remove(db, mounted.installation.id, on, stamp())


def moved(db: Session, one: Car, other: Car, serial: str, on: date = LATER) -> None:
    """The valve of `one` is put on `other`, beside what is there."""
    taken_off(db, one, on)
    components.install(db, other.id, valve(serial, on=on, beside_another=True), stamp())


# Which cars -------------------------------------------------------------------------------------------------------


def test_a_lot_finds_the_cars_that_carried_it_on_the_day_also_when_it_was_swapped_before_today(
    any_db,
):
    had_it, never, got_it = (
        fitted(any_db, 1, "A1"), fitted(any_db, 2, "B1", "L13"), fitted(any_db, 3, "C1", "L13"),
    )  # fmt: skip
    moved(any_db, had_it, got_it, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, never), takes_later=False), stamp(1))
    # The valve of lot L12 that is on car 3 now is the one that was on car 1: both are told.
    assert of(any_db, frozen) == [("ZQKX 1", "frozen"), ("ZQKX 3", "followed")]
    assert item(any_db, never) is None
    assert item(any_db, had_it).due_on == item(any_db, got_it).due_on == TODAY + timedelta(days=30)


def test_frozen_today_it_finds_where_the_lot_is_today(any_db):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 3, "C1", "L13")
    moved(any_db, one, other, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, one), as_of=TODAY), stamp(1))
    assert of(any_db, frozen) == [("ZQKX 3", "frozen")]


def test_a_swap_recorded_after_freezing_takes_the_order_along_and_leaves_it_on_the_first_car(
    any_db,
):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 3, "C1", "L13")
    frozen = directives.freeze(any_db, order(owner_of(any_db, one), takes_later=False), stamp(1))
    moved(any_db, one, other, "A1")
    assert of(any_db, frozen) == [("ZQKX 1", "frozen"), ("ZQKX 3", "followed")]
    [first, second] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    assert (first.elsewhere, [each.name for each in first.now]) == (True, ["ZQKX 3"])
    assert second.elsewhere is False
    # Looked back at from before the swap, the order is on the first car alone.
    earlier = crossing.load(any_db, [one.id, other.id], LATER - timedelta(days=1))
    assert [len(record.car.orders) for record in earlier.values()] == [0, 0]  # ordered in November
    assert [
        len(record.car.orders)
        for record in crossing.load(any_db, [one.id, other.id], TODAY).values()
    ] == [1, 1]


def test_a_component_that_was_seen_to_takes_no_order_along(any_db):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 3, "C1", "L13")
    frozen = directives.freeze(any_db, order(owner_of(any_db, one), takes_later=False), stamp(1))
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    directives.close(any_db, [match.row.id], NewClosing(TODAY, "nothing_found"), stamp(2))
    moved(any_db, one, other, "A1")
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]


def test_that_it_is_gone_from_a_car_closes_it_there_alone(any_db):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 3, "C1", "L13")
    frozen = directives.freeze(any_db, order(owner_of(any_db, one), takes_later=False), stamp(1))
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    with pytest.raises(Refused, match="still on ZQKX 1"):
        directives.close(any_db, [match.row.id], NewClosing(TODAY, "gone"), stamp(2))
    taken_off(any_db, one, LATER)
    directives.close(any_db, [match.row.id], NewClosing(TODAY, "gone"), stamp(2))
    components.install(any_db, other.id, valve("A1", on=TODAY, beside_another=True), stamp(3))
    assert of(any_db, frozen, "open") == [("ZQKX 3", "followed")]


@pytest.mark.parametrize("takes_later", [True, False])
def test_put_back_on_the_car_that_it_was_gone_from_it_is_open_there_again(any_db, takes_later):
    one = fitted(any_db, 1, "A1")
    new = order(owner_of(any_db, one), takes_later=takes_later)
    frozen = directives.freeze(any_db, new, stamp(1))
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    taken_off(any_db, one, LATER)
    directives.close(any_db, [match.row.id], NewClosing(TODAY, "gone"), stamp(2))
    assert item(any_db, one) is None
    components.install(any_db, one.id, valve("A1", on=TODAY), stamp(3))
    assert of(any_db, frozen, "open") == [("ZQKX 1", "frozen")]
    assert item(any_db, one).due_on == TODAY + timedelta(days=30)
    [(_, why)] = directive_list.closings_of(any_db, match.row.id)
    assert why.reason == "The component is on the car again."


def test_what_is_open_on_a_car_that_was_sold_is_told_apart(any_db):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 2, "A2")
    past = order(owner_of(any_db, one), term=Term(TODAY - timedelta(days=1)))
    frozen = directives.freeze(any_db, past, stamp(1))
    cars.change_standing(any_db, other.id, NewStanding("sold", "", TODAY), stamp(2))
    progress = directive_list.one(any_db, frozen.id, TODAY).progress
    assert (progress.all, progress.open, progress.overdue, progress.left) == (2, 1, 1, 1)
    for state, found in (("open", 1), ("overdue", 1), ("left", 2), ("closed", None)):
        names = [name for name, _ in of(any_db, frozen, state)]
        assert names == ([f"ZQKX {found}"] if found else []), state


@pytest.mark.parametrize("takes_later", [True, False])
def test_a_new_car_that_matches_is_added_where_later_cars_are_taken(any_db, takes_later):
    one = fitted(any_db, 1, "A1")
    new = order(owner_of(any_db, one), takes_later=takes_later)
    frozen = directives.freeze(any_db, new, stamp(1))
    late = add_car(any_db, 5)
    components.install(any_db, late.id, valve("N1", on=TODAY), stamp(2))
    added = [("ZQKX 5", "later")] if takes_later else []
    assert of(any_db, frozen) == [("ZQKX 1", "frozen"), *added]
    assert (item(any_db, late) is not None) is takes_later


def test_what_was_so_on_the_day_and_is_recorded_afterwards_is_added_whatever_is_taken(any_db):
    """A correction of the lot, and a valve that nobody had recorded."""
    wrong, unrecorded = fitted(any_db, 1, "A1", "L13"), add_car(any_db, 2)
    new = order(owner_of(any_db, wrong), takes_later=False, term=Term(due_days=10))
    frozen = directives.freeze(any_db, new, stamp(1))
    assert of(any_db, frozen) == []
    [mounted] = on_cars.on_car(any_db, wrong.id, TODAY)
    components.correct(any_db, mounted.installation.id, valve("A1", "L12"), stamp(2))
    components.install(any_db, unrecorded.id, valve("U1", confirmed=True), stamp(3))
    assert of(any_db, frozen) == [("ZQKX 1", "recorded_later"), ("ZQKX 2", "recorded_later")]
    # Ten days from the freezing, since it was so then.
    assert item(any_db, unrecorded).due_on == TODAY + timedelta(days=10)


def test_a_correction_that_says_otherwise_takes_nothing_off_the_frozen_list(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    [mounted] = on_cars.on_car(any_db, car.id, TODAY)
    components.correct(any_db, mounted.installation.id, valve("A1", "L13"), stamp(2))
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    assert match.row.why == [["kind", "relief_valve"], ["lot", "L12"]]


def test_mending_something_else_of_a_component_adds_nothing(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    [mounted] = on_cars.on_car(any_db, car.id, TODAY)
    moved_up = replace(valve("A1"), position="top B", tested_on=date(2020, 4, 1))
    components.correct(any_db, mounted.installation.id, moved_up, stamp(2))
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]


@pytest.mark.parametrize("takes_by_hand", [True, False])
def test_what_cannot_be_told_is_listed_to_be_looked_at_where_that_is_wanted(any_db, takes_by_hand):
    fitted(any_db, 1, "A1")
    unsaid = fitted(any_db, 2, "B1", lot="")
    new = order(owner_of(any_db, unsaid), takes_by_hand=takes_by_hand)
    frozen = directives.freeze(any_db, new, stamp(1))
    by_hand = [("ZQKX 2", "frozen")] if takes_by_hand else []
    assert of(any_db, frozen, "by_hand") == by_hand
    assert of(any_db, frozen) == [("ZQKX 1", "frozen"), *by_hand]


def test_a_condition_of_cars_is_asked_of_what_they_were_on_the_day(any_db):
    car = add_car(any_db, 1, service=NewService("Invented acid", un="UN9999"))
    add_car(any_db, 2)
    cars.put_into_service(any_db, car.id, NewService("Oil, invented", from_on=LATER), stamp())
    party, condition = owner_of(any_db, car), {"un": "UN9999"}
    now = directives.preview(any_db, party, directives.condition_from(condition), TODAY, TODAY)
    assert [each.car_id for each in now.sure] == []
    frozen = directives.freeze(any_db, order(party, condition, takes_by_hand=False), stamp(1))
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]


def test_builder_and_design_can_be_asked_for(any_db):
    details = CarDetails(
        "DOT 111A100W1", date(2015, 6, 1), builder="Marrowfen Invented Works", design="ZQ-7"
    )
    car = add_car(any_db, 1, details=details)
    add_car(any_db, 2, details=replace(details, design="ZQ-8"))
    condition = {"builder": "marrowfen invented works", "design": "zq-7"}
    frozen = directives.freeze(any_db, order(owner_of(any_db, car), condition), stamp(1))
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]


def test_cars_out_of_record_on_the_day_are_not_meant(any_db):
    gone = fitted(any_db, 1, "A1")
    cars.change_standing(any_db, gone.id, NewStanding("scrapped", "", date(2026, 5, 1)), stamp())
    frozen = directives.freeze(any_db, order(owner_of(any_db, gone)), stamp(1))
    assert of(any_db, frozen) == []


def test_a_preview_tells_the_day_from_today(any_db):
    one, other = fitted(any_db, 1, "A1"), fitted(any_db, 3, "C1", "L13")
    moved(any_db, one, other, "A1")
    condition = directives.condition_from(LOT)
    seen = directives.preview(any_db, owner_of(any_db, one), condition, BEFORE, TODAY)
    assert [each.car_id for each in seen.only_then] == [one.id]
    assert [each.car_id for each in seen.only_now] == [other.id]
    assert seen.by_hand == []


@pytest.mark.parametrize(
    ("more", "many"),
    [({}, 2), ({"specification": "DOT 105"}, 0), ({"kind": "bottom_outlet"}, 3)],
)
def test_a_preview_counts_the_cars_of_which_nothing_of_the_kind_is_on_record(any_db, more, many):
    one = fitted(any_db, 1, "A1")
    add_car(any_db, 2)
    add_car(any_db, 3)
    asked, party = LOT | more, owner_of(any_db, one)
    seen = directives.preview(any_db, party, directives.condition_from(asked), TODAY, TODAY)
    assert seen.unrecorded == many
    frozen = directives.freeze(any_db, order(party, asked, as_of=TODAY), stamp(1))
    assert frozen.unrecorded == many


def test_a_condition_without_a_letter_or_a_figure_is_refused():
    with pytest.raises(Refused, match="neither a letter nor a figure"):
        directives.condition_from({"specification": "!!"})


# Its due item -----------------------------------------------------------------------------------------------------


def test_it_is_a_due_item_until_it_is_closed_and_again_when_that_is_taken_back(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    assert (item(any_db, car).status, item(any_db, car).citation) == (
        "soon",
        "Invented Authority 7",
    )
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    [closing] = directives.close(
        any_db, [match.row.id], NewClosing(TODAY, "mended", "Report 9", "Spring changed."), stamp(2)
    )
    assert item(any_db, car) is None
    with pytest.raises(Conflict, match="closed already"):
        directives.close(any_db, [match.row.id], NewClosing(TODAY, "mended", "Report 9"), stamp(3))
    directives.take_back(any_db, closing.id, "Another car, invented.", stamp(4))
    assert item(any_db, car) is not None
    [(row, withdrawal)] = directive_list.closings_of(any_db, match.row.id)
    assert (row.reference, withdrawal.reason) == ("Report 9", "Another car, invented.")


def test_the_days_to_its_due_day_are_counted_from_the_find(any_db):
    car = fitted(any_db, 1, "A1")
    new = order(owner_of(any_db, car), term=Term(due_days=45))
    directives.freeze(any_db, new, stamp(1))
    assert item(any_db, car).due_on == TODAY + timedelta(days=45)


def test_another_term_moves_the_day_and_says_why(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    with pytest.raises(Refused, match="say who gave"):
        directives.set_term(any_db, frozen.id, Term(due_on=TODAY), stamp(2))
    later = Term(
        due_on=date(2027, 6, 30), forbids_loading=True, reason="Extended by letter (invented)."
    )
    directives.set_term(any_db, frozen.id, later, stamp(2))
    assert item(any_db, car).due_on == date(2027, 6, 30)
    assert [row.due_on for row in directive_list.terms_of(any_db, frozen.id)] == [
        TODAY + timedelta(days=30), date(2027, 6, 30),
    ]  # fmt: skip


def test_a_withdrawn_directive_is_due_no_more(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    directives.withdraw(any_db, frozen.id, "Withdrawn by its authority (invented).", stamp(2))
    assert item(any_db, car) is None
    late = add_car(any_db, 5)
    components.install(any_db, late.id, valve("N1", on=TODAY), stamp(3))
    assert item(any_db, late) is None
    with pytest.raises(Conflict, match="withdrawn"):
        directives.withdraw(any_db, frozen.id, "Again.", stamp(4))


def test_what_was_known_at_a_moment_is_told_as_it_was(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(10))
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    directives.close(any_db, [match.row.id], NewClosing(TODAY, "mended", "Report 9"), stamp(30))

    def told(minute: int, day: date = TODAY):
        at = Standpoint(day, stamp(minute).at)
        one = [
            row for row in looking_back.items_of(any_db, car.id, at, 180) if row.item == "directive"
        ]
        wanted = due.DueFilter(day, item="directive")
        listed = list(looking_back.due_items(any_db, at, wanted).each())
        assert [row.due_on for row in one] == [row.due_on for row in listed]
        return [row.due_on for row in one]

    day = TODAY + timedelta(days=30)
    assert [told(5), told(20), told(40)] == [[], [day], []]
    # By what is known now it was open until the day on which it was seen to, and not before it was ordered.
    assert told(40, TODAY - timedelta(days=1)) == [day]
    assert told(40, date(2026, 10, 31)) == []


# Whose cars -------------------------------------------------------------------------------------------------------


def test_a_directive_is_about_the_cars_of_its_company_alone(any_db):
    mine = fitted(any_db, 1, "A1")
    others = fitted(any_db, 2, "A2", owner="Marrowfen Invented Cars")
    frozen = directives.freeze(any_db, order(owner_of(any_db, mine)), stamp(1))
    assert of(any_db, frozen) == [("ZQKX 1", "frozen")]
    theirs = NewOwnership(OWNER, from_on=TODAY)
    facts.change(any_db, others, theirs, stamp(2))
    # Bought since, and of the lot on the day.
    assert of(any_db, frozen) == [("ZQKX 1", "frozen"), ("ZQKX 2", "recorded_later")]


def test_a_number_of_one_orderer_is_on_record_once(any_db):
    car = fitted(any_db, 1, "A1")
    new = order(owner_of(any_db, car))
    directives.freeze(any_db, new, stamp(1))
    with pytest.raises(Conflict, match="on record already"):
        directives.freeze(any_db, new, stamp(2))


# What is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("condition", "path", "said"),
    [
        ({}, "condition", "at least one field"),
        ({"lot": "L12"}, "kind", "kind of component"),
        ({"kind": "cup"}, "kind", "relief_valve"),
        ({"material": "Cheese"}, "material", "TC128B"),
        ({"un": "1789"}, "un", "UN1789"),
        ({"colour": "red"}, "colour", "no field"),
        ({"built_from": "2020-02-01", "built_to": "2020-01-01"}, "built_to", "lies before"),
        ({"kind": "valve", "serial_from": "AB1", "serial_to": "XY2"}, "serial_from", "in front"),
    ],
)
def test_a_condition_says_what_is_wrong_with_it(condition, path, said):
    with pytest.raises(Refused) as refused:
        directives.condition_from(condition)
    [fault] = refused.value.faults
    assert (fault.path, said in fault.problem) == (path, True), fault.problem


@pytest.mark.parametrize(
    ("more", "path"),
    [
        ({"title": " "}, "title"),
        ({"number": "7" * 30}, "number"),
        ({"what": ""}, "what"),
        ({"ordered_by": "neighbour"}, "ordered_by"),
        ({"ordered_on": TODAY + timedelta(days=1)}, "ordered_on"),
        ({"as_of": TODAY + timedelta(days=1)}, "as_of"),
        ({"term": Term()}, "due_on"),
        ({"term": Term(TODAY, 3)}, "due_on"),
        ({"term": Term(date(2026, 10, 31))}, "due_on"),
        ({"term": Term(due_days=-1)}, "due_days"),
        ({"party_id": 999}, "party"),
    ],
)
def test_an_order_says_what_is_wrong_with_it(db, more, path):
    car = fitted(db, 1, "A1")
    with pytest.raises(Refused) as refused:
        directives.freeze(db, replace(order(owner_of(db, car)), **more), stamp(1))
    assert [fault.path for fault in refused.value.faults] == [path]


@pytest.mark.parametrize(
    ("closing", "path"),
    [
        (NewClosing(TODAY + timedelta(days=1), "mended", "Report 9"), "done_on"),
        (NewClosing(date(2026, 10, 1), "mended", "Report 9"), "done_on"),
        (NewClosing(TODAY, "mended", "x" * 201), "reference"),
        (NewClosing(TODAY, "mended"), "finding"),
        (NewClosing(TODAY, "lost"), "outcome"),  # type: ignore[arg-type]
    ],
)
def test_a_closing_says_what_is_wrong_with_it(db, closing, path):
    car = fitted(db, 1, "A1")
    frozen = directives.freeze(db, order(owner_of(db, car)), stamp(1))
    [match] = directive_list.matches_of(db, frozen.id, TODAYS)
    with pytest.raises(Refused) as refused:
        directives.close(db, [match.row.id], closing, stamp(2))
    assert [fault.path for fault in refused.value.faults] == [path]


def test_a_match_that_is_not_there_is_not_closed(db):
    with pytest.raises(NotFound):
        directives.close(db, [5], NewClosing(TODAY, "mended", "Report 9"), stamp(2))


@pytest.mark.parametrize(
    "change", ["DELETE FROM {}", "UPDATE {} SET recorded_by = 'somebody else'"]
)
@pytest.mark.parametrize(
    "table", ["directive", "directive_term", "directive_match", "directive_closing"]
)
def test_what_is_recorded_of_it_is_never_changed(any_db, table, change):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(1))
    [match] = directive_list.matches_of(any_db, frozen.id, TODAYS)
    directives.close(any_db, [match.row.id], NewClosing(TODAY, "mended", "Report 9"), stamp(2))
    with pytest.raises(DatabaseError, match="record is kept"):
        any_db.execute(text(change.format(table)))


def test_without_a_directive_a_change_asks_one_question_more(db):
    car = add_car(db, 1)
    with statements(db) as sent:
        directive_matches.ask_again(db, [car.id], stamp())
    assert len(sent) == 1
