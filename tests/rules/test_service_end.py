"""The last day a car is authorised for its lading.

Sources: poison by inhalation, 85 FR 75680 (non-normalized steel barred after December 31, 2020; cars not meeting the
2009 standards after December 31, 2027); class 3 in class 111 cars, 49 CFR 173.241 to 173.243 (2015) and FAST Act
section 7304, each "not authorized on or after" its day, so the last day is the one before. The rows that were not seen
in print are marked as not verified. What counts when a fact is not stated is ours, on the safe side.
"""

import pytest

from app.answers import due_dates
from app.core.rule import UNVERIFIED
from tests.core.cars import ask, citations, item, texts


def end(specification="DOT 111A100W1", tank=None, as_of="2016-01-01", **service):
    asked = ask(specification=specification, as_of=as_of, tank=tank or {}, service=service)
    return item(due_dates(asked), "service_end")


# --- class 3 in a class 111 car ---------------------------------------------------------------

CRUDE, ETHANOL = "UN1267", "UN1170"
CPC = "CPC-1232"


@pytest.mark.parametrize(
    ("un", "group", "built_to", "jacketed", "last_day", "confidence"),
    [
        # Crude oil: the 2015 table of packing group I has the same days; the FAST Act mapping is from memory.
        ("UN1267", "I", None, False, "2017-12-31", "memory"),
        ("UN1267", "I", None, True, "2018-02-28", "memory"),
        ("UN1267", "I", CPC, False, "2020-03-31", "memory"),
        ("UN1267", "I", CPC, True, "2025-04-30", "memory"),
        ("UN3494", "I", None, False, "2017-12-31", "memory"),
        ("UN3494", "II", None, True, "2018-02-28", "memory"),  # by commodity, whatever its group
        ("UN3494", None, CPC, False, "2020-03-31", "memory"),
        ("UN3494", "III", CPC, True, "2025-04-30", "memory"),
        # Ethanol: agency answer of April 2023; the 2015 table of packing group II agrees.
        ("UN1170", "II", None, False, "2023-04-30", "verified"),
        ("UN1170", "II", None, True, "2023-04-30", "verified"),
        ("UN1170", "II", CPC, False, "2023-06-30", "verified"),
        ("UN1170", "II", CPC, True, "2025-04-30", "verified"),
        ("NA1987", "II", None, False, "2023-04-30", "verified"),
        ("UN1987", "III", CPC, False, "2023-06-30", "verified"),  # whatever its group
        ("UN3475", None, CPC, True, "2025-04-30", "verified"),
        # Other class 3, packing group I: from memory.
        ("UN1993", "I", None, False, "2025-04-30", "memory"),
        ("UN1993", "I", None, True, "2025-04-30", "memory"),
        ("UN1993", "I", CPC, False, "2025-04-30", "memory"),
        ("UN1993", "I", CPC, True, "2025-04-30", "memory"),
        # Packing groups II and III: from memory.
        ("UN1993", "II", None, False, "2029-04-30", "memory"),
        ("UN1993", "II", None, True, "2029-04-30", "memory"),
        ("UN1993", "II", CPC, False, "2029-04-30", "memory"),
        ("UN1993", "II", CPC, True, "2029-04-30", "memory"),
        ("UN1993", "III", None, False, "2029-04-30", "memory"),
        ("UN1993", "III", CPC, True, "2029-04-30", "memory"),
        # Packing group not stated: as I, the earliest.
        ("UN1993", None, None, False, "2025-04-30", "memory"),
        (None, None, CPC, True, "2025-04-30", "memory"),
        (None, "II", None, False, "2029-04-30", "memory"),
        # Jacket not stated: the earlier day.
        ("UN1267", "I", None, None, "2017-12-31", "memory"),
        ("UN1267", "I", CPC, None, "2020-03-31", "memory"),
        ("UN1170", "II", CPC, None, "2023-06-30", "verified"),
        # Another standard than CPC-1232 is not CPC-1232.
        ("UN1170", "II", "PIH-2009", False, "2023-04-30", "verified"),
    ],
)
@pytest.mark.parametrize("hazard_class", ["3", "Class 3", "class 3", "3 (6.1)", "Class3"])
def test_a_class_111_car_has_a_last_day_for_a_flammable_liquid(
    un, group, built_to, jacketed, last_day, confidence, hazard_class
):
    due = end(
        tank={"built_to": built_to, "jacketed": jacketed},
        hazard_class=hazard_class,
        un=un,
        packing_group=group,
    )
    assert due["due_on"] == last_day
    assert due["confidence"] == confidence
    assert (UNVERIFIED in texts(due["reasons"])) is (confidence == "memory")
    assert "FAST Act section 7304" in citations(due["reasons"])
    assert due["basis_on"] is due["interval_months"] is None


@pytest.mark.parametrize(
    ("specification", "banned"),
    [
        ("DOT 111A60W1", True),
        ("DOT 111A100ALW2", True),
        ("TC 111A100W2", True),
        ("111A100W6", True),
        ("DOT 117J100W", False),  # built to the new standard
        ("DOT 117R100W", False),  # retrofitted
        ("DOT 117P100W", False),
        ("DOT 105J300W", False),
        ("DOT 112J340W", False),
        ("DOT 115A60W1", False),
        ("AAR 211A100W1", False),
    ],
)
def test_only_class_111_is_phased_out(specification, banned):
    due = end(specification, hazard_class="3", un=ETHANOL)
    assert (due["status"] != "not_required") is banned
    assert (due["due_on"] is not None) is banned


@pytest.mark.parametrize(
    ("service", "status"),
    [
        ({"hazard_class": "3", "un": CRUDE, "hazardous": False}, "not_required"),  # not hazardous
        ({"hazard_class": "8", "un": "UN1789"}, "not_required"),  # another class
        # words that say no number are not known: doubt, never a clean answer
        ({"hazard_class": "flammable liquid"}, "unknown"),
        ({"hazard_class": "cl. x"}, "unknown"),
        ({"hazard_class": "9"}, "not_required"),
        ({"hazard_class": "2.1"}, "not_required"),
        ({"hazard_class": "Class 4.1"}, "not_required"),
        ({"hazardous": False}, "not_required"),  # whatever is not known of it
    ],
)
def test_other_ladings_have_none_and_the_reasons_say_why(service, status):
    due = end(**service)
    assert (due["status"], due["due_on"], due["calculated_due_on"]) == (status, None, None)
    assert due["reasons"]


@pytest.mark.parametrize(
    ("as_of", "status", "verdict"),
    [
        ("2023-04-30", "soon", "may_load"),  # the last day is still allowed
        ("2023-05-01", "overdue", "may_not_load"),  # "on or after"
        ("2022-11-01", "soon", "may_load"),
        ("2022-10-31", "in_date", "may_load"),
    ],
)
def test_the_last_day_is_still_allowed_and_the_ban_s_day_is_not(as_of, status, verdict):
    service = {"hazard_class": "3", "un": ETHANOL, "corrosive_or_reactive": False}
    answer = due_dates(ask(built_on="2020-01-01", as_of=as_of, service=service))
    due = item(answer, "service_end")
    assert (due["due_on"], due["status"]) == ("2023-04-30", status)
    assert answer["loading"]["verdict"] == verdict


# --- poison by inhalation ---------------------------------------------------------------------

OLD, NEWER = "2020-12-31", "2027-12-31"
PIH = {"hazard_class": "2.3", "un": "UN1017", "poison_by_inhalation": True}
NORMALIZED = {"normalized_steel": True}


@pytest.mark.parametrize(
    ("specification", "tank", "last_day"),
    [
        # Non-normalized steel: barred after December 31, 2020, whatever else the car is.
        ("DOT 105J500W", {"normalized_steel": False}, OLD),
        ("DOT 105H600W", {"normalized_steel": False}, OLD),
        ("DOT 105J600I", {"normalized_steel": False}, OLD),
        ("DOT 105J500W", {"normalized_steel": False, "built_to": "PIH-2009"}, OLD),
        ("DOT 111A100W1", {"normalized_steel": False}, OLD),
        # Normalized, but not to the 2009 standard.
        ("DOT 105J500W", NORMALIZED, NEWER),
        ("DOT 105A300W", NORMALIZED, NEWER),
        ("DOT 105J500W", {**NORMALIZED, "built_to": "CPC-1232"}, NEWER),
        # To the 2009 standard: delimiter H, weld letter I (179.22(e)), or stated so.
        ("DOT 105H600W", NORMALIZED, None),
        ("DOT 112H500W", NORMALIZED, None),
        ("DOT 105J600I", NORMALIZED, None),
        ("DOT 105J500W", {**NORMALIZED, "built_to": "PIH-2009"}, None),
    ],
)
def test_a_car_for_what_is_poisonous_by_inhalation_has_a_last_day_by_its_steel_and_standard(
    specification, tank, last_day
):
    due = end(specification, tank, **PIH)
    assert due["due_on"] == due["calculated_due_on"] == last_day
    if last_day is None:
        assert due["status"] == "not_required"
    else:
        assert "85 FR 75680" in citations(due["reasons"])


@pytest.mark.parametrize(
    ("as_of", "status"),
    [("2027-12-31", "soon"), ("2028-01-01", "overdue"), ("2020-12-31", "in_date")],
)
def test_after_the_last_day_means_from_the_day_after_it(as_of, status):
    assert end("DOT 105J500W", NORMALIZED, as_of=as_of, **PIH)["status"] == status


@pytest.mark.parametrize(
    "specification", ["DOT 105J500W", "DOT 105H600W", "DOT 105J600I", "DOT 111A100W1"]
)
def test_a_steel_that_nobody_knows_makes_it_unknown(specification):
    asked = ask(specification=specification, tank={}, service=PIH)
    answer = due_dates(asked)
    due = item(answer, "service_end")
    assert (due["status"], due["due_on"]) == ("unknown", None)
    assert "normalized" in texts(answer["warnings"])


@pytest.mark.parametrize(
    ("poison", "hazard_class", "means"),
    [
        (True, "9", "yes"),  # stated
        (True, None, "yes"),
        (False, "2.3", "no"),  # stated
        (False, None, "no"),
        (False, "6.1", "no"),
        # Not stated: by class.
        (None, "2.3", "yes"),
        (None, "Division 2.3", "yes"),
        (None, "2.3 (8)", "yes"),
        (None, "6.1", "not known"),
        (None, "Division 6.1", "not known"),
        (None, "6.1 (3)", "not known"),
        (None, None, "not known"),
        (None, "", "not known"),
        (None, "  ", "not known"),
        (None, "8", "no"),
        (None, "8 (6.1)", "no"),  # its primary class
        (None, "2.1", "no"),
        (None, "2.2", "no"),
        (None, "3", "no"),
        (None, "9", "no"),
    ],
)
def test_poisonous_by_inhalation_is_as_stated_and_else_by_class(poison, hazard_class, means):
    # Class 105, so no flammable liquid counts; non-normalized steel tells yes from no.
    due = end(
        "DOT 105J500W",
        {"normalized_steel": False},
        hazard_class=hazard_class,
        poison_by_inhalation=poison,
    )
    expected = {"yes": OLD, "no": None, "not known": None}[means]
    assert due["due_on"] == expected
    assert (due["status"] == "unknown") is (means == "not known")
    assert (due["status"] == "not_required") is (means == "no")


def test_a_poison_that_is_not_known_is_unknown_though_another_ban_has_its_day():
    due = end(hazard_class="3", un=ETHANOL, poison_by_inhalation=True)
    assert due["status"] == "unknown"
    assert end(hazard_class="3", un=ETHANOL)["due_on"] == "2023-04-30"


@pytest.mark.parametrize(
    ("un", "normalized", "last_day"),
    [
        (CRUDE, True, "2017-12-31"),  # the flammable liquid's day is the earlier
        (ETHANOL, False, OLD),  # the steel's day is
        (ETHANOL, True, "2023-04-30"),
        ("UN1993", True, NEWER),  # packing group II: 2029, so the standard's day is
    ],
)
def test_of_two_bans_the_earliest_counts(un, normalized, last_day):
    due = end(
        tank={"normalized_steel": normalized, "jacketed": False},
        hazard_class="3 (6.1)",
        un=un,
        packing_group="II",
        poison_by_inhalation=True,
    )
    assert due["due_on"] == last_day


@pytest.mark.parametrize("precision", ["month_end", "year_end"])
def test_no_setting_moves_a_last_day(precision):
    service = {"hazard_class": "3", "un": ETHANOL}
    asked = ask(service=service, settings={"due_precision": precision})
    assert item(due_dates(asked), "service_end")["due_on"] == "2023-04-30"


@pytest.mark.parametrize(
    ("specification", "has"),
    [("DOT 106A500X", False), ("DOT 113A60W", False), ("DOT 107A3000", False), ("DOT 103W", True)],
)
def test_only_fusion_welded_cars_have_a_last_day(specification, has):
    answer = due_dates(ask(specification=specification))
    assert any(due["item"] == "service_end" for due in answer["items"]) is has
