"""Recording, correcting and withdrawing on pages, as a browser without JavaScript does it."""

import re

import pytest
from sqlalchemy import func, select

from app.store.tables import EventRow, ReadingRow, Withdrawal
from tests.pages.car_cast import acid_car
from tests.pages.reading import Page
from tests.pages.test_car import text

INSPECTION = {
    "happened_on": "2026-11-02", "items": ["visual", "thickness"], "outcome": "pass",
    "facility": "Shop B", "inspector": "L. Harrow", "reference": "B-9", "notes": "All fine.",
    "readings.0.zone": "shell_bottom", "readings.0.inches": "0.41", "readings.0.extent": "general",
    "form_key": "k1",
}  # fmt: skip


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


def count(record, table=EventRow) -> int:
    return record(lambda db: db.scalar(select(func.count()).select_from(table)))


def only_event(record) -> int:
    return record(lambda db: db.scalars(select(EventRow.id)).one())


def test_the_answer_to_a_recording_shows_what_moved_before_and_after(client, acid):
    answer = client.post(f"/cars/{acid}/events", data=INSPECTION)
    assert answer.status_code == 200
    read = text(answer)
    # 49 CFR 180.509(d) and (f)(2), 2019 edition: ten years, and five while a zone may be thin.
    assert "Visual inspection 2028-03-15 in date 2036-11-02 in date" in read
    assert "Thickness 2023-03-15 overdue" in read
    assert re.search(r"Thickness 2023-03-15 overdue 20(31|36)-11-02 in date", read)
    assert "Safety systems 2028" not in read  # it did not move
    assert 'href="/events/2/correct"' in answer.text


def test_a_form_sent_twice_is_recorded_once(client, acid, record):
    before = count(record)
    for _ in range(2):
        assert client.post(f"/cars/{acid}/events", data=INSPECTION).status_code == 200
    assert count(record) == before + 1


def test_the_form_come_back_to_and_filled_anew_is_a_record_of_its_own(client, acid, record):
    """A browser's Back shows the old form, its key with it."""
    before = count(record)
    client.post(f"/cars/{acid}/events", data=INSPECTION)
    other = INSPECTION | {"items": ["structural_integrity"], "happened_on": "2026-11-03"}
    for _ in range(2):  # that one sent twice is one record, too
        answer = client.post(f"/cars/{acid}/events", data=other)
        assert answer.status_code == 200
        assert "What happened on 2026-11-03 is on record." in text(answer)
        assert count(record) == before + 2
    assert "Structural integrity" in text(client.get(f"/cars/{acid}"))


def test_what_the_form_recorded_and_was_withdrawn_is_not_said_to_be_recorded(client, acid, record):
    client.post(f"/cars/{acid}/events", data=INSPECTION)
    client.post("/events/2/withdraw", data={"reason": "Another car."})
    answer = client.post(f"/cars/{acid}/events", data=INSPECTION)
    assert answer.status_code == 422
    assert "no longer counts" in text(answer)
    assert 'value="L. Harrow"' in answer.text
    [key] = re.findall(r'name="form_key" value="(\w+)"', answer.text)
    anew = client.post(f"/cars/{acid}/events", data=INSPECTION | {"form_key": key})
    assert "What happened on 2026-11-02 is on record." in text(anew)
    assert count(record) == 3


def test_a_correction_come_back_to_and_sent_with_other_words_is_refused_and_kept(
    client, acid, record
):
    wrong = only_event(record)
    right = INSPECTION | {"happened_on": "2019-03-15"}
    for _ in range(2):  # sent twice it is one correction
        assert client.post(f"/events/{wrong}/correct", data=right).status_code == 200
    late = right | {"happened_on": "2019-03-17", "inspector": "O. Quist"}
    answer = client.post(f"/events/{wrong}/correct", data=late)
    assert answer.status_code == 422
    assert 'href="/events/2/correct"' in answer.text
    assert 'value="O. Quist"' in answer.text
    assert count(record) == 2


@pytest.mark.parametrize(
    "address", ["/cars/1/events/new", "/events/1/correct", "/record", "/cars/new"]
)
def test_no_cache_keeps_a_form(client, acid, address):
    assert client.get(address).headers["Cache-Control"] == "no-store"


def test_the_same_inspection_on_another_form_is_refused_and_kept(client, acid, record):
    client.post(f"/cars/{acid}/events", data=INSPECTION)
    answer = client.post(f"/cars/{acid}/events", data=INSPECTION | {"form_key": "k2"})
    assert answer.status_code == 422
    said = "visual inspection, thickness on 2026-11-02 at Shop B is already recorded as event 2"
    assert said in text(answer)
    assert 'value="L. Harrow"' in answer.text


ODD = INSPECTION | {"readings.0.inches": "4.37"}


def test_an_unlikely_reading_is_asked_about_and_all_is_kept(client, acid, record):
    answer = client.post(f"/cars/{acid}/events", data=ODD)
    assert answer.status_code == 422
    read = text(answer)
    assert "4.37 in: did you mean 0.437?" in read
    assert "I looked again" in read
    for typed in ("4.37", "Shop B", "L. Harrow", "B-9", "2026-11-02"):
        assert f'value="{typed}"' in answer.text
    assert "All fine." in answer.text
    assert count(record) == 1


def test_an_unlikely_reading_that_was_confirmed_is_recorded(client, acid, record):
    answer = client.post(f"/cars/{acid}/events", data=ODD | {"confirmed": "yes"})
    assert answer.status_code == 200
    inches = record(lambda db: [str(each) for each in db.scalars(select(ReadingRow.inches))])
    assert "4.37" in inches


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"items": []}, "Nothing is ticked; want an inspection or a change."),
        ({"happened_on": ""}, "Nothing was entered; this is needed."),
        ({"happened_on": "2026-12-01"}, "lies in the future; today is 2026-11-25"),
        ({"happened_on": "2001-01-01"}, "lies before the car was built on 2008-03-01"),
        ({"happened_on": "1/2/2019"}, "this one may mean 2019-01-02 or 2019-02-01"),
        ({"happened_on": "2026-10", "outcome": "fail"}, "a month is not enough"),
        ({"happened_on": "2026-10", "items": ["visual", "damage"]}, "a month is not enough"),
        (
            {"opens": ["visual"]},
            "Only damage, fire damage, ordered inspection can say what must now be inspected",
        ),
        ({"items": ["age_limit"]}, "Nothing is ticked"),
        ({"readings.0.inches": "abc"}, "Found 'abc'; want a thickness such as"),
        ({"readings.0.zone": ""}, "No zone is chosen"),
        ({"readings.0.span_in": "wide"}, "Found 'wide'; want a span such as"),
        ({"readings.0.inches": "0"}, "above 0"),
    ],
)
def test_each_wrong_field_is_told_beside_it_and_nothing_is_recorded(
    client, acid, record, changes, said
):
    answer = client.post(f"/cars/{acid}/events", data=INSPECTION | changes)
    assert answer.status_code == 422
    assert said in text(answer)
    assert 'value="L. Harrow"' in answer.text
    assert count(record) == 1


@pytest.mark.parametrize(
    ("reading", "said"),
    [
        # Unlined DOT 111A100W1, bottom: C 0.40625, D 0.375, E 0.3125 (49 CFR 180.509(g), 2019 edition).
        ({"inches": "0.407"}, "above line C 0.00075 in above line C"),
        ({"inches": "13/32"}, "at or below line C At line C, 0.03125 in above line D"),
        ({"inches": "0.375"}, "at or below line C 0.03125 in below line C, at line D"),
        ({"inches": "0.374"}, "condemned 0.001 in below line D, condemned"),
        (
            {"inches": "0.374", "extent": "local", "span_in": "8", "apart_in": "16"},
            "at or below line C 0.03225 in below line C, 0.0615 in above line E",
        ),
        ({"inches": "0.374", "extent": "local", "span_in": "9", "apart_in": "16"}, "condemned"),
        ({"inches": "4.37"}, "did you mean 0.437"),
        ({"inches": "thin"}, "Found 'thin'"),
        ({"inches": "0.4", "zone": ""}, "Choose the zone."),
        ({"inches": "0.4", "zone": "sump"}, "judged by the owner"),
        ({"inches": ""}, ""),
    ],
)
def test_a_reading_is_judged_at_once(client, acid, reading, said):
    row = {"zone": "shell_bottom", "extent": "general"} | reading
    params = {"row": "3"} | {f"readings.3.{name}": value for name, value in row.items()}
    answer = client.get(f"/cars/{acid}/verdict", params=params)
    assert answer.status_code == 200
    assert said in " ".join(re.sub(r"<[^>]*>", " ", answer.text).replace("&#39;", "'").split())


def test_without_javascript_the_verdict_is_in_the_form_that_comes_back(client, acid):
    typed = INSPECTION | {"readings.0.inches": "0.36", "happened_on": ""}
    assert "0.015 in below line D, condemned" in text(
        client.post(f"/cars/{acid}/events", data=typed)
    )


def test_more_rows_keep_what_was_typed_and_record_nothing(client, acid, record):
    answer = client.post(f"/cars/{acid}/events", data=INSPECTION | {"more": "readings"})
    assert answer.status_code == 200
    assert 'name="readings.2.inches"' in answer.text
    assert 'value="L. Harrow"' in answer.text
    assert count(record) == 1


def test_only_what_the_cars_class_has_is_listed(client, record):
    page = client.get(f"/cars/{record(acid_car)}/events/new").text
    assert 'value="thickness"' in page
    assert 'value="tank_retest"' not in page  # of ton tanks
    assert 'value="age_limit"' not in page  # counted, never inspected


def test_a_correction_replaces_the_record_and_both_stay(client, acid, record):
    wrong = only_event(record)
    form = client.get(f"/events/{wrong}/correct")
    assert 'value="2018-03-15"' in form.text
    assert 'value="0.406"' in form.text
    answer = client.post(
        f"/events/{wrong}/correct", data=INSPECTION | {"happened_on": "2019-03-15"}
    )
    assert answer.status_code == 200
    assert "Visual inspection 2028-03-15 in date 2029-03-15 in date" in text(answer)
    page = client.get(f"/cars/{acid}").text
    assert f'id="event-{wrong}" class="struck"' in page


def test_what_was_corrected_already_leads_to_the_newest_and_keeps_what_was_typed(
    client, acid, record
):
    wrong = only_event(record)
    client.post(f"/events/{wrong}/correct", data=INSPECTION | {"happened_on": "2019-03-15"})
    late = INSPECTION | {"happened_on": "2019-03-17", "form_key": "k7", "inspector": "O. Quist"}
    answer = client.post(f"/events/{wrong}/correct", data=late)
    assert answer.status_code == 422
    assert "was corrected already" in text(answer)
    assert 'href="/events/2/correct"' in answer.text
    assert 'value="O. Quist"' in answer.text
    assert count(record) == 2


def test_a_withdrawn_record_stays_with_who_and_why(client, acid, record):
    wrong = only_event(record)
    refused = client.post(f"/events/{wrong}/withdraw", data={"reason": ""})
    assert refused.status_code == 422
    # Whatever name is sent: who records is who is signed in.
    sent = {"reason": "Another car.", "recorded_by": "O. Quist"}
    answer = client.post(f"/events/{wrong}/withdraw", data=sent)
    assert answer.status_code == 200
    # Construction counts as the first qualification: common practice, no source.
    assert "Visual inspection 2028-03-15 in date 2018-03-01 overdue" in text(answer)
    assert count(record, Withdrawal) == 1
    assert "Withdrawn by Test Planner: Another car." in text(client.get(f"/cars/{acid}"))


def test_withdrawing_twice_is_told(client, acid, record):
    wrong = only_event(record)
    for _ in range(2):
        answer = client.post(f"/events/{wrong}/withdraw", data={"reason": "Another car."})
    assert answer.status_code == 422
    assert "was already withdrawn" in text(answer)


@pytest.mark.parametrize(
    "address", ["/events/99/correct", "/events/99/withdraw", "/cars/99/events/new"]
)
def test_what_is_not_in_the_register_is_told(client, address):
    assert client.get(address).status_code == 404


DAMAGE = INSPECTION | {"items": ["damage"], "readings.0.inches": ""}


def test_a_change_alone_has_no_outcome_whatever_was_chosen(client, acid):
    assert client.post(f"/cars/{acid}/events", data=DAMAGE | {"outcome": "fail"}).status_code == 200
    rows = Page(client.get(f"/cars/{acid}").text).rows
    assert [row[2] for row in rows if row[:2] == ["2026-11-02", "Damage All fine."]] == ["–"]
    listed = client.get(f"/api/v1/cars/{acid}/events").json()["rows"]
    assert [each["outcome"] for each in listed] == [None, "pass"]


def test_beside_a_change_the_outcome_names_what_was_inspected(client, acid):
    both = DAMAGE | {"items": ["visual", "damage"], "outcome": "fail"}
    client.post(f"/cars/{acid}/events", data=both)
    [row] = [each for each in Page(client.get(f"/cars/{acid}").text).rows if "damage" in each[1]]
    assert row[1:3] == ["Visual inspection, damage All fine.", "failed visual inspection"]


def test_a_change_for_many_cars_is_not_said_to_have_passed(client, acid):
    answer = client.post("/record", data=DAMAGE | {"names": "ZQKX 104512"})
    assert "Damage, 2026-11-02, Shop B. Each car" in text(answer)
