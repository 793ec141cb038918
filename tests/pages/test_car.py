"""The page of a car: every date with its reasons, every device by itself, nothing ever recorded left out."""

import re
from datetime import date
from decimal import Decimal
from html import unescape

import pytest
from sqlalchemy import select

from app.actions import cars, components, events
from app.actions.car_seen import specification
from app.actions.changes import NewEvent, NewName, NewReading, NewService, NewStanding
from app.core.due import due_dates
from app.core.facts import ITEMS
from app.core.words import capitalized, label
from app.rules.reader import default_rulebook
from app.store import facts
from app.store.tables import Car, EventRow
from tests.pages.car_cast import STAMP, TODAY, acid_car, plain_car, with_valves


def text(answer) -> str:
    """What a person reads of a page, in one line."""
    main = answer.text.split("<main", 1)[1].split("</main>", 1)[0]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).split())


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


def test_the_page_says_what_is_due_why_and_whether_it_may_be_loaded(client, acid):
    read = text(client.get(f"/cars/{acid}"))
    assert "May not be loaded" in read
    # Corrosive lading and a zone at or below line C: 60 months (49 CFR 180.509(f)(2), 2019 edition).
    assert re.search(r"Thickness overdue 2023-03-15 1.351 days past 2018-03-15 60 months", read)
    assert "49 CFR 180.509(f)(2)" in read
    assert "Visual inspection in date 2028-03-15" in read
    assert "the qualified shop decide" in read


def test_items_stand_in_the_calculators_order(client, acid, record):
    page = client.get(f"/cars/{acid}").text
    table = page.split('class="due-items', 1)[1].split("</table>", 1)[0]
    shown = re.findall(r'<th scope="row">([^<]*)</th>', table)
    answer = record(
        lambda db: due_dates(facts.load(db, [acid], TODAY)[acid].facts(TODAY), default_rulebook())
    )
    in_order = [due.item for due in answer.items]
    assert in_order == [item for item in ITEMS if item in in_order]
    assert shown == [capitalized(label(item)) for item in in_order]


def test_every_reason_of_the_calculator_is_on_the_page(client, acid, record):
    read = text(client.get(f"/cars/{acid}"))
    answer = record(
        lambda db: due_dates(facts.load(db, [acid], TODAY)[acid].facts(TODAY), default_rulebook())
    )
    for due in answer.items:
        for reason in due.reasons:
            assert " ".join(reason.text.split()) in read
            assert reason.citation is None or reason.citation in read


def test_thickness_is_drawn_and_the_table_says_the_same(client, acid):
    page = client.get(f"/cars/{acid}").text
    assert 'aria-label="Shell bottom: 0.00025 in below line C, 0.031 in above line D"' in page
    read = text(client.get(f"/cars/{acid}"))
    # 49 CFR 180.509(g), 2019 edition, below 200 psig: bottom 7/16 less 1/32, 1/16, and 1/16 more.
    assert "Shell bottom 0.4375 table 0.40625 0.375 0.3125 0.406 2018-03-15" in read


def test_each_relief_device_has_its_own_date_and_the_first_due_is_marked(client, acid, record):
    record(lambda db: with_valves(db, acid))
    read = text(client.get(f"/cars/{acid}"))
    assert re.search(r"top, A end RV-12 first due 2016-06-09 2022-06-01 overdue 2026-06-09", read)
    assert re.search(r"top, B end RV-77 2022-05-02 2022-06-01 in date 2032-05-02", read)
    assert "Relief device overdue 2026-06-09" in read


def test_components_stand_from_the_b_end_on(client, acid, record):
    record(lambda db: with_valves(db, acid))
    page = client.get(f"/cars/{acid}").text
    table = page.split('id="components-title"', 1)[1].split("</table>", 1)[0]
    places = re.findall(r'<th scope="row"><span[^>]*>(\d)</span> ([^<]*)</th>', table)
    assert places == [("1", "top, B end"), ("2", "top, A end"), ("3", "bottom")]
    assert "1 relief valve, top, B end; 2 relief valve, top, A end; 3 valve, bottom" in page


def test_what_is_not_known_is_said_and_the_way_to_record_it_shown(client, record):
    car = record(plain_car)
    read = text(client.get(f"/cars/{car}"))
    assert "no lading recorded" in read
    assert "No inspection is recorded" in read
    assert "No component is recorded" in read
    assert "not measured" in read


def test_history_keeps_names_ladings_and_standings_with_their_days(client, acid, record):
    def happen(db):
        cars.re_mark(db, acid, NewName("ZQAX", 7, from_on=date(2020, 1, 5)), STAMP)
        sugar = NewService("Molasses", hazardous=False, from_on=date(2021, 2, 6))
        cars.put_into_service(db, acid, sugar, STAMP)
        cars.change_standing(db, acid, NewStanding("stored", "no loads", date(2022, 3, 7)), STAMP)

    record(happen)
    read = text(client.get(f"/cars/{acid}"))
    assert "ZQAX 7" in read
    assert "Formerly ZQKX 104512, until 2020-01-05" in read
    assert "Lading Hydrochloric acid" in read
    assert "until 2021-02-06" in read
    assert "Standing in service from the beginning until 2022-03-07" in read


def test_a_corrected_event_is_struck_through_and_leads_to_what_replaced_it(client, acid, record):
    def correct(db):
        wrong = db.scalars(select(EventRow).where(EventRow.car_id == acid)).one()
        right = NewEvent(date(2018, 3, 16), ("visual",), facility="Shop A")
        return wrong.id, events.correct_event(db, wrong.id, right, STAMP).id

    wrong, right = record(correct)
    page = client.get(f"/cars/{acid}").text
    assert f'id="event-{wrong}" class="struck"' in page
    assert f'href="#event-{right}"' in page


@pytest.mark.parametrize(
    ("stencil", "said"),
    [
        ("DOT 111A100W1", [("Test pressure", "100 psig"), ("Burst pressure", "500 psig")]),
        ("DOT 105J300W", [("Test pressure", "300 psig"), ("Burst pressure", "750 psig")]),
        # 179.22 names neither; one a stencil can be told by its last line.
        ("TC 111A100W1", [("Note", "Agency TC: not verified (from memory)")]),
        ("DOT 106A500X", [("Note", "Weld letter X: not verified (from memory)")]),
        ("DOT 999X", [("Cannot be read", "at character 5")]),
    ],
)
def test_a_specification_is_told_in_words(stencil, said):
    """Figures: 49 CFR 179.201-1 and 179.101-1, 2019 edition."""
    lines = dict(specification(stencil, default_rulebook()))
    for name, value in said:
        assert lines[name].startswith(value)


def test_a_car_page_asks_a_bounded_number_of_questions(client, acid, record, queries):
    client.get(f"/cars/{acid}")
    with queries() as plain:
        client.get(f"/cars/{acid}")
    record(lambda db: with_valves(db, acid))
    for day in range(1, 15):
        event = NewEvent(date(2019, 1, day), ("leakage",))
        record(lambda db, event=event: events.record_event(db, acid, event, STAMP))
    with queries() as full:
        client.get(f"/cars/{acid}")
    assert len(full) == len(plain)
    assert len(full) <= 38


NEW_CAR = {
    "mark": "zqkx", "number": "0020", "specification": "dot 111a100w1", "owner": "Quillon Tank Lines",
    "built_on": "2015-06", "material": "A516-70", "inside_diameter_in": "110", "commodity": "Molasses",
    "hazardous": "no", "recorded_by": "Ada Vale",
}  # fmt: skip


def test_a_car_can_be_added_and_shows_its_due_items(client):
    answer = client.post("/cars", data=NEW_CAR)
    assert answer.status_code == 200
    read = text(answer)
    assert "Added to the register" in read
    # Ten years from construction: common practice for a first date, no source.
    assert "Visual inspection no such item 2025-06-01 overdue" in read


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"mark": ""}, "Nothing was entered; this is needed."),
        ({"mark": "Z9"}, "want a reporting mark of 2 to 4 letters"),
        ({"number": "1000000"}, "want the car's number, 1 to 999999"),
        ({"specification": "DOT 999X"}, "At character 5 of 'DOT 999X'"),
        ({"built_on": "2027-01-01"}, "lies in the future"),
        ({"rebuilt_on": "2010-01-01"}, "lies before the car was built"),
        ({"inside_diameter_in": "-3"}, "want a diameter in inches"),
        ({"inside_diameter_in": "wide"}, "Found 'wide'"),
        ({"hazard_class": "bad"}, "want a hazard class"),
    ],
)
def test_each_wrong_field_of_a_new_car_is_told_and_nothing_is_lost(client, record, changes, said):
    answer = client.post("/cars", data=NEW_CAR | changes)
    assert answer.status_code == 422
    assert said in text(answer)
    assert 'value="110"' in answer.text or "inside_diameter_in" in changes
    assert record(lambda db: db.scalars(select(Car)).all()) == []


def test_a_name_that_another_car_bears_is_refused(client, record):
    record(lambda db: plain_car(db, 20))
    answer = client.post("/cars", data=NEW_CAR)
    assert answer.status_code == 422
    assert "ZQKX 20 is in the register already" in text(answer)


def test_an_unknown_car_is_told_so(client):
    assert client.get("/cars/99").status_code == 404


def test_a_component_that_came_off_is_still_in_the_history(client, acid, record):
    installed = record(lambda db: with_valves(db, acid))
    record(lambda db: components.remove(db, installed[2], date(2024, 5, 6), STAMP))
    assert "put on 2022-06-01, taken off 2024-05-06" in text(client.get(f"/cars/{acid}"))


def test_a_zone_that_was_not_measured_says_so_once(client, record):
    read = text(client.get(f"/cars/{record(plain_car)}")).lower()
    assert "not measured" in read
    assert not re.search(r"not measured\W+not measured", read)


def test_a_reading_of_a_month_is_told_as_of_that_month_wherever_it_stands(client, record, acid):
    """A day that nobody stated would be a wrong date."""
    later = NewEvent(
        date(2022, 7, 1),
        ("thickness",),
        readings=(NewReading("shell_bottom", Decimal("0.401")),),
        month_only=True,
    )
    record(lambda db: events.record_event(db, acid, later, STAMP))
    for page in (f"/cars/{acid}", f"/cars/{acid}/worked-out"):
        told = text(client.get(page))
        assert "2022-07 general" in told
        assert "2022-07-01 general" not in told
