"""Each car of the tour shows what its note says, as the register holds it after `app demo`.

The due items come from the stored rows that lists read, the rest from the calculator's whole answer
to the same record. Rules: 49 CFR 180.509, 180.515, 2019 edition.
"""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.core.due import due_dates
from app.core.facts import Answer, Due
from app.rules.reader import default_rulebook
from app.store import cars, due, events, facts
from app.store.db import make_engine, sessions
from app.store.tables import EventRow
from seed_demo.demo_files import tour
from seed_demo.shapes import TOUR_MARK


@pytest.fixture(scope="module")
def demo(demo_template: Path) -> Iterator[Session]:
    engine = make_engine(f"sqlite:///{demo_template}")
    with sessions(engine)() as session:
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
    return due_dates(facts.load(demo, [car_id], day)[car_id].facts(day), default_rulebook())


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
]  # fmt: skip


@pytest.mark.parametrize(("number", "item", "status", "months"), ITEMS)
def test_a_tour_car_has_the_due_item_that_it_shows(demo, loaded_on, number, item, status, months):
    rows = {row.item: row for row in due.for_car(demo, _car_id(demo, number), loaded_on)}

    assert rows[item].status == status
    assert months is None or rows[item].interval_months == months


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
    (177, "above_c"),  # as corrected
]


@pytest.mark.parametrize(("number", "verdict"), THICKNESS)
def test_a_tour_car_has_the_verdict_on_its_bottom_that_it_shows(demo, loaded_on, number, verdict):
    zones = {zone.zone: zone for zone in _answer(demo, number, loaded_on).thickness}

    assert zones["shell_bottom"].verdict == verdict


LOADING = [
    (101, "may_load"),
    (102, "may_not_load"),  # overdue
    (104, "may_load"),  # on the due day
    (106, "check"),  # unknown
    (109, "may_not_load"),  # failed
    (114, "may_load"),  # overdue, not hazardous
    (125, "may_not_load"),  # condemned, not hazardous
    (136, "check"),  # thickness cannot be judged
    (153, "check"),  # relief device unknown
    (162, "check"),  # an old stencil, past, still on the car
    (176, "may_not_load"),
    (177, "may_load"),
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


def test_all_statuses_are_in_the_lists_of_cars_in_service(demo, loaded_on):
    totals = due.totals(demo, due.DueFilter(loaded_on))

    assert {status: count for status, count in totals.items() if not count} == {}
    assert totals["in_date"] > totals["soon"] > totals["overdue"] > totals["due_now"]
