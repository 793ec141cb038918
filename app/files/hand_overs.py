"""The file by which a car goes from one register into another: a ZIP file as `files.archive` writes it.

Its manifest says which car, from whom, to whom and when, what fell due by which rules, and holds a sum of itself.
"""

from __future__ import annotations

from datetime import date
from hashlib import sha256
from typing import Annotated, ClassVar

from pydantic import StringConstraints

from app.errors import Refused
from app.files.archive import About, Copied, Making, Manifest, Strict

SEAL = "seal"
Line = Annotated[str, StringConstraints(max_length=200)]
Short = Annotated[str, StringConstraints(max_length=16)]


class StatedDue(Strict):
    """A due item as it stood where the car came from, with its reasons, each a sentence and its citation."""

    item: str
    state: str
    due_on: date | None
    basis_on: date | None
    interval_months: int | None
    reasons: tuple[tuple[str, str | None], ...]


class StatedOrder(Strict):
    """A directive that the car was under, as information: where the car goes it is no due item by this.

    `company` is the one that had issued it, `about` the component in words (empty: the car), `closed_on` the
    day on which it was seen to (none: it is open), `said` what was answered about it on the way.
    """

    company: Line
    ordered_by: Short
    orderer: Line
    number: Line
    title: Line
    what: str
    caution: str
    ordered_on: date
    due_on: date
    forbids_loading: bool
    about: str
    by_hand: bool
    closed_on: date | None
    outcome: Short
    reference: Line
    finding: str
    said: str = ""

    @property
    def name(self) -> str:
        return f"{self.orderer} {self.number}"


class Handed(About):
    """What a hand-over is of; `as_of` is the day for which the due items are stated, by the rules named."""

    car: str
    from_party: str
    to_party: str
    handed_on: date
    as_of: date
    by: str
    rulebook: str
    edition: str
    due: tuple[StatedDue, ...]
    orders: tuple[StatedOrder, ...] = ()


class HandOverManifest(Handed, Manifest):
    called: ClassVar[str] = "hand-over of a car"
    seal: str = ""

    def sealed(self) -> str:
        """The sum of all that the manifest says but for the sum itself; without directives as before there were any."""
        left_out = {SEAL} if self.orders else {SEAL, "orders"}
        return sha256(self.model_dump_json(exclude=left_out).encode()).hexdigest()


HandOverFile = Copied[HandOverManifest]


def finish(making: Making, handed: Handed) -> HandOverManifest:
    made = HandOverManifest(**handed.model_dump(), **making.held())
    return making.finish_as(made.model_copy(update={SEAL: made.sealed()}))


def must_be_whole(opened: HandOverFile, name: str) -> None:
    """Raise Refused naming the first member that is not as it was written."""
    if opened.manifest.seal != opened.manifest.sealed():
        raise Refused(
            f"{name} is damaged: its manifest is not what was written. Nothing was changed."
        )
    opened.prove(lambda *_: None)
