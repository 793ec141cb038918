"""What a file says and would do, counted and listed while its rows are gone through."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Protocol

from app.core.facts import Reason
from app.errors import Fault, Refused
from app.files.columns import Kind
from app.files.headers import RowFault

# Every change is counted; a list longer than this helps nobody before saying yes.
MOST_CHANGES_LISTED = 1_000


class Tell(Protocol):
    """Hears the step, how much of it is done, and of how much (0: nobody knows)."""

    def __call__(self, step: str, done: int = 0, total: int = 0) -> None: ...


def silent(step: str, done: int = 0, total: int = 0) -> None:
    """For callers that nobody waits for."""


@dataclass(frozen=True, slots=True)
class Change:
    """A row that says something new about a known car: `was` and `will_be` as a person reads them."""

    row: int
    car: str
    what: str
    was: str
    will_be: str


@dataclass(frozen=True, slots=True)
class RowWarning:
    """What a person should look at in a row that can be taken all the same."""

    row: int
    car: str
    what: str
    text: str
    citation: str


@dataclass(frozen=True, slots=True)
class Preview:
    """What bringing the file in would do. Nothing can be brought in while there are `faults`.

    `changed` counts rows; `changes` lists what they change, at most the first thousand, and
    `warnings` as many of `warning_count` doubts about rows that can be taken.
    """

    kind: Kind
    file_name: str
    rows: int
    added: int
    changed: int
    repeated: int
    faults: tuple[RowFault, ...]
    changes: tuple[Change, ...]
    new_parties: tuple[str, ...]
    remarks: tuple[str, ...]
    warnings: tuple[RowWarning, ...]
    warning_count: int

    @property
    def ready(self) -> bool:
        return not self.faults

    def refusal(self) -> Refused:
        """Why the file cannot be brought in, with every fault."""
        count = len({fault.row for fault in self.faults})
        rows = "1 row" if count == 1 else f"{count} rows"
        return Refused(
            f"{self.file_name} was not brought in, and nothing of it was stored: {rows} cannot be "
            f"taken. First: {self.faults[0]}.",
            [Fault(fault.place, fault.problem) for fault in self.faults],
        )


@dataclass(slots=True)
class Report:
    """The same while it grows. `touched` are the cars whose due dates may move."""

    rows: int = 0
    added: int = 0
    changed: int = 0
    repeated: int = 0
    corrected_since: int = 0
    faults: list[RowFault] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    new_parties: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    warnings: list[RowWarning] = field(default_factory=list)
    warning_count: int = 0
    touched: set[int] = field(default_factory=set)

    def change(self, row: int, car: str, told: Iterable[tuple[str, object, object]]) -> None:
        """Count a row that changes things, and list each as (what, was, will be)."""
        self.changed += 1
        for what, was, will_be in told:
            if len(self.changes) < MOST_CHANGES_LISTED:
                self.changes.append(Change(row, car, what, seen(was), seen(will_be)))

    def warn(self, row: int, car: str, what: str, reasons: Iterable[Reason]) -> None:
        """Count and list what is doubtful about a row."""
        for reason in reasons:
            self.warning_count += 1
            if len(self.warnings) < MOST_CHANGES_LISTED:
                told = RowWarning(row, car, what, reason.text, reason.citation or "")
                self.warnings.append(told)

    def preview(self, kind: Kind, file_name: str, remark: str) -> Preview:
        remarks = [remark] if remark else []
        if self.corrected_since:
            remarks.append(
                f"Rows that somebody corrected or withdrew since they were brought in, and that "
                f"stay as they are now: {self.corrected_since}."
            )
        return Preview(
            kind, file_name, self.rows, self.added, self.changed, self.repeated,
            tuple(sorted(self.faults, key=lambda fault: fault.row)), tuple(self.changes),
            tuple(self.new_parties), (*remarks, *self.remarks), tuple(self.warnings),
            self.warning_count,
        )  # fmt: skip


def seen(value: object) -> str:
    """A stored value as a person reads it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, date):
        return value.isoformat() if value.year > 1 else "the beginning"
    return str(value)
