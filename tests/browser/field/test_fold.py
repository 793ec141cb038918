"""What entries come to on the tablet is what they come to in the register, for reports of every kind of muddle."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from random import Random
from typing import Any

import pytest
from playwright.sync_api import Page

from app.core.facts import EVENT_ITEMS
from app.core.field.entries import Entry
from app.core.field.missing import missing
from app.core.field.report import fold, states
from tests.length import tries

REPORTS = tries(short=400, long=4_000)
DEVICES = {1: "relief valve A", 2: "relief valve B"}
CAR = {
    "parts": [
        {"installation_id": key, "relief": True, "words": name, "serial": ""}
        for key, name in DEVICES.items()
    ]
}
# As the tablet calls the fields.
NAMES = {
    "type_of_test": "Type of test or inspection", "results": "Results", "defects": "Defects",
    "facility": "Facility", "station_code": "Station code",
}  # fmt: skip
THERE = """async (reports) => {
  const { Fold, missing } = await import("/app/record/fold.js");
  return reports.map(([entries, car]) => {
    const fold = new Fold(entries);
    return [Object.fromEntries(fold.states()), missing(fold, car, (item) => item).map((each) => each.field)];
  });
}"""


def says(chance: Random, kind: str) -> dict[str, Any]:
    item = chance.choice(EVENT_ITEMS)
    some: dict[str, dict[str, Any]] = {
        "reading": {"zone": "shell_top", "inches": "0.4"},
        "step": {"item": item, "step": "a", "outcome": "ok", "words": ""},
        "outcome": {"item": item, "outcome": chance.choice(["pass", "fail", "not_done"]),
                    "words": chance.choice(["", "why"])},
        "bench_test": {"installation_id": chance.choice([1, 2]), "outcome": chance.choice(["pass", "fail"])},
        "swap": {"off_installation_id": chance.choice([1, 2, None]), "on": None, "position": ""},
        "defect": {"defect": "dent", "place": chance.choice(["", "B end"]),
                   "repaired": chance.random() < 0.5, "how_repaired": chance.choice(["", "ground"])},
    }  # fmt: skip
    return some[kind]


def report(seed: int) -> list[dict[str, Any]]:
    """Entries with corrections and takings back, in the order of the tablet."""
    chance = Random(seed)
    begun = {
        "items": chance.sample(EVENT_ITEMS, chance.randint(0, 3)), "facility": chance.choice(["", "Works"]),
        "facility_address": chance.choice(["", "1 Lane"]), "station_code": chance.choice(["", "ZQ"]),
    }  # fmt: skip
    made = [{"key": "0", "place": 1, "kind": "begun", "replaces": None, "says": begun}]
    kinds = ("reading", "step", "outcome", "outcome", "bench_test", "swap", "defect")
    for place in range(2, chance.randint(2, 14)):
        old = chance.choice(made)
        entry: dict[str, Any] = {"key": str(place), "place": place, "replaces": None}
        if old["kind"] in kinds and chance.random() < 0.25:
            entry |= {
                "kind": old["kind"],
                "replaces": old["key"],
                "says": says(chance, old["kind"]),
            }
        elif old["kind"] in kinds and chance.random() < 0.15:
            entry |= {"kind": "withdrawn", "says": {"entry": old["key"], "why": ""}}
        else:
            kind = chance.choice(kinds)
            entry |= {"kind": kind, "says": says(chance, kind)}
        made.append(entry)
    return made


def here(entries: list[dict[str, Any]]) -> tuple[dict[str, str], Counter[str]]:
    now = datetime(2026, 11, 25, tzinfo=UTC)
    found = fold(
        Entry(each["key"], "r", each["place"], each["kind"], now, each["replaces"], each["says"])
        for each in entries
    )
    return dict(states(found)), Counter(NAMES[each.field] for each in missing(found, DEVICES))


@pytest.fixture(scope="module")
def page(browser: Any, screens: str) -> Iterator[Page]:
    made = browser.new_page()
    made.goto(screens)
    yield made
    made.close()


def test_states_and_what_lacks_are_the_same_on_the_tablet_and_in_the_register(page: Page) -> None:
    reports = [report(seed) for seed in range(REPORTS)]
    there = page.evaluate(THERE, [[entries, CAR] for entries in reports])
    for entries, (found, lacks) in zip(reports, there, strict=True):
        assert (found, Counter(lacks)) == here(entries), entries
    seen = Counter(state for found, _ in there for state in found.values())
    assert min(seen[each] for each in ("open", "pass", "fail", "not_done")) > REPORTS / 20
    assert {field for _, lacks in there for field in lacks} == set(NAMES.values())
