"""Signing in by a password, slower and slower when it is wrong; sign-ins and their ends."""

from datetime import timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.actions import attempts, people, sign_in
from app.actions.attempts import Counted
from app.actions.sign_in import Lasting
from app.errors import NotFound
from app.store import accounts
from app.store.people import Attempt, Person, SignIn
from app.store.signed_in import viewer_by_key
from tests.actions.people_cast import (
    ELSEWHERE,
    HERE,
    LASTING,
    NOW,
    OTHER_PASSWORD,
    PASSWORD,
    party,
    person,
    signed_in,
)

EMAIL = "ada@people.invalid"


def admitted(db: Session, password: str, place=HERE, at=NOW, email: str = EMAIL) -> bool | int:
    """Whether the password lets in, or the seconds to wait; as the page goes about it."""
    wait = sign_in.try_password(db, email, place, at)
    if wait:
        return wait
    found, renewed = sign_in.person_with(db, email, password)
    if found is None:
        return False
    key, _ = sign_in.with_password(db, found.id, renewed, place, LASTING, at)
    return viewer_by_key(db, key, at) is not None


@pytest.fixture
def ada(db: Session) -> Person:
    return person(db, "Ada Example", party(db), "planner")


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Comparing takes no time, for tests that try thousands of times; it stays as right."""

    def compared(kept: str | None, given: str):
        return sign_in.passwords.Checked(kept is not None and given == PASSWORD)

    monkeypatch.setattr(sign_in.passwords, "matches", compared)


def test_the_right_password_lets_in_with_the_address_of_mail_in_any_case(
    db: Session, ada: Person
) -> None:
    assert admitted(db, PASSWORD, email=" Ada@People.INVALID ") is True


@pytest.mark.parametrize("email", [EMAIL, "nobody@people.invalid"])
def test_a_wrong_password_and_an_unknown_account_are_the_same(
    db: Session, ada: Person, email: str
) -> None:
    said = [admitted(db, OTHER_PASSWORD, email=email) for _ in range(7)]
    assert said == [False] * 5 + [2, 2]


def test_somebody_who_has_ended_is_nobody(db: Session, ada: Person) -> None:
    ada.ended_at = NOW
    assert admitted(db, PASSWORD) is False


def test_five_thousand_wrong_passwords_never_let_in_and_never_shut_out(
    db: Session, ada: Person, quick: None
) -> None:
    said = [
        admitted(db, f"wrong {number}", at=NOW + timedelta(seconds=number))
        for number in range(5_000)
    ]
    assert not any(each is True for each in said)
    assert 5 <= sum(each is False for each in said) < 25
    assert db.scalar(select(func.count()).select_from(Attempt)) == 2
    # The owner, who comes from elsewhere, waits for no longer than the longest pause.
    last = NOW + timedelta(seconds=5_000)
    wait = admitted(db, PASSWORD, ELSEWHERE, last)
    assert 0 <= wait <= attempts.FREE["account"][1]
    assert admitted(db, PASSWORD, ELSEWHERE, last + timedelta(seconds=int(wait))) is True


def test_many_accounts_tried_from_one_address_are_slowed_down_too(
    db: Session, ada: Person, quick: None
) -> None:
    said = [admitted(db, "wrong", email=f"nobody{number}@people.invalid") for number in range(200)]
    assert sum(each is False for each in said) == attempts.FREE["address"][0]
    # Others are not: each address is counted by itself.
    assert admitted(db, PASSWORD, ELSEWHERE) is True


def test_signing_in_makes_no_use_of_the_attempts_that_an_address_has(
    db: Session, ada: Person, quick: None
) -> None:
    said = [admitted(db, PASSWORD) for _ in range(60)]
    assert said == [True] * 60


def test_the_table_of_attempts_is_bounded(
    db: Session, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attempts, "MOST_KEPT", 50)
    for number in range(200):
        attempts.begin(db, [Counted("account", f"{number}@people.invalid")], NOW)
    assert (db.scalar(select(func.count()).select_from(Attempt)) or 0) <= 51


def test_a_day_without_a_failure_forgets_them(db: Session) -> None:
    who = [Counted("account", EMAIL)]
    for _ in range(6):
        attempts.begin(db, who, NOW)
    assert attempts.begin(db, who, NOW) > 0
    assert attempts.begin(db, who, NOW + timedelta(days=1, seconds=1)) == 0


@pytest.mark.parametrize(
    ("failed", "seconds"),
    [(0, 0), (4, 0), (5, 2), (6, 4), (7, 8), (13, 512), (14, 900), (1_000, 900)],
)
def test_the_pause_doubles_up_to_a_quarter_of_an_hour(failed: int, seconds: int) -> None:
    assert attempts.pause("account", failed) == seconds


def test_a_clock_set_back_makes_no_pause_longer(db: Session) -> None:
    who = [Counted("account", EMAIL)]
    for _ in range(6):
        attempts.begin(db, who, NOW)
    assert attempts.begin(db, who, NOW - timedelta(days=300)) <= 2


def test_nothing_of_the_key_is_in_the_store(db: Session, ada: Person) -> None:
    key = signed_in(db, ada)
    row = db.scalars(select(SignIn)).one()
    assert len(key) >= 43  # 256 bits
    assert key not in (row.key_sha256, row.browser, row.address)
    assert viewer_by_key(db, row.key_sha256, NOW) is None


@pytest.mark.parametrize(
    ("idle", "most", "until"),
    [
        (12, 168, 12),  # unused it ends sooner
        (12, 5, 5),  # never later than the most
    ],
)
def test_a_sign_in_ends_unused_or_at_its_most(idle: int, most: int, until: int) -> None:
    lasting = Lasting(timedelta(hours=idle), timedelta(hours=most))
    assert lasting.until(NOW, NOW) == NOW + timedelta(hours=until)


def test_a_second_secret_that_is_wanted_gives_a_new_key(db: Session, ada: Person) -> None:
    waiting = sign_in.begin(db, ada, "password", "wanted", HERE, LASTING, NOW)
    found = viewer_by_key(db, waiting, NOW)
    assert found is not None
    assert found.second_wanted
    key = sign_in.second_given(db, found.fingerprint, "code", HERE, LASTING, NOW)
    assert viewer_by_key(db, waiting, NOW) is None
    let_in = viewer_by_key(db, key, NOW)
    assert let_in is not None
    assert not let_in.second_wanted
    with pytest.raises(NotFound):
        sign_in.second_given(db, found.fingerprint, "code", HERE, LASTING, NOW)


def test_one_sign_in_is_ended_and_others_stay(db: Session, ada: Person) -> None:
    kept, ended = signed_in(db, ada), signed_in(db, ada, ELSEWHERE)
    name = sign_in.fingerprint(ended)[:16]
    sign_in.end_one(db, ada.id, name, NOW)
    assert viewer_by_key(db, ended, NOW) is None
    assert viewer_by_key(db, kept, NOW) is not None


def test_nobody_ends_the_sign_in_of_another(db: Session, ada: Person) -> None:
    key = signed_in(db, ada)
    eve = person(db, "Eve Example")
    with pytest.raises(NotFound):
        sign_in.end_one(db, eve.id, sign_in.fingerprint(key)[:16], NOW)
    assert viewer_by_key(db, key, NOW) is not None


def test_a_new_password_ends_all_sign_ins_but_this_one(db: Session, ada: Person) -> None:
    here, there = signed_in(db, ada), signed_in(db, ada, ELSEWHERE)
    held = sign_in.fingerprint(here)
    assert people.change_password(db, ada, OTHER_PASSWORD, OTHER_PASSWORD, held, NOW) == 1
    assert viewer_by_key(db, there, NOW) is None
    assert viewer_by_key(db, here, NOW) is not None
    assert sign_in.person_with(db, EMAIL, PASSWORD)[0] is None
    assert sign_in.person_with(db, EMAIL, OTHER_PASSWORD)[0] is not None


def test_signing_out_everywhere_leaves_none(db: Session, ada: Person) -> None:
    keys = [signed_in(db, ada) for _ in range(3)]
    assert sign_in.end_everywhere(db, ada.id, NOW) == 3
    assert not any(viewer_by_key(db, key, NOW) for key in keys)
    assert accounts.sign_ins(db, ada.id, NOW) == []


def test_a_hash_with_older_parameters_is_replaced_at_sign_in(db: Session, ada: Person) -> None:
    sign_in.with_password(db, ada.id, "$a newer hash", HERE, LASTING, NOW)
    assert ada.password == "$a newer hash"
