"""Pages of a list by key: the next page begins after the last row's key, and no row is missed."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error as NotBase64
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from heapq import nlargest, nsmallest
from operator import itemgetter
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Row, Select, tuple_
from sqlalchemy.orm import Session

from app.errors import Refused

T = TypeVar("T")
Value = str | int | date | None


@dataclass(frozen=True, slots=True)
class Page(Generic[T]):
    """Rows in order; `next_after` and `previous` are cursors to pass as `after`, None at the ends."""

    rows: tuple[T, ...]
    next_after: str | None = None
    previous: str | None = None


@dataclass(frozen=True, slots=True)
class Cursor:
    """A place in a list: the key of a row, and whether the page lies after or before it."""

    key: tuple[Value, ...]
    backwards: bool = False

    def as_text(self) -> str:
        written = [part.isoformat() if isinstance(part, date) else part for part in self.key]
        packed = json.dumps([int(self.backwards), *written], separators=(",", ":"))
        return urlsafe_b64encode(packed.encode()).decode().rstrip("=")


def read_cursor(text: str, kinds: Sequence[type]) -> Cursor:
    """The cursor that `text` stands for; Refused when it is none of this list."""
    try:
        backwards, *parts = json.loads(urlsafe_b64decode(text + "=" * (-len(text) % 4)))
        if len(parts) != len(kinds):
            raise ValueError("another list's cursor")
        key = tuple(_read(part, kind) for part, kind in zip(parts, kinds, strict=True))
    except (ValueError, TypeError, NotBase64):
        raise Refused(
            "This address of a page in the list is damaged. Open the list anew."
        ) from None
    return Cursor(key, bool(backwards))


def _read(part: object, kind: type) -> Value:
    if kind is date:
        return date.fromisoformat(str(part))
    if not isinstance(part, kind):
        raise ValueError("a key of another kind")
    return part  # type: ignore[return-value]


def page_of(
    db: Session,
    query: Select[*tuple[Any, ...]],
    keys: Sequence[ColumnElement[Any]],
    kinds: Sequence[type],
    after: str | None,
    limit: int,
    make: Callable[[Row[*tuple[Any, ...]]], tuple[tuple[Value, ...], T]],
    *,
    latest_first: bool = False,
) -> Page[T]:
    """One page of `query` in the order of `keys`, which must tell every row from any other.

    `make` gives a row's key and what the list shows of it. Asks one row more than it shows, to know
    whether there is another page. `latest_first` is the order turned round, so that its index serves.
    """
    cursor = read_cursor(after, kinds) if after else None
    found = db.execute(_placed(query, keys, cursor, latest_first).limit(limit + 1)).all()
    return _paged([make(row) for row in found[:limit]], cursor, more=len(found) > limit)


def page_among(
    keyed: Iterable[tuple[tuple[Any, ...], T]], kinds: Sequence[type], after: str | None, limit: int
) -> Page[T]:
    """What `page_of` gives, of rows that lie in memory in any order, each with its key."""
    cursor = read_cursor(after, kinds) if after else None
    if cursor is None:
        found = nsmallest(limit + 1, keyed, itemgetter(0))
    elif cursor.backwards:
        before = (each for each in keyed if each[0] < cursor.key)
        found = nlargest(limit + 1, before, itemgetter(0))
    else:
        behind = (each for each in keyed if each[0] > cursor.key)
        found = nsmallest(limit + 1, behind, itemgetter(0))
    return _paged(found[:limit], cursor, more=len(found) > limit)


def _paged(
    made: list[tuple[tuple[Value, ...], T]], cursor: Cursor | None, *, more: bool
) -> Page[T]:
    """The page of these rows, which were looked for from the cursor on, and whether more follow that way."""
    backwards = cursor is not None and cursor.backwards
    if backwards:
        made.reverse()
    return Page(
        tuple(row for _, row in made),
        _link(made[-1:], False) if (more or backwards) else None,
        _link(made[:1], True) if cursor and (more or not backwards) else None,
    )


def _placed(
    query: Select[*tuple[Any, ...]],
    keys: Sequence[ColumnElement[Any]],
    cursor: Cursor | None,
    latest_first: bool,
) -> Select[*tuple[Any, ...]]:
    falling = latest_first != (cursor is not None and cursor.backwards)
    ordered = query.order_by(*(key.desc() if falling else key for key in keys))
    if cursor is None:
        return ordered
    place = tuple_(*keys)
    return ordered.where(place < cursor.key if falling else place > cursor.key)


def _link(ends: Sequence[tuple[tuple[Value, ...], object]], backwards: bool) -> str | None:
    return Cursor(ends[0][0], backwards).as_text() if ends else None
