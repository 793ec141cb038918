"""People at work over HTTP: each change is noted before it is sent, and again when it was answered."""

from __future__ import annotations

import random
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from typing import Any

import httpx

from tests.faults.files import OWNER, ZONES, File
from tests.faults.program import Program, wait_for

SECONDS_FOR_AN_ANSWER = 60.0
# The program's own words for: it was not recorded, try again.
NOT_NOW = frozenset((429, 503))


def signed_in(url: str, store: Program) -> httpx.Client:
    """A client that the server at `url` lets in: to its API, and to its pages as well."""
    said = {"Origin": url, "Authorization": f"Bearer {store.token}"}
    return httpx.Client(base_url=url, headers=said, timeout=SECONDS_FOR_AN_ANSWER)


@dataclass
class Sent:
    """A change as it was sent; `key` makes sending it again harmless. `answer` is None until it came."""

    kind: str
    address: str
    key: str
    body: dict[str, Any]
    car_id: int | None = None
    answer: dict[str, Any] | None = None


@dataclass
class Confirmed:
    """A file that somebody said yes to on a page, and was sent to the page of its job."""

    file: File
    job: str | None = None


@dataclass
class Notes:
    """All that was sent to one store, and what else is known of it. Kept by the parent, never by the program."""

    sent: list[Sent] = field(default_factory=list)
    confirmed: list[Confirmed] = field(default_factory=list)
    by_command: list[tuple[File, bool]] = field(default_factory=list)
    cars: list[int] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    serials: Iterator[int] = field(default_factory=lambda: count(1))
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def acknowledged(self) -> int:
        done = sum(each.answer is not None for each in self.sent)
        return (
            done
            + sum(each.job is not None for each in self.confirmed)
            + sum(said for _, said in self.by_command)
        )

    def serial(self) -> int:
        with self.lock:
            return next(self.serials)


def new_car(notes: Notes) -> Sent:
    number = 700_000 + notes.serial()
    body = {
        "mark": "ZQFY", "number": number, "specification": "DOT 111A100W1",
        "built_on": "2009-06-03", "owner": OWNER,
        "service": {"commodity": "Example Oil", "hazardous": False, "corrosive_or_reactive": False},
    }  # fmt: skip
    return Sent("car", "/api/v1/cars", str(number), body)


def new_event(notes: Notes, dice: random.Random, car_id: int) -> Sent:
    serial = notes.serial()
    body = {
        "on": f"20{dice.randint(12, 25)}-{dice.randint(1, 12):02}-{dice.randint(1, 28):02}",
        "items": dice.choice([["visual", "thickness"], ["thickness"], ["air_brake", "thickness"]]),
        "facility": f"Example Shop {serial}",
        "inspector": "I. Nobody",
        "readings": [
            {"zone": zone, "inches": dice.randint(440, 560) / 1000, "confirmed": True}
            for zone in ZONES
        ],
    }
    return Sent("event", f"/api/v1/cars/{car_id}/events", f"key-{serial}", body, car_id)


def correction(notes: Notes, dice: random.Random, old: Sent) -> Sent:
    assert old.answer is not None
    assert old.car_id is not None
    new = new_event(notes, dice, old.car_id)
    new.kind = "correction"
    new.address = f"/api/v1/events/{old.answer['event']['id']}/correction"
    return new


class Person(threading.Thread):
    """Records one thing after the other until told to stop, or until the server is gone."""

    def __init__(self, url: str, store: Program, notes: Notes, seed: int) -> None:
        super().__init__(daemon=True)
        self.notes, self.dice = notes, random.Random(seed)
        self.client = signed_in(url, store)
        self.own: list[Sent] = []  # events of theirs that nobody corrected yet
        self.over = threading.Event()

    def run(self) -> None:
        with self.client:
            while not self.over.is_set():
                change = self._next()
                self.notes.sent.append(change)
                if not send(self.client, self.notes, change):
                    return
                if change.kind != "car" and change.answer:
                    self.own.append(change)
                if change.answer is None:
                    self.over.wait(0.2)  # as they were asked to

    def _next(self) -> Sent:
        cast = self.dice.random()
        if cast < 0.1 or not self.notes.cars:
            return new_car(self.notes)
        if cast < 0.3 and self.own:
            old = self.own.pop(self.dice.randrange(len(self.own)))
            return correction(self.notes, self.dice, old)
        return new_event(self.notes, self.dice, self.dice.choice(self.notes.cars))


def send(client: httpx.Client, notes: Notes, change: Sent) -> bool:
    """Send a change and note the answer; False when nobody answered."""
    try:
        told = client.post(
            change.address, json=change.body, headers={"Idempotency-Key": change.key}
        )
    except httpx.TransportError:
        return False
    notes.statuses[told.status_code] += 1
    if told.status_code in (200, 201):
        change.answer = told.json()
        if change.kind == "car":
            notes.cars.append(told.json()["id"])
    elif told.status_code not in NOT_NOW:
        notes.wrong.append(f"{change.kind} {change.key}: {told.status_code} {told.text[:300]}")
    return True


def confirm_file(client: httpx.Client, notes: Notes, file: File) -> Confirmed:
    """Hand a file in on its page and say yes to it, as a browser would; gives up when not answered."""
    asked = Confirmed(file)
    notes.confirmed.append(asked)
    sheet = {"file": (file.name, file.content, "text/csv")}
    try:
        kept = client.post("/imports", data={"kind": file.kind}, files=sheet)
        if kept.status_code == 303:
            yes = client.post(f"{kept.headers['location']}/confirm")
            if yes.status_code == 303:
                asked.job = yes.headers["location"].removeprefix("/jobs/")
    except httpx.TransportError:
        pass
    return asked


@contextmanager
def people(
    url: str, store: Program, notes: Notes, dice: random.Random, number: int = 2
) -> Iterator[None]:
    """`number` people at work while the block lasts."""
    at_work = [Person(url, store, notes, dice.getrandbits(32)) for _ in range(number)]
    for each in at_work:
        each.start()
    try:
        yield
    finally:
        for each in at_work:
            each.over.set()
        for each in at_work:
            each.join(SECONDS_FOR_AN_ANSWER + 5)
            assert not each.is_alive(), "somebody waits for an answer that never comes"


def send_again(url: str, store: Program, notes: Notes) -> None:
    """What nobody answered is sent once more, as a person would who does not know what became of it."""
    with signed_in(url, store) as client:
        for change in notes.sent:
            if change.answer is None:
                wait_for(lambda: _settled(client, notes, change), f"{change.kind} {change.key}")  # noqa: B023


def _settled(client: httpx.Client, notes: Notes, change: Sent) -> bool:
    told = client.post(change.address, json=change.body, headers={"Idempotency-Key": change.key})
    if told.status_code in NOT_NOW:
        return False
    # A car has no such key: that it is there already is what a second try is told.
    there = told.status_code == 409 and change.kind == "car"
    if told.status_code in (200, 201) or there:
        change.answer = told.json()
    else:
        notes.wrong.append(
            f"again {change.kind} {change.key}: {told.status_code} {told.text[:300]}"
        )
        change.answer = {}
    return True
