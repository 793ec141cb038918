"""The morning list: its parts, lines set aside, saved lists and who answers, and what each line leads to."""

import io
import re
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from openpyxl import load_workbook
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from app.actions import cars as car_facts
from app.actions import directives, events
from app.actions.changes import NewEvent, NewHold
from app.actions.directives import NewDirective, Term
from app.actions.stamp import Stamp
from app.store.people import Membership, Person
from app.store.tables import Party
from app.store.watch import DueBefore, DueSeen, SavedList
from tests.fixtures.people import NAME
from tests.fixtures.web import NOW, TODAY, Record
from tests.pages.fleet_cast import MARROW, QUILLON, add, fleet
from tests.pages.reading import Page, csv_rows, xlsx_rows

PARTS = ("passed", "moved", "nearing", "overdue", "within", "due_now", "unknown")


@pytest.fixture
def keys(record: Record) -> dict[str, int]:
    """The cars of the cast, in the register since five days ago."""
    keys = record(fleet)
    record(lambda db: db.execute(update(DueBefore).values(day=TODAY - timedelta(days=5))))
    return keys


def page(client: TestClient, address: str = "/morning", status: int = 200, **asked: str) -> Page:
    answer = client.get(f"{address}?{urlencode(asked)}")
    assert answer.status_code == status, answer.text
    return Page(answer.text)


def lines(client: TestClient, part: str, **asked: str) -> list[tuple[str, str]]:
    """Car and item of each line of a part, over all of its pages."""
    found, address = [], f"/morning/parts/{part}?{urlencode(asked)}"
    while address:
        text = client.get(address).text
        for row in Page(text).rows:
            car, number, item = row[0].replace("\xa0", " ").split(" ", 2)
            found.append((f"{car} {number}", item))
        further = re.search(r'href="(/morning/parts/[^"]+)" rel="next"', text)
        address = further[1].replace("&amp;", "&") if further else ""
    return found


def cars(found: list[tuple[str, str]]) -> set[str]:
    return {car for car, _ in found}


# Each part, beside item=visual so that a car is one row; then the cars that stand in it.
STANDING = [
    ("overdue", {}, {"ZQKX 1001"}),
    ("within", {}, {"ZQKX 1002"}),
    ("within", {"within": "180"}, {"ZQKX 1002", "ZQAX 2000"}),
    ("unknown", {}, {"ZQBX 3"}),
    ("due_now", {}, set()),
    # Its day, yesterday, had not passed when yesterday began.
    ("passed", {}, {"ZQKX 1001"}),
    ("passed", {"since": "2026-11-25"}, set()),
    # 180 days from today is 2027-05-24: a day before it was not within them.
    ("nearing", {"within": "180"}, {"ZQAX 2000"}),
    ("nearing", {"within": "180", "since": "2026-11-25"}, set()),
]  # fmt: skip


@pytest.mark.parametrize(("part", "asked", "wanted"), STANDING)
def test_a_part_holds_its_cars(client, keys, part, asked, wanted):
    assert cars(lines(client, part, item="visual", **asked)) == wanted


def test_the_page_tells_every_part_with_its_amount(client, keys):
    text = client.get("/morning").text
    for part in PARTS:
        told = re.search(rf'id="part-{part}">[^<]+ <span class="amount">(\d+)', text)
        assert told, part
        assert int(told[1]) == len(lines(client, part)), part


def test_changes_come_first(client, keys):
    text = client.get("/morning").text
    places = [text.index(f'id="part-{part}"') for part in PARTS]
    assert places == sorted(places)


def test_what_an_inspection_moved_is_told_with_what_it_was(client, keys, record):
    done = NewEvent(TODAY, ("visual",), facility="Made-up Shop One")
    record(lambda db: events.record_event(db, keys["overdue"], done, Stamp("Ida", NOW, TODAY)))
    found = page(client, "/morning/parts/moved", item="visual", since="2026-11-25", q="zqkx 1001")
    assert len(found.rows) == 1
    _, was, is_, _ = found.rows[0]
    assert was == "overdue 2026-11-24"
    assert is_.startswith("in date 20")


def test_a_filter_that_cannot_be_read_lists_nothing(client, keys):
    for asked in ({"since": "2026-11-26"}, {"since": "2020-01-01"}, {"within": "31"}, {"day": "x"}):
        found = page(client, status=422, **asked)
        assert "Nothing is listed until what is asked for can be read." in found.words
        assert found.rows == []


def test_an_empty_register_says_what_to_do_first(client):
    assert "Bring a file in" in page(client).words


# What closes a line -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "part", "item", "address"),
    [
        ("overdue", "overdue", "visual", "/cars/{key}/events/new?item=visual"),
        ("unknown", "unknown", "visual", "/cars/{key}/facts/details"),
        ("unknown", "unknown", "age_limit", "/cars/{key}/facts/details"),
        ("unknown", "unknown", "reflective_sheeting", "/cars/{key}/facts/fitting"),
        ("unknown", "unknown", "relief_device", "/cars/{key}#components-title"),
    ],
)
def test_a_line_leads_to_what_closes_it(client, keys, name, part, item, address):
    wanted = address.format(key=keys[name])
    text = client.get(f"/morning/parts/{part}?item={item}").text
    assert f'href="{wanted}"' in text
    assert client.get(wanted).status_code == 200


def test_a_line_of_directives_leads_to_those_of_its_car(client, keys, record):
    ordered(record, "1", TODAY - timedelta(days=3), NOW - timedelta(hours=2))
    text = client.get("/morning/parts/overdue?item=directive").text
    address = f"/cars/{keys['overdue']}#directives"
    assert f'href="{address}"' in text
    assert "Take it out of service" not in text
    assert 'id="directives"' in client.get(address).text


def test_the_form_that_a_line_leads_to_has_its_item_ticked(client, keys):
    text = client.get(f"/cars/{keys['overdue']}/events/new?item=thickness").text
    ticked = re.findall(r'name="items" value="(\w+)" checked', text)
    assert ticked == ["thickness"]


def test_a_line_leads_to_the_visit_in_which_it_is_planned(client, keys):
    sending = {"shop": "Made-up Shop One", "sent_on": "2026-11-24", "instructions": "Look at it"}
    client.post(f"/cars/{keys['overdue']}/visits", data=sending)
    # Sent without planned work, the visit closes nothing.
    assert "/visits/1" not in client.get("/morning/parts/overdue").text


# Lines set aside ----------------------------------------------------------------------------------------------------


def set_aside(client: TestClient, key: int, item: str = "visual", status: int = 303, **form: str):
    answer = client.post(
        f"/morning/seen/{key}/{item}",
        data={"until_on": "2026-12-01", "reason": "The shop has it on Monday"} | form,
        follow_redirects=False,
    )
    assert answer.status_code == status, answer.text
    return answer


def test_a_line_set_aside_is_left_out_counted_and_can_be_shown(client, keys):
    set_aside(client, keys["overdue"])
    assert cars(lines(client, "overdue", item="visual")) == set()
    assert "1 line set aside as seen left out" in page(client).words
    shown = page(client, "/morning/parts/overdue", item="visual", seen="yes")
    assert f"Set aside until 2026-12-01 by {NAME}: The shop has it on Monday" in shown.words


@pytest.mark.parametrize(("day", "there"), [("2026-11-30", False), ("2026-12-01", True)])
def test_a_line_comes_back_on_its_day(web_app: FastAPI, client, keys, day, there):
    set_aside(client, keys["overdue"])
    web_app.state.clock = lambda: NOW + (date.fromisoformat(day) - TODAY)
    assert ("ZQKX 1001" in cars(lines(client, "overdue", item="visual"))) == there


def test_a_line_comes_back_when_its_day_passes(web_app: FastAPI, client, keys):
    set_aside(client, keys["today"])
    assert cars(lines(client, "within", item="visual")) == set()
    web_app.state.clock = lambda: NOW + timedelta(days=1)
    assert "ZQKX 1002" in cars(lines(client, "overdue", item="visual"))


def test_a_line_comes_back_when_it_moves(client, keys, record):
    set_aside(client, keys["overdue"])
    failed = NewEvent(TODAY, ("visual",), outcome="fail", facility="Made-up Shop One")
    record(lambda db: events.record_event(db, keys["overdue"], failed, Stamp("Ida", NOW, TODAY)))
    assert cars(lines(client, "due_now", item="visual")) == {"ZQKX 1001"}


def ordered(record: Record, number: str, due_on: date, at: datetime) -> None:
    """A directive about the cars built on the day on which the overdue one was."""
    built = {"built_from": "2016-11-24", "built_to": "2016-11-24"}

    def freeze(db: Session) -> None:
        party = db.scalars(select(Party.id).where(Party.name == QUILLON)).one()
        new = NewDirective(
            party_id=party, ordered_by="authority", orderer="Invented Authority", number=number,
            title="Look at the frame", what="Look.", ordered_on=date(2026, 10, 1), as_of=TODAY,
            term=Term(due_on=due_on), condition=built,
        )  # fmt: skip
        directives.freeze(db, new, Stamp("Ida", at, TODAY))

    record(freeze)


def test_a_line_of_directives_comes_back_when_another_is_given(client, keys, record):
    ordered(record, "1", TODAY - timedelta(days=3), NOW - timedelta(hours=2))
    set_aside(client, keys["overdue"], "directive")
    assert cars(lines(client, "overdue", item="directive")) == set()
    ordered(record, "2", TODAY + timedelta(days=40), NOW + timedelta(hours=2))
    assert cars(lines(client, "overdue", item="directive")) == {"ZQKX 1001"}


@pytest.mark.parametrize(("days", "there"), [(2, False), (3, True)])
def test_a_line_of_directives_comes_back_when_the_next_of_them_is_overdue(
    web_app: FastAPI, client, keys, record, days, there
):
    ordered(record, "1", TODAY - timedelta(days=3), NOW - timedelta(hours=2))
    ordered(record, "2", TODAY + timedelta(days=2), NOW - timedelta(hours=2))
    set_aside(client, keys["overdue"], "directive")
    web_app.state.clock = lambda: NOW + timedelta(days=days)
    assert ("ZQKX 1001" in cars(lines(client, "overdue", item="directive"))) == there


def test_a_line_can_be_brought_back_at_once_and_what_set_it_aside_stays_on_record(
    client, keys, record
):
    set_aside(client, keys["overdue"])
    client.post(f"/morning/seen/{keys['overdue']}/visual/back", follow_redirects=False)
    assert cars(lines(client, "overdue", item="visual")) == {"ZQKX 1001"}
    rows = record(lambda db: [each.until_on for each in db.scalars(select(DueSeen))])
    assert rows == [date(2026, 12, 1), None]


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"until_on": "2026-11-25"}, "a day after today"),
        ({"until_on": "2027-02-26"}, "at the latest 2027-02-25"),
        ({"reason": ""}, "this is needed"),
    ],
)
def test_a_line_is_not_set_aside_without_a_reason_or_for_too_long(client, keys, form, told):
    answer = set_aside(client, keys["overdue"], status=422, **form)
    assert told in Page(answer.text).words
    assert cars(lines(client, "overdue", item="visual")) == {"ZQKX 1001"}


def test_setting_aside_is_no_change_of_the_car(client, keys):
    """A form of the car that somebody has open is not held up by it."""
    form = client.get(f"/cars/{keys['overdue']}/facts/standing").text
    version = re.search(r'name="version" value="(\d+)"', form)[1]
    set_aside(client, keys["overdue"])
    answer = client.post(
        f"/cars/{keys['overdue']}/facts/standing",
        data={"standing": "stored", "from_on": "2026-11-25", "version": version},
    )
    assert answer.status_code == 200, answer.text


# Saved lists --------------------------------------------------------------------------------------------------------


def save(client: TestClient, status: int = 303, **form: str):
    answer = client.post("/morning/lists", data=form, follow_redirects=False)
    assert answer.status_code == status, answer.text
    return answer


def test_a_saved_list_keeps_what_its_filters_keep(client, keys):
    save(client, name="Marks of Q", q="zqkx", shared="no")
    assert cars(lines(client, "within", list="1", item="visual")) == {"ZQKX 1002"}
    assert cars(lines(client, "unknown", list="1", item="visual")) == set()
    assert "on the list “Marks of Q”" in page(client, list="1").words


def test_who_answers_for_lists_sees_what_is_on_any_of_them(client, keys, record):
    person = record(lambda db: db.scalar(select(Person.id)))
    save(client, name="Marks of Q", q="zqkx", shared="yes", answers=str(person))
    save(client, name="Prairie", region="Prairie", shared="yes", answers=str(person))
    found = lines(client, "within", within="180", item="visual", answers=str(person))
    assert cars(found) == {"ZQKX 1002", "ZQAX 2000"}
    assert cars(lines(client, "unknown", item="visual", answers=str(person))) == set()
    by_person = [row for row in page(client).rows if row[0] == NAME]
    assert by_person, "the person has a row of counts"
    assert int(by_person[0][1]) == len(lines(client, "overdue", answers=str(person)))


def test_however_many_answer_the_list_asks_as_often(client, keys, record, queries):
    """Each answer of a database on another machine is a way there and back."""
    page(client)
    with queries() as without:
        page(client)
    for name in ("Aud Made-up", "Bea Made-up", "Cyd Made-up"):
        person = record(lambda db, name=name: colleague(db, name))
        save(client, name=name, q="zqkx", shared="yes", answers=str(person))
    with queries() as with_people:
        rows = page(client).rows
    assert {row[0] for row in rows} >= {"Aud Made-up", "Bea Made-up", "Cyd Made-up"}
    assert len(with_people) == len(without) + 1
    assert len([each for each in without if each.startswith("SELECT")]) <= 32


def test_counts_by_owner_lead_to_as_many_lines(client, keys):
    rows = {row[0]: row[1:] for row in page(client).rows if row[0] in (QUILLON, MARROW)}
    text = client.get("/morning").text
    for owner in (QUILLON, MARROW):
        key = re.search(rf'href="/morning\?owner=(\d+)">{owner}<', text)[1]
        told = [int(each) for each in rows[owner]]
        assert told == [len(lines(client, part, owner=key)) for part in PARTS[3:]]


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"name": "", "q": "zqkx"}, "Want a name"),
        ({"name": "All"}, "choose at least one"),
        ({"name": "Odd", "q": "%%"}, "is no mark and number"),
        ({"name": "Mine", "q": "zqkx", "answers": "1"}, "Somebody can answer only"),
        ({"name": "Theirs", "q": "zqkx", "shared": "yes", "answers": "77"}, "of your own party"),
    ],
)
def test_a_list_that_says_nothing_is_not_saved(client, keys, record, form, told):
    assert told in Page(save(client, 422, **form).text).words
    assert record(lambda db: db.scalars(select(SavedList)).all()) == []


def test_a_removed_list_is_nowhere_and_a_private_one_is_ones_own(client, keys, record):
    save(client, name="Marks of Q", q="zqkx", shared="no")
    record(lambda db: db.execute(update(SavedList).values(person_id=another(db))))
    assert "Marks of Q" not in page(client, "/morning/lists").words
    assert client.post("/morning/lists/1/end").status_code == 404
    save(client, name="Prairie", region="Prairie", shared="yes")
    client.post("/morning/lists/2/end")
    assert "Prairie" not in [name for name, *_ in page(client, "/morning/lists").rows]


def test_nobody_answers_for_a_list_that_they_may_not_see(client, keys, record):
    def join(db: Session) -> None:
        party = db.scalars(select(Party.id).where(Party.keeps_register)).one()
        for name, role in (("Ina Inspects", "inspector"), ("Pia Plans", "planner")):
            person = Person(name=name, email=f"{name[:3]}@people.invalid", added_at=NOW)
            db.add(person)
            db.flush()
            member = {"added_at": NOW, "added_by": "Nobody"}
            db.add(Membership(person_id=person.id, party_id=party, role=role, **member))

    record(join)
    words = page(client, "/morning").words
    assert "Pia Plans" in words
    assert "Ina Inspects" not in words


def another(db):
    made = Person(name="Bea Example", email="bea@people.invalid", added_at=NOW)
    db.add(made)
    db.flush()
    return made.id


def colleague(db, name):
    """Somebody more of the party that the tests are signed in for."""
    made = Person(name=name, email=f"{name[:3].lower()}@people.invalid", added_at=NOW)
    db.add(made)
    db.flush()
    mine = db.scalar(select(Membership.party_id))
    db.add(
        Membership(person_id=made.id, party_id=mine, role="planner", added_at=NOW, added_by=NAME)
    )
    return made.id


# Files --------------------------------------------------------------------------------------------------------------


def test_the_files_hold_the_lines_of_the_list(client, keys, record):
    record(lambda db: add(db, "ZQKX", 7, date(2010, 1, 1)))
    rows = csv_rows(client.get("/morning.csv").content)
    assert rows == xlsx_rows(client.get("/morning.xlsx").content)
    for part in ("passed", "nearing", *PARTS[3:]):
        held = [row for row in rows if row["part"] == part]
        assert len(held) == len(lines(client, part)), part
        assert all(row["reasons"] for row in held)


# Cars on hold -------------------------------------------------------------------------------------------------------


def test_cars_on_hold_are_counted_and_listed_with_why_until_they_are_released(client, keys, record):
    def hold(held: bool, reason: str, day: date) -> None:
        new = NewHold(held=held, reason=reason, from_on=day)
        stamp = Stamp("Ida", NOW, TODAY)
        record(lambda db: car_facts.hold_or_release(db, keys["overdue"], new, stamp))

    assert "No car is on hold" in page(client, "/loading/held").words
    hold(True, "=cmd|valve weeps", date(2026, 11, 20))
    assert "1 car on hold" in page(client).words
    assert "ZQKX 1001 2026-11-20 =cmd|valve weeps Ida" in page(client, "/loading/held").words
    [row] = csv_rows(client.get("/loading/held.csv").content)
    assert (row["number"], row["since"]) == ("1001", "2026-11-20")
    hold(False, "Valve changed", TODAY)
    assert "on hold" not in page(client).words
    assert "No car is on hold" in page(client, "/loading/held").words


def test_the_workbook_counts_a_line_once_for_its_part_alone(client, keys):
    sheet = load_workbook(io.BytesIO(client.get("/morning.xlsx").content)).worksheets[0]
    cells = [str(cell.value) for row in sheet.iter_rows() for cell in row]
    counted = {each[9] for each in cells if each.startswith("=COUNTIF(")}
    assert counted == {"A"}  # the part; nothing is counted by its status
