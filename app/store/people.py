"""People, the parties they belong to, and how they sign in. Secrets are kept as hashes or sealed."""

from __future__ import annotations

from datetime import datetime
from typing import get_args

from sqlalchemy import JSON, ForeignKey, Index, Integer, LargeBinary, SmallInteger, String, text
from sqlalchemy.orm import Mapped, mapped_column

from app.access import ROLES
from app.core.showing import Days, Length, Pressure
from app.store.columns import Base, Id, Key, Moment, Words, one_of

TOKEN_SCOPES = ("read", "record", "load_check")
INVITATION_KINDS = ("set_up", "join", "new_password")


class Person(Base):
    """Somebody with an account. Never deleted: the record names people for as long as it lasts."""

    __tablename__ = "person"
    id: Mapped[Id]
    name: Mapped[Words]
    email: Mapped[str] = mapped_column(String(254), unique=True, comment="in small letters")
    password: Mapped[str | None] = mapped_column(String(200), comment="a memory-hard hash")
    password_set_at: Mapped[datetime | None] = mapped_column(Moment)
    code_secret: Mapped[str | None] = mapped_column(
        String(300), comment="of time-based codes, sealed"
    )
    code_step: Mapped[int | None] = mapped_column(
        Integer, comment="the last used, so that no code counts twice"
    )
    added_at: Mapped[datetime] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment, comment="may sign in no longer")
    length_unit: Mapped[Length] = mapped_column(String(4), default="in", server_default="in")
    pressure_unit: Mapped[Pressure] = mapped_column(String(4), default="psi", server_default="psi")
    day_style: Mapped[Days] = mapped_column(String(12), default="iso", server_default="iso")
    __table_args__ = (
        one_of("length_unit", get_args(Length)),
        one_of("pressure_unit", get_args(Pressure)),
        one_of("day_style", get_args(Days)),
    )


class Membership(Base):
    __tablename__ = "membership"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"))
    party_id: Mapped[int] = mapped_column(Key, ForeignKey("party.id"))
    role: Mapped[str] = mapped_column(String(20))
    added_at: Mapped[datetime] = mapped_column(Moment)
    added_by: Mapped[Words]
    ended_at: Mapped[datetime | None] = mapped_column(Moment)
    ended_by: Mapped[str | None] = mapped_column(String(200))
    __table_args__ = (
        one_of("role", ROLES),
        Index(
            "uq_membership_current", "person_id", "party_id", "role", unique=True,
            sqlite_where=text("ended_at IS NULL"), postgresql_where=text("ended_at IS NULL"),
        ),
        Index("ix_membership_party", "party_id", "person_id"),
    )  # fmt: skip


class SignIn(Base):
    """A browser in which somebody is signed in; the key that it holds is not in the store."""

    __tablename__ = "sign_in"
    key_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    how: Mapped[str] = mapped_column(String(20), comment="password, passkey, openid, set_up")
    second: Mapped[str] = mapped_column(
        String(20), default="", comment="code, recovery, passkey; 'wanted' until it was given"
    )
    address: Mapped[str] = mapped_column(String(60), default="")
    browser: Mapped[Words] = mapped_column(default="")
    began_at: Mapped[datetime] = mapped_column(Moment)
    seen_at: Mapped[datetime] = mapped_column(Moment)
    proved_at: Mapped[datetime] = mapped_column(
        Moment, comment="when a secret was last given, for what asks for a fresh one"
    )
    expires_at: Mapped[datetime] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment)


class Passkey(Base):
    __tablename__ = "passkey"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    credential_id: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    public_key: Mapped[bytes] = mapped_column(LargeBinary)
    uses: Mapped[int] = mapped_column(Integer, default=0, comment="the key's own count")
    name: Mapped[Words] = mapped_column(default="")
    added_at: Mapped[datetime] = mapped_column(Moment)
    used_at: Mapped[datetime | None] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment)


class Challenge(Base):
    """What a passkey is asked to sign; good once and for minutes."""

    __tablename__ = "challenge"
    id: Mapped[str] = mapped_column(String(64), primary_key=True, comment="unguessable")
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    value: Mapped[bytes] = mapped_column(LargeBinary)
    expires_at: Mapped[datetime] = mapped_column(Moment)


class RecoveryCode(Base):
    __tablename__ = "recovery_code"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    code_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime] = mapped_column(Moment)
    used_at: Mapped[datetime | None] = mapped_column(Moment)


class OpenIdentity(Base):
    """Who a person is at a provider of OpenID Connect."""

    __tablename__ = "open_identity"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    issuer: Mapped[str] = mapped_column(String(300))
    subject: Mapped[str] = mapped_column(String(255))
    added_at: Mapped[datetime] = mapped_column(Moment)
    __table_args__ = (Index("uq_open_identity_subject", "issuer", "subject", unique=True),)


class Invitation(Base):
    """A link that makes an account, adds memberships to one, or sets a new password; good once."""

    __tablename__ = "invitation"
    key_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    email: Mapped[str] = mapped_column(String(254), default="")
    name: Mapped[Words] = mapped_column(default="")
    person_id: Mapped[int | None] = mapped_column(Key, ForeignKey("person.id"))
    party_id: Mapped[int | None] = mapped_column(Key, ForeignKey("party.id"), index=True)
    roles: Mapped[list[str]] = mapped_column(JSON, default=list)
    made_at: Mapped[datetime] = mapped_column(Moment)
    made_by: Mapped[Words]
    expires_at: Mapped[datetime] = mapped_column(Moment)
    used_at: Mapped[datetime | None] = mapped_column(Moment)
    ended_at: Mapped[datetime | None] = mapped_column(Moment, comment="taken back before its use")
    __table_args__ = (one_of("kind", INVITATION_KINDS),)


class Token(Base):
    """What a program shows instead of signing in; the token itself is shown once and not kept."""

    __tablename__ = "token"
    id: Mapped[Id]
    person_id: Mapped[int] = mapped_column(Key, ForeignKey("person.id"), index=True)
    name: Mapped[Words]
    key_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    scopes: Mapped[list[str]] = mapped_column(JSON)
    made_at: Mapped[datetime] = mapped_column(Moment)
    expires_at: Mapped[datetime] = mapped_column(Moment)
    used_at: Mapped[datetime | None] = mapped_column(Moment)
    used_from: Mapped[str] = mapped_column(String(60), default="")
    ended_at: Mapped[datetime | None] = mapped_column(Moment)


class Attempt(Base):
    """A sign-in that failed, counted by whom and from where it was tried."""

    __tablename__ = "attempt"
    id: Mapped[Id]
    about: Mapped[str] = mapped_column(
        String(64), comment="SHA-256 of the address of mail or of the network"
    )
    kind: Mapped[str] = mapped_column(String(20))
    at: Mapped[datetime] = mapped_column(Moment)
    weight: Mapped[int] = mapped_column(SmallInteger, default=1)
    __table_args__ = (Index("ix_attempt_about", "about", "kind", "at"),)
