"""Taking over a car on pages, on either engine: its file checked, looked at with nothing stored, said yes to."""

import re
import shutil
from dataclasses import replace

import pytest
from sqlalchemy import func, select

from app.access import EVERYTHING
from app.actions import events, hand_over, imports
from app.actions.take_over import sum_of
from app.files import sheets
from app.main import create_app
from app.pictures import Attachments
from app.settings import Settings
from app.store.db import make_engine, sessions
from app.store.derived import ImportRun, Upload
from app.store.tables import Car, Party
from tests.actions.test_hand_over import rewritten
from tests.fixtures.people import let_in_at
from tests.fixtures.web import NOW, TODAY, asking
from tests.pages.reading import Page
from tests.store.cast import OWNER, add_car, stamp, visual

BUYER = "Marrow Creek Cars (invented)"


@pytest.fixture
def file(sqlite_template, tmp_path):
    """ZQKX 1045 with an inspection, handed over by another register."""
    path = tmp_path / "there.db"
    shutil.copyfile(sqlite_template, path)
    engine = make_engine(f"sqlite:///{path}")
    with sessions(engine)(info={"reach": EVERYTHING}) as db:
        car = add_car(db)
        events.record_event(db, car.id, visual(), stamp(5))
        made = hand_over.hand_over(db, car.id, BUYER, TODAY, stamp(10))
        written = tmp_path / "car.zip"
        hand_over.write_file(db, Attachments(tmp_path / "there"), made, written)
    engine.dispose()
    return written


@pytest.fixture
def app(migrated_url, tmp_path):
    """The register here, on either engine."""
    let_in_at(migrated_url)
    kept = str(tmp_path / "attachments")
    made = create_app(Settings(database_url=migrated_url, attachments=kept), clock=lambda: NOW)
    yield made
    made.state.engine.dispose()


@pytest.fixture
def here(app):
    with asking(app) as client:
        yield client


def hand_in(client, path, **form):
    return client.post("/take-over", data=form, files={"file": (path.name, path.read_bytes())})


def count(app, table):
    with app.state.sessions(info={"reach": EVERYTHING}) as db:
        return db.scalar(select(func.count()).select_from(table))


def test_a_car_is_looked_at_with_nothing_stored_and_taken_over_on_a_yes(app, here, file):
    seen = hand_in(here, file, sum=f" {sum_of(file).upper()} ")
    words = Page(seen.text).words
    assert "Ready to come in" in words
    assert f"To {BUYER}" in words
    assert f"{BUYER} , to whom the car was handed over, is not known here" in words
    assert ["Inspections and changes", "1"] in Page(seen.text).rows
    assert "each is the same, with the same reasons" in words
    assert ["2030-03-15", "the same"] in [row[1:] for row in Page(seen.text).rows]
    assert sum_of(file) in words
    assert (count(app, Car), count(app, ImportRun), count(app, Upload)) == (0, 0, 1)
    done = here.post(f"{seen.url.path}/confirm")
    assert "Taken over" in Page(done.text).words
    assert f"came from {OWNER}" in Page(done.text).words
    assert (count(app, Car), count(app, ImportRun), count(app, Upload)) == (1, 1, 0)
    assert "ZQKX 1045" in Page(here.get("/fleet").text).words
    # A form that is sent once more finds nothing that waits.
    assert here.post(f"{seen.url.path}/confirm").status_code == 404
    assert "took a car over from another register" in Page(here.get("/changes").text).words


def test_what_is_due_otherwise_here_is_shown_with_the_reasons_of_both(here, file, monkeypatch):
    def another(db, car_id, at, owner_id, real=hand_over.answer_of):
        answer = real(db, car_id, at, owner_id)
        items = (replace(answer.items[0], due_on=TODAY), *answer.items[1:])
        return replace(answer, items=items)

    monkeypatch.setattr(hand_over, "answer_of", another)
    page = Page(hand_in(here, file).text)
    assert "1 item differs here" in page.words
    [row] = [each for each in page.rows if each[-1].startswith(TODAY.isoformat())]
    assert "There:" in row[2]
    assert "Here:" in row[2]


def damaged(file):
    def change(held):
        name = next(name for name in held if name.startswith("tables/event"))
        held[name] = held[name].replace(b"2020", b"2021", 1)

    return rewritten(file, change)


def no_file(file):
    file.write_bytes(b"mark,number\n")
    return file


@pytest.mark.parametrize(
    ("spoil", "form", "said"),
    [
        (damaged, {}, "car.zip is damaged: its member tables/event.jsonl is not what was written"),
        (no_file, {}, "car.zip is no hand-over of a car"),
        (lambda file: file, {"sum": "0" * 64}, "is not the file that was meant: its SHA-256 is"),
    ],
)
def test_what_cannot_be_taken_over_is_told_and_not_kept(app, here, file, spoil, form, said):
    answer = hand_in(here, spoil(file), **form)
    assert answer.status_code == 422
    assert said in Page(answer.text).words
    assert form.get("sum", "") in answer.text
    assert count(app, Upload) == 0


def test_a_file_that_grows_too_large_when_unpacked_is_refused(here, file, monkeypatch):
    monkeypatch.setattr("app.pages.taking_over.MEGABYTE", 10)
    answer = hand_in(here, file)
    assert answer.status_code == 422
    assert "bytes when it is unpacked; at most 1,280 are taken here" in Page(answer.text).words


def test_a_form_without_a_file_says_so(here):
    answer = here.post("/take-over", data={"sum": "abc"})
    assert answer.status_code == 422
    assert "Choose a file." in answer.text
    assert 'value="abc"' in answer.text


def test_a_car_that_is_here_already_is_told_before_and_at_the_yes(app, here, file):
    at = hand_in(here, file).url.path
    cars = sheets.read("cars.csv", b"mark,number,specification\nZQKX,1045,DOT 111A100W1\n")
    with app.state.sessions(info={"reach": EVERYTHING}) as db:
        imports.apply(db, "cars", cars, stamp(20))
        db.commit()
    refused = here.post(f"{at}/confirm")
    assert refused.status_code == 422
    for answer in (refused, here.get(at)):
        assert "This file cannot be taken over" in answer.text
        assert "ZQKX 1045 is in the register already" in Page(answer.text).words
        assert "/confirm" not in answer.text
    assert count(app, Car) == 1


def test_a_company_that_is_known_gets_the_car(app, here, file):
    with app.state.sessions(info={"reach": EVERYTHING}) as db:
        keeper = db.scalars(select(Party)).one()
        db.add(Party(name=BUYER, kept_by=keeper.id))
        db.commit()
    seen = hand_in(here, file)
    assert "is not known here" not in seen.text
    here.post(f"{seen.url.path}/confirm")
    assert count(app, Party) == 3  # and the former owner, of whom the history tells


def test_a_file_that_waits_is_forgotten_and_is_no_file_to_bring_in(app, here, file):
    at = hand_in(here, file).url.path
    key = at.rpartition("/")[2]
    assert here.get(f"/imports/waiting/{key}").status_code == 404
    assert here.post(f"/imports/waiting/{key}/confirm").status_code == 404
    assert here.post(f"{at}/drop").url.path == "/take-over"
    assert here.get(at).status_code == 404
    assert count(app, Upload) == 0


def test_files_in_leads_to_the_page(here):
    assert re.search(r'href="/take-over"', here.get("/imports").text)
