"""Codes as a second secret: those of an app by the clock (RFC 6238), and codes on paper for when it is lost."""

from __future__ import annotations

import hmac
from datetime import datetime
from secrets import choice
from typing import Literal, Protocol

import pyotp
from sqlalchemy.orm import Session

from app.actions import attempts
from app.actions.attempts import Counted
from app.errors import Fault, Refused
from app.store import accounts
from app.store.gathering import note
from app.store.people import Person, RecoveryCode
from app.store.signed_in import fingerprint

STEP_SECONDS = 30
# Clocks differ, and typing takes a while.
STEPS_EITHER_SIDE = 1
RECOVERY_CODES = 10
RECOVERY_LETTERS = 25
# Without letters and digits that are taken for one another.
ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
WRONG = "is not the code of this moment; wait for the next one and type it"
PRODUCT = "Stencilbook"


class Seal(Protocol):
    """Keeps a secret unreadable in the store, for who holds the key."""

    def close(self, secret: str) -> str: ...

    def open(self, sealed: str) -> str | None:
        """None when it was closed with another key."""


def new_secret() -> str:
    """A secret of 160 bits for an app to make codes with."""
    return pyotp.random_base32()


def address_of(secret: str, email: str) -> str:
    """What an app reads from the drawing: the secret, whose it is and where."""
    return pyotp.TOTP(secret).provisioning_uri(name=email, issuer_name=PRODUCT)


def step_of(secret: str, code: str, now: datetime) -> int | None:
    """The step of the clock that this is the code of; None when of none that counts now."""
    given = "".join(code.split())
    made = pyotp.TOTP(secret)
    current = int(now.timestamp()) // STEP_SECONDS
    found = None
    # All are compared, whichever is right.
    for step in range(current - STEPS_EITHER_SIDE, current + STEPS_EITHER_SIDE + 1):
        if hmac.compare_digest(
            made.at(step * STEP_SECONDS), given.encode("ascii", "replace").decode()
        ):
            found = step
    return found


def turn_on(
    db: Session, person: Person, secret: str, code: str, seal: Seal, now: datetime
) -> list[str]:
    """Ask for codes from now on; gives the recovery codes, or none when there are some already."""
    step = step_of(secret, code, now)
    if step is None:
        raise Refused.because([Fault("code", WRONG)])
    person.code_secret, person.code_step = seal.close(secret), step
    note(db, "codes.turned_on", ("person", person.id))
    return [] if accounts.codes_left(db, person.id) else new_recovery_codes(db, person, now)


def turn_off(db: Session, person: Person) -> None:
    """Ask for no codes any more. Those on paper go too, unless a passkey still needs them."""
    person.code_secret = person.code_step = None
    note(db, "codes.turned_off", ("person", person.id))
    if not accounts.passkeys(db, person.id):
        accounts.forget_recovery_codes(db, person.id)


def try_code(db: Session, person_id: int, now: datetime) -> int:
    """Count an attempt before its code is looked at; 0, or the seconds it has to wait."""
    return attempts.begin(db, (_counted(person_id),), now)


def accept(
    db: Session, person: Person, code: str, seal: Seal, now: datetime
) -> Literal["code", "recovery"] | None:
    """`code` or `recovery` when it is the person's and was not used before; None when it is wrong."""
    kind: Literal["code", "recovery"] | None = None
    if _is_code(db, person, code, seal, now):
        kind = "code"
    elif accounts.use_recovery_code(db, person.id, _kept(code), now):
        kind = "recovery"
    if kind:
        attempts.succeeded(db, (_counted(person.id),))
    return kind


def _is_code(db: Session, person: Person, code: str, seal: Seal, now: datetime) -> bool:
    secret = seal.open(person.code_secret) if person.code_secret else None
    step = step_of(secret, code, now) if secret else None
    return step is not None and accounts.use_code_step(db, person.id, step)


def new_recovery_codes(db: Session, person: Person, now: datetime) -> list[str]:
    """Ten new codes of 123 bits in place of those there were; shown once.

    A plain hash keeps them: no table of guesses reaches beyond 112 bits (OWASP ASVS 5.0, 6.5.2).
    """
    note(db, "recovery.made", ("person", person.id))
    accounts.forget_recovery_codes(db, person.id)
    made = [_recovery_code() for _ in range(RECOVERY_CODES)]
    db.add_all(
        RecoveryCode(person_id=person.id, code_sha256=_kept(each), made_at=now) for each in made
    )
    db.flush()
    return made


def _recovery_code() -> str:
    letters = "".join(choice(ALPHABET) for _ in range(RECOVERY_LETTERS))
    return "-".join(letters[at : at + 5] for at in range(0, RECOVERY_LETTERS, 5))


def _kept(code: str) -> str:
    """The hash of a recovery code, however it was typed."""
    return fingerprint("".join(code.lower().replace("-", " ").split()))


def _counted(person_id: int) -> Counted:
    return Counted("code", str(person_id))
