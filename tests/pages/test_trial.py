"""Trying a change on a car or a selection: before and after by the address alone, and nothing stored."""

import re
from datetime import date
from decimal import Decimal
from html import unescape
from typing import Any
from urllib.parse import urlencode

import pytest
from sqlalchemy import select

from app.actions import cars, events, ladings
from app.actions.changes import (
    NewApproval,
    NewEvent,
    NewFitting,
    NewLading,
    NewService,
    NewStencil,
)
from app.core.words import capitalized, label
from app.pages import trial_fleet
from app.store import due
from app.store.columns import Base
from app.store.tables import Party
from tests.pages import fleet_cast
from tests.pages.car_cast import STAMP, TODAY, acid_car, plain_car, with_valves
from tests.pages.reading import Page, csv_rows


def text(answer) -> str:
    main = answer.text.split("<main", 1)[1].split("</main>", 1)[0]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).split())


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


def trial(client, car: int, **asked: str):
    return client.get(
        f"/cars/{car}/trial",
        params={name.replace("__", "."): value for name, value in asked.items()},
    )


def shown(answer) -> dict[str, list[str]]:
    """By item: as it is, as tried, what changes."""
    return {row[0]: row[1:4] for row in Page(answer.text).rows if len(row) == 5}


def test_the_form_is_reached_from_the_car_and_tries_nothing_by_itself(client, acid):
    assert f'href="/cars/{acid}/trial"' in client.get(f"/cars/{acid}").text
    answer = client.get(f"/cars/{acid}/trial")
    assert answer.status_code == 200
    assert "Due items before and after" not in text(answer)


def test_before_and_after_stand_side_by_side_with_what_changes(client, acid):
    answer = trial(
        client,
        acid,
        lading__commodity="Soybean oil",
        lading__hazardous="no",
        lading__corrosive_or_reactive="no",
    )
    was, would_be, changes = shown(answer)["Thickness"]
    # 49 CFR 180.509(f)(2), 2019 edition: ten years when the lading is not corrosive.
    assert "overdue 2023-03-15" in was
    assert "in date 2028-03-15" in would_be
    assert changes == "Later : 1827 days later; 120 instead of 60 months"
    read = text(answer)
    assert "As it is May not be loaded" in read
    assert "As tried May be loaded" in read
    assert "Nothing is recorded" in read
    assert "lading Soybean oil, not corrosive, not hazardous" in read


def test_a_trial_stores_nothing(client, acid, record):
    def rows(db) -> dict[str, list[tuple[Any, ...]]]:
        tables = Base.metadata.tables.values()
        return {
            table.name: sorted(map(tuple, db.execute(select(table))), key=repr) for table in tables
        }

    before = record(rows)
    relined = {
        "lining.what": "applied",
        "lining.on": "2026-11-01",
        "read.due_precision": "year_end",
    }
    for asked in (relined, {"lading.corrosive_or_reactive": "no"}):
        for path in (f"/cars/{acid}/trial", "/fleet/trial", "/fleet/trial.csv"):
            assert client.get(path, params=asked).status_code == 200
    tried = {"service": {"commodity": "Soybean oil", "hazardous": False}}
    assert client.post(f"/api/v1/cars/{acid}/trial", json=tried).status_code == 200
    assert record(rows) == before


def test_a_misspelt_field_of_an_address_is_refused_and_not_left_out(client, acid):
    answer = trial(client, acid, lading__comodity="Acid", lading__un="UN1789")
    assert answer.status_code == 422
    assert "lading.comodity" in text(answer)
    assert "lading.commodity" in text(answer)


def test_an_address_is_shortened_to_what_was_filled_in(client, acid):
    answer = client.get(
        f"/cars/{acid}/trial?lading.un=&owner.lining=&read.due_precision=month_end&on=",
        follow_redirects=False,
    )
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/cars/{acid}/trial?read.due_precision=month_end"


@pytest.mark.parametrize(
    ("asked", "field", "told"),
    [
        ({"lading.choose": "Moon dust"}, "lading.choose", "is not on the list"),
        ({"lining.what": "applied"}, "lining.on", "On which day"),
        ({"lining.on": "2026-11-01"}, "lining.what", "applied or removed"),
        (
            {"lining.what": "applied", "lining.on": "2027-01-01"},
            "lining.on",
            "later than 2026-11-25",
        ),
        (
            {"lining.what": "painted", "lining.on": "2026-11-01"},
            "lining.what",
            "one of the choices",
        ),
        ({"stencil.marked_on": "2026-11-01"}, "stencil.marked_on", "at least one date"),
        ({"stencil.visual": "soon"}, "stencil.visual", "soon"),
        ({"approval.item": "visual"}, "approval.interval_months", "How many months"),
        ({"approval.interval_months": "60"}, "approval.item", "For which item"),
        ({"owner.lining": "-3"}, "owner.lining", "-3"),
        ({"read.stencil_year": "middle"}, "read.stencil_year", "one of the choices"),
        ({"on": "tomorrow"}, "on", "tomorrow"),
    ],
)
def test_what_cannot_be_tried_is_said_at_its_field_and_kept(
    client, acid, asked: dict[str, str], field, told
):
    answer = client.get(f"/cars/{acid}/trial", params=asked)
    assert answer.status_code == 422
    problem = re.search(rf'id="f-{field.replace(".", "-")}-problem">([^<]*)<', answer.text)
    assert problem is not None
    assert told in unescape(problem[1])
    assert "Due items before and after" not in text(answer)


def test_a_later_day_shows_the_trial_as_it_would_stand_then(client, acid):
    answer = trial(
        client,
        acid,
        on="2027-02-01",
        lining__what="applied",
        lining__on="2027-01-15",
        lining__inspected="yes",
    )
    assert "Seen on 2027-02-01" in text(answer)
    assert shown(answer)["Thickness"][1] == "by event"


def test_a_lading_is_tried_from_the_list(client, acid, record):
    record(
        lambda db: ladings.save(
            db, NewLading("Soybean oil", hazardous=False, corrosive_or_reactive=False)
        )
    )
    answer = trial(client, acid, lading__choose="Soybean oil")
    assert "in date 2028-03-15" in shown(answer)["Thickness"][1]


def test_what_is_tried_is_told_with_everything_that_decides_about_a_lading(client, acid):
    tried = {"commodity": "Acrolein", "un": "UN1092", "hazard_class": "6.1", "packing_group": "I"}
    asked = {f"lading.{name}": value for name, value in tried.items()}
    asked |= {"lading.poison_by_inhalation": "yes", "lading.corrosion_rate_mil_per_year": "1.5"}
    told = "Acrolein, UN1092, class 6.1, packing group I, poisonous by inhalation, 1.5 mil a year"
    assert told in text(client.get(f"/cars/{acid}/trial", params=asked))


@pytest.mark.parametrize(
    ("vapor", "said"),
    [
        # 49 CFR 173.31(c), 2015 edition: 133 % of vapor pressure; the car is marked 100 psig.
        ("180", ["too low", "239.4 psig, 133 % of vapor pressure", "Marked: 100 psig", "whatever the dates say"]),
        ("60", ["to be checked", "Not stated: the static head"]),
    ],
)  # fmt: skip
def test_a_lading_from_the_list_is_held_against_the_marked_test_pressure(
    client, acid, record, vapor: str, said: list[str]
):
    listed = NewLading("Invented gas", hazard_class="2.1", vapor_pressure_psig_115f=Decimal(vapor))
    record(lambda db: ladings.save(db, listed))
    read = text(trial(client, acid, lading__choose="Invented gas"))
    assert all(words in read for words in ["Test pressure for the lading tried", *said]), read
    by_hand = text(trial(client, acid, lading__commodity="Invented gas"))
    assert "Test pressure for the lading" not in by_hand
    assert "no vapor pressure of it is on the list" in by_hand


def test_every_device_of_a_car_is_tried(client, acid, record):
    record(lambda db: with_valves(db, acid))
    answer = trial(client, acid, owner__relief_device="48")
    # The device first due was tested on 2016-06-09: 48 months after it.
    assert "2020-06-09" in shown(answer)["Relief device"][1]


def _put_into_oil(db, car):
    cars.put_into_service(db, car, NewService("Soybean oil", corrosive_or_reactive=False), STAMP)


def _shorten(db, car):
    cars.change_fitting(db, car, NewFitting(service_equipment_interval_months=60), STAMP)


def _mark(db, car):
    cars.mark_stencil(
        db, car, NewStencil(date(2026, 11, 1), visual="2027", thickness="2026-12"), STAMP
    )


def _approve(db, car):
    cars.change_approval(db, car, NewApproval("visual", 144, "ZQ 7", stenciled=True), STAMP)


def _line(db, car):
    events.record_event(
        db, car, NewEvent(date(2026, 11, 1), ("lining_applied", "thickness")), STAMP
    )


def _unline(db, car):
    events.record_event(db, car, NewEvent(date(2026, 11, 1), ("lining_removed",)), STAMP)


@pytest.mark.parametrize(
    ("asked", "act"),
    [
        ({"lading.commodity": "Soybean oil", "lading.corrosive_or_reactive": "no"}, _put_into_oil),
        ({"owner.service_equipment": "60"}, _shorten),
        ({"stencil.marked_on": "2026-11-01", "stencil.visual": "2027", "stencil.thickness": "2026-12"}, _mark),
        ({"approval.item": "visual", "approval.interval_months": "144", "approval.reference": "ZQ 7",
          "approval.stenciled": "yes"}, _approve),
        ({"lining.what": "applied", "lining.on": "2026-11-01", "lining.inspected": "yes"}, _line),
        ({"lining.what": "removed", "lining.on": "2026-11-01"}, _unline),
    ],
)  # fmt: skip
def test_a_trial_says_what_the_record_will_say(client, acid, record, asked: dict[str, str], act):
    answer = client.get(f"/cars/{acid}/trial", params=asked)
    assert answer.status_code == 200
    foretold = {name: would_be for name, (_, would_be, _) in shown(answer).items()}
    record(lambda db: act(db, acid))
    rows = record(lambda db: due.for_car(db, acid, TODAY))
    assert len(rows) == sum(would_be != "no such item" for would_be in foretold.values())
    for row in rows:
        would_be = foretold[capitalized(label(row.item))]
        assert would_be.startswith(label(row.status)), row.item
        assert row.due_on is None or str(row.due_on) in would_be


# A selection ------------------------------------------------------------------------------------------------------


@pytest.fixture
def fleet(record) -> dict[str, int]:
    return record(fleet_cast.fleet)


APPROVED = {
    "approval.item": "visual",
    "approval.interval_months": "60",
    "approval.stenciled": "yes",
}


def selection(client, **asked: str):
    return client.get(
        "/fleet/trial", params={name.replace("__", "."): value for name, value in asked.items()}
    )


def test_a_selection_is_told_in_words_and_counted_by_item(client, fleet, record):
    named = select(Party.id).where(Party.name == fleet_cast.MARROW)
    answer = selection(
        client,
        owner=str(record(lambda db: db.scalars(named).one())),
        approval__item="visual",
        approval__interval_months="60",
        approval__stenciled="yes",
    )
    read = text(answer)
    assert "owner Marrow Creek Cars" in read
    rows = {row[0]: row[1:] for row in Page(answer.text).rows if len(row) == 4}
    # Of four cars in the register one has no day built: unknown stays unknown.
    assert rows["Visual inspection"] == ["3", "0", "1"]
    assert rows["Structural integrity"] == ["0", "0", "4"]
    assert "3 of 4 cars would change" in read


def test_a_selection_leads_to_each_cars_own_trial(client, fleet):
    answer = selection(client, q="ZQAX 2001", owner__service_equipment="12")
    asked = urlencode({"owner.service_equipment": "12"})
    assert f'href="/cars/{fleet["in date"]}/trial?{asked}"' in answer.text


def test_pages_of_a_selection_miss_no_car_and_only_the_first_counts(client, record, monkeypatch):
    record(lambda db: fleet_cast.many(db, 25))
    monkeypatch.setattr(trial_fleet, "PAGE", 4)
    monkeypatch.setattr(trial_fleet, "CHUNK", 7)
    address, seen, pages = (
        "/fleet/trial?approval.item=visual&approval.interval_months=60&approval.stenciled=yes",
        [],
        0,
    )
    while address:
        page = client.get(address)
        pages += 1
        assert ("would change" in text(page).split("Cars that")[0]) == (pages == 1)
        seen += [row[0].split(" why")[0] for row in Page(page.text).rows if len(row) == 5]
        following = re.search(r'href="([^"]*)" rel="next"', page.text)
        address = unescape(following[1]) if following else ""
    assert seen == [f"ZQKX\xa0{number}".replace("\xa0", " ") for number in range(1, 26)]
    assert pages == 7


def test_more_cars_than_a_person_would_wait_for_are_refused_with_a_way_on(
    client, fleet, monkeypatch
):
    monkeypatch.setattr(trial_fleet, "MOST", 3)
    read = text(selection(client, owner__lining="12"))
    assert "at most 3 cars" in read
    assert "Filter the register further" in read
    assert client.get("/fleet/trial.csv?owner.lining=12").status_code == 422


def test_a_file_has_a_row_for_every_item_of_every_car(client, fleet):
    asked = APPROVED | {"q": "ZQAX 2001"}
    answer = client.get("/fleet/trial.csv", params=asked)
    rows = csv_rows(answer.content)
    assert {row["number"] for row in rows} == {"2001"}
    (visual,) = (row for row in rows if row["item"] == "visual")
    assert (visual["moves"], visual["due_before"], visual["due_after"]) == (
        "earlier",
        "2030-05-01",
        "2025-05-01",
    )
    assert "sets 60 months" in visual["reasons_after"]
    assert {row["moves"] for row in rows if row["item"] != "visual"} == {"unchanged"}


def test_a_selection_asks_no_more_questions_for_more_cars(client, record, queries):
    record(lambda db: fleet_cast.many(db, 2))
    address = "/fleet/trial?owner.service_equipment=12"
    client.get(address)
    with queries() as few:
        client.get(address)
    record(lambda db: fleet_cast.many(db, 30, first=100))
    client.get(address)
    with queries() as more:
        client.get(address)
    assert len(more) == len(few)


# How the dates were worked out ------------------------------------------------------------------------------------


def test_the_printed_page_says_every_reason_every_line_and_the_edition(client, acid, record):
    record(lambda db: with_valves(db, acid))
    answer: dict[str, Any] = client.get(f"/api/v1/cars/{acid}/due").json()
    read = text(client.get(f"/cars/{acid}/worked-out"))
    told = [reason for item in answer["items"] for reason in item["reasons"]]
    told += [reason for zone in answer["thickness"] for reason in zone["reasons"]]
    told += answer["warnings"] + answer["loading"]["reasons"]
    for reason in told:
        assert " ".join(reason["text"].split()) in read
        assert reason["citation"] is None or reason["citation"] in read
    assert answer["rulebook"]["edition"] in read
    assert answer["loading"]["caution"] in read
    for item in answer["items"]:
        assert item["due_on"] is None or item["due_on"] in read
    assert "2018-03-15 + 60 months = 2023-03-15" in read
    assert "not verified against the rule text" in read


def test_the_printed_page_names_what_governs_and_is_linked_from_the_car(client, acid):
    assert f'href="/cars/{acid}/worked-out"' in client.get(f"/cars/{acid}").text
    read = text(client.get(f"/cars/{acid}/worked-out"))
    # 49 CFR 179.201-1: 7/16; the formula asks for 500 x 110 / (2 x 70,000 x 0.9) = 0.43651.
    assert "Governs: The table asks for 0.4375 in for class 111, 100 psig" in read
    assert "The plate formula asks for 0.43651 in" in read


def test_a_car_of_which_little_is_known_has_its_pages_too(client, record):
    car = record(plain_car)
    assert client.get(f"/cars/{car}/worked-out").status_code == 200
    assert trial(client, car, lading__corrosive_or_reactive="no").status_code == 200
    assert client.get("/cars/999/worked-out").status_code == 404
    assert client.get("/cars/999/trial").status_code == 404


# What a record opened ---------------------------------------------------------------------------------------------


def test_a_change_says_what_it_opened_and_what_closes_it(client, acid):
    answer = client.post(
        f"/cars/{acid}/events",
        data={
            "happened_on": "2026-11-02",
            "items": "repair_reducing_thickness",
            "outcome": "pass",
        },
    )
    read = text(answer)
    # 49 CFR 180.509(f)(6), 2019 edition.
    assert (
        "This opened Thickness due now Owed since 2026-11-02: work that may have thinned the tank"
        in read
    )
    assert "Closed by a passing thickness test" in read


def test_a_pass_says_what_it_closed(client, acid):
    for items, day in (("damage", "2026-11-02"), ("structural_integrity", "2026-11-03")):
        answer = client.post(
            f"/cars/{acid}/events",
            data={"happened_on": day, "items": items, "outcome": "pass"},
        )
    assert "Closed by this: structural integrity." in text(answer)
