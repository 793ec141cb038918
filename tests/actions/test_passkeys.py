"""Passkeys: whose is taken, and that nothing else is; see also the walk in tests/browser."""

import json
from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.actions import codes, passkeys, people
from app.actions.passkeys import Site
from app.errors import NotFound, Refused
from app.store import accounts
from app.store.people import Challenge, Passkey, Person
from tests.actions.device import PRESENT, Device
from tests.actions.people_cast import NOW, office, person

SITE = Site("register.example", "https://register.example")


@pytest.fixture
def ada(db: Session) -> Person:
    return person(db, "Ada Example")


@pytest.fixture
def phone() -> Device:
    return Device(SITE.origin, SITE.host)


@pytest.fixture
def added(db: Session, ada: Person, phone: Device) -> list[str]:
    """Ada’s phone has a passkey; gives the codes on paper."""
    asked = passkeys.ask_for_new(db, ada, SITE, NOW)
    made = phone.make(asked.options)
    return passkeys.add(db, ada, "My phone", asked.challenge_id, made, SITE, NOW)


def _show(db: Session, device: Device, person_id: int | None = None) -> Person:
    asked = passkeys.ask_for_one(db, SITE, NOW, person_id)
    shown = device.show(asked.options)
    return passkeys.accept(db, asked.challenge_id, shown, SITE, NOW, person_id)


def test_a_passkey_says_whose_it_is(
    db: Session, ada: Person, phone: Device, added: list[str]
) -> None:
    assert len(added) == codes.RECOVERY_CODES
    assert _show(db, phone) == ada
    assert _show(db, phone, ada.id) == ada
    kept = db.scalars(select(Passkey)).one()
    assert (kept.name, kept.uses, kept.used_at) == ("My phone", 2, NOW)


def test_the_device_is_asked_to_look_at_its_person(db: Session, ada: Person) -> None:
    asked = passkeys.ask_for_new(db, ada, SITE, NOW).options
    assert asked["authenticatorSelection"]["userVerification"] == "required"
    assert asked["authenticatorSelection"]["residentKey"] == "required"
    assert passkeys.ask_for_one(db, SITE, NOW).options["userVerification"] == "required"


def _elsewhere(device: Device) -> None:
    device.origin = "https://register.example.stranger.example"


def _of_another_site(device: Device) -> None:
    device.host = "stranger.example"


def _unverified(device: Device) -> None:
    device.flags = PRESENT


def _copied(device: Device) -> None:
    device.uses = 0


def _with_another_key(device: Device) -> None:
    device.key = Device(SITE.origin, SITE.host).key


def _unknown(device: Device) -> None:
    device.credential_id = bytes(32)


@pytest.mark.parametrize(
    "spoil",
    [
        _elsewhere,  # shown to a page that only looks like ours
        _of_another_site,
        _unverified,  # somebody has the device, and nobody looked who
        _copied,  # its count stands still: there are two of it
        _with_another_key,
        _unknown,
    ],
)
def test_a_passkey_with_something_wrong_is_refused_in_the_same_words(
    db: Session, phone: Device, added: list[str], spoil: Callable[[Device], None]
) -> None:
    _show(db, phone)
    spoil(phone)
    with pytest.raises(Refused) as refused:
        _show(db, phone)
    assert str(refused.value) == passkeys.REFUSED


@pytest.mark.parametrize("spoil", [_elsewhere, _of_another_site, _unverified])
def test_a_new_passkey_with_something_wrong_is_not_kept(
    db: Session, ada: Person, phone: Device, spoil: Callable[[Device], None]
) -> None:
    spoil(phone)
    asked = passkeys.ask_for_new(db, ada, SITE, NOW)
    made = phone.make(asked.options)
    with pytest.raises(Refused):
        passkeys.add(db, ada, "", asked.challenge_id, made, SITE, NOW)
    assert accounts.passkeys(db, ada.id) == []


def test_what_was_asked_is_answered_once_and_soon(
    db: Session, ada: Person, phone: Device, added: list[str]
) -> None:
    asked = passkeys.ask_for_one(db, SITE, NOW)
    shown = phone.show(asked.options)
    late = NOW + passkeys.GOOD_FOR + timedelta(seconds=1)
    with pytest.raises(Refused):
        passkeys.accept(db, asked.challenge_id, shown, SITE, late)
    passkeys.accept(db, asked.challenge_id, shown, SITE, NOW)
    with pytest.raises(Refused):
        passkeys.accept(db, asked.challenge_id, shown, SITE, NOW)


def test_what_was_asked_of_one_person_is_not_answered_by_another(
    db: Session, ada: Person, phone: Device, added: list[str]
) -> None:
    eve = person(db, "Eve Example")
    with pytest.raises(Refused):
        _show(db, phone, eve.id)
    for_eve = passkeys.ask_for_new(db, eve, SITE, NOW)
    with pytest.raises(Refused):
        passkeys.add(db, ada, "", for_eve.challenge_id, phone.make(for_eve.options), SITE, NOW)


@pytest.mark.parametrize(
    "answer",
    ["", "no JSON", "[]", "{}", json.dumps({"rawId": "%%%"}), json.dumps({"id": 1}), "x" * 30_000],
)
def test_what_is_no_answer_is_refused(db: Session, added: list[str], answer: str) -> None:
    asked = passkeys.ask_for_one(db, SITE, NOW)
    with pytest.raises(Refused):
        passkeys.accept(db, asked.challenge_id, answer, SITE, NOW)


def test_a_removed_passkey_and_one_of_somebody_ended_open_nothing(
    db: Session, ada: Person, phone: Device, added: list[str]
) -> None:
    ada.ended_at = NOW
    with pytest.raises(Refused):
        _show(db, phone)
    ada.ended_at = None
    kept = db.scalars(select(Passkey)).one()
    with pytest.raises(NotFound):
        passkeys.remove(db, person(db, "Eve Example"), kept.id, NOW)
    passkeys.remove(db, ada, kept.id, NOW)
    with pytest.raises(Refused):
        _show(db, phone)
    assert accounts.codes_left(db, ada.id) == 0


def test_an_administrator_takes_lost_passkeys_and_codes_away(
    db: Session, ada: Person, phone: Device, added: list[str]
) -> None:
    people.take_seconds_away(db, office(), ada.id, NOW)
    with pytest.raises(Refused):
        _show(db, phone)
    assert accounts.codes_left(db, ada.id) == 0


def test_challenges_that_nobody_answers_are_bounded(
    db: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(passkeys, "MOST_WAITING", 20)
    for _ in range(60):
        passkeys.ask_for_one(db, SITE, NOW)
    assert (db.scalar(select(func.count()).select_from(Challenge)) or 0) <= 21
