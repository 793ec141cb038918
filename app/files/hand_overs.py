"""The file by which a car goes from one register into another: a ZIP file as `files.archive` writes it.

Its manifest says which car, from whom, to whom and when, what fell due by which rules, and holds a sum of itself.
"""

from __future__ import annotations

from datetime import date
from hashlib import sha256
from typing import ClassVar

from app.errors import Refused
from app.files.archive import About, Copied, Making, Manifest, Strict

SEAL = "seal"


class StatedDue(Strict):
    """A due item as it stood where the car came from, with its reasons, each a sentence and its citation."""

    item: str
    state: str
    due_on: date | None
    basis_on: date | None
    interval_months: int | None
    reasons: tuple[tuple[str, str | None], ...]


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


class HandOverManifest(Handed, Manifest):
    called: ClassVar[str] = "hand-over of a car"
    seal: str = ""

    def sealed(self) -> str:
        """The sum of all that the manifest says but for the sum itself."""
        return sha256(self.model_dump_json(exclude={SEAL}).encode()).hexdigest()


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
