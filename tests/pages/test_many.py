"""One inspection for many cars on a page: which are known, all or nothing, what moved."""

from datetime import date

import pytest
from sqlalchemy import func, select

from app.actions import cars
from app.actions.changes import NewName
from app.store.tables import EventRow
from tests.pages.car_cast import acid_car, plain_car
from tests.pages.test_car import text
from tests.store.cast import stamp

INSPECTION = {
    "happened_on": "2026-11-02", "items": ["visual"], "outcome": "pass", "facility": "Shop B",
    "form_key": "k1", "names": "ZQKX 104512\n zqkx-0104513 \n\n",
}  # fmt: skip


@pytest.fixture
def fleet(record) -> tuple[int, int]:
    return record(lambda db: (acid_car(db), plain_car(db)))


def count(record) -> int:
    return record(lambda db: db.scalar(select(func.count()).select_from(EventRow)))


def test_all_are_recorded_and_the_answer_lists_what_moved(client, fleet, record):
    before = count(record)
    answer = client.post("/record", data=INSPECTION)
    assert answer.status_code == 200
    read = text(answer)
    assert "Recorded for 2 cars" in read
    assert "ZQKX 104512 Visual inspection 2028-03-15 in date 2036-11-02 in date" in read
    assert "ZQKX 104513 Visual inspection 2031-06-01 in date 2036-11-02 in date" in read
    assert count(record) == before + 2


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"names": ""}, "No car is chosen"),
        ({"names": "ZQKX 104512\nZQKX 999"}, "ZQKX 999 is not in the register."),
        ({"names": "ZQKX 104512\nrubbish"}, "Found 'rubbish'; want mark and number such as ZQKX 104512."),
        ({"items": []}, "Nothing is ticked"),
        ({"happened_on": "2027-01-01"}, "lies in the future"),
        ({"happened_on": "2018-03-15"}, "lies before the car was built on 2021-06-01"),
    ],
)  # fmt: skip
def test_one_wrong_line_or_field_and_nothing_is_recorded(client, fleet, record, changes, said):
    before = count(record)
    answer = client.post("/record", data=INSPECTION | changes)
    assert answer.status_code == 422
    assert said in text(answer)
    assert 'value="Shop B"' in answer.text
    assert count(record) == before


def test_a_fault_that_not_all_cars_have_names_those_that_have_it(client, fleet, record):
    answer = client.post("/record", data=INSPECTION | {"happened_on": "2018-03-15"})
    assert "ZQKX 104513: 2018-03-15 lies before the car was built on 2021-06-01" in text(answer)
    answer = client.post("/record", data=INSPECTION | {"happened_on": "2000-01-01"})
    said = text(answer)
    assert "ZQKX 104512: 2000-01-01 lies before the car was built on 2008-03-01" in said
    assert "ZQKX 104513: 2000-01-01 lies before the car was built on 2021-06-01" in said


def test_a_fault_of_the_form_names_no_car(client, fleet, record):
    said = text(client.post("/record", data=INSPECTION | {"happened_on": "2027-01-01"}))
    assert "2027-01-01 lies in the future" in said
    assert "ZQKX 104512: 2027" not in said


def test_the_list_can_be_checked_before_anything_is_recorded(client, fleet, record):
    before = count(record)
    typed = {"names": "ZQKX 104512\nZQKX 1", "check": "names", "facility": "Shop B"}
    answer = client.post("/record", data=typed)
    assert answer.status_code == 200
    assert "1 car known, 1 not" in text(answer)
    assert 'value="Shop B"' in answer.text
    assert count(record) == before


def test_the_cars_of_a_register_filter_can_be_chosen(client, fleet, record):
    form = client.get("/record", params={"q": "ZQKX 104513"})
    assert "1 car by the filter" in text(form)
    answer = client.post("/record?q=ZQKX+104513", data=INSPECTION | {"names": ""})
    assert "Recorded for 1 car" in text(answer)


def test_a_wrong_filter_is_told(client, fleet):
    assert client.get("/record", params={"owner": "99"}).status_code == 422


def test_a_form_sent_twice_is_recorded_once(client, fleet, record):
    before = count(record)
    for _ in range(2):
        assert client.post("/record", data=INSPECTION).status_code == 200
    assert count(record) == before + 2


def test_the_form_come_back_to_and_sent_for_other_cars_records_all_of_them(client, fleet, record):
    before = count(record)
    client.post("/record", data=INSPECTION | {"names": "ZQKX 104512"})
    other = INSPECTION | {"happened_on": "2026-11-05"}
    for _ in range(2):
        answer = client.post("/record", data=other)
        assert "Recorded for 2 cars" in text(answer)
        assert count(record) == before + 3
    days = record(lambda db: sorted(str(day) for day in db.scalars(select(EventRow.happened_on))))
    assert days[-3:] == ["2026-11-02", "2026-11-05", "2026-11-05"]


def test_a_list_come_back_to_and_made_longer_adds_only_the_new_car(client, fleet, record):
    before = count(record)
    client.post("/record", data=INSPECTION | {"names": "ZQKX 104512"})
    assert "Recorded for 2 cars" in text(client.post("/record", data=INSPECTION))
    assert count(record) == before + 2


def test_a_name_means_the_car_that_bore_it_on_the_day(client, fleet, record):
    renamed = NewName("ZQAX", 7, date(2024, 1, 1))
    record(lambda db: cars.re_mark(db, fleet[0], renamed, stamp()))
    then = INSPECTION | {"names": "ZQKX 104512", "happened_on": "2023-11-02"}
    assert "ZQAX 7 Visual inspection" in text(client.post("/record", data=then))
    since = INSPECTION | {"names": "ZQKX 104512", "happened_on": "2024-11-02"}
    answer = client.post("/record", data=since)
    assert answer.status_code == 422
    assert "ZQKX 104512 is not in the register." in text(answer)
