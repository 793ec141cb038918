"""A signed-in person as a request sees them: memberships, and what these allow."""

from __future__ import annotations

from dataclasses import dataclass

from app.access.capability import ALLOWED, CAPABILITIES, FOR_ALL, Capability, Role
from app.core.showing import AS_STORED, Preferences


@dataclass(frozen=True, slots=True)
class Member:
    """A role within one party; `keeps_register` is of the party that looks after the register."""

    party_id: int
    party: str
    role: Role
    keeps_register: bool = False


@dataclass(frozen=True, slots=True)
class Viewer:
    """`allowed` narrows what the memberships allow, as the scopes of a token do; `prefers` is for what is shown."""

    person_id: int
    name: str
    members: tuple[Member, ...]
    allowed: frozenset[Capability] = frozenset(CAPABILITIES)
    token_id: int | None = None
    prefers: Preferences = AS_STORED

    def may(self, capability: Capability) -> bool:
        """Whether any membership allows it, whatever it is about."""
        return bool(self.parties(capability))

    def parties(self, capability: Capability) -> frozenset[int]:
        """The parties in which the person may do so."""
        if capability not in self.allowed:
            return frozenset()
        return frozenset(
            each.party_id
            for each in self.members
            if capability in ALLOWED[each.role]
            and (each.keeps_register or capability not in FOR_ALL)
        )

    def may_for_all(self, capability: Capability) -> bool:
        """Whether the person may do so for every party: as a member of the one that keeps the register."""
        return capability in self.allowed and any(
            each.keeps_register and capability in ALLOWED[each.role] for each in self.members
        )

    @property
    def looks_after_register(self) -> bool:
        """Whether the person administers the party that keeps the register."""
        return "administer" in self.allowed and any(
            each.keeps_register and each.role == "administrator" for each in self.members
        )
