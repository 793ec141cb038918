"""Passkeys (WebAuthn): asking a browser for one, and whether what it answers is right.

A passkey is kept by the person's device, which asks for a finger, a face or a PIN itself; so one alone
is worth a password and a second secret.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_urlsafe
from typing import Any

import webauthn
from sqlalchemy.orm import Session
from webauthn.helpers import base64url_to_bytes, options_to_json_dict
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from app.actions import codes
from app.actions.checks import tidy
from app.errors import NotFound, Refused
from app.store import accounts
from app.store.gathering import note
from app.store.people import Challenge, Passkey, Person

GOOD_FOR = timedelta(minutes=5)
# Anybody may ask for a challenge without being signed in; no more than these wait at once.
MOST_WAITING = 5_000
MOST_PASSKEYS = 20
LONGEST_ANSWER = 20_000
REFUSED = "This passkey was not accepted. Try again, or sign in with the password."


@dataclass(frozen=True, slots=True)
class Site:
    """As whom the register asks: the host that passkeys belong to, and the origin of its pages."""

    host: str
    origin: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What the browser is handed: options for it, and the name of the challenge, to send back."""

    options: dict[str, Any]
    challenge_id: str


def ask_for_new(db: Session, person: Person, site: Site, now: datetime) -> Asked:
    """Have the person's device make a passkey."""
    held = accounts.passkeys(db, person.id)
    if len(held) >= MOST_PASSKEYS:
        raise Refused(f"There are {MOST_PASSKEYS} passkeys already. Remove one first.")
    options = webauthn.generate_registration_options(
        rp_id=site.host,
        rp_name=codes.PRODUCT,
        user_id=_handle(person.id),
        user_name=person.email,
        user_display_name=person.name,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED,
            require_resident_key=True,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[PublicKeyCredentialDescriptor(id=each.credential_id) for each in held],
    )
    return _asked(db, person.id, options, now)


def add(
    db: Session,
    person: Person,
    name: str,
    challenge_id: str,
    answer: str,
    site: Site,
    now: datetime,
) -> list[str]:
    """Keep the passkey that the device made; gives recovery codes, unless there are some already."""
    challenge = _challenge(db, challenge_id, person.id, now)
    try:
        made = webauthn.verify_registration_response(
            credential=_credential(answer),
            expected_challenge=challenge.value,
            expected_rp_id=site.host,
            expected_origin=site.origin,
            require_user_verification=True,
        )
    except WebAuthnException as wrong:
        raise Refused("This device’s passkey was not accepted. Try again.") from wrong
    if accounts.passkey(db, made.credential_id):
        raise Refused("This passkey is in use already.")
    db.add(
        Passkey(
            person_id=person.id,
            credential_id=made.credential_id,
            public_key=made.credential_public_key,
            uses=made.sign_count,
            name=tidy(name)[:200] or "Passkey",
            added_at=now,
        )
    )
    note(db, "passkey.added", ("person", person.id))
    db.flush()
    return [] if accounts.codes_left(db, person.id) else codes.new_recovery_codes(db, person, now)


def ask_for_one(db: Session, site: Site, now: datetime, person_id: int | None = None) -> Asked:
    """Have a device show a passkey: any that it holds for the register, or one of a person."""
    held = accounts.passkeys(db, person_id) if person_id is not None else ()
    options = webauthn.generate_authentication_options(
        rp_id=site.host,
        allow_credentials=[PublicKeyCredentialDescriptor(id=each.credential_id) for each in held],
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    return _asked(db, person_id, options, now)


def accept(
    db: Session,
    challenge_id: str,
    answer: str,
    site: Site,
    now: datetime,
    person_id: int | None = None,
) -> Person:
    """Whose passkey it is; Refused in the same words whatever is wrong with it."""
    challenge = _challenge(db, challenge_id, person_id, now)
    credential = _credential(answer)
    passkey = accounts.passkey(db, _id_of(credential))
    if passkey is None or person_id not in (None, passkey.person_id):
        raise Refused(REFUSED)
    person = accounts.person_or_raise(db, passkey.person_id)
    try:
        shown = webauthn.verify_authentication_response(
            credential=credential,
            expected_challenge=challenge.value,
            expected_rp_id=site.host,
            expected_origin=site.origin,
            credential_public_key=passkey.public_key,
            # A count that does not grow tells of a copied key.
            credential_current_sign_count=passkey.uses,
            require_user_verification=True,
        )
    except WebAuthnException as wrong:
        raise Refused(REFUSED) from wrong
    if person.ended_at:
        raise Refused(REFUSED)
    passkey.uses, passkey.used_at = shown.new_sign_count, now
    return person


def remove(db: Session, person: Person, passkey_id: int, now: datetime) -> None:
    """The person signs in with this passkey no longer."""
    held = {each.id: each for each in accounts.passkeys(db, person.id)}
    if passkey_id not in held:
        raise NotFound("You have no such passkey.")
    held[passkey_id].ended_at = now
    if len(held) == 1 and person.code_secret is None:
        accounts.forget_recovery_codes(db, person.id)
    note(db, "passkey.removed", ("person", person.id))


def _asked(db: Session, person_id: int | None, options: Any, now: datetime) -> Asked:
    accounts.forget_challenges(db, now, MOST_WAITING)
    made = Challenge(
        id=token_urlsafe(24),
        person_id=person_id,
        value=options.challenge,
        expires_at=now + GOOD_FOR,
    )
    db.add(made)
    db.flush()
    return Asked(options_to_json_dict(options), made.id)


def _challenge(db: Session, challenge_id: str, person_id: int | None, now: datetime) -> Challenge:
    challenge = accounts.challenge(db, challenge_id, now)
    if challenge is None or challenge.person_id != person_id:
        raise Refused("This took too long. Try again.")
    return challenge


def _credential(answer: str) -> dict[str, Any]:
    try:
        read = json.loads(answer) if len(answer) <= LONGEST_ANSWER else None
    except ValueError:
        read = None
    if not isinstance(read, dict):
        raise Refused(REFUSED)
    return read


def _id_of(credential: dict[str, Any]) -> bytes:
    try:
        return base64url_to_bytes(str(credential.get("rawId", "")))
    except ValueError:
        return b""


def _handle(person_id: int) -> bytes:
    """What a device knows the person by; tells nothing of them (WebAuthn Level 2, 14.6.1)."""
    return person_id.to_bytes(8, "big")
