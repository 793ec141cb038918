"""Accounts on pages: the set-up link, signing in, second secrets, one's own account, tokens."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pyotp
import pytest
from fastapi import FastAPI
from sqlalchemy import select

from app.main import create_app
from app.settings import Settings
from app.store.db import read_session, write_session
from app.store.doer import Doer
from app.store.people import Membership, Person, RecoveryCode, SignIn, Token
from app.store.tables import Party
from app.web.held import SECRETS
from tests.actions.people_cast import KEEPER, NOW, OTHER_PASSWORD, PASSWORD
from tests.fixtures.web import TestClient
from tests.pages.signing import (
    STRANGER,
    Clock,
    Newcomer,
    browser,
    cheap_hashes,
    set_up,
    set_up_link,
    sign_in,
)

ADA = Newcomer()
ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.usefixtures(cheap_hashes.__name__)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def app(sqlite_url: str, clock: Clock) -> FastAPI:
    return create_app(Settings(database_url=sqlite_url), clock=clock)


@pytest.fixture
def here(app: FastAPI) -> Iterator[TestClient]:
    with browser(app) as asking:
        yield asking


@pytest.fixture
def ada(app: FastAPI, here: TestClient) -> TestClient:
    """The first administrator, signed in."""
    set_up(app, here)
    return here


# The first account


def test_the_set_up_page_makes_the_first_party_and_person(app: FastAPI, here: TestClient) -> None:
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        db.add(Party(name="Made-up Tanks"))
    page = here.get(set_up_link(app))
    assert page.status_code == 200
    assert re.findall(r'value="(\w+)" checked', page.text) == [
        "planner",
        "compliance",
        "administrator",
    ]
    set_up(app, here)
    with read_session(app.state.sessions) as db:
        own = db.scalars(select(Party).where(Party.keeps_register)).one()
        other = db.scalars(select(Party).where(Party.name == "Made-up Tanks")).one()
        assert (own.name, other.kept_by) == (KEEPER, own.id)
        assert set(db.scalars(select(Membership.role))) == {
            "planner",
            "compliance",
            "administrator",
        }
    assert "Ada Example" in here.get("/account").text


def test_the_set_up_link_works_once(app: FastAPI, ada: TestClient) -> None:
    with browser(app) as other:
        link = f"/set-up/{'x' * 43}"
        assert other.get(link).status_code == 404
        assert other.post(link, data={}).status_code == 404


@pytest.mark.parametrize(
    ("client", "headers"),
    [
        (STRANGER, {}),  # from the network
        (("127.0.0.1", 1), {"x-forwarded-for": "203.0.113.7"}),  # through a proxy, for another
    ],
)
def test_the_set_up_page_answers_on_this_machine_alone(
    app: FastAPI, client: tuple[str, int], headers: dict[str, str]
) -> None:
    link = set_up_link(app)
    with browser(app, client) as asking:
        assert asking.get(link, headers=headers).status_code == 403
        assert asking.post(link, data={}, headers=headers).status_code == 403


def test_what_is_wrong_stands_beside_its_field_and_secrets_are_not_shown_again(
    app: FastAPI, here: TestClient
) -> None:
    answer = here.post(
        set_up_link(app),
        data={"party": KEEPER, "name": "", "email": "no address", "password": "short",
              "again": "short", "roles": ["planner"]},
    )  # fmt: skip
    assert answer.status_code == 422
    for wanted in ("want a name", "is no address of mail", "12 to 256", "is an administrator"):
        assert wanted in answer.text.lower()
    assert 'value="no address"' in answer.text
    assert 'value="short"' not in answer.text


# Signing in and out


def test_signing_in_leads_back_to_the_page_asked_for(app: FastAPI, ada: TestClient) -> None:
    with browser(app) as other:
        asked = other.get("/fleet?q=ZQAX")
        assert asked.headers["location"].startswith("/sign-in?next=")
        assert 'name="next" value="/fleet?q=ZQAX"' in other.get(asked.headers["location"]).text
        answer = sign_in(other, ADA, next="/fleet?q=ZQAX")
        assert (answer.status_code, answer.headers["location"]) == (303, "/fleet?q=ZQAX")
        assert other.get("/fleet").status_code == 200


@pytest.mark.parametrize(
    "away", ["https://stranger.example/", "//stranger.example", "/\\stranger.example", "/sign-out"]
)
def test_signing_in_leads_to_no_other_site(app: FastAPI, ada: TestClient, away: str) -> None:
    with browser(app) as other:
        assert sign_in(other, ADA, next=away).headers["location"] == "/"


def test_a_sign_in_has_a_new_key_that_no_script_sees(app: FastAPI, ada: TestClient) -> None:
    before = ada.cookies["session"]
    answer = sign_in(ada, ADA)
    assert ada.cookies["session"] != before
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=lax" in said
    with read_session(app.state.sessions) as db:
        assert sum(each.ended_at is None for each in db.scalars(select(SignIn))) == 1


def test_a_wrong_password_and_an_unknown_account_get_the_same_page(
    app: FastAPI, ada: TestClient
) -> None:
    pages = []
    for email in (ADA.email, "nobody@people.invalid"):
        with browser(app) as other:
            answer = sign_in(other, Newcomer(email=email, password=OTHER_PASSWORD))
            assert answer.status_code == 422
            assert OTHER_PASSWORD not in answer.text
            assert f'value="{email}"' in answer.text
            pages.append(answer.text.replace(email, "ADDRESS"))
    strip = re.compile(r"[0-9a-f]{32}")
    assert strip.sub("", pages[0]) == strip.sub("", pages[1])


def test_many_wrong_passwords_are_answered_with_how_long_to_wait(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    with browser(app, STRANGER) as other:
        wrong = Newcomer(password=OTHER_PASSWORD)
        said = [sign_in(other, wrong).status_code for _ in range(6)]
        assert said == [422] * 5 + [429]
        assert sign_in(other, ADA).headers["retry-after"] == "2"
        clock.on(seconds=3)
        assert sign_in(other, ADA).status_code == 303


def test_after_signing_out_an_old_tab_shows_nothing(ada: TestClient) -> None:
    key = ada.cookies["session"]
    assert ada.post("/sign-out").headers["location"] == "/sign-in"
    assert "session" not in ada.cookies
    ada.cookies.set("session", key)
    assert ada.get("/account").status_code == 303


def test_a_sign_in_ends_unused_and_goes_on_used(ada: TestClient, clock: Clock) -> None:
    for _ in range(3):
        clock.on(hours=11)
        assert ada.get("/account").status_code == 200
    clock.on(hours=13)
    assert ada.get("/account").status_code == 303


def test_a_sign_in_ends_after_its_days_however_much_it_is_used(
    ada: TestClient, clock: Clock
) -> None:
    for _ in range(16):
        clock.on(hours=10)
        assert ada.get("/account").status_code == 200
    clock.on(hours=9)
    assert ada.get("/account").status_code == 303


def test_a_change_asked_for_by_another_site_is_refused(ada: TestClient) -> None:
    answer = ada.post("/sign-out", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403
    assert ada.get("/account").status_code == 200


# Proving anew


@pytest.mark.parametrize(
    "address",
    [
        "/account/email",
        "/account/password",
        "/account/codes",
        "/account/passkeys",
        "/account/tokens",
    ],
)
def test_what_is_sensitive_asks_for_a_fresh_secret(
    ada: TestClient, clock: Clock, address: str
) -> None:
    assert ada.get(address).status_code == 200
    clock.on(minutes=11)
    asked = ada.get(address)
    assert asked.status_code == 303
    assert asked.headers["location"].startswith("/account/prove?next=")
    wrong = ada.post("/account/prove", data={"next": address, "password": OTHER_PASSWORD})
    assert wrong.status_code == 422
    right = ada.post("/account/prove", data={"next": address, "password": PASSWORD})
    assert right.headers["location"] == address
    assert ada.get(address).status_code == 200


@pytest.mark.parametrize(
    "address",
    [
        "/account/email", "/account/password", "/account/codes", "/account/codes/off",
        "/account/recovery", "/account/passkeys", "/account/passkeys/remove", "/account/tokens",
    ],
)  # fmt: skip
def test_what_is_sensitive_is_not_changed_by_a_form_left_open(
    app: FastAPI, ada: TestClient, clock: Clock, address: str
) -> None:
    clock.on(minutes=31)
    answer = ada.post(
        address, data={"email": "eve@people.invalid", "name": "x", "scopes": "read",
                       "last_day": "2027-01-01", "current": PASSWORD,
                       "password": OTHER_PASSWORD, "again": OTHER_PASSWORD}
    )  # fmt: skip
    assert answer.headers["location"].startswith("/account/prove")
    with read_session(app.state.sessions) as db:
        person = db.scalars(select(Person)).one()
        assert person.email == ADA.email
        assert not list(db.scalars(select(Token)))
        assert not list(db.scalars(select(RecoveryCode)))


# The account


def test_name_and_address_are_changed(ada: TestClient) -> None:
    ada.post("/account/name", data={"name": "Ada  Exemplar"})
    ada.post("/account/email", data={"email": "Exemplar@people.invalid"})
    page = ada.get("/account").text
    assert "Ada Exemplar" in page
    assert "exemplar@people.invalid" in page


DARK_SHEET = re.compile(r'<link rel="stylesheet" href="/static/dark[^>]*media="([^"]*)"')


@pytest.mark.parametrize(
    ("ground", "dark_for"),
    [
        ("dark", ["screen"]),
        ("light", []),
        ("system", ["screen and (prefers-color-scheme: dark)"]),  # as before any choice
        ("<b>", ["screen and (prefers-color-scheme: dark)"]),  # what no page offers is not kept
    ],
)
def test_whoever_wants_pages_light_or_dark_says_so_and_prints_stay_light(
    ada: TestClient, ground: str, dark_for: list[str]
) -> None:
    sent = ada.post("/account/ground", data={"ground": ground})
    assert sent.status_code == (303 if ground != "<b>" else 422)
    page = ada.get("/account").text
    assert DARK_SHEET.findall(page) == dark_for
    kept = ground if ground != "<b>" else "system"
    assert f'name="ground" value="{kept}" checked' in page


def test_a_new_password_wants_the_old_one_and_ends_other_sign_ins(
    app: FastAPI, ada: TestClient
) -> None:
    with browser(app) as other:
        sign_in(other, ADA)
        new = {"password": OTHER_PASSWORD, "again": OTHER_PASSWORD}
        assert ada.post("/account/password", data={"current": "wrong", **new}).status_code == 422
        assert ada.post("/account/password", data={"current": PASSWORD, **new}).status_code == 303
        assert ada.get("/account").status_code == 200
        assert other.get("/account").status_code == 303
        assert sign_in(other, ADA).status_code == 422
        assert sign_in(other, Newcomer(password=OTHER_PASSWORD)).status_code == 303


def test_sign_ins_are_listed_and_ended_one_by_one_and_all(app: FastAPI, ada: TestClient) -> None:
    with browser(app, STRANGER) as other:
        other.headers["user-agent"] = "A tablet of the tests"
        sign_in(other, ADA)
        page = ada.get("/account/sign-ins").text
        assert "A tablet of the tests" in page
        assert "203.0.113.7" in page
        row = next(part for part in page.split("<tr>") if "A tablet" in part)
        name = re.search(r'name="sign_in" value="(\w+)"', row)
        assert name
        ada.post("/account/sign-ins/end", data={"sign_in": name[1]})
        assert other.get("/account").status_code == 303
        sign_in(other, ADA)
        ada.post("/account/sign-ins/end-all")
        assert other.get("/account").status_code == ada.get("/account").status_code == 303


# Codes


def _set_up_codes(ada: TestClient, clock: Clock) -> tuple[pyotp.TOTP, list[str]]:
    page = ada.get("/account/codes").text
    secret = re.search(r'id="secret">([A-Z2-7 ]+)<', page)
    sealed = re.search(r'name="sealed" value="([^"]+)"', page)
    assert secret
    assert sealed
    assert "<svg" in page
    assert "style=" not in page
    made = pyotp.TOTP(secret[1].replace(" ", ""))
    answer = ada.post("/account/codes", data={"sealed": sealed[1], "code": made.at(clock.now)})
    assert answer.status_code == 200
    return made, re.findall(r"<li>((?:\w{5}-){4}\w{5})</li>", answer.text)


def test_a_code_is_asked_for_after_the_password(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    made, _ = _set_up_codes(ada, clock)
    clock.on(seconds=90)
    with browser(app) as other:
        answer = sign_in(other, ADA, next="/due")
        assert answer.headers["location"].startswith("/sign-in/second")
        # The password alone lets nobody in.
        assert other.get("/due").status_code == other.get("/account").status_code == 303
        before = other.cookies["session"]
        wrong = other.post("/sign-in/second", data={"code": "000000", "next": "/due"})
        assert wrong.status_code == 422
        code = made.at(clock.now)
        right = other.post(
            "/sign-in/second", data={"code": f" {code[:3]} {code[3:]}", "next": "/due"}
        )
        assert right.headers["location"] == "/due"
        assert other.cookies["session"] != before
        assert other.get("/due").status_code == 200
    with browser(app) as again:
        sign_in(again, ADA)
        assert again.post("/sign-in/second", data={"code": code}).status_code == 422


@pytest.mark.parametrize(
    ("seconds", "status"),
    [
        (-60, 422),  # two steps before
        (-30, 303),  # one step before
        (0, 303),
        (30, 303),  # one step after
        (60, 422),  # two steps after
    ],
)
def test_a_code_counts_one_step_either_side(
    app: FastAPI, ada: TestClient, clock: Clock, seconds: int, status: int
) -> None:
    made, _ = _set_up_codes(ada, clock)
    clock.on(minutes=10)
    with browser(app) as other:
        sign_in(other, ADA)
        code = made.at(clock.now + timedelta(seconds=seconds))
        assert other.post("/sign-in/second", data={"code": code}).status_code == status


def test_codes_are_slowed_down_too(app: FastAPI, ada: TestClient, clock: Clock) -> None:
    _set_up_codes(ada, clock)
    with browser(app) as other:
        sign_in(other, ADA)
        said = [
            other.post("/sign-in/second", data={"code": f"{number:06}"}).status_code
            for number in range(7)
        ]
    assert said == [422] * 5 + [429] * 2


def test_a_code_on_paper_lets_in_once(app: FastAPI, ada: TestClient, clock: Clock) -> None:
    _, papers = _set_up_codes(ada, clock)
    assert len(set(papers)) == 10
    typed = papers[3].upper().replace("-", " ")
    with browser(app) as other:
        sign_in(other, ADA)
        assert other.post("/sign-in/second", data={"code": typed}).status_code == 303
        assert other.get("/account").status_code == 200
        sign_in(other, ADA)
        assert other.post("/sign-in/second", data={"code": typed}).status_code == 422
    assert "9 unused" in ada.get("/account").text
    with read_session(app.state.sessions) as db:
        kept = {each.code_sha256 for each in db.scalars(select(RecoveryCode))}
        assert not kept & set(papers)


def test_the_secret_of_codes_is_sealed_in_the_store(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    made, _ = _set_up_codes(ada, clock)
    with read_session(app.state.sessions) as db:
        held = db.scalars(select(Person.code_secret)).one()
    assert held
    assert made.secret not in held


def test_codes_are_turned_off_again(app: FastAPI, ada: TestClient, clock: Clock) -> None:
    _set_up_codes(ada, clock)
    assert ada.post("/account/codes/off").status_code == 303
    with browser(app) as other:
        assert sign_in(other, ADA).headers["location"] == "/"
    with read_session(app.state.sessions) as db:
        assert not list(db.scalars(select(RecoveryCode)))


# Tokens


def _token(ada: TestClient, *scopes: str) -> str:
    answer = ada.post(
        "/account/tokens",
        data={"name": "The yard’s program", "scopes": list(scopes), "last_day": "2027-11-25"},
    )
    found = re.search(r'id="token">(sb_[\w-]{43})<', answer.text)
    assert found, answer.text
    return found[1]


@pytest.mark.parametrize(
    ("scopes", "status"),
    [(("read",), 200), (("read", "record"), 200), (("load_check",), 403), (("record",), 403)],
)
def test_a_token_may_what_it_was_made_for(
    app: FastAPI, ada: TestClient, scopes: tuple[str, ...], status: int
) -> None:
    bearer = {"authorization": f"Bearer {_token(ada, *scopes)}"}
    with browser(app) as program:
        assert program.get("/api/v1/cars", headers=bearer).status_code == status


def test_a_token_opens_no_account_and_no_people(app: FastAPI, ada: TestClient) -> None:
    bearer = {"authorization": f"Bearer {_token(ada, 'read', 'record', 'load_check')}"}
    with browser(app) as program:
        for address in ("/account", "/account/tokens", "/people"):
            assert program.get(address, headers=bearer).status_code == 403


def test_a_token_is_shown_once_and_its_use_is_told(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    token = _token(ada, "read")
    with browser(app, STRANGER) as program:
        program.get("/api/v1/cars", headers={"authorization": f"bearer {token}"})
    page = ada.get("/account/tokens").text
    assert token not in page
    assert "203.0.113.7" in page
    with read_session(app.state.sessions) as db:
        assert db.scalars(select(Token.key_sha256)).one() not in token


def test_a_token_is_dead_once_revoked_run_out_or_its_person_ended(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    tokens = [_token(ada, "read") for _ in range(2)]

    def asked(token: str) -> int:
        with browser(app) as program:
            bearer = {"authorization": f"Bearer {token}"}
            return program.get("/api/v1/cars", headers=bearer).status_code

    assert [asked(token) for token in tokens] == [200, 200]
    ada.post("/account/tokens/revoke", data={"token": "1"})
    assert [asked(token) for token in tokens] == [401, 200]
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        db.scalars(select(Person)).one().ended_at = NOW
    assert asked(tokens[1]) == 401
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        db.scalars(select(Person)).one().ended_at = None
    assert asked(tokens[1]) == 200
    clock.on(days=366)
    assert asked(tokens[1]) == 401


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        ({"name": ""}, "this is needed"),
        ({"scopes": []}, "choose at least one"),
        ({"scopes": ["administer"]}, "choose at least one"),
        ({"last_day": "2026-11-24"}, "at most a year ahead"),
        ({"last_day": "2028-01-01"}, "at most a year ahead"),
        ({"last_day": "soon"}, "soon"),
    ],
)
def test_a_token_that_cannot_be_made_keeps_what_was_typed(
    ada: TestClient, given: dict[str, object], problem: str
) -> None:
    typed = {"name": "The yard", "scopes": ["read"], "last_day": "2027-01-01"} | given
    answer = ada.post("/account/tokens", data=typed)
    assert answer.status_code == 422
    assert problem in answer.text.lower()
    assert typed["name"] in answer.text


# What is never held


@pytest.mark.parametrize(
    ("address", "typed"),
    [
        # Signed out meanwhile.
        ("/account/password", {"current": PASSWORD, "password": PASSWORD, "again": PASSWORD}),
        ("/account/prove", {"password": PASSWORD, "next": "/account/codes"}),
        ("/account/codes", {"code": "731842", "sealed": "x"}),
        # Links that open nothing any longer.
        ("/invitation/gone", {"name": "Ada", "password": PASSWORD, "again": PASSWORD}),
        ("/new-password/gone", {"password": PASSWORD, "again": PASSWORD}),
        ("/set-up/gone", {"name": "Ada", "password": PASSWORD, "again": PASSWORD}),
    ],
)
def test_a_form_with_a_secret_in_it_is_not_held(
    here: TestClient, address: str, typed: dict[str, str]
) -> None:
    answer = here.post(address, data=typed)
    assert answer.status_code in (401, 404)
    assert PASSWORD not in answer.text
    assert "731842" not in answer.text
    assert "Send again" not in answer.text


def test_every_secret_that_a_page_asks_for_is_known_as_one() -> None:
    asked = set()
    for page in (ROOT / "templates").rglob("*.html"):
        kind = r'line\("(\w+)"[^\n]*?"(?:password|one-time-code)"'
        asked |= set(re.findall(kind, page.read_text()))
    assert asked == SECRETS
