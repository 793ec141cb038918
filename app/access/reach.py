"""Which cars a request may find: those of some parties, and those that others share with them."""

from __future__ import annotations

from dataclasses import dataclass

from app.access.capability import Kind

# What of a car its lining's owner and its equipment's owner answer for (180.503, "owner" of each).
ITEMS_OF: dict[Kind, frozenset[str]] = {
    "lining": frozenset(("lining",)),
    "equipment": frozenset(("service_equipment", "relief_device", "rupture_disc", "leakage")),
}


@dataclass(frozen=True, slots=True)
class Reach:
    """`parties` owns what is reached, with all parties kept by them; None is every car there is.

    `foreign` are the ways in which cars of others are reached besides, empty when there are none;
    `members` are the parties among `parties` in which the person is a member; `person_id` is the person,
    None for the machine itself, and `named` are the person's parties also where they are all there are.
    """

    parties: frozenset[int] | None
    foreign: frozenset[Kind] = frozenset()
    members: frozenset[int] = frozenset()
    person_id: int | None = None
    named: frozenset[int] = frozenset()

    @property
    def partial(self) -> frozenset[Kind]:
        """The ways in which only some items of a car are reached."""
        return self.foreign & ITEMS_OF.keys()


EVERYTHING = Reach(None)
NOTHING = Reach(frozenset())
