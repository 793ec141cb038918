"""What the qualification panel on a car should read after the last work, and how that differs from what was seen.

180.515(a) asks for the date of test and the next due date, and leaves their form to AAR Appendix C, which was not
seen: the layout, the words of the rows and dates without a day are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Literal

from app.core.facts import Answer, Due
from app.core.lining import latest_step, lining_steps
from app.core.rule import Rulebook
from app.core.stencil import decode
from app.core.words import capitalized, label

Form = Literal["month", "year"]
PRACTICE = "common practice, no source"
RULE = "49 CFR 180.515(a)"
# These may share one row when they share their dates.
TOGETHER = ("visual", "structural_integrity", "safety_systems")
_LABELS = {
    "visual": "VISUAL",
    "structural_integrity": "STRUCTURAL",
    "safety_systems": "SAFETY SYSTEMS",
    "thickness": "THICKNESS TEST",
    "lining": "LINING",
    "service_equipment": "SERVICE EQUIP",
    "relief_device": "PRD",
}
WHOLE_TANK = "TANK QUALIFIED"
BY_EVENT = "no due date is set: it is done again when the lining is applied or replaced"


@dataclass(frozen=True, slots=True)
class Device:
    """A relief device on the car: what tells it from others, its setting, its own due item."""

    called: str
    set_psig: Fraction | None
    due: Due | None


@dataclass(frozen=True, slots=True)
class PanelRow:
    """A row as it should be painted. `left_open` says why a date stays open; `detail` is a setting."""

    label: str
    items: tuple[str, ...]
    done: date | None
    due: date | None
    station: str = ""
    detail: str = ""
    left_open: str = ""
    cited: str = RULE


@dataclass(frozen=True, slots=True)
class Difference:
    """An item as it was last seen painted and as it should read; `same` where nothing is to be painted."""

    item: str
    painted: str
    should_read: str
    same: bool
    told: str


@dataclass(frozen=True, slots=True)
class Panel:
    """The rows in order, lines below them, and what the painter or the owner must know before painting."""

    rows: tuple[PanelRow, ...]
    foot: tuple[str, ...]
    remarks: tuple[str, ...]


Stations = Mapping[tuple[str, date], str]


def panel(
    answer: Answer,
    devices: Sequence[Device],
    stations: Stations,
    lining_owner: str,
    rulebook: Rulebook,
) -> Panel | None:
    """The panel of a fusion-welded car; None for other tanks, whose dates are stamped or marked otherwise.

    `stations` has the station code of the facility that did an item on a day, where it is recorded.
    """
    spec = decode(answer.facts.car.specification, rulebook.stencils)
    if spec.regime != "fusion_welded":
        return None
    due = {each.item: each for each in answer.items}
    alone = ("thickness", "lining", "service_equipment")
    rows = [*_tank_rows(due, stations)]
    rows += [_row(due[item], stations) for item in alone if _asked(due.get(item))]
    rows = [_by_event(row, answer, stations) if row.left_open == BY_EVENT else row for row in rows]
    rows += _device_rows(devices, due.get("relief_device"), stations)
    test_psig = None if spec.test_psig is None else f"TANK TEST {float(spec.test_psig):g} PSIG"
    return Panel(
        tuple(rows), tuple(filter(None, (test_psig, *_lining_lines(answer, lining_owner)))),
        tuple(_remarks(answer, rows)),
    )  # fmt: skip


def _asked(due: Due | None) -> bool:
    return due is not None and due.state != "not_required"


def _tank_rows(due: Mapping[str, Due], stations: Stations) -> Iterator[PanelRow]:
    """One row for those that were done on one day, by one facility, and fall due on one (180.515(a)); else several."""
    alone = [_row(due[item], stations) for item in TOGETHER if _asked(due.get(item))]
    groups: dict[tuple[object, ...], list[PanelRow]] = {}
    for row in alone:
        groups.setdefault((row.done, row.due, row.station, row.left_open), []).append(row)
    for rows in groups.values():
        items = tuple(item for row in rows for item in row.items)
        named = WHOLE_TANK if items == TOGETHER else " + ".join(row.label for row in rows)
        first = rows[0]
        yield PanelRow(
            named, items, first.done, first.due, first.station, left_open=first.left_open
        )


def _row(due: Due, stations: Stations) -> PanelRow:
    """The dates that count from the last work, whatever is painted now."""
    left_open = _left_open(due)
    done = None if left_open else due.basis_on
    on = None if left_open else due.calculated_due_on
    station = stations.get((due.item, done), "") if done else ""
    return PanelRow(_LABELS[due.item], (due.item,), done, on, station, left_open=left_open)


def _by_event(row: PanelRow, answer: Answer, stations: Stations) -> PanelRow:
    """With the day of its latest pass, which is shown though no due date follows from it."""
    (item,) = row.items
    passed = [
        event.on for event in answer.facts.events if event.outcome == "pass" and item in event.items
    ]
    done = max(passed, default=None)
    return replace(row, done=done, station=stations.get((item, done), "") if done else "")


def _left_open(due: Due) -> str:
    if due.state == "owed":
        return "it is owed: not to be painted until it has passed"
    if due.state == "by_event":
        return BY_EVENT
    return "" if due.calculated_due_on else "from when to count is not known"


def _device_rows(
    devices: Sequence[Device], due: Due | None, stations: Stations
) -> Iterator[PanelRow]:
    """A row for each device on the car; the one there is by the car's due item where none is recorded."""
    if not _asked(due):
        return
    assert due is not None
    for device in devices or (Device("", None, due),):
        row = _row(device.due or due, stations)
        psig = "" if device.set_psig is None else f"{float(device.set_psig):g} PSIG"
        named = f"{row.label} {psig}".strip()
        yield PanelRow(
            named, row.items, row.done, row.due, row.station, device.called, row.left_open,
            f"{RULE}, (c)",
        )  # fmt: skip


def _lining_lines(answer: Answer, owner: str) -> Iterator[str]:
    """The lining that is on the tank now and whose it is; nothing where it was removed."""
    lining, steps = (
        answer.facts.car.lining,
        lining_steps(answer.facts.car.lining, answer.facts.events),
    )
    on, applied = latest_step(steps) if steps else (None, lining is not None)
    if not applied:
        return
    kind = (lining and lining.kind) or ""
    yield " ".join(filter(None, ("LINED", kind.upper(), painted(on, "month"))))
    if owner:
        yield f"LINING OWNER {owner.upper()}"


def _remarks(answer: Answer, rows: Sequence[PanelRow]) -> Iterator[str]:
    yield from (f"{row.label}: {row.left_open}" for row in rows if row.left_open)
    nowhere = [f"{row.label} ({row.done})" for row in rows if row.done and not row.station]
    if nowhere:
        yield f"No station code is recorded of who did {', '.join(nowhere)}"
    for approval in answer.facts.car.approvals:
        if not approval.stenciled:
            named = f"approval {approval.reference}" if approval.reference else "an approval"
            yield (
                f"{capitalized(label(approval.item))}: {named} for {approval.interval_months} months is not stenciled; "
                "what is drawn goes without it, and it changes no date until it is painted (180.515)"
            )


# Dates as they are painted ----------------------------------------------------------------------------------------


def painted(day: date | None, form: Form) -> str:
    """MM-YYYY, or the year alone; empty without a day."""
    if day is None:
        return ""
    return f"{day:%m-%Y}" if form == "month" else f"{day:%Y}"


# Against what was seen --------------------------------------------------------------------------------------------


def differences(
    rows: Iterable[PanelRow], seen: Mapping[str, str], marked_on: date | None
) -> tuple[Difference, ...]:
    """Every item of the panel, and every one that was seen painted, at the precision of what was seen.

    `seen` are due dates by item, `YYYY`, `YYYY-MM` or `YYYY-MM-DD`; of several relief devices the soonest is meant.
    """
    wanted: dict[str, PanelRow] = {}
    for row in rows:
        for item in row.items:
            held = wanted.get(item)
            if held is None or (row.due or date.min) < (held.due or date.min):
                wanted[item] = row
    items = [*wanted, *(item for item in seen if item not in wanted)]
    return tuple(
        _difference(item, wanted.get(item), seen.get(item, ""), marked_on) for item in items
    )


def _difference(item: str, row: PanelRow | None, text: str, marked_on: date | None) -> Difference:
    should = row.due.isoformat()[: len(text) or 7] if row and row.due else ""
    name = capitalized(label(item))
    if row is None:
        told = f"{name}: {text} was seen, and the car asks for no such date: to be taken off"
    elif not text and not should:
        return Difference(
            item, text, should, True, f"{name}: nothing was seen, and no date is to be painted"
        )
    elif not text:
        told = f"{name}: nothing was seen, and {should} is to be painted"
    elif not should:
        told = f"{name}: {text} was seen, and no date is to be painted: {row.left_open}"
    elif text == should:
        return Difference(item, text, should, True, f"{name}: {text} was seen, as it should read")
    else:
        how = "later" if text > should else "earlier"
        told = f"{name}: {text} was seen, {how} than it should read: {should}"
    return Difference(
        item, text, should, False, told + (_before_work(row, marked_on) if text else "")
    )


def _before_work(row: PanelRow | None, marked_on: date | None) -> str:
    if row and row.done and marked_on and marked_on < row.done:
        return f"; it was painted on {marked_on}, before the work of {row.done}"
    return ""
