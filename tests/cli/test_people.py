"""`invite` and `people`: links and ways back in, made on the machine itself."""

import pytest
from sqlalchemy import select

from app.cli import main
from app.store.db import make_engine, read_session, sessions
from app.store.people import Invitation, Person
from app.store.tables import Party
from tests.actions.people_cast import KEEPER, party, person

EMAIL = "ada@people.invalid"


@pytest.fixture
def url(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("DATABASE_URL", sqlite_url)
    return sqlite_url


@pytest.fixture
def ada(url: str) -> str:
    """An administrator of the party that looks after the register."""
    from app.store.db import write_session

    engine = make_engine(url)
    with write_session(sessions(engine)) as db:
        person(db, "Ada Example", party(db, KEEPER, keeps_register=True), "administrator")
    engine.dispose()
    return url


def _held(url: str, question):
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        found = db.scalars(question).all()
    engine.dispose()
    return found


def _run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    status = main(argv)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_the_first_who_is_invited_administers_a_new_party_that_looks_after_the_register(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("invite", "--email", EMAIL, "--party", KEEPER, "--role", "administrator")
    assert _run(capsys, *asked)[0] == 2  # no party of the name yet
    status, out, _ = _run(capsys, *asked, "--new-party")
    assert status == 0
    assert out.startswith("http://localhost:8000/invitation/")
    assert [(each.name, each.keeps_register) for each in _held(url, select(Party))] == [
        (KEEPER, True)
    ]
    made = _held(url, select(Invitation))[0]
    assert (made.email, made.roles) == (EMAIL, ["administrator"])
    assert made.key_sha256 not in out


def test_the_first_who_is_invited_has_to_be_an_administrator(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ("invite", "--email", EMAIL, "--party", KEEPER, "--new-party", "--role", "planner")
    status, _, err = _run(capsys, *asked)
    assert (status, "administrator" in err) == (2, True)


def test_the_address_that_people_open_stands_in_the_link(
    ada: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PUBLIC_URL", "https://register.example")
    _, out, _ = _run(capsys, "people", "--new-password", EMAIL)
    assert out.startswith("https://register.example/new-password/")


def test_people_are_listed(ada: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = _run(capsys, "people")
    assert status == 0
    assert out.split("  ") == [KEEPER, "administrator", "Ada Example", EMAIL, "never\n"]


def test_a_new_link_for_the_first_account_is_printed_until_there_is_one(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = (_run(capsys, "people", "--set-up")[1] for _ in range(2))
    assert "/set-up/" in first
    assert first != second
    assert [each.ended_at is None for each in _held(url, select(Invitation))].count(True) == 1


@pytest.mark.parametrize(
    ("asked", "status", "said"),
    [
        (("--set-up",), 2, "accounts already"),
        (("--new-password", "nobody@people.invalid"), 2, "Nobody has an account"),
        (("--end", EMAIL), 2, "without an administrator"),
        (("--take-seconds-away", EMAIL.upper()), 0, "password alone"),
    ],
)
def test_what_cannot_be_done_is_said(
    ada: str, capsys: pytest.CaptureFixture[str], asked: tuple[str, ...], status: int, said: str
) -> None:
    done, out, err = _run(capsys, "people", *asked)
    assert done == status
    assert said in out + err
    assert _held(ada, select(Person))[0].ended_at is None
