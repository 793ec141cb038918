"""Roles, what each allows, and whose cars each thing allowed is about: the one table of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

Role = Literal["planner", "compliance", "inspector", "shop", "loading_rack", "administrator"]
Capability = Literal[
    "read",  # the register, lists, exports, the rulebook
    "load_check",  # whether a car may be loaded
    "record_work",  # inspections, changes to a car, components; and correcting them
    "record_facts",  # what a car is, whose, in which service; adding cars; sending them to a shop
    "bring_in",  # files in, and taking them back
    "try_out",  # trials and the effect of an edition
    "watch",  # the morning list: lines seen, saved lists and who answers for them, calendars, mails
    "plan",  # shop plans: standards, solving, accepting, and planned visits
    "keep_rules",  # loading editions, putting one in force
    "keep_ladings",  # the list of ladings to choose from
    "administer",  # people, memberships, invitations of one's own party
    "keep_record",  # looking into the record of change
    "own_account",  # one's own password, passkeys, tokens, sign-ins
]
ROLES: tuple[Role, ...] = get_args(Role)
CAPABILITIES: tuple[Capability, ...] = get_args(Capability)
_DESK: frozenset[Capability] = frozenset(
    ("read", "load_check", "record_work", "record_facts", "bring_in", "try_out", "keep_record",
     "watch", "plan", "own_account")
)  # fmt: skip
ALLOWED: Mapping[Role, frozenset[Capability]] = {
    "planner": _DESK | {"keep_ladings"},
    "compliance": _DESK | {"keep_ladings", "keep_rules"},
    "inspector": frozenset(("read", "load_check", "record_work", "own_account")),
    "shop": frozenset(("read", "load_check", "record_work", "own_account")),
    "loading_rack": frozenset(("load_check", "own_account")),
    "administrator": frozenset(("administer", "keep_record", "own_account")),
}


def roles_that_may(capability: Capability) -> tuple[Role, ...]:
    """The roles that allow it."""
    return tuple(role for role in ROLES if capability in ALLOWED[role])


# What all parties share, so that only those who keep the register may change it.
FOR_ALL: frozenset[Capability] = frozenset(("keep_ladings",))

# How a party can come to reach a car that is not its own.
Kind = Literal["lining", "equipment", "shop"]
FOREIGN: frozenset[Kind] = frozenset(("lining", "equipment", "shop"))
KINDS_OF: Mapping[Capability, frozenset[Kind]] = {
    "read": FOREIGN,
    "load_check": frozenset(("shop",)),
    "record_work": FOREIGN,
    "record_facts": frozenset(),
    "bring_in": frozenset(),
    "try_out": frozenset(("shop",)),
    "watch": FOREIGN,
    "plan": frozenset(),
    "keep_rules": frozenset(),
    "keep_ladings": frozenset(),
    "administer": frozenset(),
    "keep_record": frozenset(),
    "own_account": frozenset(),
}
