"""Each car of the tour shows what its note says, as the register holds it after `app demo`.

The due items come from the stored rows that lists read, the rest from the calculator's whole answer
to the same record. Rules: 49 CFR 180.509, 180.515, 180.519, 179.15, 2019 edition; 173.31, 173.319,
parts 215, 224 and 232, 2015 edition; last days for a lading as the built-in rulebook cites them.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.access.reach import EVERYTHING
from app.actions import rulebooks
from app.actions.car_checks import Checks, checks
from app.core.facts import Answer, Due
from app.core.status import state_on
from app.core.stencil import decode
from app.core.test_pressure import pressure_needed
from app.core.trend import trends
from app.rules.reader import default_rulebook
from app.store import cars, components, due, due_counts, events, facts, ladings
from app.store.asked import Standpoint
from app.store.db import make_engine, sessions
from app.store.tables import Car, EventRow
from seed_demo.demo_files import tour
from seed_demo.shapes import TOUR_MARK, Days


@pytest.fixture(scope="module")
def demo(demo_template: Path) -> Iterator[Session]:
    engine = make_engine(f"sqlite:///{demo_template}")
    with sessions(engine)(info={"reach": EVERYTHING}) as session:
        yield session
    engine.dispose()


@pytest.fixture(scope="module")
def loaded_on(demo: Session) -> date:
    """The day it was loaded, should midnight pass while the tests run."""
    return demo.scalars(select(func.min(EventRow.recorded_at))).one().date()


def _car_id(demo: Session, number: int) -> int:
    """By the number that the car was brought in with."""
    found = cars.once_named(demo, TOUR_MARK, number)
    assert len(found) == 1
    return found[0].id


def _answer(demo: Session, number: int, day: date) -> Answer:
    car_id = _car_id(demo, number)
    record = facts.load(demo, [car_id], day)[car_id]
    return rulebooks.in_force(demo).whole_answer(record, day).answer


def _checks(demo: Session, number: int, day: date) -> Checks:
    """What the car's page checks beside its dates."""
    car_id = _car_id(demo, number)
    record = facts.load(demo, [car_id], day)[car_id]
    return checks(demo, record, components.on_car(demo, car_id, day), Standpoint(day))


def _item(answer: Answer, name: str) -> Due:
    found = answer.item(name)
    assert found is not None
    return found


# number, item, status, and what the interval is (None: not looked at)
ITEMS = [
    (101, "visual", "in_date", 120),
    (102, "visual", "overdue", 120),
    (102, "relief_device", "overdue", 120),
    (103, "structural_integrity", "soon", 120),
    (104, "safety_systems", "soon", 120),  # the due day itself is still in date
    (105, "visual", "in_date", 120),  # from construction
    (106, "visual", "unknown", None),
    (107, "visual", "in_date", 120),
    (108, "visual", "in_date", 120),
    (109, "structural_integrity", "due_now", 120),
    (109, "visual", "in_date", 120),
    (110, "structural_integrity", "in_date", 120),
    (111, "visual", "due_now", 120),
    (111, "structural_integrity", "due_now", 120),
    (111, "thickness", "due_now", 120),
    (111, "safety_systems", "in_date", 120),
    (112, "visual", "due_now", 120),
    (112, "structural_integrity", "in_date", 120),  # the report opened the visual alone
    (113, "visual", "in_date", 120),
    (114, "visual", "overdue", 120),
    (115, "leakage", "due_now", None),  # a valve changed
    (116, "leakage", "unknown", None),  # service equipment qualified, no leak test
    (117, "service_equipment", "in_date", 60),
    (118, "service_equipment", "in_date", 120),
    (119, "visual", "due_now", 120),
    (120, "thickness", "in_date", 60),  # at line C, corrosive
    (121, "thickness", "in_date", 120),  # above it
    (122, "thickness", "in_date", 120),  # below it, not corrosive
    (123, "thickness", "in_date", 60),  # below it, assumed corrosive
    (129, "thickness", "overdue", 60),  # never measured
    (130, "thickness", "in_date", 60),  # required thickness not firm
    (131, "thickness", "in_date", 60),  # the owner's minimum
    (132, "thickness", "in_date", 60),  # the plate formula
    (133, "thickness", "in_date", 60),  # 3.1 mil a year
    (134, "thickness", "in_date", 120),  # 2.5 mil a year is not above it
    (135, "thickness", "in_date", 60),
    (137, "thickness", "in_date", 120),
    (138, "thickness", "in_date", 120),
    (140, "lining", "in_date", 72),
    (140, "thickness", "by_event", None),
    (141, "lining", "in_date", 96),
    (142, "lining", "in_date", 120),
    (143, "lining", "overdue", 96),
    (144, "lining", "unknown", None),
    (144, "thickness", "unknown", None),
    (145, "lining", "not_required", None),
    (146, "lining", "due_now", 84),
    (147, "visual", "due_now", 120),
    (147, "thickness", "due_now", None),
    (148, "thickness", "unknown", None),
    (149, "lining", "in_date", 84),
    (149, "thickness", "by_event", None),
    (150, "relief_device", "soon", 120),  # the older of two
    (153, "relief_device", "unknown", None),
    (154, "relief_device", "unknown", None),
    (156, "relief_device", "in_date", 60),
    (158, "relief_device", "in_date", 120),
    (160, "visual", "in_date", 120),
    (163, "visual", "in_date", None),
    (163, "safety_systems", "unknown", None),
    (164, "structural_integrity", "in_date", 144),
    (165, "visual", "in_date", 120),
    (166, "service_equipment", "in_date", 48),
    (171, "visual", "overdue", 120),
    (172, "visual", "overdue", 120),
    (176, "thickness", "overdue", 60),  # the acid made line C matter
    (178, "visual", "soon", 120),  # as if the withdrawn event had never been
    (181, "tank_retest", "in_date", 60),
    (182, "rupture_disc", "soon", 12),
    (182, "relief_device", "in_date", 60),
    (183, "tank_retest", "unknown", None),
    (183, "relief_device", "unknown", None),
    (184, "relief_device", "in_date", 60),  # fluorinated hydrocarbons only
    (185, "relief_device", "overdue", 24),  # the same valve, not stated
    (186, "rupture_disc", "overdue", 12),
    (187, "air_brake", "in_date", 96),  # never tested since built
    (188, "air_brake", "in_date", 96),  # not since the rebuild
    (189, "air_brake", "overdue", 60),
    (190, "reflective_sheeting", "soon", 120),
    (191, "reflective_sheeting", "by_event", None),
    (192, "reflective_sheeting", "due_now", None),  # not compared at the brake test
    (193, "reflective_sheeting", "unknown", None),
    (194, "age_limit", "soon", 600),
    (195, "service_end", "overdue", None),
    (196, "service_end", "overdue", None),
    (198, "service_end", "overdue", None),
    (200, "service_end", "unknown", None),  # whether the steel is normalized
    (201, "service_end", "not_required", None),
    (202, "service_end", "not_required", None),
    (208, "service_end", "not_required", None),
    (211, "directive", "soon", None),  # carried the valve on the day
    (212, "directive", "soon", None),  # carries it now
    (213, "directive", "soon", None),
    (214, "directive", "soon", None),
]  # fmt: skip


@pytest.mark.parametrize(("number", "item", "status", "months"), ITEMS)
def test_a_tour_car_has_the_due_item_that_it_shows(demo, loaded_on, number, item, status, months):
    rows = {row.item: row for row in due.for_car(demo, _car_id(demo, number), loaded_on)}

    assert rows[item].status == status
    assert months is None or rows[item].interval_months == months


# number, the last day of service for the lading
LAST_DAYS = [
    (195, date(2017, 12, 31)),  # crude oil, class 111 without a jacket; from memory
    (196, date(2025, 4, 30)),  # ethanol, CPC-1232 with a jacket
    (197, date(2029, 4, 30)),  # packing group III; from memory
    (198, date(2020, 12, 31)),  # poison by inhalation, steel not normalized
    (199, date(2027, 12, 31)),  # normalized, not to the 2009 standard
]


@pytest.mark.parametrize(("number", "last"), LAST_DAYS)
def test_a_tour_car_has_the_last_day_that_it_shows(demo, loaded_on, number, last):
    assert _item(_answer(demo, number, loaded_on), "service_end").due_on == last


def test_ton_tanks_have_until_the_end_of_the_calendar_year(demo, loaded_on):
    year = (loaded_on - relativedelta(months=40)).year

    tested = _item(_answer(demo, 181, loaded_on), "tank_retest")
    valves = [_item(_answer(demo, number, loaded_on), "relief_device") for number in (184, 185)]

    assert tested.due_on == date(year + 5, 12, 31)
    assert [valve.due_on for valve in valves] == [date(year + 5, 12, 31), date(year + 2, 12, 31)]


THICKNESS = [
    (120, "at_or_below_c"),  # exactly at C
    (121, "above_c"),
    (124, "at_or_below_c"),  # exactly at D
    (125, "condemned"),
    (126, "at_or_below_c"),  # the same as a local spot
    (127, "condemned"),  # a local spot too wide
    (128, "at_or_below_c"),  # exactly at E
    (129, "not_measured"),
    (135, "at_or_below_c"),  # the spot check
    (136, "unknown"),
    (138, "above_c"),
    (177, "above_c"),  # as corrected
]


@pytest.mark.parametrize(("number", "verdict"), THICKNESS)
def test_a_tour_car_has_the_verdict_on_its_bottom_that_it_shows(demo, loaded_on, number, verdict):
    zones = {zone.zone: zone for zone in _answer(demo, number, loaded_on).thickness}

    assert zones["shell_bottom"].verdict == verdict


def test_the_worn_car_comes_to_line_c_in_some_years_at_about_two_mil_a_year(demo, loaded_on):
    found = trends(_answer(demo, 138, loaded_on), default_rulebook())
    bottom = next(each for each in found if each.zone.zone == "shell_bottom")
    assert 1.9 < -1000 * bottom.rate.a_year < 2.3
    assert all(loaded_on < line.earliest < line.on for line in bottom.reaching)


LOADING = [
    (101, "may_load"),
    (102, "may_not_load"),  # overdue
    (104, "may_load"),  # on the due day
    (106, "check"),  # unknown
    (109, "may_not_load"),  # failed
    (114, "may_load"),  # overdue, not hazardous
    (115, "may_not_load"),  # a leak test is owed
    (116, "check"),  # leakage unknown
    (125, "may_not_load"),  # condemned, not hazardous
    (136, "check"),  # thickness cannot be judged
    (153, "check"),  # relief device unknown
    (162, "check"),  # an old stencil, past, still on the car
    (176, "may_not_load"),
    (177, "may_load"),
    (183, "check"),  # seamless: unknown
    (185, "may_not_load"),  # the valve of a ton tank overdue
    (186, "may_not_load"),  # rupture disc overdue
    (189, "may_load"),  # air brakes overdue: a mechanical item
    (192, "may_load"),  # sheeting due now: a mechanical item
    (195, "may_not_load"),  # past its last day
    (196, "may_not_load"),
    (198, "may_not_load"),
    (200, "check"),
    (201, "may_load"),
]


@pytest.mark.parametrize(("number", "verdict"), LOADING)
def test_a_tour_car_may_be_loaded_or_not(demo, loaded_on, number, verdict):
    assert _answer(demo, number, loaded_on).loading.verdict == verdict


# what each date is counted from: months back from the day of loading
BASES = [
    (110, "structural_integrity", 12),  # the pass after the failure
    (151, "relief_device", 46),  # 180.515(c): the installation
    (152, "relief_device", 50),  # eight months: the test
    (155, "relief_device", 50),  # not protected: the test
    (157, "relief_device", 50),  # a disc: the test
    (158, "relief_device", 2),  # the new valve
]


@pytest.mark.parametrize(("number", "item", "months"), BASES)
def test_a_tour_car_counts_from_the_right_day(demo, loaded_on, number, item, months):
    found = _item(_answer(demo, number, loaded_on), item)

    assert found.basis_on == loaded_on - relativedelta(months=months)


# a word of the warning that each of these carries
WARNED = [(133, "stated"), (161, "stencil"), (162, "still shows")]


@pytest.mark.parametrize(("number", "word"), WARNED)
def test_a_tour_car_carries_a_warning(demo, loaded_on, number, word):
    said = " ".join(warning.text for warning in _answer(demo, number, loaded_on).warnings)

    assert word in said


# number, a phrase of what the car's page says does not fit its stencil (part 179)
CONTRADICTED = [
    (144, "no lining is recorded"),
    (206, "one is recorded on the car"),  # a bottom outlet on W2
    (207, "not insulated"),  # class 105
    (208, "105H600W"),
]


@pytest.mark.parametrize(("number", "phrase"), CONTRADICTED)
def test_a_tour_car_does_not_fit_its_stencil(demo, loaded_on, number, phrase):
    [told] = _checks(demo, number, loaded_on).contradictions

    assert phrase in told.text


# number, the pressures of its valve that lie outside what is allowed (179.15)
OUTSIDE = [
    (203, {"set"}),  # 60, at least 75
    (204, {"found", "left"}),  # 84 and 82, within 3 of 75
    (205, {"found"}),  # 69; left at 75.5
]


@pytest.mark.parametrize(("number", "outside"), OUTSIDE)
def test_a_tour_car_has_a_relief_device_outside_its_range(demo, loaded_on, number, outside):
    [device] = _checks(demo, number, loaded_on).devices

    assert {each.measure for each in device.judged if each.verdict == "outside"} == outside


# 173.31(c): 133 % of 187 psig at 105 F and 4 of static head is 254.03; number, marked, verdict
PRESSURES = [(209, 200, "short"), (210, 340, "enough")]


@pytest.mark.parametrize(("number", "marked", "verdict"), PRESSURES)
def test_a_tour_car_carries_what_asks_for_a_test_pressure(demo, loaded_on, number, marked, verdict):
    needed = _checks(demo, number, loaded_on).pressure

    assert needed is not None
    assert (needed.marked_psig, needed.verdict) == (marked, verdict)
    assert any(round(float(term.psig), 2) == 254.03 for term in needed.terms)


# number, item, a phrase of its reasons
EXPLAINED = [
    (101, "thickness", "Shell and heads read above line C in all zones, so 120 months"),
    (107, "visual", "only its month is known, and the first day of it counts"),
    (116, "leakage", "No passing leakage test is known"),
    (121, "thickness", "Shell and heads read above line C in all zones, so 120 months"),
    (129, "thickness", "Shell top, shell bottom, A-end head and B-end head were never measured"),
    (133, "thickness", "this one 3.1 mil a year, beside 2.5"),
    (134, "thickness", "Its corrosion rate, 2.5 mil a year, is not above 2.5"),
    (135, "thickness", "has readings of shell bottom alone"),
    (144, "lining", "neither the day the lining was applied nor a passing lining inspection is known"),
    (145, "lining", "If it were asked for: "),
    (150, "relief_device", "when it was tested and installed"),
    (187, "air_brake", "when the car was built"),
    (188, "air_brake", "when the car was rebuilt"),
    (197, "service_end", "may not carry class 3 liquids of packing groups II and III (crude oil and ethanol apart) on"),
    (198, "service_end", "from industry summaries of 2020; the rule text was not seen"),
    (200, "service_end", "Whether the tank is of normalized steel is not known"),
]  # fmt: skip


@pytest.mark.parametrize(("number", "item", "phrase"), EXPLAINED)
def test_a_tour_car_explains_what_it_shows(demo, loaded_on, number, item, phrase):
    told = [reason.text for reason in _item(_answer(demo, number, loaded_on), item).reasons]

    assert any(phrase in each for each in told), told


def test_what_is_said_of_tour_cars_are_whole_sentences(demo, loaded_on):
    answers = [_answer(demo, car.number, loaded_on) for car in tour(loaded_on)]
    told = {reason.text for answer in answers for due in answer.items for reason in due.reasons}
    told |= {
        each.text for answer in answers for each in (*answer.warnings, *answer.loading.reasons)
    }

    assert [each for each in told if each[0].islower()] == []
    assert [each for each in told if each.endswith((" and", ","))] == []


def test_a_trial_with_the_invented_lading_asks_for_more_than_some_cars_are_marked(demo, loaded_on):
    listed = ladings.by_name(demo, "Example light hydrocarbon (invented)")
    assert listed is not None
    service, book = ladings.service_listed(listed), rulebooks.in_force(demo).everyone.rulebook
    verdicts = {}
    for number in (101, 209):
        key = _car_id(demo, number)
        car = replace(facts.load(demo, [key], loaded_on)[key].car, service=service)
        needed = pressure_needed(decode(car.specification, book.stencils), car, book)
        assert needed is not None
        verdicts[number] = float(needed.needed_psig), needed.verdict

    # 173.31(c): 133 % of 160 + 4, and of 139 + 4 in an insulated car, which is marked 200
    assert verdicts[101] == (pytest.approx(218.12), "short")
    assert verdicts[209][0] == 200


def test_a_stencil_controls_and_one_that_is_too_late_does_not(demo, loaded_on):
    early, late = (_item(_answer(demo, number, loaded_on), "visual") for number in (160, 161))

    assert early.due_on < early.calculated_due_on
    assert late.due_on == late.calculated_due_on


@pytest.mark.parametrize(
    ("number", "standing"),
    [
        (170, "sold"),
        (171, "scrapped"),
        (172, "stored"),
        (173, "out_of_service"),
        (101, "in_service"),
    ],
)
def test_cars_stand_as_their_notes_say(demo, number, standing):
    assert cars.car_or_raise(demo, _car_id(demo, number)).standing == standing


def test_cars_out_of_service_are_on_no_due_list(demo, loaded_on):
    listed = due.each(demo, due.DueFilter(loaded_on))

    assert not {170, 171, 172, 173} & {row.number for row in listed if row.mark == TOUR_MARK}


def test_the_re_marked_car_is_found_by_its_old_and_its_new_number(demo):
    car = cars.by_name(demo, TOUR_MARK, 974)

    assert car is not None
    assert car.id == _car_id(demo, 174)
    assert cars.by_name(demo, TOUR_MARK, 174) is None


def test_the_converted_car_keeps_its_former_specification_in_its_history(demo):
    car_id = _car_id(demo, 175)
    held = [each.row.specification for each in cars.histories(demo, car_id).constructions]

    assert cars.car_or_raise(demo, car_id).specification == "DOT 112J340W"
    assert "DOT 112A340W" in held


@pytest.mark.parametrize("number", [177, 178])
def test_what_was_corrected_or_withdrawn_stays_visible(demo, number):
    history = events.history(demo, _car_id(demo, number))

    assert any(shown.row.superseded_at for shown in history)


def test_every_tour_car_tells_what_it_shows_in_its_history(demo, loaded_on):
    for car in tour(loaded_on):
        notes = [shown.row.notes for shown in events.history(demo, _car_id(demo, car.number))]
        assert f"Tour: {car.shows}" in notes


def test_a_car_on_hold_may_not_be_loaded_though_all_of_it_is_in_date(demo, loaded_on):
    held_on = Days(loaded_on).day(0, 3)
    assert _answer(demo, 179, held_on - relativedelta(days=1)).loading.verdict == "may_load"
    told = _answer(demo, 179, held_on).loading
    assert told.verdict == "may_not_load"
    assert told.reasons[0].text.startswith(f"On hold since {held_on}: The bottom outlet weeps")


def test_all_statuses_are_in_the_lists_of_cars_in_service(demo, loaded_on):
    totals = due_counts.totals(demo, due.DueFilter(loaded_on))

    assert {status: count for status, count in totals.items() if not count} == {}
    assert totals["in_date"] > totals["soon"] > totals["overdue"] > totals["due_now"]


def test_of_the_cars_that_are_not_made_by_hand_most_may_be_loaded(demo, loaded_on):
    programme, verdicts = rulebooks.in_force(demo), []
    numbered = demo.scalars(select(Car.id).where(Car.mark != TOUR_MARK))
    for record in facts.load(demo, numbered.all(), loaded_on).values():
        answer = programme.whole_answer(record, loaded_on).answer
        # Last days are days of the calendar and come nearer; all else is counted back from the loading.
        last = _item(answer, "service_end")
        if state_on(last.state, last.due_on, loaded_on, 0) != "overdue":
            verdicts.append(answer.loading.verdict)

    shares = {verdict: verdicts.count(verdict) / len(verdicts) for verdict in set(verdicts)}
    assert 0.90 < shares["may_load"] < 0.98
    assert 0.02 < shares["may_not_load"] < 0.08
    assert shares.get("check", 0) < 0.03


def test_little_of_the_fleet_is_overdue_and_hardly_anything_unknown(demo, loaded_on):
    totals = due_counts.totals(demo, due.DueFilter(loaded_on))
    every = sum(totals.values())

    assert totals["unknown"] < every / 200
    assert totals["overdue"] + totals["due_now"] < every / 20
