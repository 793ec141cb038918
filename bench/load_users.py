"""The users of `bench.load`: what each asks next, what was acknowledged to them, and how they get in."""

from __future__ import annotations

import random
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import passwords, people, tokens
from app.store import members, reach
from app.store.people import Person
from app.store.tables import Car, Party
from tests.faults.recording import Notes, new_event
from tests.field.entries import SIGNED, Tablet

PLANNERS, COMPLIANCE, TABLETS, RACKS = 10, 5, 200, 20
# Of a hundred requests so many are theirs.
SHARES = {"rack": 40, "tablet": 35, "planner": 15, "compliance": 10}
PASSWORD = "eleven-invented-herons-load"
KEEPER = "Example Load Keepers (invented)"
# Cars that pages and racks ask about; a page of any other is as quick.
MOST_CARS = 20_000
READINGS = 6
ENTRIES_AT_ONCE = 3
OK = frozenset((200, 201))
CarName = tuple[int, str, int]


@dataclass(slots=True)
class Ask:
    """A request, and what its user makes of a good answer. `kind` is what it is counted under."""

    kind: str
    method: str
    path: str
    given: dict[str, Any] = field(default_factory=dict)
    then: Callable[[httpx.Response], None] = lambda _: None


@dataclass
class Acknowledged:
    """All that somebody was told is recorded, by what it is found again by."""

    entries: set[str] = field(default_factory=set)
    reports: set[str] = field(default_factory=set)
    events: set[str] = field(default_factory=set)
    questions: int = 0
    refused: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return len(self.entries) + len(self.reports) + len(self.events) + self.questions


@dataclass
class User(ABC):
    """`headers` let them in."""

    headers: dict[str, str]
    dice: random.Random
    cars: Sequence[CarName]
    told: Acknowledged
    busy: bool = False

    @abstractmethod
    def next(self) -> Ask:
        """What they ask next."""

    def car(self) -> CarName:
        return self.dice.choice(self.cars)


class Rack(User):
    def next(self) -> Ask:
        _, mark, number = self.car()

        def kept(_: httpx.Response) -> None:
            self.told.questions += 1

        return Ask("loading answer", "GET", f"/api/v1/cars/{mark}/{number}/loading", then=kept)


class Planner(User):
    """Looks at lists and cars, and now and then records an inspection."""

    notes = Notes()
    unsure: Ask | None = None

    def next(self) -> Ask:
        if self.unsure:
            return self.unsure
        cast, (car, mark, number) = self.dice.random(), self.car()
        if cast < 0.25:
            return Ask("car page", "GET", f"/cars/{car}")
        if cast < 0.45:
            return Ask("due list", "GET", "/due")
        if cast < 0.60:
            return Ask("fleet search", "GET", f"/fleet?q={mark}+{str(number)[:3]}")
        if cast < 0.70:
            return Ask("forecast", "GET", "/forecast")
        if cast < 0.80:
            return Ask("plans", "GET", "/plans")
        return self._record(car)

    def _record(self, car: int) -> Ask:
        """Sent until it is answered, under the same key."""
        event = new_event(self.notes, self.dice, car)
        event.body["items"] = ["visual"]
        event.body["readings"] = []
        day = datetime.now(UTC).date() - timedelta(days=self.dice.randrange(30))
        event.body["on"] = day.isoformat()
        key = f"load-{event.key}"

        def kept(_: httpx.Response) -> None:
            self.told.events.add(key)
            self.unsure = None

        given = {"json": event.body, "headers": {"Idempotency-Key": key}}
        self.unsure = Ask("inspection recorded", "POST", event.address, given, kept)
        return self.unsure


class Compliance(User):
    def next(self) -> Ask:
        cast, (car, _, _) = self.dice.random(), self.car()
        if cast < 0.40:
            return Ask("overdue list", "GET", "/overdue")
        if cast < 0.60:
            return Ask("morning list", "GET", "/morning")
        if cast < 0.80:
            return Ask("car page", "GET", f"/cars/{car}")
        return Ask("record of change", "GET", "/changes")


@dataclass
class TabletUser(User):
    """One report after the other, each of a car that no other tablet is at; sends a few entries at a time."""

    own: list[CarName] = field(default_factory=list)
    person: int = 0
    serial: int = 0
    waiting: list[dict[str, Any]] = field(default_factory=list)

    def next(self) -> Ask:
        if not self.waiting:
            car, _, _ = self.own[self.serial % len(self.own)]
            if self.dice.random() < 0.5:
                return Ask("tablet takes along", "GET", f"/api/v1/field/pack?car={car}")
            self._begin(car)
        sent = self.waiting[:ENTRIES_AT_ONCE]
        body = {"json": {"person": self.person, "entries": sent}}

        def kept(answer: httpx.Response) -> None:
            self._kept(sent, answer)

        return Ask("tablet sends", "POST", "/api/v1/field/entries", body, kept)

    def _begin(self, car: int) -> None:
        self.serial += 1
        now = datetime.now(UTC)
        tablet = Tablet(car, f"load {self.person} {self.serial} {now.timestamp()}")
        tablet.begin("visual", "thickness", happened_on=f"{now.date()}", taken_at=now.isoformat())
        tablet.add("gauge_check", {"gauge": "TG-7", "standard_in": "0.500", "read_in": "0.500"})
        tablet.entries[-1]["says"]["valid_until"] = "2099-01-01"
        for at in range(READINGS):
            # Thick enough for any car, and confirmed where that is unlikely for one.
            tablet.reading(f"1.7{at}", ring=at + 1, spot="6 o'clock", confirmed=True)
        tablet.outcome("visual").outcome("thickness").add("signed", SIGNED)
        self.waiting = tablet.entries

    def _kept(self, sent: list[dict[str, Any]], answer: httpx.Response) -> None:
        """Where answers are slow the same may have been sent twice, and answered before."""
        for entry, result in zip(sent, answer.json()["results"], strict=True):
            if result["state"] not in ("stored", "known"):
                self.told.refused.append(f"{entry['kind']}: {result['state']} {result['faults']}")
                self.waiting = []
                return
            self.told.entries.add(entry["key"])
            if entry["kind"] == "signed":
                self.told.reports.add(entry["report"])
        self.waiting = [entry for entry in self.waiting if entry not in sent]


@dataclass(frozen=True)
class Cast:
    """Who may get in, as the store knows them; passwords are all the same one."""

    planners: list[str]
    compliance: list[str]
    tablets: list[tuple[str, int]]
    racks: list[str]
    cars: list[CarName]


def settle(db: Session, share: float = 1.0) -> Cast:
    """Put the people of the load, or a share of them, into a store, with a password or, the racks, a token."""
    now = datetime.now(UTC)
    keeper = _keeper(db)
    hashed = ""

    def person(name: str, *roles: Any) -> Person:
        nonlocal hashed
        made = people.new_person(db, name, f"{name.replace(' ', '-').lower()}@load.invalid", now)
        people.add_memberships(db, made, keeper.id, roles, "the load", now)
        if not hashed:  # a second is what hashing takes of a processor, more or less
            passwords.put(made, PASSWORD, now)
            hashed = made.password or ""
        made.password, made.password_set_at = hashed, now
        return made

    def some(whole: int) -> range:
        return range(max(1, round(whole * share)))

    last_day = (now + timedelta(days=2)).date()
    racks = []
    for at in some(RACKS):
        token = tokens.add(
            db, person(f"Rack {at}", "loading_rack"), "load", ["load_check"], last_day, "UTC", now
        )
        racks.append(token[1])
    inspectors = [person(f"Inspector {at}", "inspector") for at in some(TABLETS)]
    planners = [person(f"Planner {at}", "planner") for at in some(PLANNERS)]
    keen = [person(f"Compliance {at}", "compliance") for at in some(COMPLIANCE)]
    db.flush()
    chosen = (
        select(Car.id, Car.mark, Car.number)
        .where(Car.standing == "in_service")
        .order_by(Car.id)
        .limit(MOST_CARS)
    )
    return Cast(
        [each.email for each in planners],
        [each.email for each in keen],
        [(each.email, each.id) for each in inspectors],
        racks,
        [(row.id, row.mark, row.number) for row in db.execute(chosen)],
    )


def _keeper(db: Session) -> Party:
    """Whoever keeps the register; where nobody does, a company that keeps it for all others."""
    found = members.keeper(db)
    if found is not None:
        return found
    made = Party(name=KEEPER, keeps_register=True)
    db.add(made)
    db.flush()
    members.keep_all_others(db, made)
    reach.settle_keepers(db)
    return made
