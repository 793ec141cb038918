"""Points of an audit's checklist, and what the register itself says of them: a suggestion, never the answer.

Each function takes what was on record of a car when it was drawn. It says that the car conforms, that it does
not, or that the point does not apply, each with what that rests on; where only a paper or a person can tell, it
says what the register holds and suggests nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from app.core.due import state_on
from app.core.facts import Answer, Due, Reason, ReliefDevice
from app.core.words import label

AnswerWord = Literal["conforms", "does_not", "not_applicable", "not_looked_at"]
ANSWERS: tuple[AnswerWord, ...] = get_args(AnswerWord)


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a checklist; `register` names what the register says of it, where it can say anything.

    `citation` says what the point rests on, also where that is no source.
    """

    id: str
    asks: str
    look_at: str = ""
    citation: str = ""
    register: str = ""


@dataclass(frozen=True, slots=True)
class LastDone:
    """The last event that passed an item, and what the register holds of its report."""

    item: str
    on: date
    facility: str
    inspector: str
    signed_report: bool


@dataclass(frozen=True, slots=True)
class OnRecord:
    """What was on record of a car on the day and at the moment of the draw; `last` without mechanical items."""

    day: date
    answer: Answer
    last: Sequence[LastDone]
    devices: Sequence[tuple[str, ReliefDevice]]
    contradictions: Sequence[Reason]
    unexplained: int


@dataclass(frozen=True, slots=True)
class Says:
    """What the register says of a point; without an `answer` only a paper or a person can tell."""

    answer: AnswerWord | None
    reason: str


def register_says(point: Point, known: OnRecord) -> Says | None:
    """What the register says; None where the point is none of its business."""
    asked = REGISTER.get(point.register)
    return asked(known) if asked else None


def _reports(known: OnRecord) -> Says:
    """The eight fields of 180.517(b): a signed report holds them all, or it could not have been signed."""
    if not known.last:
        return Says("not_applicable", "No inspection is on record.")
    lacking = [_lacks(each) for each in known.last if not (each.facility and each.inspector)]
    if lacking:
        return Says("does_not", f"{'; '.join(lacking)}.")
    papers = [_when(each) for each in known.last if not each.signed_report]
    if papers:
        return Says(
            None,
            f"The register has facility and inspector, but the signed report is a paper: {', '.join(papers)}.",
        )
    return Says(
        "conforms", "The last inspection of each item is a signed report with its eight fields."
    )


def _lacks(each: LastDone) -> str:
    lacks = " and ".join(
        name
        for name, held in (("facility", each.facility), ("inspector", each.inspector))
        if not held
    )
    return f"{_when(each)} is on record without {lacks}"


def _when(each: LastDone) -> str:
    return f"{label(each.item)} of {each.on}"


def _owners_copy(known: OnRecord) -> Says:
    papers = [_when(each) for each in known.last if not each.signed_report]
    if not known.last:
        return Says("not_applicable", "No inspection is on record.")
    if papers:
        return Says(None, f"Not in the register itself, so to be looked for: {', '.join(papers)}.")
    return Says("conforms", "The reports of the last inspections are in the register.")


def _stencil(known: OnRecord) -> Says:
    painted = dict(known.answer.facts.car.stencil.due)
    if not painted:
        return Says(None, "No stencil is on record.")
    compared = [
        (item, text, due.calculated_due_on)
        for item, text in painted.items()
        if (due := known.answer.item(item)) and due.calculated_due_on
    ]
    other = [
        f"{label(item)}: {text} is stenciled, {on} is worked out"
        for item, text, on in compared
        if not _same(text, on)
    ]
    if other:
        return Says("does_not", f"{'; '.join(other)}.")
    if not compared:
        return Says(None, "No date could be worked out for what is stenciled.")
    return Says(
        "conforms", f"Worked out as stenciled: {', '.join(label(each[0]) for each in compared)}."
    )


def _same(text: str, on: date) -> bool:
    """Whether the day is the one painted, or lies in its year, or in its month: that is painted as its first day."""
    painted = text.removesuffix("-01") if len(text) == len("YYYY-MM-DD") else text
    return on.isoformat().startswith(painted)


def _in_date(known: OnRecord) -> Says:
    past = [due for due in known.answer.items if _is_past(due, known.day)]
    if past:
        told = "; ".join(f"{label(due.item)}, due {due.due_on}" for due in past)
        return Says("does_not", f"Overdue or due now on {known.day}: {told}.")
    unknown = [label(due.item) for due in known.answer.items if due.state == "unknown"]
    if unknown:
        return Says(
            None, f"Nothing is overdue on {known.day}, but unknown is: {', '.join(unknown)}."
        )
    return Says("conforms", f"Nothing is overdue on {known.day}.")


def _is_past(due: Due, day: date) -> bool:
    return state_on(due.state, due.due_on, day, 0) in ("overdue", "due_now")


def _devices(known: OnRecord) -> Says:
    device = known.answer.facts.car.relief_device
    if not known.devices:
        if device is not None and device.kind == "none":
            return Says("not_applicable", "It is stated that the car has no relief device.")
        return Says("does_not", "No relief device is on record as on the car.")
    lacking = [
        f"{called} is without its {' and '.join(lacks)}"
        for called, each in known.devices
        if (lacks := list(_lacks_of_device(each)))
    ]
    if lacking:
        return Says("does_not", f"{'; '.join(lacking)}.")
    return Says(
        "conforms",
        f"Setting and day of test are on record: {', '.join(name for name, _ in known.devices)}.",
    )


def _lacks_of_device(device: ReliefDevice) -> Iterator[str]:
    if device.set_psig is None:
        yield "setting"
    if device.tested_on is None:
        yield "day of test"


def _approvals(known: OnRecord) -> Says:
    approvals = known.answer.facts.car.approvals
    if not approvals:
        return Says("not_applicable", "No approved other interval is on record.")
    bare = sorted({label(each.item) for each in approvals if not each.reference})
    if bare:
        return Says("does_not", f"On record without a reference: {', '.join(bare)}.")
    named = ", ".join(f"{label(each.item)}, {each.reference}" for each in approvals)
    return Says(None, f"The papers to look for: {named}.")


def _thickness(known: OnRecord) -> Says:
    zones = known.answer.thickness
    if not zones:
        return Says("not_applicable", "The tank is not measured against lines.")
    below = [label(each.zone) for each in zones if each.verdict == "condemned"]
    lacking = [label(each.zone) for each in zones if each.verdict == "not_measured"]
    if below:
        return Says("does_not", f"Below the condemning line: {', '.join(below)}.")
    if lacking:
        return Says(None, f"No reading is on record of: {', '.join(lacking)}.")
    return Says("conforms", "Each zone has a reading, and none is below the condemning line.")


def _lining(known: OnRecord) -> Says:
    due = known.answer.item("lining")
    if due is None or due.state == "not_required":
        return Says("not_applicable", "No lining has to be qualified on this car.")
    lining = known.answer.facts.car.lining
    if lining is None or lining.owner_interval_months is None:
        return Says("does_not", "No interval of the lining’s owner is on record.")
    told = f"{lining.owner_interval_months} months are on record as the owner’s interval"
    return Says(None, f"{told}; the procedure and the record of service life are papers.")


def _agrees(known: OnRecord) -> Says:
    if known.contradictions:
        return Says("does_not", " ".join(f"{each.text}." for each in known.contradictions))
    return Says("conforms", "Nothing on record contradicts the specification.")


def _explained(known: OnRecord) -> Says:
    if known.unexplained:
        return Says("does_not", f"Taken back without a reason: {known.unexplained}.")
    return Says("conforms", "Whatever was taken back says why.")


REGISTER: Mapping[str, Callable[[OnRecord], Says]] = {
    "reports": _reports,
    "owners_copy": _owners_copy,
    "stencil": _stencil,
    "in_date": _in_date,
    "relief_devices": _devices,
    "approvals": _approvals,
    "thickness": _thickness,
    "lining": _lining,
    "agrees": _agrees,
    "explained": _explained,
}
