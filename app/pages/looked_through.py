"""What a file would do, as a page shows it: found out at once, or kept by the job that looked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.actions.imports import Change, Preview, RowWarning
from app.errors import NotFound
from app.files.headers import RowFault


@dataclass(frozen=True, slots=True)
class LookedThrough:
    """Counts of rows, and what is listed; it may be fewer than `fault_count` and `warning_count`."""

    rows: int
    added: int
    changed: int
    repeated: int
    fault_count: int
    faults: Sequence[RowFault]
    changes: Sequence[Change]
    new_parties: Sequence[str]
    remarks: Sequence[str]
    warnings: Sequence[RowWarning]
    warning_count: int


def of_preview(seen: Preview) -> LookedThrough:
    return LookedThrough(
        seen.rows,
        seen.added,
        seen.changed,
        seen.repeated,
        len(seen.faults),
        seen.faults,
        seen.changes,
        seen.new_parties,
        seen.remarks,
        seen.warnings,
        seen.warning_count,
    )


def read_job(result: Mapping[str, Any] | None) -> LookedThrough:
    """What a job that looked through a file has kept."""
    if result is None or "fault_count" not in result:
        raise NotFound("That file was not looked through to its end. Hand it in again.")
    return LookedThrough(
        result["rows"],
        result["added"],
        result["changed"],
        result["repeated"],
        result["fault_count"],
        [RowFault(**each) for each in result["faults"]],
        [Change(**each) for each in result["changes"]],
        result["new_parties"],
        result["remarks"],
        [RowWarning(**each) for each in result["warnings"]],
        result["warning_count"],
    )
