"""Owners' own steps for an item: recorded from a day on, corrected, withdrawn, brought back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import date

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.checks import LONGEST_WORDS, Faults, tidy
from app.actions.stamp import Stamp
from app.core.facts import EVENT_ITEMS
from app.core.steps import MEASURES
from app.core.words import label
from app.errors import Conflict, Fault, Refused
from app.store import cars, instructions
from app.store.field_data import Instruction, InstructionStep
from app.store.gathering import note

MOST_STEPS = 100
LONGEST_UNIT = 20
LONGEST_TEXT = 1_000
MEANWHILE = "Somebody else changed these steps just now. Open them anew."


@dataclass(frozen=True, slots=True)
class NewStep:
    """One step in the owner's words; without `caution` and `source` where there is nothing to say."""

    look_at: str
    spot: str = ""
    measure: str = "look"
    unit: str = ""
    acceptance: str = ""
    caution: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class NewInstruction:
    """An owner's steps for an item, beside the built-in ones or in their place, from a day on."""

    owner: str
    item: str
    from_on: date
    edition: str = ""
    in_place_of_built_in: bool = False
    steps: tuple[NewStep, ...] = ()


def record(db: Session, new: NewInstruction, stamp: Stamp) -> Instruction:
    """Record an owner's steps; those of an earlier day hold until then.

    Raises Refused with faults by field, Conflict where steps of this day are recorded already.
    """
    new = _tidied(new)
    owner_id = _owner(db, new)
    _check(new)
    note(db, "instruction.recorded", ("party", owner_id))
    return _add(db, new, owner_id, stamp)


def correct(db: Session, instruction_id: int, new: NewInstruction, stamp: Stamp) -> Instruction:
    """Put new steps in the place of wrong ones; both stay, and the old ones count no longer."""
    old = _counting(db, instruction_id)
    new = _tidied(new)
    owner_id = _owner(db, new)
    _check(new)
    note(db, "instruction.corrected", ("party", owner_id), ("party", old.owner_id))
    rows.supersede(db, old, stamp)
    return _add(db, new, owner_id, stamp, old.id)


def withdraw(db: Session, instruction_id: int, reason: str, stamp: Stamp) -> Instruction:
    """Let an owner's steps count no longer; those before them hold again, or the built-in ones."""
    old = _counting(db, instruction_id)
    note(db, "instruction.withdrawn", ("party", old.owner_id))
    rows.withdraw(db, old, reason, stamp)
    return old


def bring_back(db: Session, instruction_id: int, stamp: Stamp) -> Instruction:
    """Let steps that were withdrawn count again, as new rows that say the same."""
    held = instructions.one_or_raise(db, instruction_id)
    rows.must_be_withdrawn(db, held.row, instructions.corrected_by(db, held.row))
    note(db, "instruction.brought_back", ("party", held.row.owner_id))
    return _add(db, said_by(held), held.row.owner_id, stamp, held.row.id)


def said_by(held: instructions.Instructed) -> NewInstruction:
    """What is recorded, as it would be stated anew."""
    row, names = held.row, [each.name for each in fields(NewStep)]
    return NewInstruction(
        held.owner, row.item, row.from_on, row.edition, row.in_place_of_built_in,
        tuple(NewStep(**rows.values_of(step, *names)) for step in held.steps),
    )  # fmt: skip


def _counting(db: Session, instruction_id: int) -> Instruction:
    row = instructions.one_or_raise(db, instruction_id).row
    if row.superseded_at is not None:
        raise Conflict("These steps were corrected or withdrawn already. Open the list anew.")
    return row


def _owner(db: Session, new: NewInstruction) -> int:
    """The owner's key; only of a party that the session reaches."""
    party = cars.party_by_name(db, new.owner)
    if party is None:
        unknown = f"there is no owner named {new.owner!r} among those whose records you keep"
        raise Refused.because([Fault("owner", unknown)])
    return party.id


def _add(
    db: Session, new: NewInstruction, owner_id: int, stamp: Stamp, corrects: int | None = None
) -> Instruction:
    already = (
        f"Steps of {new.owner} for {label(new.item)} from {new.from_on} on are recorded already. "
        "Correct those."
    )
    if instructions.of_day(db, owner_id, new.item, new.from_on):
        raise Conflict(already)
    said = rows.values_of(new, "item", "from_on", "edition", "in_place_of_built_in")
    row = Instruction(owner_id=owner_id, corrects=corrects, **said, **stamp.columns())
    rows.add(db, row, already)
    db.add_all(_steps(row, new.steps))
    db.flush()
    return row


def _steps(row: Instruction, steps: Sequence[NewStep]) -> list[InstructionStep]:
    return [
        InstructionStep(instruction_id=row.id, place=place, **asdict(step))
        for place, step in enumerate(steps)
    ]


def _tidied(new: NewInstruction) -> NewInstruction:
    steps = tuple(
        NewStep(**{name: tidy(value) for name, value in asdict(step).items()}) for step in new.steps
    )
    return replace(new, owner=tidy(new.owner), edition=tidy(new.edition), steps=steps)


def _check(new: NewInstruction) -> None:
    faults = Faults()
    faults.plain("", replace(new, steps=()))
    faults.one_of("item", new.item, EVENT_ITEMS)
    if not new.steps:
        faults.add("steps.0.look_at", "say at least one step")
    if len(new.steps) > MOST_STEPS:
        faults.add("steps.0.look_at", f"are more than {MOST_STEPS} steps")
    for place, step in enumerate(new.steps):
        _check_step(faults, f"steps.{place}.", step)
    faults.refuse()


def _check_step(faults: Faults, path: str, step: NewStep) -> None:
    if not step.look_at:
        faults.add(f"{path}look_at", "say what is looked at")
    faults.one_of(f"{path}measure", step.measure, MEASURES)
    longest = {"unit": LONGEST_UNIT, "acceptance": LONGEST_TEXT, "caution": LONGEST_TEXT}
    for name, value in asdict(step).items():
        most = longest.get(name, LONGEST_WORDS)
        if len(value) > most:
            faults.add(f"{path}{name}", f"is longer than {most} characters")
