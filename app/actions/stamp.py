"""Who changes the record, when, and through which file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class Stamp:
    """`at` is a moment with its zone; `today` is that day where the owner is."""

    by: str
    at: datetime
    today: date
    import_id: int | None = None

    def columns(self) -> dict[str, object]:
        """What every row of the record says of its recording."""
        return {"recorded_at": self.at, "recorded_by": self.by, "import_id": self.import_id}
