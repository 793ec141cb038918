"""Where two secrets are asked for, a password alone leads to setting up the second and to nothing else."""

import re
from collections.abc import Iterator

import pyotp
import pytest
from fastapi import FastAPI
from sqlalchemy import select

from app.main import create_app
from app.settings import Settings
from app.store.db import read_session
from app.store.people import Person
from tests.actions.people_cast import OTHER_PASSWORD, PASSWORD
from tests.fixtures.provider import CLIENT, SECRET, Provider, provider
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
ADA = Newcomer()
IDA = Newcomer("Ida Example", "ida@people.invalid")
SAID = "lets nobody in with a password alone"
FROM_OUR_PAGE = {"Referer": "http://127.0.0.1/sign-in"}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def there(clock: Clock) -> Iterator[Provider]:
    with provider(int(clock.now.timestamp())) as made:
        yield made


@pytest.fixture
def app(sqlite_url: str, clock: Clock, there: Provider) -> FastAPI:
    settings = Settings(
        database_url=sqlite_url, second_factor="required", openid_issuer=there.issuer,
        openid_client_id=CLIENT, openid_client_secret=SECRET,
    )  # fmt: skip
    return create_app(settings, clock=clock)


@pytest.fixture
def ada(app: FastAPI) -> Iterator[TestClient]:
    """The first administrator, with a password and nothing else."""
    with browser(app) as asking:
        set_up(app, asking)
        yield asking


@pytest.fixture
def other(app: FastAPI, ada: TestClient) -> Iterator[TestClient]:
    with browser(app) as asking:
        yield asking


def set_up_codes(client: TestClient, clock: Clock) -> tuple[pyotp.TOTP, list[str]]:
    page = client.get("/account/codes").text
    secret = re.search(r'id="secret">([A-Z2-7 ]+)<', page)
    sealed = re.search(r'name="sealed" value="([^"]+)"', page)
    assert secret
    assert sealed
    made = pyotp.TOTP(secret[1].replace(" ", ""))
    answer = client.post("/account/codes", data={"sealed": sealed[1], "code": made.at(clock.now)})
    assert answer.status_code == 200, answer.text
    return made, re.findall(r"<li>([\w-]{29})</li>", answer.text)


def give_code(client: TestClient, made: pyotp.TOTP, clock: Clock) -> None:
    clock.on(minutes=2)
    assert client.post("/sign-in/second", data={"code": made.at(clock.now)}).status_code == 303


@pytest.mark.parametrize(
    ("given", "public_url", "required"),
    [
        ("", "", False),  # on this machine alone
        ("", "http://register.example", False),
        ("", "https://register.example", True),  # on a network
        ("offered", "https://register.example", False),  # somebody decided so
        ("required", "", True),
    ],
)
def test_a_register_on_a_network_asks_for_two_secrets_unless_told_otherwise(
    given: str, public_url: str, required: bool
) -> None:
    assert Settings(second_factor=given, public_url=public_url).second_required == required


@pytest.mark.parametrize(
    ("method", "address"),
    [
        ("GET", "/"),
        ("GET", "/fleet"),
        ("GET", "/account"),
        ("GET", "/account/password"),
        ("GET", "/account/tokens"),
        ("GET", "/account/openid"),
        ("GET", "/people"),
        ("POST", "/account/name"),
        ("POST", "/account/tokens"),
        ("POST", "/people/invite"),
        ("GET", "/api/v1/cars"),
        ("POST", "/api/v1/cars"),
    ],
)
def test_a_password_alone_opens_nothing_but_the_setting_up(
    ada: TestClient, method: str, address: str
) -> None:
    api, data = address.startswith("/api/"), {"name": "Somebody Else", "email": IDA.email}
    sent = {"json" if api else "data": data} if method == "POST" else {}
    answer = ada.request(method, address, headers=FROM_OUR_PAGE, **sent)
    assert answer.status_code == 403
    assert SAID in answer.text
    if api:
        assert SAID in answer.json()["error"]["message"]
    elif method == "POST":
        assert 'value="Somebody Else"' in answer.text  # what was typed is held


def test_the_page_leads_to_both_ways_of_setting_up_and_out(ada: TestClient) -> None:
    page = ada.get("/fleet").text
    for way in ('href="/account/passkeys"', 'href="/account/codes"', 'action="/sign-out"'):
        assert way in page
    for way in ("/account/passkeys", "/account/codes", "/account/prove"):
        assert ada.get(way).status_code == 200
    assert ada.post("/account/passkeys/ask").status_code == 200
    assert ada.post("/sign-out").headers["location"] == "/sign-in"


def test_who_has_set_codes_up_is_let_through_at_once_and_by_both_from_then_on(
    ada: TestClient, other: TestClient, clock: Clock
) -> None:
    made, _ = set_up_codes(ada, clock)
    assert ada.get("/fleet").status_code == 200
    assert sign_in(other, ADA).headers["location"].startswith("/sign-in/second")
    assert other.get("/fleet").status_code == 303
    give_code(other, made, clock)
    assert other.get("/fleet").status_code == 200


def test_another_browser_that_showed_the_password_alone_is_not_let_through_with_it(
    ada: TestClient, other: TestClient, clock: Clock
) -> None:
    sign_in(other, ADA)  # a thief of the password
    assert other.get("/account/codes").status_code == 200
    set_up_codes(ada, clock)
    assert other.get("/fleet").headers["location"].startswith("/sign-in")
    assert other.get("/account/codes").headers["location"].startswith("/sign-in")
    assert other.get("/sign-in").status_code == 200


def test_tokens_wait_until_their_person_has_a_second_secret(
    app: FastAPI, ada: TestClient, other: TestClient, clock: Clock
) -> None:
    set_up_codes(ada, clock)
    answer = ada.post(
        "/account/tokens",
        data={"name": "A program", "scopes": "read", "last_day": "2027-01-01"},
    )
    token = re.search(r"sb_[\w-]+", answer.text)
    assert token
    program = {"Authorization": f"Bearer {token[0]}"}
    assert other.get("/api/v1/cars", headers=program).status_code == 200
    assert ada.post("/account/codes/off").status_code == 303
    refused = other.get("/api/v1/cars", headers=program)
    assert refused.status_code == 403
    assert SAID in refused.json()["error"]["message"]
    sign_in(other, ADA)
    set_up_codes(other, clock)
    with browser(app) as machine:
        assert machine.get("/api/v1/cars", headers=program).status_code == 200


def test_where_they_are_offered_a_password_alone_lets_in(sqlite_url: str, clock: Clock) -> None:
    app = create_app(Settings(database_url=sqlite_url), clock=clock)
    with browser(app) as ada:
        set_up(app, ada)
        assert ada.get("/fleet").status_code == 200


def test_a_new_password_by_a_link_does_not_pass_the_second_secret(
    ada: TestClient, other: TestClient, clock: Clock
) -> None:
    made, _ = set_up_codes(ada, clock)
    link = link_in(ada.post("/people/1/new-password").text)
    new = {"password": OTHER_PASSWORD, "again": OTHER_PASSWORD}
    assert other.post(link, data=new).headers["location"] == "/sign-in"
    assert other.get("/fleet").status_code == 303  # the link signs nobody in
    answer = sign_in(other, Newcomer(password=OTHER_PASSWORD))
    assert answer.headers["location"].startswith("/sign-in/second")
    assert other.get("/fleet").status_code == 303
    give_code(other, made, clock)
    assert other.get("/fleet").status_code == 200


def test_an_administrator_who_takes_seconds_away_leads_back_to_setting_up(
    app: FastAPI, ada: TestClient, other: TestClient, clock: Clock
) -> None:
    set_up_codes(ada, clock)
    join(other, invite(ada, IDA, 1, "inspector"), IDA)
    assert other.get("/fleet").status_code == 403
    set_up_codes(other, clock)
    assert ada.post("/people/2/take-seconds-away").status_code == 303
    with browser(app) as again:
        sign_in(again, IDA)
        assert SAID in again.get("/fleet").text


def _by_provider(client: TestClient, there: Provider, **claims: object):
    gone = client.get("/sign-in/openid", headers=FROM_OUR_PAGE).headers["location"]
    said = {"sub": "ida-1", "email": IDA.email, "email_verified": True, "name": IDA.name}
    return client.get(there.sign_in(gone, **said, **claims))


@pytest.mark.parametrize(
    ("claims", "status"),
    [
        ({"amr": ["pwd", "otp", "mfa"]}, 200),
        ({"amr": ["pwd"]}, 403),
        ({"amr": "mfa"}, 422),  # no list: not the word of the protocol
        ({}, 403),  # what is not said counts as one secret
    ],
)
def test_a_provider_counts_for_as_many_secrets_as_it_says(
    ada: TestClient, other: TestClient, there: Provider, clock: Clock, claims: dict[str, object],
    status: int,
) -> None:  # fmt: skip
    set_up_codes(ada, clock)
    invite(ada, IDA, 1, "inspector")
    answer = _by_provider(other, there, **claims)
    assert answer.status_code == (422 if status == 422 else 303)
    assert other.get("/fleet").status_code == (303 if status == 422 else status)


def test_whom_a_provider_asked_for_one_secret_is_asked_for_the_second_here(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider, clock: Clock
) -> None:
    set_up_codes(ada, clock)
    invite(ada, IDA, 1, "inspector")
    _by_provider(other, there, amr=["mfa"], auth_time=there.now)
    made, _ = set_up_codes(other, clock)
    there.now += 180
    with browser(app) as later:
        clock.on(minutes=2)
        assert _by_provider(later, there).headers["location"].startswith("/sign-in/second")
        assert later.get("/fleet").status_code == 303
        give_code(later, made, clock)
        assert later.get("/fleet").status_code == 200


def test_every_sign_in_leaves_a_line_with_whose_it_is_and_nothing_that_was_typed(
    app: FastAPI, ada: TestClient, there: Provider, clock: Clock, caplog: pytest.LogCaptureFixture
) -> None:
    made, papers = set_up_codes(ada, clock)
    caplog.set_level("INFO", "app")
    typed = ["what-was-typed-9f1c@people.invalid", OTHER_PASSWORD, "000000", papers[0]]
    with browser(app, ("203.0.113.7", 50_000)) as other:
        sign_in(other, Newcomer(email=typed[0]))
        sign_in(other, Newcomer(password=OTHER_PASSWORD))
        sign_in(other, ADA)
        other.post("/sign-in/second", data={"code": "000000"})
        give_code(other, made, clock)
        other.post("/sign-out")
        sign_in(other, ADA)
        other.post("/sign-in/second", data={"code": papers[0]})
        there.now += 180
        _by_provider(other, there)
        other.post("/sign-in/passkey", data={"challenge": "x", "answer": "{}"})
        for _ in range(6):
            sign_in(other, Newcomer(password=OTHER_PASSWORD))
    told = [each.told for each in caplog.records if each.message == "sign-in"]
    assert {each["address"] for each in told} == {"203.0.113.7"}
    assert [(each["how"], each["outcome"], each["account"]) for each in told] == [
        ("password", "wrong", None),
        ("password", "wrong", 1),
        ("password", "second wanted", 1),
        ("code", "wrong", 1),
        ("code", "in", 1),
        ("", "out", 1),
        ("password", "second wanted", 1),
        ("recovery", "in", 1),
        ("openid", "wrong", None),
        ("passkey", "wrong", None),
        *[("password", "wrong", 1)] * 5,
        ("password", "held up", 1),
    ]
    every = " ".join(f"{each.getMessage()} {getattr(each, 'told', '')}" for each in caplog.records)
    assert not [each for each in (*typed, PASSWORD, ADA.email) if each in every]


def test_a_sign_in_reads_in_the_record_as_how_and_from_where(
    app: FastAPI, ada: TestClient, there: Provider, clock: Clock
) -> None:
    made, _ = set_up_codes(ada, clock)
    with browser(app, ("203.0.113.7", 50_000)) as other:
        sign_in(other, ADA)
        give_code(other, made, clock)
        other.post("/sign-out")
    page = ada.get("/changes").text
    assert "made a link for the first account" in page
    # The filter offers every deed there is.
    entries = re.sub(r"(?s)<select.*?</select>", " ", page)
    said = re.sub(r"<[^>]+>|\s+", " ", entries)
    said = re.sub(" +", " ", said)
    for deed in (
        "Ada Example began to sign in with a password from 203.0.113.7",
        "Ada Example signed in with a password and a code from 203.0.113.7",
        "Ada Example signed out",
        "Ada Example turned codes of an app on",
        "set the register up",
    ):
        assert deed in said
    assert "changed something" not in said


def test_codes_on_paper_are_beyond_guessing_even_with_the_store_in_hand(
    app: FastAPI, ada: TestClient, clock: Clock
) -> None:
    """112 bits are what a hash without salt needs (OWASP ASVS 5.0, 6.5.2): 23 letters out of 31."""
    _, papers = set_up_codes(ada, clock)
    assert len(set(papers)) == 10
    assert all(len(each.replace("-", "")) >= 23 for each in papers)
    seen = set("".join(papers).replace("-", ""))
    assert 25 < len(seen) <= 31
    assert not seen & set("il1o0")


def test_a_password_is_typed_with_its_spaces(app: FastAPI, ada: TestClient, other) -> None:
    """As typed, nothing cut off or changed (OWASP ASVS 5.0, 6.2.8)."""
    spaced = f"  {PASSWORD}  Été "
    typed = Newcomer(IDA.name, IDA.email, spaced)
    set_up_codes(ada, Clock())
    join(other, invite(ada, typed, 1, "inspector"), typed)
    with browser(app) as again:
        for wrong in (spaced.strip(), spaced.lower(), spaced.rstrip(), spaced[2:]):
            assert sign_in(again, Newcomer(email=IDA.email, password=wrong)).status_code == 422
        assert sign_in(again, typed).status_code == 303
    with read_session(app.state.sessions) as db:
        assert db.scalars(select(Person).where(Person.email == IDA.email)).one().password
