"""The entries of a report as a tablet made them, and which of them stand once corrections are applied."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

# What an entry can be; what each says is in answers.field_entries.
KINDS = (
    "begun", "caution", "gauge_check", "reading", "step", "bench_test", "lining", "leak_test",
    "defect", "photograph", "swap", "outcome", "withdrawn", "resolved", "signed",
)  # fmt: skip
# Once there, these can be neither corrected nor taken back.
FINAL = ("withdrawn", "signed")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing recorded. `place` counts from 1 within its report; `says` is JSON as the kind has it.

    `replaces` is the key of the entry that this one corrects. Measures in it are decimals as text,
    inches and psig; days are YYYY-MM-DD.
    """

    key: str
    report: str
    place: int
    kind: str
    made_at: datetime
    replaces: str | None
    says: Mapping[str, Any]


def first_of(entries: Iterable[Entry]) -> dict[str, str]:
    """By key of an entry the key of the first one in its chain of corrections."""
    first: dict[str, str] = {}
    for each in entries:
        first[each.key] = first.get(each.replaces or "", each.key)
    return first


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Those neither corrected nor taken back, a corrected one at the place of what it corrects."""
    every = sorted(entries, key=lambda each: each.place)
    gone = {each.replaces for each in every if each.replaces}
    gone |= {each.says["entry"] for each in every if each.kind == "withdrawn"}
    first, place = first_of(every), {each.key: each.place for each in every}
    left = [each for each in every if each.key not in gone and each.kind != "withdrawn"]
    return tuple(sorted(left, key=lambda each: place[first[each.key]]))
