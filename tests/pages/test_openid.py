"""Sign-in by a provider of OpenID Connect: only who was invited or linked it, and only by its own word."""

import base64
import hmac
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi import FastAPI
from joserfc.jwk import RSAKey
from sqlalchemy import select

from app.main import create_app
from app.settings import Settings
from app.store.db import read_session, write_session
from app.store.doer import Doer
from app.store.people import OpenIdentity, Person
from tests.actions.people_cast import NOW
from tests.fixtures.provider import CLIENT, SECRET, Provider, provider
from tests.fixtures.web import TestClient
from tests.pages.signing import (
    Clock,
    Newcomer,
    browser,
    cheap_hashes,
    invite,
    set_up,
    sign_in,
)

pytestmark = pytest.mark.usefixtures(cheap_hashes.__name__)
IDA = {"sub": "ida-1", "email": "Ida@people.invalid", "email_verified": True, "name": "Ida Example"}
FROM_OUR_PAGE = {"Referer": "http://127.0.0.1/sign-in"}
INVITED = Newcomer("Ida Example", "ida@people.invalid")


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
        database_url=sqlite_url, openid_issuer=there.issuer, openid_client_id=CLIENT,
        openid_client_secret=SECRET, openid_name="Example Accounts",
    )  # fmt: skip
    return create_app(settings, clock=clock)


@pytest.fixture
def ada(app: FastAPI) -> Iterator[TestClient]:
    with browser(app) as asking:
        set_up(app, asking)
        yield asking


@pytest.fixture
def other(app: FastAPI, ada: TestClient) -> Iterator[TestClient]:
    with browser(app) as asking:
        yield asking


def _by_provider(client: TestClient, there: Provider, begin: str = "/sign-in/openid", **person):
    """Go there, sign in there, come back."""
    gone = client.get(begin, headers=FROM_OUR_PAGE)
    assert gone.status_code == 303, gone.text
    return client.get(there.sign_in(gone.headers["location"], **person))


def _people(app: FastAPI) -> set[str]:
    with read_session(app.state.sessions) as db:
        return set(db.scalars(select(Person.email)))


def test_who_was_invited_is_let_in_by_a_verified_address_once_and_then_by_name(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    assert "Example Accounts" in other.get("/sign-in").text
    answer = _by_provider(other, there, "/sign-in/openid?next=/account", **IDA)
    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    assert "Inspector at" in other.get("/account").text
    # From then on the address of mail no longer matters.
    moved = IDA | {"email": "new@people.invalid", "email_verified": False}
    with browser(app) as later:
        assert _by_provider(later, there, **moved).status_code == 303
    assert _people(app) == {"ada@people.invalid", INVITED.email}
    with read_session(app.state.sessions) as db:
        assert (
            db.scalars(select(Person.password).where(Person.email == INVITED.email)).one() is None
        )


@pytest.mark.parametrize(
    "person",
    [
        IDA | {"email": "nobody@people.invalid"},  # not invited
        IDA | {"email_verified": False},  # anybody could have typed this address there
        IDA | {"email_verified": "true"},  # not the word of the protocol
        {"sub": "ida-1"},  # no address at all
        IDA | {"email": "ada@people.invalid"},  # an account there is: not taken over
    ],
)
def test_nobody_else_is_let_in(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider, person: dict[str, object]
) -> None:
    invite(ada, INVITED, 1, "inspector")
    answer = _by_provider(other, there, **person)
    assert answer.status_code == 422
    assert "Nobody here is known" in answer.text
    assert other.get("/account").status_code == 303
    assert _people(app) == {"ada@people.invalid"}


def _signed_by_another(there: Provider) -> None:
    there.key = RSAKey.generate_key(2048, {"kid": "1"})


def _text(part: object) -> str:
    data = part if isinstance(part, bytes) else json.dumps(part).encode()
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def _unsigned(there: Provider) -> None:
    there.forge = lambda claims: f"{_text({'alg': 'none'})}.{_text(claims)}."


def _signed_by_what_everybody_knows(there: Provider) -> None:
    """By a shared secret: the published key, taken for one."""
    known = there.published.as_pem(private=False)

    def forged(claims: object) -> str:
        front = f"{_text({'alg': 'HS256', 'kid': '1'})}.{_text(claims)}"
        return f"{front}.{_text(hmac.digest(known, front.encode(), 'sha256'))}"

    there.forge = forged


def _brings_its_own_key(there: Provider) -> None:
    _signed_by_another(there)
    there.header = {"jwk": there.key.as_dict(private=False)}


def _of_type(kind: str) -> Callable[[Provider], None]:
    return lambda there: there.header.update(typ=kind)


def _says(**claims: object) -> Callable[[Provider], None]:
    return lambda there: there.claims.update(claims)


@pytest.mark.parametrize(
    "spoil",
    [
        _signed_by_another,
        _says(iss="https://stranger.example"),
        _says(aud="another client"),
        _says(nonce="of another sign-in"),
        _says(exp=1),
        _says(nbf=32_503_680_000),  # in a thousand years
        _says(nonce=None),
        _unsigned,
        _signed_by_what_everybody_knows,
        _brings_its_own_key,
        _of_type("at+jwt"),  # an access token
        _of_type("logout+jwt"),
        _says(aud=[CLIENT, "another client"], azp=CLIENT),  # for us, and for somebody else
        _says(auth_time=1),  # the secret was given there years ago
        _says(auth_time=10**18),
        _says(aud=[CLIENT, "another client"], azp="another client"),
    ],
)
def test_what_the_provider_did_not_say_to_us_now_lets_nobody_in(
    ada: TestClient, other: TestClient, there: Provider, spoil: Callable[[Provider], None]
) -> None:
    invite(ada, INVITED, 1, "inspector")
    spoil(there)
    answer = _by_provider(other, there, **IDA)
    assert answer.status_code == 422
    assert "not accepted" in answer.text
    assert other.get("/account").status_code == 303


def test_an_answer_works_once_and_in_the_browser_that_asked(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    gone = other.get("/sign-in/openid", headers=FROM_OUR_PAGE)
    back = there.sign_in(gone.headers["location"], **IDA)
    with browser(app) as stranger:
        assert stranger.get(back).status_code == 422
    assert other.get(back).status_code == 303
    assert other.get(back).status_code == 422


@pytest.mark.parametrize("wrong", ["", "?state=x", "?error=access_denied", "?code=1&state="])
def test_coming_back_without_having_gone_says_so(
    ada: TestClient, other: TestClient, wrong: str
) -> None:
    answer = other.get(f"/sign-in/openid/back{wrong}")
    assert answer.status_code == 422
    assert "was not begun in this browser" in answer.text


def test_an_account_is_linked_by_its_own_person_and_unlinked(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    as_ada = {"sub": "ada-1", "email": "whatever@people.invalid"}
    assert _by_provider(ada, there, "/account/openid", **as_ada).status_code == 303
    assert "linked" in ada.get("/account?saved=linked").text
    assert _by_provider(other, there, **as_ada).status_code == 303
    assert "Ada Example" in other.get("/account").text
    assert ada.post("/account/openid/unlink").status_code == 303
    with browser(app) as later:
        assert _by_provider(later, there, **as_ada).status_code == 422


def test_an_account_of_the_provider_belongs_to_one_person(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    _by_provider(other, there, **IDA)
    answer = _by_provider(ada, there, "/account/openid", **IDA)
    assert answer.status_code == 422
    with read_session(app.state.sessions) as db:
        assert len(list(db.scalars(select(OpenIdentity)))) == 1


def test_linking_asks_for_a_fresh_secret_here_and_there(
    ada: TestClient, there: Provider, clock: Clock
) -> None:
    gone = ada.get("/account/openid", headers=FROM_OUR_PAGE).headers["location"]
    assert parse_qs(urlsplit(gone).query)["prompt"] == ["login"]
    clock.on(minutes=11)
    asked = ada.get("/account/openid", headers=FROM_OUR_PAGE)
    assert asked.headers["location"].startswith("/account/prove")


def test_the_last_way_in_is_not_unlinked(
    ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    _by_provider(other, there, **IDA)
    answer = other.post("/account/openid/unlink")
    assert answer.status_code == 422
    assert "nothing else would let you in" in answer.text


def test_without_a_provider_there_is_no_such_page(sqlite_url: str, clock: Clock) -> None:
    app = create_app(Settings(database_url=sqlite_url), clock=clock)
    with browser(app) as asking:
        assert asking.get("/sign-in/openid", headers=FROM_OUR_PAGE).status_code == 404
        assert "/sign-in/openid" not in asking.get("/sign-in").text


def test_a_provider_that_is_away_is_told(sqlite_url: str, clock: Clock) -> None:
    settings = Settings(
        database_url=sqlite_url, openid_issuer="http://127.0.0.1:1", openid_client_id=CLIENT
    )
    app = create_app(settings, clock=clock)
    with browser(app) as asking:
        answer = asking.get("/sign-in/openid", headers=FROM_OUR_PAGE)
        assert answer.status_code == 422
        assert "does not answer as it should" in answer.text
        set_up(app, asking)
        assert sign_in(asking, Newcomer()).status_code == 303


@pytest.mark.parametrize(
    ("headers", "goes"),
    [
        ({"Sec-Fetch-Site": "same-origin"}, True),  # our button
        ({"Sec-Fetch-Site": "none"}, True),  # typed, or a bookmark
        ({"Sec-Fetch-Site": "cross-site"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False),
        ({"Referer": "http://stranger.example/http://127.0.0.1/"}, False),
        ({}, False),  # a browser that tells nothing
    ],
)
def test_no_other_site_has_somebody_signed_in_unasked(
    ada: TestClient, other: TestClient, there: Provider, headers: dict[str, str], goes: bool
) -> None:
    for client, begin, page in (
        (other, "/sign-in/openid?next=/due", "/sign-in?next=%2Fdue"),
        (ada, "/account/openid", "/account"),
    ):
        led = client.get(begin, headers=headers).headers["location"]
        assert led.startswith(there.issuer) == goes
        assert goes or led == page


@pytest.mark.parametrize("issuer", ["https://stranger.example", "+/", ""])
def test_a_provider_that_calls_itself_otherwise_is_not_asked(
    ada: TestClient, other: TestClient, there: Provider, issuer: str
) -> None:
    there.described["issuer"] = issuer.replace("+", there.issuer)
    answer = other.get("/sign-in/openid", headers=FROM_OUR_PAGE)
    assert answer.status_code == 422
    assert "does not answer as it should" in answer.text


def test_an_issuer_that_ends_with_a_stroke_is_one(
    sqlite_url: str, clock: Clock, there: Provider
) -> None:
    there.issuer = there.described["issuer"] = f"{there.issuer}/"
    settings = Settings(
        database_url=sqlite_url, openid_issuer=there.issuer, openid_client_id=CLIENT,
        openid_client_secret=SECRET,
    )  # fmt: skip
    app = create_app(settings, clock=clock)
    with browser(app) as asking:
        set_up(app, asking)
        assert _by_provider(asking, there, "/account/openid", sub="ada-1").status_code == 303


@pytest.mark.parametrize("path", ["/.well-known/openid-configuration", "/keys"])
def test_where_the_provider_leads_on_is_not_followed(
    ada: TestClient, other: TestClient, there: Provider, path: str
) -> None:
    invite(ada, INVITED, 1, "inspector")
    there.moved[path] = f"{there.issuer}/inside"
    gone = other.get("/sign-in/openid", headers=FROM_OUR_PAGE)
    if gone.status_code == 303:
        gone = other.get(there.sign_in(gone.headers["location"], **IDA))
    assert gone.status_code == 422
    assert path in there.paths
    assert "/inside" not in there.paths


def test_the_same_subject_of_another_issuer_is_somebody_else(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    as_ada = {"sub": "ada-1", "email": "whatever@people.invalid"}
    _by_provider(ada, there, "/account/openid", **as_ada)
    with write_session(app.state.sessions, doer=Doer("the test", at=NOW)) as db:
        db.scalars(select(OpenIdentity)).one().issuer = "https://former.example"
    assert _by_provider(other, there, **as_ada).status_code == 422


def test_nothing_that_the_provider_gave_reaches_the_browser_or_the_store(
    app: FastAPI, ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    answer = _by_provider(other, there, **IDA)
    told = f"{answer.headers} {dict(other.cookies)} {answer.text} {other.get('/account').text}"
    kept = Path(app.state.engine.url.database).read_bytes()
    assert len(there.given) == 2
    for secret in there.given:
        assert secret not in told
        assert secret.encode() not in kept


@pytest.mark.parametrize(
    ("claims", "anew", "fresh"),
    [
        ({"auth_time": 0}, False, True),  # moments are told from now on: just now
        ({"auth_time": -3600}, False, False),  # an hour ago, and gone there without a secret
        ({}, False, False),  # it does not say
        ({}, True, True),  # it does not say, but was told to ask
        ({"auth_time": -3600}, True, False),  # it was told to ask, and says that it did not
    ],
)
def test_a_sign_in_by_the_provider_is_as_fresh_as_it_says(
    ada: TestClient, other: TestClient, there: Provider, claims: dict[str, int], anew: bool,
    fresh: bool,
) -> None:  # fmt: skip
    invite(ada, INVITED, 1, "inspector")
    said = {name: there.now + value for name, value in claims.items()}
    _by_provider(other, there, **IDA, **said)
    if anew:
        assert _by_provider(other, there, **IDA, **said).status_code == 303
    assert (other.get("/account/password").status_code == 200) == fresh


def test_the_provider_is_asked_for_a_secret_no_older_than_a_sign_in_here(
    ada: TestClient, other: TestClient, there: Provider
) -> None:
    invite(ada, INVITED, 1, "inspector")
    gone = other.get("/sign-in/openid", headers=FROM_OUR_PAGE).headers["location"]
    assert parse_qs(urlsplit(gone).query)["max_age"] == [str(7 * 24 * 3600)]
    older = there.now - 8 * 24 * 3600
    assert _by_provider(other, there, **IDA, auth_time=older).status_code == 422
    assert _by_provider(other, there, **IDA, auth_time=older + 2 * 24 * 3600).status_code == 303
