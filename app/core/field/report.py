"""What the entries of a report come to: each item's state, what passed and failed, what the readings belong to."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from app.core.facts import EVENT_ITEMS
from app.core.field.entries import Entry, standing

ItemState = Literal["open", "pass", "fail", "not_done"]
Says = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FieldReport:
    """The standing entries of a report, in order."""

    standing: tuple[Entry, ...]

    def of(self, kind: str) -> tuple[Entry, ...]:
        return tuple(each for each in self.standing if each.kind == kind)

    def says(self, kind: str) -> tuple[Says, ...]:
        return tuple(each.says for each in self.of(kind))

    @property
    def begun(self) -> Entry | None:
        return next(iter(self.of("begun")), None)

    @property
    def begun_says(self) -> Says:
        return self.begun.says if self.begun else {}

    @property
    def signed(self) -> Entry | None:
        return next(iter(self.of("signed")), None)

    @property
    def happened_on(self) -> date | None:
        day = self.begun_says.get("happened_on")
        return date.fromisoformat(day) if day else None

    @property
    def known_until(self) -> datetime | None:
        """Up to when the tablet knew of what others had recorded; by its own clock where no pack was taken."""
        taken = self.begun_says.get("taken_at")
        if taken:
            return datetime.fromisoformat(taken)
        return self.begun.made_at if self.begun else None


def fold(entries: Iterable[Entry]) -> FieldReport:
    """The report that these entries make."""
    return FieldReport(standing(sorted(entries, key=lambda each: each.place)))


def staying(report: FieldReport) -> tuple[Says, ...]:
    """The last bench test of each device that was not taken off."""
    off = {each["off_installation_id"] for each in report.says("swap")}
    last = {each["installation_id"]: each for each in report.says("bench_test")}
    return tuple(each for key, each in last.items() if key not in off)


def states(report: FieldReport) -> dict[str, ItemState]:
    """How each item that was meant, begun or decided stands, in the calculator's order.

    Without an outcome of its own a relief device item is what its bench tests came to.
    """
    decided: dict[str, ItemState] = {
        each["item"]: each["outcome"] for each in report.says("outcome")
    }
    tested = staying(report)
    if tested and "relief_device" not in decided:
        failed = any(each["outcome"] == "fail" for each in tested)
        decided["relief_device"] = "fail" if failed else "pass"
    touched = {each["item"] for each in report.says("step")}
    meant = {*report.begun_says.get("items", ()), *touched, *decided}
    return {item: decided.get(item, "open") for item in EVENT_ITEMS if item in meant}


def items_of(
    report: FieldReport, state: ItemState, theirs: Collection[str] = ()
) -> tuple[str, ...]:
    """Items in this state in the calculator's order, without those for which others' work counts."""
    return tuple(
        item for item, each in states(report).items() if each == state and item not in theirs
    )


def event_of_readings(
    passed: tuple[str, ...], failed: tuple[str, ...], report: FieldReport
) -> Literal["pass", "fail"] | None:
    """The event that the readings are part of: the thickness test's, else the first; none where it is others'."""
    for outcome, items in (("pass", passed), ("fail", failed)):
        if "thickness" in items:
            return outcome  # type: ignore[return-value]
    if states(report).get("thickness") in ("pass", "fail"):
        return None
    return "pass" if passed else "fail" if failed else None
