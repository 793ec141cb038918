"""Fifty tablets at once before the program on PostgreSQL, each over a network that drops requests and loses answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import httpx
import pytest
from sqlalchemy import create_engine, make_url, text
from sqlalchemy.orm import Session

from app.store.db import make_engine, sessions
from app.store.people import Membership, Person, SignIn
from app.store.signed_in import fingerprint
from tests.field.entries import Tablet
from tests.fixtures.people import LONG_AGO, NEVER, beforehand, let_in
from tests.fixtures.postgres import fresh_database
from tests.fixtures.server import Server, serving
from tests.length import tries
from tests.pictures import shots
from tests.store.cast import add_car

TABLETS, AT_A_TIME = 50, 12
READINGS = tries(25, 95)
UNLIMITED = {"REQUESTS_PER_MINUTE_ADDRESS": "0", "REQUESTS_PER_MINUTE_PERSON": "0"}


@pytest.fixture
def yard(postgres_url: str, postgres_template: str, tmp_path: Path) -> Iterator[Server]:
    """The program with as many cars and inspectors as there are tablets."""
    template = make_url(postgres_template).database or ""
    with fresh_database(postgres_url, template) as url:
        engine = make_engine(url)
        with beforehand(sessions(engine)) as db:
            _people(db, let_in(db))
            for number in range(TABLETS):
                add_car(db, 1000 + number)
        engine.dispose()
        with serving(url, tmp_path, ATTACHMENTS=str(tmp_path / "attached"), **UNLIMITED) as running:
            yield running


def _people(db: Session, somebody: int) -> None:
    party = db.query(Membership).filter_by(person_id=somebody).first()
    assert party
    for number in range(TABLETS):
        person = Person(
            name=f"Inspector {number}", email=f"{number}@tests.example", added_at=LONG_AGO
        )
        db.add(person)
        db.flush()
        db.add(
            Membership(person_id=person.id, party_id=party.party_id, role="inspector",
                       added_at=LONG_AGO, added_by="Fixture")
        )  # fmt: skip
        db.add(
            SignIn(key_sha256=fingerprint(key_of(number)), person_id=person.id, how="password",
                   address="127.0.0.1", browser="tests", began_at=LONG_AGO, proved_at=LONG_AGO,
                   seen_at=NEVER, expires_at=NEVER)
        )  # fmt: skip


def key_of(number: int) -> str:
    return f"key-of-tablet-{number}"


@dataclass
class Sending:
    """One tablet on its network: what it has, and how often the network broke."""

    number: int
    url: str
    tablet: Tablet
    broken: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.chance = Random(self.number)
        self.client = httpx.Client(
            base_url=self.url, cookies={"session": key_of(self.number)}, timeout=120,
            headers={"Origin": self.url},
        )  # fmt: skip

    def ask(self, method: str, address: str, **how: object) -> httpx.Response:
        """Until an answer comes: every second request is dropped, of the others every third answer is lost."""
        while True:
            if self.chance.random() < 0.5:
                self.broken["dropped"] += 1
                continue
            answer = self.client.request(method, address, **how)  # type: ignore[arg-type]
            if self.chance.random() < 1 / 3:
                self.broken["lost"] += 1
                continue
            assert answer.status_code == 200, answer.text
            return answer

    def all(self, picture: bytes) -> None:
        person = self.ask("GET", "/api/v1/field/who").json()["person"]
        entries = self.tablet.entries
        for start in range(0, len(entries), AT_A_TIME):
            if start + AT_A_TIME >= len(entries):
                self.photograph(picture)
            body = {"person": person, "entries": entries[start : start + AT_A_TIME]}
            results = self.ask("POST", "/api/v1/field/entries", json=body).json()["results"]
            assert {each["state"] for each in results} <= {"stored", "known"}, results
        self.client.close()

    def photograph(self, picture: bytes) -> None:
        address = f"/api/v1/field/photographs/{shots.sum_of(picture)}"
        told = self.ask("GET", address, params={"report": self.tablet.report}).json()
        while not told["whole"]:
            at, half = told["received"], len(picture) // 2 + 1
            asked = {"at": at, "bytes": len(picture), "report": self.tablet.report}
            told = self.ask("PUT", address, params=asked, content=picture[at : at + half]).json()


def day_of_work(number: int, car_id: int, picture: bytes) -> Tablet:
    tablet = Tablet(car_id, f"report {number}").begin("visual", "thickness")
    for at in range(READINGS):
        tablet.reading(f"0.4{at:02}", ring=at // 6 + 1)
    says = {"digest": shots.sum_of(picture), "bytes": len(picture), "type": "image/jpeg"}
    return tablet.add("photograph", says).outcome("visual").outcome("thickness").sign()


def test_each_entry_of_fifty_tablets_is_stored_once_and_in_order(yard: Server) -> None:
    pictures = [shots.file(image=shots.noise((80, 60 + at))) for at in range(TABLETS)]
    store = create_engine(yard.database_url)
    with store.connect() as db:
        cars = db.scalars(text("select id from car order by id")).all()
    sending = [
        Sending(at, yard.url, day_of_work(at, cars[at], pictures[at])) for at in range(TABLETS)
    ]
    with ThreadPoolExecutor(TABLETS) as pool:
        list(pool.map(lambda each, picture: each.all(picture), sending, pictures))
    with store.connect() as db:
        rows = db.execute(text(
            "select report.key, entry.key from field_entry entry join report on report.id = report_id"
            " order by report.id, entry.place"
        )).all()  # fmt: skip
        kept = db.scalar(text("select count(*) from photograph"))
        passed = db.scalar(text("select count(*) from event where items = 'visual;thickness'"))
    store.dispose()
    stored: dict[str, list[str]] = {}
    for report, entry in rows:
        stored.setdefault(report, []).append(entry)
    assert stored == {
        each.tablet.report: [entry["key"] for entry in each.tablet.entries] for each in sending
    }
    assert (
        len(rows) == sum(len(each.tablet.entries) for each in sending) == TABLETS * (READINGS + 5)
    )
    assert (kept, passed) == (TABLETS, TABLETS)
    broken = sum((each.broken for each in sending), Counter())
    assert min(broken["dropped"], broken["lost"]) > TABLETS
