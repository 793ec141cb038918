"""What an evidence packet says of directives: as the record has it, as of a day and as known at a moment."""

from datetime import date, timedelta

from app.actions import components, directives, evidence
from app.actions.directives import NewClosing, Term
from app.actions.evidence import View
from app.store import directive_list
from app.store.asked import Standpoint
from tests.actions.test_directives import TODAYS, fitted, order, owner_of, valve
from tests.store.cast import TODAY, add_car, stamp

CLOSED_ON = TODAY - timedelta(days=3)


def told(db, car, minute=None, day=TODAY):
    """Everything that a packet says of a car; without a minute by all that is known now."""
    at = Standpoint(day, None if minute is None else stamp(minute).at)
    return evidence.of_car(db, car.id, View(at, 180, minute is not None or day != TODAY))


def closed_and_taken_back(db):
    """A car whose directive was given at minute 10, closed at 30, taken back at 40, and closed again at 50."""
    car = fitted(db, 1, "A1")
    new = order(owner_of(db, car), term=Term(due_days=45, forbids_loading=True))
    frozen = directives.freeze(db, new, stamp(10))
    [match] = directive_list.matches_of(db, frozen.id, TODAYS)
    wrong = NewClosing(CLOSED_ON, "nothing_found", "Report 8")
    [closing] = directives.close(db, [match.row.id], wrong, stamp(30))
    directives.take_back(db, closing.id, "Of another car (invented).", stamp(40))
    right = NewClosing(CLOSED_ON, "mended", "Report 9", "Spring changed.")
    directives.close(db, [match.row.id], right, stamp(50, "Bela Testwell"))
    return car, frozen


def said(found):
    """Of the one match its state, and of each closing its report and whether it counts."""
    [one] = found["directives"]
    [match] = one["matches"]
    return match["state"], [(each["reference"], each["in_force"]) for each in match["closings"]]


def test_a_directive_is_told_with_what_it_asks_and_what_came_of_it(any_db):
    car, frozen = closed_and_taken_back(any_db)
    [one] = told(any_db, car)["directives"]
    assert (one["directive"], one["name"], one["title"], one["what"], one["forbids_loading"]) == (
        frozen.id, "Invented Authority 7", "Relief valves of one lot", "Look at the spring.", True,
    )  # fmt: skip
    [match] = one["matches"]
    assert match["about"] == "Relief valve, Brindle Invented Valves, EX-1, lot L12, top, serial A1"
    assert (match["found_on"], match["due_on"]) == (
        TODAY.isoformat(), (TODAY + timedelta(days=45)).isoformat(),
    )  # fmt: skip
    first, second = match["closings"]
    assert (first["withdrawn_by"], first["reason"]) == (
        "Alba Testwell",
        "Of another car (invented).",
    )
    assert (second["done_on"], second["outcome_word"], second["finding"], second["recorded_by"]) == (
        CLOSED_ON.isoformat(), "Found and mended", "Spring changed.", "Bela Testwell",
    )  # fmt: skip
    assert said(told(any_db, car)) == ("closed", [("Report 8", False), ("Report 9", True)])


def test_what_was_known_of_it_at_a_moment_is_told_as_it_stood(any_db):
    car, _ = closed_and_taken_back(any_db)
    assert told(any_db, car, 5)["directives"] == []
    assert said(told(any_db, car, 20)) == ("open", [])
    assert said(told(any_db, car, 35)) == ("closed", [("Report 8", True)])
    assert said(told(any_db, car, 45)) == ("open", [("Report 8", False)])
    assert said(told(any_db, car, 55)) == ("closed", [("Report 8", False), ("Report 9", True)])
    # By what is known now it was open until the day on which it was seen to, and not before it was ordered.
    assert said(told(any_db, car, day=CLOSED_ON)) == (
        "closed",
        [("Report 8", False), ("Report 9", True)],
    )
    assert said(told(any_db, car, day=CLOSED_ON - timedelta(days=1))) == ("open", [])
    assert told(any_db, car, day=date(2026, 10, 31))["directives"] == []


def test_an_open_one_is_what_its_due_item_and_the_loading_answer_say(any_db):
    car = fitted(any_db, 1, "A1")
    new = order(owner_of(any_db, car), term=Term(due_on=date(2026, 11, 20), forbids_loading=True))
    directives.freeze(any_db, new, stamp(10))
    found = told(any_db, car)
    [one] = found["directives"]
    [match] = one["matches"]
    [due] = [each for each in found["due"] if each["item"] == "directive"]
    assert (match["due_on"], match["status"], match["days_left"]) == (
        due["due_on"], due["status"], due["days_left"],
    )  # fmt: skip
    assert found["loading"]["verdict"] == "may_not_load"


def test_another_term_and_a_withdrawal_stand_among_the_corrections(any_db):
    car = fitted(any_db, 1, "A1")
    frozen = directives.freeze(any_db, order(owner_of(any_db, car)), stamp(10))
    later = Term(due_on=date(2027, 6, 30), forbids_loading=True, reason="By letter (invented).")
    directives.set_term(any_db, frozen.id, later, stamp(20))
    directives.withdraw(any_db, frozen.id, "Withdrawn by its authority (invented).", stamp(30))
    found = told(any_db, car)
    assert said(found) == ("withdrawn", [])
    assert [(each["what"], each["said"], each["reason"]) for each in found["corrections"]] == [
        ("Directive", "Invented Authority 7: Relief valves of one lot", "Withdrawn by its authority (invented)."),
        ("Term of a directive", "Invented Authority 7: due 2026-12-25", ""),
    ]  # fmt: skip
    [one] = found["directives"]
    assert [(each["due_on"], each["because"]) for each in one["terms"]] == [
        ("2026-12-25", ""), ("2027-06-30", "By letter (invented)."),
    ]  # fmt: skip
    # Before it was withdrawn, and before it had another term.
    for minute, due_on in ((25, "2027-06-30"), (15, "2026-12-25")):
        then = told(any_db, car, minute)
        assert said(then) == ("open", [])
        assert then["directives"][0]["matches"][0]["due_on"] == due_on
    assert told(any_db, car, 15)["corrections"] == []


def test_a_car_without_a_directive_has_none(any_db):
    car = fitted(any_db, 1, "A1")
    directives.freeze(any_db, order(owner_of(any_db, car)), stamp(10))
    assert told(any_db, add_car(any_db, 9))["directives"] == []


def test_two_components_of_one_car_are_told_under_one_directive(any_db):
    """And another directive, of the car itself, beside it."""
    car = fitted(any_db, 1, "A1")
    components.install(any_db, car.id, valve("A2", beside_another=True), stamp())
    directives.freeze(any_db, order(owner_of(any_db, car)), stamp(10))
    of_cars = order(owner_of(any_db, car), {"specification": "DOT 111"}, number="8")
    directives.freeze(any_db, of_cars, stamp(11))
    for minute in (None, 20):  # rows are let go of one by one where it looks back
        found = told(any_db, car, minute)["directives"]
        assert [
            (each["name"], [match["about"][-9:] for match in each["matches"]]) for each in found
        ] == [
            ("Invented Authority 7", ["serial A1", "serial A2"]),
            ("Invented Authority 8", ["ar itself"]),
        ]
