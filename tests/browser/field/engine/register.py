"""A stand-in of the register for the tablet's program: it serves the program as it is and keeps entries in memory.

Tests tell it how the network fares, who is signed in, and what it refuses.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from urllib.parse import parse_qs, urlsplit

from app.web import field_program
from app.web.field_program import Program

ADA: dict[str, Any] = {"id": 7, "name": "Ada Example"}
IDA: dict[str, Any] = {"id": 8, "name": "Ida Example"}
NOW = "2026-11-26T14:00:00Z"
AS_IT_IS = field_program.program()
# The screens of recording have tests of their own.
SCREENS = b"""
export async function show(path, mount) {
  mount.innerHTML ||= '<h1 tabindex="-1">' + path[0] + " " + path[1] + '</h1><label>Typed <input></label>';
}
"""
Refusing = Callable[[dict[str, Any]], str | None]
Answer = tuple[int, dict[str, Any], dict[str, str]]


def problem(status: int, sentence: str = "Not now.", **headers: str) -> Answer:
    told = {"error": {"message": sentence, "faults": []}}
    return status, told, {name.replace("_", "-"): value for name, value in headers.items()}


def car(number: int, status: str = "in_date", due_on: str | None = "2027-03-01") -> dict[str, Any]:
    due = {
        "item": "thickness", "words": "Thickness test", "state": "due_on", "status": status, "due_on": due_on,
        "next": "", "reasons": [],
    }  # fmt: skip
    told = {"id": number, "mark": "ZQAA", "number": str(number), "owner": "Invented Owner"}
    rest: dict[str, Any] = {
        "parts": [],
        "zones": [],
        "last": {},
        "asks": {},
        "instructions": {},
        "visit": None,
        "keeps_photo_place": False,
    }
    return told | {"specification": "DOT 111A100W1", "due": [due], "version": 1} | rest


def program_with(files: Mapping[str, bytes]) -> Program:
    """The program as it is, with some files otherwise."""
    given = {"record/screens.js": SCREENS, **files}
    return field_program.made_of({**AS_IT_IS.files, **given})


@dataclass
class Register:
    """What the stand-in holds and how it behaves; a test changes it between requests."""

    person: dict[str, Any] | None = field(default_factory=lambda: dict(ADA))
    cars: list[dict[str, Any]] = field(default_factory=list)
    entries: dict[str, dict[str, Any]] = field(default_factory=dict)
    photographs: dict[str, bytes] = field(default_factory=dict)
    refuses: Refusing = lambda entry: None
    others: list[dict[str, Any]] = field(default_factory=list)
    # For coming requests to the API: an answer instead; "gone" before it came, "lost" after it was
    # stored; None for fine.
    weather: list[Answer | str | None] = field(default_factory=list)
    # From this many bytes of a body on nothing is taken.
    most_bytes: int = 10**9
    asked: list[tuple[str, str]] = field(default_factory=list)
    # The keys of entries as they came, each as often as it came.
    came: list[str] = field(default_factory=list)
    page_size: int = 2
    now: str = NOW
    # How far its clock is before this machine's, and where it says that what it refuses is wrong.
    ahead: timedelta = timedelta(0)
    wrong_at: str = "says"
    # What a search among its cars gives, and whether there are more.
    found: list[dict[str, Any]] = field(default_factory=list)
    more: str | None = None
    program: Program = field(default_factory=lambda: program_with({}), repr=False)

    def of_report(self, key: str) -> list[dict[str, Any]]:
        found = [each for each in self.entries.values() if each["report"] == key]
        return sorted(found, key=lambda each: int(each["place"]))

    # ---- the API ----

    def weathered(self, method: str, address: str, body: bytes) -> Answer | None:
        """The answer, as the network lets it through; None when none comes."""
        self.asked.append((method, address))
        weather = self.weather.pop(0) if self.weather else None
        if isinstance(weather, tuple):
            return weather
        if weather == "gone":
            return None
        answer = self.answer(method, address, body)
        return None if weather == "lost" else answer

    def answer(self, method: str, address: str, body: bytes) -> Answer:
        parts = urlsplit(address)
        asked = {name: values[0] for name, values in parse_qs(parts.query).items()}
        path = parts.path.removeprefix("/api/v1/")
        if self.person is None:
            return problem(401, "Sign in first.")
        if len(body) > self.most_bytes:
            return problem(413, "This is too large.")
        name, _, rest = path.removeprefix("field/").partition("/")
        if path == "visits":
            return 200, {"rows": [], "next_after": None}, {}
        if path == "cars":
            return 200, {"rows": self.found, "next_after": self.more}, {}
        if method == "PUT":
            return self._piece(rest, int(asked["at"]), int(asked["bytes"]), body)
        ways: Mapping[str, Callable[[], Answer]] = {
            "who": self._who,
            "pack": lambda: self._pack(int(asked.get("after", 0))),
            "entries": lambda: self._take(json.loads(body)),
            "reports": lambda: (200, {"key": rest, "entries": self.of_report(rest)}, {}),
            "photographs": lambda: self._come(rest),
        }
        return ways[name]()

    def _who(self) -> Answer:
        assert self.person
        there = (datetime.now(UTC) + self.ahead).isoformat()
        told = {"person": self.person["id"], "name": self.person["name"], "now": there}
        return 200, told | {"version": self.program.version}, {}

    def _pack(self, after: int) -> Answer:
        page = self.cars[after : after + self.page_size]
        more = after + self.page_size < len(self.cars)
        told: dict[str, Any] = {
            "taken_at": self.now,
            "person": self.person,
            "total": len(self.cars),
            "cars": page,
        }
        shared: dict[str, Any] = {
            "facilities": [],
            "qualifications": [],
            "cautions": [],
            "needs": {},
        }
        following = str(after + self.page_size) if more else None
        return 200, told | shared | {"instructions": {}, "next": following}, {}

    def _take(self, sent: dict[str, Any]) -> Answer:
        assert self.person
        if sent["person"] != self.person["id"]:
            return problem(409, "Somebody else is signed in.")
        return (
            200,
            {"person": sent["person"], "results": [self._one(each) for each in sent["entries"]]},
            {},
        )

    def _one(self, entry: dict[str, Any]) -> dict[str, Any]:
        def result(state: str, why: str = "", others: list[Any] | None = None) -> dict[str, Any]:
            faults = [{"path": self.wrong_at, "problem": why}] if why else []
            return {"key": entry["key"], "state": state, "faults": faults, "others": others or []}

        self.came.append(entry["key"])
        held = self.entries.get(entry["key"])
        if held is not None:
            return (
                result("known") if held == entry else result("refused", "Stored otherwise before.")
            )
        if entry["place"] != len(self.of_report(entry["report"])) + 1:
            return result("waiting")
        why = self.refuses(entry)
        if why:
            return result("refused", why)
        resolved = {
            each["says"]["other"]
            for each in self.of_report(entry["report"])
            if each["kind"] == "resolved"
        }
        open_others = [each for each in self.others if each["event_id"] not in resolved]
        if entry["kind"] == "signed" and open_others:
            return result("conflict", others=open_others)
        self.entries[entry["key"]] = entry
        return result("stored")

    def _come(self, digest: str, total: int | None = None) -> Answer:
        held = self.photographs.get(digest, b"")
        whole = sha256(held).hexdigest() == digest
        if total is not None and len(held) >= total and not whole:
            del self.photographs[digest]
            return problem(422, "These bytes are not those that were promised.")
        return 200, {"digest": digest, "received": len(held), "whole": whole}, {}

    def _piece(self, digest: str, at: int, total: int, body: bytes) -> Answer:
        held = self.photographs.get(digest, b"")
        if at <= len(held):
            self.photographs[digest] = held[:at] + body if at + len(body) > len(held) else held
        return self._come(digest, total)
