"""Questions to the record of change: which entries somebody may see, by what they are about, by page and one."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, and_, case, cast, exists, func, or_, select, true
from sqlalchemy.orm import Session, object_session

from app.access import Viewer
from app.errors import NotFound
from app.store import reach
from app.store.changes import Change, ChangeAbout
from app.store.columns import Key, table_named
from app.store.kept import KEPT, About, Values, about_of, plain
from app.store.names import NamePrefix, matches
from app.store.paging import Page, Value, page_of
from app.store.people import Membership, Person
from app.store.tables import Car, Party

Parties = frozenset[int] | None
# Of whom these are is told by what else the entry is about.
NOBODYS = ("component", "import")
# An entry about more, such as a file's, gives their number.
MOST_CARS_NAMED = 50


@dataclass(frozen=True, slots=True)
class Whose:
    """Whose entries somebody sees beside their own.

    Those about cars of the parties `cars` (None: all), people of parties that they administer, settings.
    """

    person_id: int
    cars: Parties
    administers: frozenset[int]
    settings: bool


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a list of entries is asked for; `search` is how a car's name begins."""

    by: str = ""
    deed: str | None = None
    about: About | None = None
    car_id: int | None = None
    search: NamePrefix | None = None
    since: datetime | None = None
    before: datetime | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """An entry, with what of it may be seen: its rows as they were told, and what it is about.

    `withheld` counts rows about what is out of reach; `car_count` is of the cars within it, which are
    not named one by one when there are many.
    """

    id: int
    at: datetime
    by: str
    person_id: int | None
    origin: str
    address: str
    request: str
    deed: str
    hash: str
    body: Mapping[str, Any]
    cars: tuple[int, ...]
    car_count: int
    about: tuple[About, ...]
    withheld: int


def whose(db: Session, viewer: Viewer) -> Whose:
    """What this person may see of the record: cars only where they may also look into the register."""
    found = [reach.of_viewer(db, viewer, each).parties for each in ("keep_record", "read")]
    return Whose(
        viewer.person_id,
        _in_both(*found),
        viewer.parties("administer"),
        viewer.looks_after_register,
    )


def _in_both(one: Parties, other: Parties) -> Parties:
    if one is None or other is None:
        return other if one is None else one
    return one & other


def page(db: Session, seen: Whose, wanted: Wanted, after: str | None, limit: int) -> Page[Listed]:
    """Entries, the latest first."""
    query = _asked(seen, wanted)
    keys = (Change.id.expression,)
    found = page_of(db, query, keys, (int,), after, limit, _keyed, latest_first=True)
    return Page(_shown(db, seen, found.rows), found.next_after, found.previous)


def each(db: Session, seen: Whose, wanted: Wanted, at_once: int = 500) -> Iterator[Listed]:
    """All entries, the latest first."""
    after: str | None = None
    while True:
        found = page(db, seen, wanted, after, at_once)
        yield from found.rows
        after = found.next_after
        if after is None:
            return


def one_or_raise(db: Session, seen: Whose, change_id: int) -> Listed:
    found = db.scalars(select(Change).where(Change.id == change_id, _visible(seen))).first()
    if found is None:
        raise NotFound(f"There is no entry {change_id} in the record of change.")
    return _shown(db, seen, (found,))[0]


def latest_about(db: Session, car_id: int) -> int:
    """The last entry about a car, as the version of what is recorded of it; 0 when there is none."""
    newest = (
        select(ChangeAbout.change_id)
        .where(ChangeAbout.kind == "car", ChangeAbout.key == str(car_id))
        .order_by(ChangeAbout.change_id.desc())
        .limit(1)
    )
    return db.scalar(newest) or 0


# What a register begins with stands among its first entries, so no long record is searched for it.
BEGINNING = 20


def began_with(db: Session, deed: str) -> bool:
    """Whether this was one of the first deeds of the register."""
    wanted = select(Change.id).where(Change.id <= BEGINNING, Change.deed == deed)
    return db.scalar(wanted.limit(1)) is not None


def version_of(car: Car) -> int:
    """The version of what is recorded of a car that a session holds, for a form that will change it."""
    db = object_session(car)
    assert db is not None
    return latest_about(db, car.id)


def since(db: Session, car_id: int, version: int, limit: int) -> tuple[Listed, ...]:
    """What was recorded about a car after a version, the latest first; the caller reaches the car."""
    query = (
        select(Change)
        .join(ChangeAbout, ChangeAbout.change_id == Change.id)
        .where(ChangeAbout.kind == "car", ChangeAbout.key == str(car_id), Change.id > version)
        .order_by(Change.id.desc())
        .limit(limit)
    )
    mine = Whose(0, frozenset(), frozenset(), settings=False)
    return _shown(db, mine, tuple(db.scalars(query)), car_id)


def rows_now(db: Session, wanted: Iterable[tuple[str, int]]) -> dict[tuple[str, int], Values]:
    """Rows by table and key, as they are told in entries; for what a correction replaced."""
    by_table: dict[str, set[int]] = {}
    for name, key in wanted:
        by_table.setdefault(name, set()).add(key)
    found: dict[tuple[str, int], Values] = {}
    for called, keys in by_table.items():
        table = table_named(called)
        columns = [table.c[column] for column in KEPT[called].columns(table)]
        for row in db.execute(select(*columns).where(table.c.id.in_(sorted(keys)))).mappings():
            found[called, row["id"]] = {column: plain(value) for column, value in row.items()}
    return found


def names(db: Session, car_ids: Iterable[int], party_ids: Iterable[int]) -> dict[About, str]:
    """What cars, by their names now, and parties are called; the caller may see them."""
    cars = select(Car.id, Car.mark, Car.number).where(Car.id.in_(sorted(set(car_ids))))
    parties = select(Party.id, Party.name).where(Party.id.in_(sorted(set(party_ids))))
    called = {("car", str(key)): f"{mark} {number}" for key, mark, number in db.execute(cars)}
    return called | {("party", str(key)): name for key, name in db.execute(parties)}


def person_or_raise(db: Session, seen: Whose, person_id: int) -> Person:
    """A person of whom the viewer may see entries."""
    found = db.scalars(
        select(Person).where(Person.id == person_id, _person_seen(seen, Person.id))
    ).first()
    if found is None:
        raise NotFound("There is nobody here with this number.")
    return found


def _asked(seen: Whose, wanted: Wanted) -> Select[Any]:
    query = select(Change).where(_visible(seen))
    if wanted.by:
        query = query.where(Change.by.icontains(wanted.by, autoescape=True))
    if wanted.deed:
        query = query.where(Change.deed == wanted.deed)
    if wanted.since:
        query = query.where(Change.at >= wanted.since)
    if wanted.before:
        query = query.where(Change.at < wanted.before)
    if wanted.about == ("person", str(seen.person_id)):
        query = query.where(or_(_about(*wanted.about), Change.person_id == seen.person_id))
    elif wanted.about:
        query = query.where(_about(*wanted.about))
    if wanted.car_id is not None:
        query = query.where(_about("car", str(wanted.car_id)))
    if wanted.search:
        query = query.where(_of_cars_called(wanted.search))
    return query


def _about(kind: str, key: str) -> ColumnElement[bool]:
    told = select(ChangeAbout.change_id).where(ChangeAbout.kind == kind, ChangeAbout.key == key)
    return Change.id.in_(told)


def _of_cars_called(prefix: NamePrefix) -> ColumnElement[bool]:
    """About a car whose name begins so now."""
    named = matches(prefix, Car.mark.expression, Car.number.expression)
    return exists().where(ChangeAbout.change_id == Change.id, Car.id == _number_of("car"), named)


def _number_of(kind: str) -> ColumnElement[int]:
    """The key as a number, where it is of that kind; of others nothing may be cast."""
    return case((ChangeAbout.kind == kind, cast(ChangeAbout.key, Key)))


def _visible(seen: Whose) -> ColumnElement[bool]:
    """What somebody did, or what is about somebody or something of theirs; each way by its own index.

    An entry of a file is about thousands of cars, which are gone through last, and not for whom none can count.
    """
    mine = sorted(map(str, seen.administers | (seen.cars or frozenset())))
    ways = [
        and_(ChangeAbout.kind == "person", ChangeAbout.key == str(seen.person_id)),
        and_(ChangeAbout.kind == "person", ChangeAbout.key.in_(_people_of(seen))),
        and_(ChangeAbout.kind == "party", ChangeAbout.key.in_(mine)),
    ]
    kinds = {
        "setting": seen.settings and true(),
        "party": seen.cars is None and true(),
        "car": seen.cars != frozenset() and _car_seen(seen),
    }
    whole = [and_(ChangeAbout.kind == kind, of) for kind, of in kinds.items() if of is not False]
    if whole:
        ways.append(or_(*whole))
    return or_(Change.person_id == seen.person_id, *map(_is_about, ways))


def _is_about(condition: ColumnElement[bool]) -> ColumnElement[bool]:
    # One row, not whether any exists: PostgreSQL would make a table of all that there are first.
    about = select(ChangeAbout.change_id).where(ChangeAbout.change_id == Change.id, condition)
    return about.limit(1).scalar_subquery().is_not(None)


def _people_of(seen: Whose) -> Select[str]:
    """The people of the parties that the viewer administers, as keys."""
    key = cast(Membership.person_id, ChangeAbout.key.type)
    return select(key).where(Membership.party_id.in_(sorted(seen.administers)))


def _car_seen(seen: Whose) -> ColumnElement[bool]:
    if seen.cars is None:
        return true()
    owned = Car.owner_id.in_(sorted(seen.cars))
    return exists().where(Car.id == _number_of("car"), owned)


def _person_seen(seen: Whose, person_id: Any) -> ColumnElement[bool]:
    member = exists().where(
        Membership.person_id == person_id, Membership.party_id.in_(sorted(seen.administers))
    )
    return or_(person_id == seen.person_id, member)


def _keyed(row: Row[*tuple[Any, ...]]) -> tuple[tuple[Value, ...], Change]:
    return (row[0].id,), row[0]


def _shown(
    db: Session, seen: Whose, found: Collection[Change], also: int | None = None
) -> tuple[Listed, ...]:
    """Entries as the viewer may see them; `also` is a car that they reach by another way."""
    if not found:
        return ()
    ids = [entry.id for entry in found]
    reached = _car_seen(seen) if also is None else ChangeAbout.key == str(also)
    told = select(ChangeAbout.change_id, func.count(), func.sum(case((reached, 1), else_=0)))
    of_cars = (ChangeAbout.change_id.in_(ids), ChangeAbout.kind == "car")
    counted = {
        entry: (every, mine)
        for entry, every, mine in db.execute(told.where(*of_cars).group_by(ChangeAbout.change_id))
    }
    few = [entry for entry, (every, _) in counted.items() if every <= MOST_CARS_NAMED]
    cars, others = defaultdict(list), defaultdict(list)
    named = select(ChangeAbout.change_id, ChangeAbout.key).where(
        ChangeAbout.change_id.in_(few), ChangeAbout.kind == "car", reached
    )
    for entry, key in db.execute(named) if few else ():
        cars[entry].append(int(key))
    rest = select(ChangeAbout.change_id, ChangeAbout.kind, ChangeAbout.key)
    for entry, kind, key in db.execute(
        rest.where(ChangeAbout.change_id.in_(ids), ChangeAbout.kind != "car")
    ):
        others[entry].append((kind, key))
    known = _of_concern(db, seen, {each for named in others.values() for each in named})
    return tuple(
        _listed(
            db, each, cars[each.id], others[each.id], counted.get(each.id, (0, 0)), reached, known
        )
        for each in found
    )


def _of_concern(db: Session, seen: Whose, named: Collection[About]) -> frozenset[About]:
    """Which of these people, parties and settings the viewer may know of."""
    people = {int(key) for kind, key in named if kind == "person"}
    known = set(
        db.scalars(select(Person.id).where(Person.id.in_(people), _person_seen(seen, Person.id)))
    )
    return frozenset(
        (kind, key)
        for kind, key in named
        if (kind == "person" and int(key) in known)
        or (kind == "party" and (seen.cars is None or int(key) in seen.cars | seen.administers))
        or (kind == "setting" and seen.settings)
    )


def _listed(
    db: Session,
    entry: Change,
    cars: list[int],
    others: list[About],
    counted: tuple[int, int],
    reached: ColumnElement[bool],
    known: frozenset[About],
) -> Listed:
    """Of an entry about several cars or people only what is told of those within reach."""
    body = json.loads(entry.body)
    rows = body["rows"]
    whose = {each for each in others if each[0] not in NOBODYS}
    if counted[0] != counted[1] or not known.issuperset(whose):
        mine = known | _cars_reached(db, entry.id, reached)
        body = {"rows": [row for row in rows if not mine.isdisjoint(_about_row(row))]}
    told = ("id", "at", "by", "person_id", "origin", "address", "request", "deed", "hash")
    return Listed(
        **{name: getattr(entry, name) for name in told},
        body=body,
        cars=tuple(sorted(cars)),
        car_count=counted[1],
        about=tuple(sorted(known.intersection(others))),
        withheld=len(rows) - len(body["rows"]),
    )


def _cars_reached(db: Session, entry: int, reached: ColumnElement[bool]) -> frozenset[About]:
    cars = select(ChangeAbout.key).where(
        ChangeAbout.change_id == entry, ChangeAbout.kind == "car", reached
    )
    return frozenset(("car", key) for key in db.scalars(cars))


def _about_row(row: Mapping[str, Any]) -> list[About]:
    return about_of(row["table"], (row["before"] or {}) | (row["after"] or {}))
