"""Which tables the record of change speaks of, and how a row of one is written down, the same on both engines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from hashlib import sha256
from typing import Any

from sqlalchemy import Table

Values = dict[str, Any]
About = tuple[str, str]
OF_CAR = (("car", "car_id"),)
OF_PERSON = (("person", "person_id"),)
OF_PARTY = (("party", "party_id"),)
# An owner's programme is the owner's; any other edition is for all.
OF_OWNER = (("party", "owner_id"),)
RULEBOOK = (("setting", "rulebook"),)


@dataclass(frozen=True, slots=True)
class Kept:
    """`about` names what an entry with such a row is about, by the column that holds its key.

    `settings` are what it is about when that names nothing. Of `secret` columns is only told that they
    changed, and a digest; `passing` ones tell of use, and when nothing else changed there is no entry. `only`
    restricts what is kept to some columns, where the others are derived.
    """

    about: tuple[tuple[str, str], ...] = ()
    settings: tuple[About, ...] = ()
    secret: frozenset[str] = frozenset()
    passing: frozenset[str] = frozenset()
    only: frozenset[str] | None = None

    def columns(self, table: Table) -> list[str]:
        """The columns whose values are written down."""
        hidden = self.secret | self.passing
        return [
            column.name
            for column in table.columns
            if column.name not in hidden and (self.only is None or column.name in self.only)
        ]


_FACTS = (
    "car_name", "ownership", "standing", "hold", "construction", "service", "lining", "fitting", "stencil",
    "approval", "installation", "event", "reading", "visit",
)  # fmt: skip
KEPT: Mapping[str, Kept] = {
    "party": Kept(about=(("party", "id"),)),
    # All but its key is a projection of its facts.
    "car": Kept(about=(("car", "id"),), only=frozenset(("id",))),
    **{table: Kept(OF_CAR) for table in _FACTS},
    "component": Kept(about=(("component", "id"),)),
    "removal": Kept(),
    "visit_step": Kept(),
    "withdrawal": Kept(),
    "removal_permit": Kept(),
    "report": Kept(OF_CAR),
    "field_entry": Kept(OF_CAR),
    "report_event": Kept(OF_CAR),
    "photograph": Kept(OF_CAR),
    "instruction": Kept(OF_OWNER),
    "instruction_step": Kept(),
    "facility": Kept(OF_PARTY),
    "qualification": Kept(OF_PERSON),
    "planning_basis": Kept(OF_PARTY),
    "plan": Kept(OF_PARTY),
    # A plan is too long to be told in an entry; what was changed in it by hand is told in full.
    "plan_version": Kept(secret=frozenset(("content",))),
    "plan_change": Kept(),
    "plan_accepted": Kept(),
    "visit_plan": Kept(OF_CAR),
    "visit_work": Kept(OF_CAR),
    # Whoever buys a car is not told of its former owner's audits, so these are of no car.
    "audit": Kept(OF_PARTY, secret=frozenset(("names",))),
    **dict.fromkeys(("audit_car", "audit_answer", "audit_finding", "audit_finding_step"), Kept()),
    "directive": Kept(OF_PARTY),
    "directive_term": Kept(),
    "directive_match": Kept(OF_CAR),
    "directive_closing": Kept(),
    "hand_over": Kept(OF_CAR),
    "origin": Kept(OF_CAR),
    "told_order": Kept(OF_CAR),
    "told_order_answer": Kept(),
    "lading": Kept(settings=(("setting", "ladings"),)),
    "rulebook_edition": Kept(OF_OWNER, RULEBOOK),
    "rulebook_in_force": Kept(OF_OWNER, RULEBOOK),
    "import_run": Kept(about=(("import", "id"),)),
    "person": Kept(
        about=(("person", "id"),),
        secret=frozenset(("password", "code_secret")),
        passing=frozenset(("code_step",)),
    ),
    "membership": Kept(about=(*OF_PERSON, ("party", "party_id"))),
    "sign_in": Kept(
        OF_PERSON,
        secret=frozenset(("key_sha256",)),
        passing=frozenset(("seen_at", "proved_at", "expires_at")),
    ),
    "passkey": Kept(
        OF_PERSON,
        secret=frozenset(("credential_id", "public_key")),
        passing=frozenset(("uses", "used_at")),
    ),
    "recovery_code": Kept(OF_PERSON, secret=frozenset(("code_sha256",))),
    "open_identity": Kept(OF_PERSON),
    "invitation": Kept(
        about=(*OF_PERSON, ("party", "party_id")), secret=frozenset(("key_sha256",))
    ),
    "token": Kept(
        OF_PERSON,
        secret=frozenset(("key_sha256",)),
        passing=frozenset(("used_at", "used_from")),
    ),
    "saved_list": Kept(OF_PARTY),
    # Not about its car: it changes nothing of what is recorded of that.
    "due_seen": Kept(OF_PARTY),
    "notice_wish": Kept(OF_PERSON),
    "feed": Kept(OF_PERSON, secret=frozenset(("key_sha256",))),
}


def plain(value: Any) -> Any:
    """A value as JSON holds it, the same whichever engine it came from."""
    match value:
        case datetime():
            return value.astimezone(UTC).isoformat(timespec="microseconds")
        case date():
            return value.isoformat()
        case Decimal():
            return f"{value.normalize():f}"
    return value


def key_of(table: Table, values: Mapping[str, Any]) -> Any:
    """What tells the row from others: its number, several values, or a handle where the key is secret."""
    kept = KEPT[table.name]
    parts = [
        _handle(values[column.name]) if column.name in kept.secret else plain(values[column.name])
        for column in table.primary_key.columns
    ]
    return parts[0] if len(parts) == 1 else parts


def digest_of(table: Table, column: str, values: Mapping[str, Any]) -> str | None:
    """What shows that a secret column was changed later, and nobody reads the secret from.

    Such columns hold hashes, public keys and what was sealed, never a secret itself. The row goes in,
    so that the same value in another row has another digest.
    """
    value = values.get(column)
    if value is None:
        return None
    held = value if isinstance(value, bytes) else str(value).encode()
    row = f"{table.name} {key_of(table, values)} {column} ".encode()
    return sha256(row + held).hexdigest()


def _handle(secret: str) -> str:
    """Tells rows apart, and lets nobody find the row's key."""
    return sha256(secret.encode()).hexdigest()[:16]


def about_of(table: str, values: Mapping[str, Any]) -> list[About]:
    """What a row with these values is about."""
    kept = KEPT[table]
    found = [
        (kind, str(values[column])) for kind, column in kept.about if values.get(column) is not None
    ]
    return found or list(kept.settings)
