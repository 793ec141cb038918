"""Units and dates as a person prefers them, on pages and forms; what is typed is kept as it was said."""

import re

import pytest
from sqlalchemy import select

from app.store.change_log import ENTRY
from app.store.people import Person
from app.store.tables import Installation, ReadingRow
from tests.pages.car_cast import acid_car
from tests.pages.test_car import text
from tests.pages.test_components import VALVE
from tests.pages.test_events import INSPECTION

METRIC = {"length": "mm", "pressure": "kPa", "days": "day_first"}


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


@pytest.fixture
def metric(client):
    assert client.post("/account/units", data=METRIC, follow_redirects=False).status_code == 303
    return client


def test_what_a_person_chose_is_kept_with_the_person_and_in_the_record_of_change(metric, record):
    page = metric.get("/account/units?saved=units").text
    assert "It was kept." in page
    assert re.search(r"Today</span> <time>\d+ [A-Z][a-z]{2} \d{4}</time>", page)
    held = record(lambda db: db.scalars(select(Person).where(Person.length_unit == "mm")).one())
    assert (held.pressure_unit, held.day_style) == ("kPa", "day_first")
    deeds = record(lambda db: [row.deed for row in db.execute(select(ENTRY))])
    assert "person.preferred" in deeds


def test_what_is_no_unit_is_told_and_nothing_is_kept(client, record):
    answer = client.post("/account/units", data=METRIC | {"length": "ell"})
    assert answer.status_code == 422
    assert "'ell' is not known; want one of in, mm." in text(answer)
    assert record(lambda db: db.scalars(select(Person.length_unit)).all()) == ["in"]


def test_a_car_is_shown_in_the_units_and_dates_of_whoever_looks(client, acid):
    before = text(client.get(f"/cars/{acid}"))
    client.post("/account/units", data=METRIC)
    after = text(client.get(f"/cars/{acid}"))
    assert "The same in figures, inches" in before
    assert "The same in figures, millimetres" in after
    assert "11.1125" in after  # 7/16 in, exactly
    assert "11.1125" not in before
    assert "2028-03-15" in before
    assert "2028-03-15" not in after
    assert "15 Mar 2028" in after


def test_a_file_keeps_the_units_and_dates_that_its_columns_name(client, acid):
    before = client.get("/due.csv").text
    client.post("/account/units", data=METRIC)
    assert client.get("/due.csv").text == before


def test_a_form_takes_a_number_in_the_unit_that_it_shows(metric, acid, record):
    page = metric.get(f"/cars/{acid}/events/new").text
    assert 'name="length_unit" value="mm"' in page
    assert "Millimetres" in page
    said = INSPECTION | {"length_unit": "mm", "readings.0.inches": "11.1"}
    assert metric.post(f"/cars/{acid}/events", data=said).status_code == 200
    row = record(lambda db: db.scalars(select(ReadingRow).where(ReadingRow.event_id == 2)).one())
    assert row.stated == "inches=11.1 mm"
    # Whatever anybody prefers by then, the form says the unit beside the number.
    assert 'value="11.1 mm"' in metric.get("/events/2/correct").text
    metric.post("/account/units", data=METRIC | {"length": "in"})
    page = metric.get("/events/2/correct").text
    assert 'value="11.1 mm"' in page
    assert "≈ 0.437 in" in text(metric.get(f"/cars/{acid}"))


@pytest.mark.parametrize(
    ("typed", "unit", "kept"),
    [
        ("0.41", "", None),  # a form of before, or of a program
        ("0.41", "in", None),
        ("10.3 mm", "in", "inches=10.3 mm"),
        ("10.3mm", "in", "inches=10.3 mm"),
        ("0.41 in", "mm", None),
        ("10.3", "mm", "inches=10.3 mm"),
    ],
)
def test_a_unit_that_is_typed_goes_before_that_of_the_form(client, acid, record, typed, unit, kept):
    said = INSPECTION | {"length_unit": unit, "readings.0.inches": typed}
    assert client.post(f"/cars/{acid}/events", data=said).status_code == 200
    row = record(lambda db: db.scalars(select(ReadingRow).where(ReadingRow.event_id == 2)).one())
    assert row.stated == kept


def test_a_number_of_the_other_unit_is_asked_about(metric, acid):
    said = INSPECTION | {"length_unit": "mm", "readings.0.inches": "0.41"}
    answer = metric.post(f"/cars/{acid}/events", data=said)
    assert answer.status_code == 422
    assert "0.41 mm is 0.016141 in: is the point where it belongs?" in text(answer)


def test_a_pressure_in_kilopascals_comes_back_as_it_was_typed(metric, acid, record):
    assert "Start to discharge, kPa" in metric.get(f"/cars/{acid}/components/new").text
    said = VALVE | {"pressure_unit": "kPa", "set_psig": "520", "left_psig": "525"}
    assert metric.post(f"/cars/{acid}/components", data=said).status_code == 200
    row = record(lambda db: db.scalars(select(Installation)).one())
    assert row.stated == "set_psig=520 kPa; left_psig=525 kPa"
    assert 'value="520 kPa"' in metric.get(f"/installations/{row.id}/correct").text
    assert "520 kPa" in text(metric.get(f"/cars/{acid}"))


def test_a_tablet_is_told_what_its_person_prefers(metric):
    told = metric.get("/api/v1/field/who").json()["prefers"]
    assert told == METRIC
