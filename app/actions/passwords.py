"""Passwords: which are taken, how they are kept, and whether one is right.

Kept by argon2id with the parameters that its library holds to be right today; a hash made with
older ones is made anew when its password is next given.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from secrets import token_urlsafe

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from zxcvbn import zxcvbn  # type: ignore[import-untyped]

from app.errors import Fault, Refused
from app.store.people import Person

SHORTEST, LONGEST = 12, 256
# Ten to this power guesses, most likely first, must not find a password. It is the cheaper half of the
# defence: each guess costs a memory-hard hash, and is slowed down besides.
GUESSES = 8
# What the estimate looks at; more would take its time and add nothing to the answer.
LOOKED_AT = 64
PRODUCT = ("stencilbook",)

_HASHER = PasswordHasher()


@dataclass(frozen=True, slots=True)
class Checked:
    """`renewed` is the hash to keep from now on, where the one kept has outdated parameters."""

    right: bool
    renewed: str | None = None


def fault_of(password: str, name: str, email: str) -> str | None:
    """Why this password is not taken for this person; None when it is.

    No kind of character is asked for: length and being hard to guess are what counts.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        return f"want {SHORTEST} to {LONGEST} characters; this has {len(password)}"
    own = _own_words(name, email)
    if any(word in password.casefold() for word in own):
        return "contains your name, your address of mail or the name of this program"
    guesses = zxcvbn(password[:LOOKED_AT], user_inputs=list(own))["guesses_log10"]
    if guesses < GUESSES:
        return "is among those that are guessed first; several words that do not belong together are better"
    return None


def _own_words(name: str, email: str) -> tuple[str, ...]:
    parts = f"{name} {email.replace('@', ' ').replace('.', ' ')}".casefold().split()
    # Shorter ones stand by chance in many a good password.
    return tuple(word for word in (*PRODUCT, *parts) if len(word) >= 4)


def check(password: str, again: str, name: str, email: str) -> None:
    """Raise Refused, with the field, unless this may be the person's new password."""
    wrong = fault_of(password, name, email)
    if wrong:
        raise Refused.because([Fault("password", wrong)])
    if password != again:
        raise Refused.because([Fault("again", "differs from the password above; type both anew")])


def put(person: Person, password: str, now: datetime) -> None:
    """Give the person this password, which was checked before."""
    person.password = _HASHER.hash(password)
    person.password_set_at = now


def matches(kept: str | None, given: str) -> Checked:
    """Whether `given` is the password behind the hash.

    Takes as long where there is no such person or no password, so that the time tells nothing.
    """
    try:
        # Nobody has us work through megabytes.
        _HASHER.verify(kept or _nobodys(_HASHER), given[:LONGEST])
    except (VerificationError, InvalidHashError):
        return Checked(False)
    if kept is None or len(given) > LONGEST:
        return Checked(False)
    outdated = _HASHER.check_needs_rehash(kept)
    return Checked(True, _HASHER.hash(given) if outdated else None)


@cache
def _nobodys(hasher: PasswordHasher) -> str:
    return hasher.hash(token_urlsafe(32))
