"""One car of one company, a shop to which it is sent and another, each with people of its own."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from fastapi import FastAPI
from sqlalchemy import Engine

from app.main import create_app
from app.settings import Settings
from app.store.db import sessions, write_session
from tests.access.parties import (
    MARK,
    NUMBER,
    OTHER_SHOP,
    OWNER,
    SHOP,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.store import Stocked
from tests.fixtures.web import NOW, TestClient
from tests.pages.reading import Page

NAME = f"{MARK} {NUMBER}"
NOTHING = 987654
SENDING = {"shop": SHOP, "sent_on": "2026-11-02", "instructions": "Look at the lining."}


@dataclass
class Shared:
    """One car of one company, and the people of two shops."""

    app: FastAPI
    car: int

    def ask(self, party: str, role: str) -> TestClient:
        return browser(self.app, party, role)

    @property
    def planner(self) -> TestClient:
        return self.ask(OWNER, "planner")

    @property
    def shop(self) -> TestClient:
        return self.ask(SHOP, "shop")

    def send(self, **form: str) -> int:
        answer = self.planner.post(
            f"/cars/{self.car}/visits", data=SENDING | form, follow_redirects=False
        )
        assert answer.status_code == 303, answer.text
        return int(self.planner.get("/api/v1/visits").json()["rows"][0]["id"])

    def release(self, visit: int, client: TestClient | None = None) -> None:
        answer = (client or self.planner).post(
            f"/visits/{visit}/released", data={"on": "2026-11-20"}, follow_redirects=False
        )
        assert answer.status_code == 303, answer.text


def stock(engine: Engine) -> int:
    """The car and the people in an empty store, to be copied for each test; gives the key of the car."""
    with write_session(sessions(engine)) as db:
        party = companies(db, OWNER, SHOP, OTHER_SHOP)
        for role in ("planner", "inspector"):
            signed_in(db, party[OWNER], role)
        for name in (SHOP, OTHER_SHOP):
            for role in ("planner", "shop"):
                signed_in(db, party[name], role)
        return lined_car(db, party[OWNER]).id


@contextmanager
def sharing(stocked: Stocked) -> Iterator[Shared]:
    """The application on a copy of what `stock` made."""
    app = create_app(Settings(database_url=stocked.url), clock=lambda: NOW)
    yield Shared(app, stocked.told)
    app.state.engine.dispose()


def words(client: TestClient, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, address
    return Page(answer.text).words
