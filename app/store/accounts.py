"""Questions about accounts: who there is, how each signs in, who belongs to which party."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from hashlib import blake2b

from sqlalchemy import delete, exists, func, or_, select, update
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.store.people import (
    Attempt,
    Challenge,
    OpenIdentity,
    Passkey,
    Person,
    RecoveryCode,
    SignIn,
    Token,
)


def anybody(db: Session) -> bool:
    """Whether there is any account yet."""
    return bool(db.scalar(select(exists().where(Person.id.is_not(None)))))


def by_email(db: Session, email: str) -> Person | None:
    """The account of this address of mail, ended or not."""
    return db.scalars(select(Person).where(Person.email == email)).first()


def person_or_raise(db: Session, person_id: int) -> Person:
    person = db.get(Person, person_id)
    if person is None:
        raise no_person(person_id)
    return person


def no_person(person_id: int) -> NotFound:
    """The one answer for a person that there is not, and for one whom the asker may not see."""
    return NotFound(f"No person in the register has the number {person_id}.")


# How a person signs in


def sign_in(db: Session, key_sha256: str) -> SignIn | None:
    return db.get(SignIn, key_sha256)


def sign_ins(db: Session, person_id: int, now: datetime) -> Sequence[SignIn]:
    """Where the person is signed in now, last seen first."""
    return db.scalars(
        select(SignIn)
        .where(SignIn.person_id == person_id, SignIn.ended_at.is_(None), SignIn.expires_at > now)
        .order_by(SignIn.seen_at.desc(), SignIn.key_sha256)
    ).all()


def end_sign_ins(db: Session, person_id: int, now: datetime, but: str = "") -> int:
    """End every sign-in of the person but one; gives how many those were."""
    ended = db.execute(
        update(SignIn)
        .where(SignIn.person_id == person_id, SignIn.ended_at.is_(None), SignIn.key_sha256 != but)
        .values(ended_at=now)
    )
    return int(ended.rowcount)  # type: ignore[attr-defined]


def forget_sign_ins(db: Session, before: datetime) -> None:
    """Remove those that could be used no longer since then."""
    db.execute(delete(SignIn).where(or_(SignIn.expires_at < before, SignIn.ended_at < before)))


def last_seen(db: Session, person_ids: Collection[int]) -> dict[int, datetime]:
    """When each was last there, for those who were."""
    rows = db.execute(
        select(SignIn.person_id, func.max(SignIn.seen_at))
        .where(SignIn.person_id.in_(person_ids))
        .group_by(SignIn.person_id)
    )
    return {row[0]: row[1] for row in rows}


def passkeys(db: Session, person_id: int) -> Sequence[Passkey]:
    return db.scalars(
        select(Passkey)
        .where(Passkey.person_id == person_id, Passkey.ended_at.is_(None))
        .order_by(Passkey.id)
    ).all()


def has_second(db: Session, person_id: int) -> bool:
    """Whether the person has set up codes or a passkey, beside the password."""
    has_codes = exists().where(Person.id == person_id, Person.code_secret.is_not(None))
    has_passkey = exists().where(Passkey.person_id == person_id, Passkey.ended_at.is_(None))
    return bool(db.scalar(select(or_(has_codes, has_passkey))))


def passkey(db: Session, credential_id: bytes) -> Passkey | None:
    return db.scalars(
        select(Passkey).where(Passkey.credential_id == credential_id, Passkey.ended_at.is_(None))
    ).first()


def challenge(db: Session, challenge_id: str, now: datetime) -> Challenge | None:
    """The challenge, taken out of the store: good once, even for two who ask at the same moment."""
    taken = db.execute(
        delete(Challenge)
        .where(Challenge.id == challenge_id, Challenge.expires_at > now)
        .returning(Challenge.person_id, Challenge.value, Challenge.expires_at)
    ).first()
    return taken and Challenge(
        id=challenge_id,
        person_id=taken.person_id,
        value=taken.value,
        expires_at=taken.expires_at,
    )


def forget_challenges(db: Session, now: datetime, most: int) -> None:
    """Remove those that have run out, and the oldest beyond so many."""
    db.execute(delete(Challenge).where(Challenge.expires_at <= now))
    newest = select(Challenge.id).order_by(Challenge.expires_at.desc()).offset(most)
    if db.scalar(select(func.count()).select_from(Challenge)) or most < 0:
        db.execute(delete(Challenge).where(Challenge.id.in_(list(db.scalars(newest)))))


def codes_left(db: Session, person_id: int) -> int:
    """How many recovery codes are unused."""
    return (
        db.scalar(
            select(func.count())
            .select_from(RecoveryCode)
            .where(RecoveryCode.person_id == person_id, RecoveryCode.used_at.is_(None))
        )
        or 0
    )


def use_recovery_code(db: Session, person_id: int, code_sha256: str, now: datetime) -> bool:
    """Whether this was an unused recovery code of the person; it is used now."""
    used = db.execute(
        update(RecoveryCode)
        .where(RecoveryCode.person_id == person_id, RecoveryCode.code_sha256 == code_sha256)
        .where(RecoveryCode.used_at.is_(None))
        .values(used_at=now)
    )
    return int(used.rowcount) == 1  # type: ignore[attr-defined]


def forget_recovery_codes(db: Session, person_id: int) -> None:
    db.execute(delete(RecoveryCode).where(RecoveryCode.person_id == person_id))


def use_code_step(db: Session, person_id: int, step: int) -> bool:
    """Whether no code of this step or a later one was used before; it is used now."""
    used = db.execute(
        update(Person)
        .where(Person.id == person_id, or_(Person.code_step.is_(None), Person.code_step < step))
        .values(code_step=step)
        .execution_options(synchronize_session="fetch")
    )
    return int(used.rowcount) == 1  # type: ignore[attr-defined]


def tokens(db: Session, person_id: int) -> Sequence[Token]:
    """The person's tokens that are not revoked, newest first."""
    return db.scalars(
        select(Token)
        .where(Token.person_id == person_id, Token.ended_at.is_(None))
        .order_by(Token.id.desc())
    ).all()


def end_tokens(db: Session, person_id: int, now: datetime) -> None:
    db.execute(
        update(Token)
        .where(Token.person_id == person_id, Token.ended_at.is_(None))
        .values(ended_at=now)
    )


def open_identities(db: Session, person_id: int) -> Sequence[OpenIdentity]:
    return db.scalars(select(OpenIdentity).where(OpenIdentity.person_id == person_id)).all()


def open_identity(db: Session, issuer: str, subject: str) -> OpenIdentity | None:
    return db.scalars(
        select(OpenIdentity).where(OpenIdentity.issuer == issuer, OpenIdentity.subject == subject)
    ).first()


# Attempts that failed


def one_attempt_at_a_time(db: Session, about: Collection[str]) -> None:
    """Whoever else counts one of the same waits until this transaction ends.

    SQLite has one writer anyway.
    """
    if db.get_bind().dialect.name == "postgresql":
        for each in sorted(about):  # in one order, or two of them wait for each other
            key = int.from_bytes(blake2b(each.encode(), digest_size=8).digest(), "big", signed=True)
            db.execute(select(func.pg_advisory_xact_lock(key)))


def attempts(db: Session, about: str, kind: str) -> Attempt | None:
    return db.scalars(select(Attempt).where(Attempt.about == about, Attempt.kind == kind)).first()


def forget_attempts(db: Session, before: datetime, most: int) -> None:
    """Remove those since which nothing failed, and the oldest beyond so many."""
    db.execute(delete(Attempt).where(Attempt.at < before))
    if (db.scalar(select(func.count()).select_from(Attempt)) or 0) > most:
        beyond = select(Attempt.id).order_by(Attempt.at.desc(), Attempt.id.desc()).offset(most)
        db.execute(delete(Attempt).where(Attempt.id.in_(list(db.scalars(beyond)))))


def forget_attempts_about(db: Session, about: str, kind: str) -> None:
    db.execute(delete(Attempt).where(Attempt.about == about, Attempt.kind == kind))
