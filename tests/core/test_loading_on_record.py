"""What a register knows of a car beside what a question can state, and what that does to its loading answer.

That each asks for a look and forbids nothing is a choice of ours on the safe side (no source); the pressure is
173.31(c)'s, and what bears a UN number or a class is hazardous by the table of 172.101.
"""

from dataclasses import replace
from datetime import date

import pytest

from app.answers.request import Request
from app.core.due import due_dates
from app.core.facts import Car, Facts, Hold, LadingPressures, Loading, Reason, Service, Stands
from app.core.loading import with_doubts
from app.rules.reader import default_rulebook
from tests.core.cars import mechanically_sound, qualified

BOOK = default_rulebook()
GAS = {"commodity": "Invented gas", "un": "UN9002", "hazard_class": "2.1", "hazardous": True}


def answer(
    on_record: bool = True, stands: Stands | None = None, hold: Hold | None = None, **lading: object
):
    plain: Facts = Request.model_validate(mechanically_sound(qualified())).as_core()
    service: Service = replace(plain.car.service, **lading)
    car: Car = replace(plain.car, service=service, on_record=on_record, stands=stands, hold=hold)
    return due_dates(replace(plain, car=car), BOOK).loading


def told(loading) -> str:
    return " ".join(each.text for each in loading.reasons)


def test_a_sound_car_on_record_may_be_loaded():
    assert answer().verdict == "may_load"


@pytest.mark.parametrize("hazardous", [True, False])
def test_a_car_on_hold_may_not_be_loaded_whatever_its_dates_say(hazardous):
    found = answer(hold=Hold(date(2026, 5, 4), "Valve weeps"), hazardous=hazardous)
    assert (found.verdict, found.reasons[0].text) == (
        "may_not_load", "On hold since 2026-05-04: Valve weeps",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("verdict", "doubted"),
    [("may_load", "check"), ("check", "check"), ("may_not_load", "may_not_load")],
)
def test_a_doubt_makes_an_answer_stricter_and_never_milder(verdict, doubted):
    loading, doubt = Loading(verdict, (Reason("As it was"),), ""), Reason("A doubt")
    assert with_doubts(loading, [doubt]) == Loading(doubted, (doubt, *loading.reasons), "")
    assert with_doubts(loading, []) == loading


@pytest.mark.parametrize(
    ("stands", "said"),
    [
        (Stands("out_of_service", date(2026, 5, 4), "Frame cracked"),
         "Out of service since 2026-05-04: Frame cracked"),
        (Stands("stored", date.min), "Stored"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("hazardous", [True, False])
def test_a_car_that_is_not_in_service_is_looked_at_first(stands, said, hazardous):
    found = answer(stands=stands, hazardous=hazardous, un=None, hazard_class=None)
    assert found.verdict == "check"
    assert said in told(found)


@pytest.mark.parametrize(
    ("lading", "verdict", "said"),
    [
        ({"un": "UN1114"}, "check", "recorded as UN1114: one of them is a slip"),
        ({"un": None, "hazard_class": "3"}, "check", "recorded as class 3"),
        ({"un": "UN1114", "hazard_class": "3"}, "check", "recorded as UN1114 and class 3"),
        ({"un": None, "hazard_class": None}, "may_load", "not to be hazardous"),
    ],
)
def test_a_lading_that_is_said_not_to_be_hazardous_and_bears_what_only_such_do_is_looked_at(
    lading, verdict, said
):
    found = answer(hazardous=False, **{"hazard_class": None, **lading})
    assert found.verdict == verdict
    assert said in told(found)


def test_a_gas_whose_pressure_was_compared_with_nothing_is_looked_at():
    found = answer(**GAS)
    assert found.verdict == "check"
    assert "No vapor pressure of Invented gas is on record" in told(found)


@pytest.mark.parametrize(
    "lading",
    [
        GAS | {"hazard_class": "3"},  # a liquid is warned of where it is chosen from the list
        GAS | {"hazardous": False, "un": None, "hazard_class": None},
    ],
)
def test_of_another_lading_no_pressure_is_asked_for(lading):
    assert "No vapor pressure" not in told(answer(**lading))


def test_where_a_pressure_is_on_record_it_is_compared():
    known = LadingPressures(vapor_pressure_psig_105f=20, vapor_pressure_psig_115f=25)
    assert "No vapor pressure" not in told(answer(**GAS, pressures=known))


def test_a_question_that_cannot_state_these_is_answered_by_what_it_states():
    """`POST /due-dates` knows neither pressures nor standings, so nothing of them is missing."""
    assert answer(on_record=False, **GAS).verdict == "may_load"
    assert answer(on_record=False, hazardous=False, un="UN1114").verdict == "may_load"
