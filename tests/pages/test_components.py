"""Components on pages: put on, swapped, taken off, mended; several relief devices each by itself."""

import pytest
from sqlalchemy import func, select

from app.store.tables import Installation
from tests.pages.car_cast import acid_car, with_valves
from tests.pages.test_car import text

VALVE = {
    "kind": "relief_valve", "position": "top", "maker": "Orlo Valve", "model": "R3",
    "serial": "RV-90", "installed_on": "2026-10-01", "is_change": "yes", "set_psig": "75",
    "tested_on": "2026-09-01", "protected_in_storage": "yes", "recorded_by": "Ada Vale",
}  # fmt: skip


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


@pytest.fixture
def valves(acid, record) -> list[int]:
    return record(lambda db: with_valves(db, acid))


def count(record) -> int:
    return record(lambda db: db.scalar(select(func.count()).select_from(Installation)))


def test_installing_a_tested_relief_valve_moves_its_date(client, acid):
    answer = client.post(f"/cars/{acid}/components", data=VALVE)
    assert answer.status_code == 200
    # Put on within six months of its test and protected until then: it counts from the day it was
    # put on (49 CFR 180.509(k), 2019 edition).
    assert "2036-10-01 in date" in text(answer)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"kind": ""}, "Nothing was entered; this is needed."),
        ({"kind": "engine"}, "Found 'engine'; want a kind of component"),
        ({"installed_on": "2027-01-01"}, "lies in the future"),
        ({"installed_on": "2026-10"}, "a month is not enough"),  # as a change of that day
        ({"installed_on": "someday"}, "want a date as YYYY-MM-DD, or a month"),
        ({"set_psig": "0"}, "above 0"),
        ({"tested_on": "2026-13-01"}, "no such day"),
        ({"interval_months": "0", "owner_interval_months": "0"}, "1 to 1200"),
    ],
)
def test_each_wrong_field_is_told_and_nothing_is_lost(client, acid, record, changes, said):
    answer = client.post(f"/cars/{acid}/components", data=VALVE | changes)
    assert answer.status_code == 422
    assert said in text(answer)
    assert 'value="RV-90"' in answer.text
    assert count(record) == 0


def test_a_component_on_another_car_is_not_put_on_twice(client, acid, record):
    client.post(f"/cars/{acid}/components", data=VALVE)
    other = record(lambda db: acid_car(db, 104600))
    answer = client.post(f"/cars/{other}/components", data=VALVE | {"installed_on": "2026-11-01"})
    assert answer.status_code == 422
    assert "is on ZQKX 104512" in text(answer)


def test_a_form_sent_twice_installs_once_and_says_so(client, acid, record):
    typed = VALVE | {"serial": ""}
    assert client.post(f"/cars/{acid}/components", data=typed).status_code == 200
    answer = client.post(f"/cars/{acid}/components", data=typed)
    assert answer.status_code == 422
    assert "Relief valve (top) is already on the car since 2026-10-01" in text(answer)
    assert 'value="Orlo Valve"' in answer.text
    assert count(record) == 1


def test_a_relief_device_in_a_place_that_is_taken_is_put_on_once_looked_at(client, acid, record):
    client.post(f"/cars/{acid}/components", data=VALVE)
    second = VALVE | {"serial": "RV-91"}
    asked = client.post(f"/cars/{acid}/components", data=second)
    assert asked.status_code == 422
    assert "Relief valve RV-90 is in this place since 2026-10-01" in text(asked)
    assert 'name="beside_another"' in asked.text
    assert 'value="RV-91"' in asked.text
    assert 'name="beside_another"' not in client.get(f"/cars/{acid}/components/new").text
    answer = client.post(f"/cars/{acid}/components", data=second | {"beside_another": "yes"})
    assert answer.status_code == 200
    assert count(record) == 2


def test_a_swap_takes_one_off_and_puts_the_other_in_its_place(client, acid, valves):
    form = client.get(f"/installations/{valves[1]}/swap")
    assert 'value="top, A end"' in form.text
    answer = client.post(
        f"/installations/{valves[1]}/swap", data=VALVE | {"position": "top, A end"}
    )
    assert answer.status_code == 200
    # The one first due is gone, so the other of 2022-05-02 comes first.
    assert "Relief device 2026-06-09 overdue 2032-05-02 in date" in text(answer)
    assert "taken off 2026-10-01" in text(client.get(f"/cars/{acid}"))


def test_taking_off_asks_for_the_day_and_keeps_the_history(client, acid, valves):
    address = f"/installations/{valves[2]}/remove"
    assert client.post(address, data={"is_change": "yes"}).status_code == 422
    answer = client.post(address, data={"removed_on": "2026-11-20", "is_change": "yes"})
    assert answer.status_code == 200
    assert "It is off the car." in text(answer)
    twice = client.post(address, data={"removed_on": "2026-11-21", "is_change": "yes"})
    assert twice.status_code == 422
    assert "was already taken off the car on 2026-11-20" in text(twice)


def test_taking_off_is_undone_and_the_dates_move_back(client, acid, valves):
    address = f"/installations/{valves[1]}/undo-removal"
    assert address not in client.get(f"/cars/{acid}").text
    refused = client.post(address, data={"reason": "It never came off."})
    assert refused.status_code == 422
    assert "not recorded as taken off" in text(refused)
    off = {"removed_on": "2026-11-20", "is_change": "no"}
    client.post(f"/installations/{valves[1]}/remove", data=off)
    assert address in client.get(f"/cars/{acid}").text
    form = client.get(address)
    assert "Undo taking a component off" in text(form)
    assert client.post(address, data={"reason": ""}).status_code == 422
    answer = client.post(address, data={"reason": "Another car was meant."})
    assert answer.status_code == 200
    # The one first due speaks for the car again.
    assert "Relief device 2032-05-02 in date 2026-06-09 overdue" in text(answer)
    assert address not in client.get(f"/cars/{acid}").text


def test_taking_off_before_it_was_put_on_is_refused(client, valves):
    typed = {"removed_on": "2020-01-01", "is_change": "no"}
    answer = client.post(f"/installations/{valves[2]}/remove", data=typed)
    assert answer.status_code == 422
    assert "lies before it was installed on 2022-06-01" in text(answer)
    assert 'value="2020-01-01"' in answer.text


def test_a_wrong_record_of_a_component_is_mended(client, acid, valves):
    form = client.get(f"/installations/{valves[1]}/correct")
    assert 'value="RV-12"' in form.text
    assert 'value="2016-06-09"' in form.text
    mended = VALVE | {"serial": "RV-12", "position": "top, A end", "tested_on": "2021-06-09"}
    mended |= {"installed_on": "2022-06-01"}
    answer = client.post(f"/installations/{valves[1]}/correct", data=mended)
    assert answer.status_code == 200
    # The test is more than six months before it was put on, so the test counts.
    assert "Relief device 2026-06-09 overdue 2031-06-09 in date" in text(answer)


def test_a_component_that_never_was_is_withdrawn(client, acid, valves):
    form = text(client.get(f"/installations/{valves[1]}/withdraw"))
    assert "that event stays and a leakage test stays due: withdraw it too" in form
    answer = client.post(f"/installations/{valves[1]}/withdraw", data={"reason": "Another car."})
    assert answer.status_code == 200
    assert "recorded wrongly" in text(client.get(f"/cars/{acid}"))


@pytest.mark.parametrize("address", ["/installations/99/swap", "/installations/1/paint"])
def test_what_there_is_not_is_told(client, address):
    assert client.get(address).status_code == 404
