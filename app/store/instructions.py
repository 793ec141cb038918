"""Questions about owners' own steps: those that hold for cars, and those that a session may see and change."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.steps import Step
from app.errors import NotFound
from app.store import reach
from app.store.cars import withdrawals
from app.store.field_data import Instruction, InstructionStep
from app.store.tables import Party, Withdrawal

# How a step of an owner's instruction is named, as `_step` does.
OWN_STEP = re.compile(r"own\.(\d{1,18})\.\d+", re.ASCII)


@dataclass(frozen=True, slots=True)
class Instructed:
    """An owner's steps for an item, in order, and who withdrew them where somebody did and nobody brought them back."""

    row: Instruction
    owner: str
    steps: tuple[InstructionStep, ...]
    withdrawal: Withdrawal | None = None

    def own_steps(self) -> tuple[Step, ...]:
        """The steps for the calculator, each with an id that says whose it is."""
        return tuple(_step(self.row.id, each) for each in self.steps)


def _step(instruction_id: int, row: InstructionStep) -> Step:
    return Step(
        f"own.{instruction_id}.{row.place}", row.look_at, row.spot, row.measure, row.unit or None,
        row.acceptance, row.caution or None, row.source or None,
    )  # fmt: skip


def in_force(
    db: Session, owner_ids: Collection[int], day: date
) -> dict[tuple[int, str], Instructed]:
    """What holds on a day, by owner and item; for cars that the caller reaches, whoever's they are."""
    query = (
        select(Instruction, Party.name)
        .join(Party, Party.id == Instruction.owner_id)
        .where(
            Instruction.owner_id.in_(sorted(owner_ids)),
            Instruction.superseded_at.is_(None),
            Instruction.from_on <= day,
        )
        .order_by(Instruction.from_on, Instruction.id)
    )
    latest = {(row.owner_id, row.item): (row, owner) for row, owner in db.execute(query)}
    steps = _steps(db, [row.id for row, _ in latest.values()])
    return {
        key: Instructed(row, owner, steps.get(row.id, ())) for key, (row, owner) in latest.items()
    }


def mine(db: Session) -> list[Instructed]:
    """Those of the session's own parties, by owner, item and day, the latest first; also those that count no longer."""
    query = (
        select(Instruction, Party.name)
        .join(Party, Party.id == Instruction.owner_id)
        .where(reach.owned(db, Instruction.owner_id))
        .order_by(
            Party.name, Instruction.item, Instruction.from_on.desc(), Instruction.id.desc()
        )
    )  # fmt: skip
    found = db.execute(query).all()
    steps = _steps(db, [row.id for row, _ in found])
    replaced = {row.corrects for row, _ in found}
    gone = withdrawals(db, "instruction", [row.id for row, _ in found if row.id not in replaced])
    return [Instructed(row, owner, steps.get(row.id, ()), gone.get(row.id)) for row, owner in found]


def one_or_raise(db: Session, instruction_id: int) -> Instructed:
    """An instruction of one of the session's own parties; NotFound as well when there is none."""
    query = (
        select(Instruction, Party.name)
        .join(Party, Party.id == Instruction.owner_id)
        .where(Instruction.id == instruction_id, reach.owned(db, Instruction.owner_id))
    )
    found = db.execute(query).first()
    if found is None:
        raise NotFound(f"There are no steps of an owner with the number {instruction_id}.")
    return Instructed(found[0], found[1], _steps(db, [instruction_id]).get(instruction_id, ()))


def of_day(db: Session, owner_id: int, item: str, from_on: date) -> Instruction | None:
    """The instruction that counts and begins on this very day."""
    return db.scalars(
        select(Instruction).where(
            Instruction.owner_id == owner_id,
            Instruction.item == item,
            Instruction.from_on == from_on,
            Instruction.superseded_at.is_(None),
        )
    ).first()


def corrected_by(db: Session, row: Instruction) -> Instruction | None:
    """The row that took this one's place, if one did."""
    return db.scalars(select(Instruction).where(Instruction.corrects == row.id)).first()


def looked_at(db: Session, step_ids: Collection[str]) -> dict[str, str]:
    """What owners' own steps ask to be looked at, by id; also of those that count no longer. Others have none."""
    wanted = {int(found[1]) for each in step_ids if (found := OWN_STEP.fullmatch(each))}
    return {
        step.id: step.look_at
        for key, steps in _steps(db, sorted(wanted)).items()
        for step in (_step(key, each) for each in steps)
    }


def _steps(db: Session, ids: Sequence[int]) -> dict[int, tuple[InstructionStep, ...]]:
    if not ids:
        return {}
    found: dict[int, list[InstructionStep]] = defaultdict(list)
    query = (
        select(InstructionStep)
        .where(InstructionStep.instruction_id.in_(ids))
        .order_by(InstructionStep.instruction_id, InstructionStep.place)
    )
    for row in db.scalars(query):
        found[row.instruction_id].append(row)
    return {each: tuple(rows) for each, rows in found.items()}
