"""A trial: a car's facts with a change that nobody recorded, and what it moves."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.answers.request import Request
from app.core.due import due_dates
from app.core.facts import Answer, Approval, Facts, Lining, Service, StencilMarks
from app.core.trial import NOTHING, Change, LiningWork, Move, changed, moves
from app.rules.reader import default_rulebook
from tests.core.cars import LIQUOR, ask, passed, qualified, requests

BOOK = default_rulebook()


def facts(asked: dict[str, Any]) -> Facts:
    return Request.model_validate(asked).as_core()


def tried(asked: dict[str, Any], change: Change) -> tuple[Answer, Answer]:
    given_ = facts(asked)
    return due_dates(given_, BOOK), due_dates(changed(given_, change, BOOK), BOOK)


def move(asked: dict[str, Any], change: Change, item: str) -> Move:
    return next(each for each in moves(*tried(asked, change)) if each.item == item)


intervals = st.none() | st.integers(1, 240)
changes = st.builds(
    Change,
    service=st.none()
    | st.builds(Service, corrosive_or_reactive=st.sampled_from([None, True, False])),
    service_equipment_months=intervals,
    relief_device_months=intervals,
    lining_months=intervals,
    due_precision=st.sampled_from([None, "day", "month_end", "year_end"]),
    stencil_year=st.sampled_from([None, "start", "end"]),
)


@given(requests())
def test_trying_nothing_changes_nothing(asked: dict[str, Any]):
    given_ = facts(asked)
    assert changed(given_, NOTHING, BOOK) is given_
    answer = due_dates(given_, BOOK)
    assert all(each.direction == "unchanged" for each in moves(answer, answer))
    assert {each.in_words() for each in moves(answer, answer)} == {"nothing changes"}


@given(requests(), changes)
def test_a_trial_leaves_the_question_as_it_was(asked: dict[str, Any], change: Change):
    given_ = facts(asked)
    changed(given_, change, BOOK)
    assert given_ == facts(asked)


@given(requests(), changes)
def test_trying_twice_is_trying_once(asked: dict[str, Any], change: Change):
    once = changed(facts(asked), change, BOOK)
    assert changed(once, change, BOOK) == once


@given(requests(), st.integers(1, 119))
def test_an_owners_interval_makes_no_date_later_than_the_rules_alone(
    asked: dict[str, Any], months: int
):
    """49 CFR 180.509(k), 2019 edition: the owner may only shorten."""
    asked["car"]["service_equipment"] = None
    if asked["car"]["relief_device"]:
        asked["car"]["relief_device"]["owner_interval_months"] = None
    change = Change(service_equipment_months=months, relief_device_months=months)
    assert all(each.direction != "later" for each in moves(*tried(asked, change)))


@given(requests(), st.sampled_from(["visual", "thickness", "relief_device"]), st.integers(1, 240))
def test_an_approval_that_is_not_stenciled_moves_nothing(
    asked: dict[str, Any], item: str, months: int
):
    """49 CFR 180.515, 2019 edition: what is stenciled takes precedence."""
    approval = Approval(item, months, "ZQ trial", stenciled=False)
    found = moves(*tried(asked, Change(approval=approval)))
    assert all(each.direction == "unchanged" for each in found)


@given(requests())
def test_a_lading_stated_corrosive_never_makes_thickness_later(asked: dict[str, Any]):
    """49 CFR 180.509(f)(2), 2019 edition."""
    mild = replace(
        facts(asked), car=replace(facts(asked).car, service=Service(corrosive_or_reactive=False))
    )
    harsh = changed(mild, Change(stated=(("corrosive_or_reactive", True),)), BOOK)
    found = moves(due_dates(mild, BOOK), due_dates(harsh, BOOK))
    thickness = next((each for each in found if each.item == "thickness"), None)
    assert thickness is None or thickness.direction != "later"


@given(requests(), intervals)
def test_an_interval_alone_makes_no_lining(asked: dict[str, Any], months: int | None):
    before, after = tried(asked, Change(lining_months=months))
    assert [due.item for due in before.items] == [due.item for due in after.items]


@given(requests())
def test_a_later_precision_never_makes_a_date_earlier(asked: dict[str, Any]):
    asked["settings"]["due_precision"] = "day"
    found = moves(*tried(asked, Change(due_precision="year_end")))
    assert all(each.direction != "earlier" for each in found)


# Worked by hand ---------------------------------------------------------------------------------------------------

THIN = ask(qualified(shell_bottom=0.4))


def test_another_lading_that_is_corrosive_halves_the_interval_of_a_thin_tank():
    """49 CFR 180.509(f)(2), 2019 edition: 5 instead of 10 years; 2023-03-15 lies 1,827 days before 2028-03-15."""
    found = move(THIN, Change(service=Service(**LIQUOR)), "thickness")
    assert (found.direction, found.days) == ("earlier", -1827)
    assert found.in_words() == "1827 days earlier; 60 instead of 120 months"


def test_a_fact_stated_of_the_lading_leaves_the_rest_of_it():
    found = changed(facts(THIN), Change(stated=(("corrosive_or_reactive", True),)), BOOK)
    assert found.car.service == replace(facts(THIN).car.service, corrosive_or_reactive=True)


@pytest.mark.parametrize(
    ("inspected", "state"),
    [
        (True, "by_event"),  # measured when it was lined: 180.509(f)(2)(i)
        (False, "unknown"),  # nobody knows the thickness under it
    ],
)
def test_a_lining_applied_asks_for_a_measurement(inspected: bool, state: str):
    work = LiningWork("applied", date(2026, 11, 1), inspected)
    found = move(THIN, Change(lining=work), "thickness")
    assert found.after is not None
    assert found.after.state == state


@pytest.mark.parametrize(
    ("inspected", "states"),
    [
        (False, ("owed", "owed")),  # 180.509(d)(2) and (f)(6): both are asked for
        (True, ("dated", "dated")),
    ],
)
def test_a_lining_removed_opens_visual_and_thickness(inspected: bool, states: tuple[str, str]):
    asked = ask(qualified(), lining={"kind": "rubber", "applied_on": "2020-05-01"})
    _, after = tried(asked, Change(lining=LiningWork("removed", date(2026, 11, 1), inspected)))
    assert (
        tuple(due.state for name in ("visual", "thickness") if (due := after.item(name))) == states
    )
    assert after.item("lining") is None


def test_a_new_stencil_takes_the_place_of_the_whole_old_one():
    asked = ask(
        qualified(),
        stencil={"marked_on": "2018-04-01", "due": {"visual": "2027", "lining": "2027"}},
    )
    marks = StencilMarks(date(2026, 11, 1), (("thickness", "2027-02-03"),))
    found = changed(facts(asked), Change(stencil=marks), BOOK)
    assert found.car.stencil == marks
    assert move(asked, Change(stencil=marks), "visual").direction == "later"


def test_an_approval_replaces_the_one_of_its_item_and_reference():
    held = {"item": "visual", "interval_months": 144, "reference": "ZQ 7", "stenciled": True}
    asked = ask(qualified(), approvals=[held])
    newer = Approval("visual", 60, "ZQ 7", stenciled=True)
    assert changed(facts(asked), Change(approval=newer), BOOK).car.approvals == (newer,)
    other = replace(newer, reference="ZQ 8")
    assert len(changed(facts(asked), Change(approval=other), BOOK).car.approvals) == 2


def test_the_owners_interval_goes_to_the_lining_there_is():
    asked = ask(
        qualified(), lining={"kind": "rubber", "applied_on": "2020-05-01", "documented": True}
    )
    found = changed(facts(asked), Change(lining_months=36), BOOK)
    assert found.car.lining == Lining("rubber", date(2020, 5, 1), 36, documented=True)


def test_a_tank_lined_by_its_suffix_takes_an_interval_too():
    """49 CFR 179.201-1, 2019 edition: suffix 5 is an interior lining."""
    asked = ask(passed("2024-01-05", "lining"), specification="DOT 111A100W5", service=LIQUOR)
    found = move(asked, Change(lining_months=36), "lining")
    assert found.after is not None
    assert found.after.due_on == date(2027, 1, 5)


@pytest.mark.parametrize(
    ("change", "item", "words"),
    [
        # No lining before, one after.
        (Change(lining=LiningWork("applied", date(2026, 11, 1))), "lining", "asked for only then"),
        # Calendar to event, when it was measured for the lining.
        (Change(lining=LiningWork("applied", date(2026, 11, 1), inspected=True)), "thickness",
         "dated becomes by event"),
        # A day more or less is spoken of in the singular.
        (Change(stencil=StencilMarks(None, (("visual", "2028-03-14"),))), "visual", "1 day earlier"),
        # The same date for another reason.
        (Change(stencil=StencilMarks(None, (("visual", "2028-03-15"),))), "visual", "the same date"),
        # There is no date on either side, and other reasons.
        (Change(stated=(("hazardous", False),)), "service_end", "still not required, for other reasons"),
    ],
)  # fmt: skip
def test_what_changes_is_said_in_words(change: Change, item: str, words: str):
    assert move(THIN, change, item).in_words() == words


def test_unknown_counts_as_sooner_than_any_date():
    before, after = tried(THIN, Change(lining=LiningWork("applied", date(2026, 11, 1))))
    found = next(each for each in moves(before, after) if each.item == "thickness")
    assert (found.direction, found.days) == ("earlier", None)
