"""People and parties on pages: who is invited by whom, who sees whom, who ends whom; links by mail."""

import re
import socket
from collections.abc import Iterator

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message
from fastapi import FastAPI
from sqlalchemy import func, select

from app.actions.verifying import Asked, verify
from app.main import create_app
from app.settings import Settings
from app.store.changes import Change
from app.store.db import read_session, write_session
from app.store.doer import Doer
from app.store.people import Invitation, Membership, Person
from app.store.tables import Party
from tests.actions.people_cast import KEEPER, NOW, OTHER_PASSWORD, PASSWORD, SHOP
from tests.fixtures.web import TestClient
from tests.pages.signing import (
    Clock,
    Newcomer,
    browser,
    cheap_hashes,
    invite,
    join,
    link_in,
    set_up,
    sign_in,
)

pytestmark = pytest.mark.usefixtures(cheap_hashes.__name__)
BEA, EVE, IDA = (
    Newcomer(f"{name} Example", f"{name.lower()}@people.invalid") for name in ("Bea", "Eve", "Ida")
)
ADA_ID, EVE_ID = 1, 2  # in the order in which they get their accounts


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(sqlite_url: str, clock: Clock) -> FastAPI:
    return create_app(Settings(database_url=sqlite_url), clock=clock)


@pytest.fixture
def ada(app: FastAPI) -> Iterator[TestClient]:
    """Administers the party that looks after the register."""
    with browser(app) as asking:
        set_up(app, asking)
        asking.post("/people/parties", data={"name": SHOP})
        yield asking


@pytest.fixture
def eve(app: FastAPI, ada: TestClient) -> Iterator[TestClient]:
    """Administers the shop."""
    link = invite(ada, EVE, _party(app, SHOP), "administrator", "shop")
    with browser(app) as asking:
        assert join(asking, link, EVE).status_code == 303
        yield asking


def _party(app: FastAPI, name: str) -> int:
    with read_session(app.state.sessions) as db:
        return db.scalars(select(Party.id).where(Party.name == name)).one()


def _roles(app: FastAPI, email: str) -> set[str]:
    with read_session(app.state.sessions) as db:
        return set(
            db.scalars(
                select(Membership.role)
                .join(Person, Person.id == Membership.person_id)
                .where(Person.email == email, Membership.ended_at.is_(None))
            )
        )


def test_an_invitation_lets_somebody_join_once(app: FastAPI, ada: TestClient) -> None:
    link = invite(ada, IDA, _party(app, KEEPER), "inspector")
    assert IDA.email in ada.get("/people").text
    with browser(app) as new:
        assert IDA.email in new.get(link).text
        assert join(new, link, IDA).headers["location"] == "/account"
        assert "Inspector at" in new.get("/account").text
        assert new.get("/people").status_code == 403
    with browser(app) as other:
        assert other.get(link).status_code == 404
        assert join(other, link, BEA).status_code == 404


def test_a_link_that_is_too_old_or_taken_back_opens_nothing(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    taken, old = (invite(ada, each, _party(app, KEEPER), "shop") for each in (IDA, BEA))
    row = next(part for part in ada.get("/people").text.split("<tr>") if IDA.email in part)
    name = re.search(r'name="invitation" value="(\w+)"', row)
    assert name
    ada.post("/people/invitations/take-back", data={"invitation": name[1]})
    with browser(app) as new:
        assert new.get(taken).status_code == 404
        assert new.get(old).status_code == 200
        clock.on(days=7, seconds=1)
        assert new.get(old).status_code == 404


def test_somebody_who_has_an_account_accepts_by_signing_in(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    link = invite(ada, EVE, _party(app, KEEPER), "inspector")
    with browser(app) as other:
        # Nobody makes a second account, or takes over the first, by the link alone.
        assert join(other, link, Newcomer("Mallory", EVE.email, OTHER_PASSWORD)).status_code == 422
        assert sign_in(other, Newcomer(email=EVE.email, password=OTHER_PASSWORD)).status_code == 422
    assert ada.post(f"{link}/accept").status_code == 422  # it is not for her
    assert eve.post(f"{link}/accept").status_code == 303
    assert _roles(app, EVE.email) == {"administrator", "shop", "inspector"}


def test_a_refused_second_account_leaves_no_entry_and_the_record_stays_proved(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    link = invite(ada, EVE, _party(app, KEEPER), "inspector")

    def entries() -> int:
        with read_session(app.state.sessions) as db:
            return db.scalars(select(func.count()).select_from(Change)).one()

    before = entries()
    with browser(app) as other:
        assert join(other, link, Newcomer("Mallory", EVE.email, OTHER_PASSWORD)).status_code == 422
    assert entries() == before
    with read_session(app.state.sessions) as db:
        told = list(verify(db, Asked(NOW.date()), lambda *_: None))
    assert [each for each in told if each[1]] == []


def test_an_administrator_sees_people_of_her_own_parties_alone(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    listed = eve.get("/people").text
    assert EVE.email in listed
    assert "ada@people.invalid" not in listed
    assert KEEPER not in listed
    assert EVE.email in ada.get("/people").text


FORMS = {
    "": None,
    "/roles": {"party": "1", "roles": ["planner"]},
    "/roles/end": {"membership": "1"},
    "/end": {},
    "/end-sign-ins": {},
    "/new-password": {},
    "/take-seconds-away": {},
}


@pytest.mark.parametrize("form", FORMS)
def test_people_of_others_are_as_people_that_do_not_exist(
    app: FastAPI, ada: TestClient, eve: TestClient, form: str
) -> None:
    def asked(person: int) -> tuple[int, str]:
        address, data = f"/people/{person}{form}", FORMS[form]
        answer = eve.get(address) if data is None else eve.post(address, data=data)
        # Every answer has a name of its own in the log.
        unnamed = re.sub(r"[0-9a-f]{32}", "", answer.text)
        plain = unnamed.replace(f"the number {person}.", "the number N.")
        # What was sent is held, to be sent again to where it was sent.
        return answer.status_code, plain.replace(f'"/people/{person}{form}"', '"/people/N"')

    assert asked(ADA_ID) == asked(77)
    assert asked(ADA_ID)[0] == 404
    assert _roles(app, "ada@people.invalid") == {"planner", "compliance", "administrator"}


@pytest.mark.parametrize(
    ("address", "data"),
    [
        ("/people/invite", {"email": IDA.email, "party": "1", "roles": ["planner"]}),
        ("/people/2/roles", {"party": "1", "roles": ["planner"]}),
        ("/people/parties", {"name": "A third party"}),
        ("/people/parties/1/stand-alone", {}),
    ],
)
def test_an_administrator_changes_nothing_of_other_parties(
    app: FastAPI, ada: TestClient, eve: TestClient, address: str, data: dict[str, object]
) -> None:
    assert eve.post(address, data=data).status_code in (404, 422)
    assert _roles(app, EVE.email) == {"administrator", "shop"}
    with read_session(app.state.sessions) as db:
        assert set(db.scalars(select(Party.name))) == {KEEPER, SHOP}


def test_nobody_but_an_administrator_opens_these_pages(app: FastAPI, ada: TestClient) -> None:
    link = invite(ada, IDA, _party(app, KEEPER), "planner", "compliance", "inspector")
    with browser(app) as ida:
        join(ida, link, IDA)
        for address in ("/people", "/people/invite", "/people/parties", "/people/1"):
            assert ida.get(address).status_code == 403


def test_a_role_that_ends_takes_effect_at_once(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    page = ada.get(f"/people/{EVE_ID}").text
    row = next(part for part in page.split("<tr>") if ">Administrator<" in part)
    membership = re.search(r'name="membership" value="(\d+)"', row)
    assert membership
    assert eve.get("/people").status_code == 200
    ada.post(f"/people/{EVE_ID}/roles/end", data={"membership": membership[1]})
    assert eve.get("/people").status_code == 403


def test_somebody_who_is_ended_is_out_at_once(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    assert ada.post(f"/people/{EVE_ID}/end").status_code == 303
    assert eve.get("/account").status_code == 303
    assert sign_in(eve, EVE).status_code == 422
    assert _roles(app, EVE.email) == set()


def test_ending_somebody_here_leaves_what_they_may_elsewhere(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    link = invite(ada, IDA, _party(app, KEEPER), "planner")
    with browser(app) as ida:
        join(ida, link, IDA)
        ida.post(f"{invite(eve, IDA, _party(app, SHOP), 'shop')}/accept")
        assert _roles(app, IDA.email) == {"planner", "shop"}
        # The shop’s administrator neither opens nor ends the whole account.
        for form in ("new-password", "take-seconds-away", "end-sign-ins"):
            refused = eve.post(f"/people/3/{form}")
            assert refused.status_code == 422
            # Nor is told that the person belongs to somebody else besides.
            assert "cannot be changed from this page" in refused.text
            assert not re.search(f"another|other part|elsewhere|{KEEPER}", _notice(refused.text))
        # Nor signs the person out of their work there.
        assert ida.get("/account").status_code == 200
        eve.post("/people/3/end")
        assert _roles(app, IDA.email) == {"planner"}
        assert ida.get("/account").status_code == 200


def _notice(html: str) -> str:
    found = re.search(r'<div class="notice notice-stop".*?</div>', html, re.DOTALL)
    assert found, html
    return found[0]


def test_an_administrator_signs_a_person_out_everywhere(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    link = invite(eve, IDA, _party(app, SHOP), "shop")
    with browser(app) as ida, browser(app, ("203.0.113.9", 50_000)) as tablet:
        join(ida, link, IDA)
        sign_in(tablet, IDA)
        assert "End all sign-ins" in eve.get("/people/3").text
        assert eve.post("/people/3/end-sign-ins").headers["location"].endswith("=signed-out")
        assert ida.get("/account").status_code == tablet.get("/account").status_code == 303
        assert sign_in(ida, IDA).status_code == 303
        assert "ended every sign-in" in ada.get("/changes").text
        # Whose they are no longer is none of their business.
        eve.post("/people/3/end")
        ada.post("/people/3/roles", data={"party": "1", "roles": ["planner"]})
        assert eve.post("/people/3/end-sign-ins").status_code in (404, 422)
    assert eve.get("/account").status_code == 200


def test_the_last_administrator_of_the_register_stays(app: FastAPI, ada: TestClient) -> None:
    page = ada.get(f"/people/{ADA_ID}").text
    row = next(part for part in page.split("<tr>") if ">Administrator<" in part)
    membership = re.search(r'name="membership" value="(\d+)"', row)
    assert membership
    for form, data in (("/end", {}), ("/roles/end", {"membership": membership[1]})):
        answer = ada.post(f"/people/{ADA_ID}{form}", data=data)
        assert answer.status_code == 422
        assert "without an administrator" in answer.text
    assert "administrator" in _roles(app, "ada@people.invalid")
    link = invite(ada, BEA, _party(app, KEEPER), "administrator")
    with browser(app) as bea:
        join(bea, link, BEA)
        assert bea.post(f"/people/{ADA_ID}/end").status_code == 303


def test_a_link_for_a_new_password_works_once_and_signs_out_everywhere(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    link = link_in(ada.post(f"/people/{EVE_ID}/new-password").text)
    new = {"password": OTHER_PASSWORD, "again": OTHER_PASSWORD}
    with browser(app) as other:
        assert EVE.email in other.get(link).text
        short = other.post(link, data={"password": "short", "again": "short"})
        assert short.status_code == 422
        assert other.post(link, data=new).status_code == 303
        assert other.post(link, data=new).status_code == 404
        assert eve.get("/account").status_code == 303
        assert sign_in(other, EVE).status_code == 422
        changed = Newcomer(email=EVE.email, password=OTHER_PASSWORD)
        assert sign_in(other, changed).status_code == 303


def test_a_newer_link_for_a_new_password_ends_the_one_before(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    first, second = (link_in(ada.post(f"/people/{EVE_ID}/new-password").text) for _ in range(2))
    with browser(app) as other:
        assert other.get(first).status_code == 404
        assert other.get(second).status_code == 200


def test_parties_are_added_once_and_kept_ones_let_go(app: FastAPI, ada: TestClient) -> None:
    again = ada.post("/people/parties", data={"name": f" {SHOP} "})
    assert again.status_code == 422
    assert "stands for itself already" in again.text
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        kept = Party(name="Made-up Tanks", kept_by=_party(app, KEEPER))
        db.add(kept)
        db.flush()
        number = kept.id
    assert "Made-up Tanks" in ada.get("/people/parties").text
    assert ada.post(f"/people/parties/{number}/stand-alone").status_code == 303
    assert ada.post(f"/people/parties/{number}/stand-alone").status_code == 404
    with read_session(app.state.sessions) as db:
        assert db.get_one(Party, number).kept_by is None


@pytest.mark.parametrize(
    ("wrong", "problem"),
    [
        ({"email": "ida"}, "is no address of mail"),
        ({"roles": []}, "choose at least one"),
        ({"roles": ["owner of everything"]}, "choose at least one"),
        ({"party": "99"}, "no party"),
        ({"party": "x"}, "no party"),
    ],
)
def test_an_invitation_that_cannot_be_made_says_why(
    app: FastAPI, ada: TestClient, wrong: dict[str, object], problem: str
) -> None:
    typed = {"email": IDA.email, "name": "Ida", "party": "1", "roles": ["shop"]} | wrong
    answer = ada.post("/people/invite", data=typed)
    assert answer.status_code in (404, 422)
    assert problem in answer.text.lower()


class Letters(Message):
    """Keeps what a local mail server is handed."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []

    def handle_message(self, message) -> None:
        self.found.append((message["To"], message.get_payload()))


def test_a_link_is_mailed_where_a_server_is_set(sqlite_url: str, clock: Clock) -> None:
    letters = Letters()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = Controller(letters, hostname="127.0.0.1", port=port)
    server.start()
    try:
        settings = Settings(
            database_url=sqlite_url, mail_server=f"127.0.0.1:{port}",
            mail_from="register@people.invalid", mail_tls="none",
        )  # fmt: skip
        app = create_app(settings, clock=clock)
        with browser(app) as ada:
            set_up(app, ada)
            link = invite(ada, IDA, 1, "inspector")
    finally:
        server.stop()
    assert [to for to, _ in letters.found] == [IDA.email]
    assert f"http://127.0.0.1{link}" in letters.found[0][1]


def test_the_link_is_shown_though_the_mail_server_is_away(sqlite_url: str, clock: Clock) -> None:
    settings = Settings(
        database_url=sqlite_url, mail_server="127.0.0.1:1", mail_from="register@people.invalid"
    )
    app = create_app(settings, clock=clock)
    with browser(app) as ada:
        set_up(app, ada)
        answer = ada.post(
            "/people/invite", data={"email": IDA.email, "party": "1", "roles": ["shop"]}
        )
    assert link_in(answer.text)
    assert "could not be mailed" in answer.text
    assert PASSWORD not in answer.text


def test_the_list_of_people_is_taken_away_with_the_reach_of_its_page_and_without_a_secret(
    app: FastAPI, ada: TestClient, eve: TestClient
) -> None:
    invite(ada, IDA, _party(app, SHOP), "inspector", "shop")
    told = eve.get("/people.json").json()
    assert [(each["party"], each["state"], each["email"], each["roles"]) for each in told] == [
        (SHOP, "member", EVE.email, "Shop; Administrator"),
        (SHOP, "invited", IDA.email, "Inspector; Shop"),
    ]
    assert told[1]["invited_by"] == "Ada Example"
    assert {each["party"] for each in ada.get("/people.json").json()} == {KEEPER, SHOP}
    assert ada.post(f"/people/{EVE_ID}/end").status_code == 303
    former = [each for each in ada.get("/people.json").json() if each["state"] == "former"]
    assert [(each["name"], each["party"], each["roles"]) for each in former] == [
        (EVE.name, None, None)
    ]
    with read_session(app.state.sessions) as db:
        secrets = [each.password for each in db.scalars(select(Person))]
        secrets += [each.key_sha256[:16] for each in db.scalars(select(Invitation))]
    content = ada.get("/people.csv").text
    assert not [each for each in secrets if each in content]


def test_only_who_administers_takes_people_away(app: FastAPI, ada: TestClient) -> None:
    link = invite(ada, IDA, _party(app, KEEPER), "inspector")
    with browser(app) as new:
        join(new, link, IDA)
        assert new.get("/people.xlsx").status_code == 403
