"""Signing in as people do, for the tests of pages: forms sent by a client on this machine."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta

import pytest
from argon2 import PasswordHasher
from argon2.profiles import CHEAPEST
from fastapi import FastAPI

from app.actions import invitations, passwords
from app.store.db import write_session
from app.store.doer import Doer
from tests.actions.people_cast import KEEPER, NOW, PASSWORD
from tests.fixtures.web import TestClient

HERE = ("127.0.0.1", 50_000)
STRANGER = ("203.0.113.7", 50_000)
LINK = re.compile(r"https?://[^\s<]*?(/(?:invitation|new-password|set-up)/[\w-]+)")


class Clock:
    """Tells a moment that a test moves on."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now

    def on(self, **by: float) -> None:
        self.now += timedelta(**by)


@contextmanager
def browser(app: FastAPI, client: tuple[str, int] = HERE) -> Iterator[TestClient]:
    """A browser on this machine, or elsewhere, with cookies of its own; follows no redirects."""
    with TestClient(
        app,
        base_url="http://127.0.0.1",
        client=client,
        follow_redirects=False,
        raise_server_exceptions=True,
        headers={"Origin": "http://127.0.0.1"},
    ) as asking:
        yield asking


@dataclass(frozen=True)
class Newcomer:
    name: str = "Ada Example"
    email: str = "ada@people.invalid"
    password: str = PASSWORD


def set_up_link(app: FastAPI) -> str:
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        return f"/set-up/{invitations.set_up_link(db, NOW)}"


def set_up(app: FastAPI, client: TestClient, new: Newcomer = Newcomer()) -> None:
    """Make the first account by the link; the client is signed in with it."""
    answer = client.post(
        set_up_link(app),
        data={
            "party": KEEPER, "name": new.name, "email": new.email, "password": new.password,
            "again": new.password, "roles": ["planner", "compliance", "administrator"],
        },
    )  # fmt: skip
    assert answer.status_code == 303, answer.text


def sign_in(client: TestClient, new: Newcomer, **more: str):
    return client.post("/sign-in", data={"email": new.email, "password": new.password} | more)


def link_in(html: str) -> str:
    """The path of the link that a page shows once."""
    found = LINK.search(html)
    assert found, html
    return found[1]


def invite(client: TestClient, new: Newcomer, party: int, *roles: str) -> str:
    answer = client.post(
        "/people/invite", data={"email": new.email, "party": str(party), "roles": list(roles)}
    )
    assert answer.status_code == 200, answer.text
    return link_in(answer.text)


def join(client: TestClient, link: str, new: Newcomer):
    return client.post(
        link, data={"name": new.name, "password": new.password, "again": new.password}
    )


@pytest.fixture
def cheap_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passwords are hashed with the least memory, for tests that are not about hashing."""
    monkeypatch.setattr(passwords, "_HASHER", PasswordHasher.from_parameters(CHEAPEST))
