"""Rows on their way into the store: keys given here, many rows a statement, in an order that keys allow."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import count
from typing import Any

from sqlalchemy import Table
from sqlalchemy.orm import Session

from app.actions.stamp import Stamp
from app.store import rolled, tables, visits
from app.store.bulk import insert_sparse
from app.store.cars import keeper
from app.store.gathering import tell
from app.store.intake import keepers, parties, parties_alone, reserve, table_of

# A row may name rows of the tables before its own.
ORDER = tuple(
    table_of(mapped)
    for mapped in (
        tables.Party, tables.Lading, tables.Car, tables.CarName, tables.Standing, tables.Ownership,
        tables.Construction, tables.ServiceFact, tables.LiningFact, tables.Fitting,
        tables.StencilFact, tables.ApprovalFact, tables.Component, tables.Installation,
        tables.Removal, tables.EventRow, tables.ReadingRow, visits.Visit, visits.VisitStep,
    )
)  # fmt: skip
# Few, and changed by others afterwards: the record of change tells them one by one.
LISTED = ("party", "lading")
KEYS_AT_ONCE = 4_000
UNASSIGNED = "Unassigned"


def _blank_row(table: Table) -> dict[str, Any]:
    """Every column with what stands there when nothing is said."""
    return {
        column.name: column.default.arg if column.default is not None else None  # type: ignore[attr-defined]
        for column in table.columns
    }


BLANK = {table.name: _blank_row(table) for table in ORDER}


class Writer:
    """Takes rows and stores them at `flush`; one that does not `keep` only goes through the motions."""

    def __init__(self, db: Session, stamp: Stamp, *, keep: bool) -> None:
        self.db, self.keep = db, keep
        self._stamp = stamp.columns()
        self._rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
        self._keys: dict[str, Iterator[int]] = {}
        self.party_names = parties(db)
        self._parties = {name.casefold(): key for key, name in self.party_names.items()}
        self._others = {name.casefold(): key for key, name in parties_alone(db).items()}
        self._keepers, self._keeper = keepers(db), keeper(db)
        self.new_parties: list[str] = []

    def add(self, mapped: type[Any], **values: Any) -> int:
        """A row of a table with a key of its own, which is given back."""
        table = table_of(mapped)
        key = values["id"] = self._key(table)
        self._rows[table.name].append(values)
        return key

    def add_plain(self, mapped: type[Any], **values: Any) -> None:
        """A row of a table that has no key of its own."""
        self._rows[table_of(mapped).name].append(values)

    def party(self, name: str, *, anywhere: bool = False) -> int:
        """The session's party of this name, whatever its capitals; added when there is none.

        `anywhere`: rather one that stands for itself, as for whoever owns a lining.
        """
        found = self._others.get(name.casefold()) if anywhere else None
        found = found or self._parties.get(name.casefold())
        return self._new_party(name) if found is None else found

    def _new_party(self, name: str) -> int:
        key = self.add(tables.Party, name=name, kept_by=self._keeper)
        self._parties[name.casefold()] = key
        self._keepers[key] = self._keeper or key
        self.party_names[key] = name
        self.new_parties.append(name)
        return key

    def keeper_of(self, party_id: int) -> int:
        """Whose people keep the records of this party."""
        return self._keepers[party_id]

    def flush(self) -> None:
        """Store what was taken so far."""
        for table in ORDER:
            rows = self._rows.pop(table.name, None)
            if rows and self.keep:
                unsaid = BLANK[table.name]
                stamped = unsaid | self._stamp if "recorded_at" in unsaid else unsaid
                insert_sparse(self.db, table, rows, stamped)
                if table.name == "car":
                    rolled.cars_added(self.db, [row["id"] for row in rows])
                if table.name in LISTED:
                    tell(self.db, table, ({**stamped, **row} for row in rows))

    def _key(self, table: Table) -> int:
        keys = self._keys.get(table.name) or iter(())
        key = next(keys, None)
        if key is None:
            keys = self._keys[table.name] = self._more_keys(table)
            key = next(keys)
        return key

    def _more_keys(self, table: Table) -> Iterator[int]:
        if not self.keep:
            return count(-1, -1)
        self.flush()  # the next free key on SQLite is told by the rows stored so far
        return iter(reserve(self.db, table, KEYS_AT_ONCE))
