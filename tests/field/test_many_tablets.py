"""Tablets at once before the program on PostgreSQL: a whole inspection each, and every second request broken.

Fifty in a long run.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from decimal import Decimal
from pathlib import Path

import httpx
import pytest
from dateutil.relativedelta import relativedelta
from sqlalchemy import make_url

from app.store import members
from app.store.db import make_engine, sessions
from tests.field import stored
from tests.field.crowds import BUILT_ON, CHANGED_ON, LINED_ON, add_due_car, let_in_inspector
from tests.field.entries import FACILITY, SIGNED
from tests.field.flaking import GONE, LOST, PASSED
from tests.field.inspections import PHOTOGRAPHS, READINGS
from tests.field.sending import Work
from tests.fixtures.people import COOKIES, beforehand, let_in
from tests.fixtures.postgres import fresh_database
from tests.fixtures.server import Server, serving
from tests.length import tries
from tests.pictures import shots

TABLETS = tries(short=8, long=50)
UNLIMITED = {"REQUESTS_PER_MINUTE_ADDRESS": "0", "REQUESTS_PER_MINUTE_PERSON": "0"}
TEN_YEARS, FIVE_YEARS = relativedelta(years=10), relativedelta(years=5)
# By item how it stands, and the day on which it falls due.
Items = dict[str, tuple[str, date | None]]
# How the items stand before: a lining's five years are its owner's, the rest is 49 CFR 180.509(d), (f)(2)(i), (j), (k).
BEFORE: Items = {
    "visual": ("dated", BUILT_ON + TEN_YEARS),
    "thickness": ("unknown", None),  # never measured for its lining
    "lining": ("dated", LINED_ON + FIVE_YEARS),
    "relief_device": ("unknown", None),
    "leakage": ("owed", CHANGED_ON),  # 49 CFR 180.509(j): by the change, on the day of it
}


def after(day: date) -> Items:
    """How they stand when all of it passed on this day; a lined tank is measured next when it is lined anew."""
    return {
        "visual": ("dated", day + TEN_YEARS),
        "thickness": ("by_event", None),
        "lining": ("dated", day + FIVE_YEARS),
        "relief_device": ("dated", day + TEN_YEARS),
        "leakage": ("by_event", None),  # owed by the swap, and made after it
    }


@pytest.fixture
def yard(postgres_url: str, postgres_template: str, tmp_path: Path) -> Iterator[Server]:
    """The program with as many cars and inspectors as there are tablets."""
    template = make_url(postgres_template).database or ""
    with fresh_database(postgres_url, template) as url:
        fill(url)
        with serving(url, tmp_path, ATTACHMENTS=str(tmp_path / "attached"), **UNLIMITED) as running:
            yield running


def fill(url: str) -> None:
    engine = make_engine(url)
    with beforehand(sessions(engine)) as db:
        let_in(db)
        keeper = members.keeper(db)
        assert keeper
        for number in range(TABLETS):
            let_in_inspector(db, keeper, number)
            add_due_car(db, 1000 + number)
    engine.dispose()


def tablets(server: Server) -> list[Work]:
    """One for each car, with photographs of its own."""
    return [Work(at, car, photographs()) for at, car in enumerate(stored.cars(server))]


def photographs() -> list[bytes]:
    return [shots.camera(image=shots.noise((60, 40 + each))) for each in range(PHOTOGRAPHS)]


def test_whole_inspections_sent_at_once_are_stored_once_in_order_and_the_due_items_move(
    yard: Server, tmp_path: Path
) -> None:
    every = tablets(yard)
    each_stands(stored.dues(yard), {each.car_id: BEFORE for each in every})
    with ThreadPoolExecutor(TABLETS) as pool:
        list(pool.map(lambda each: each.do(yard.url), every))
    tell(every, yard)
    each_entry_is_there_once_and_in_order(every, yard)
    each_photograph_is_there_once(every, yard, tmp_path / "attached")
    each_report_became_what_it_says(every, yard)
    each_stands(stored.dues(yard), {each.car_id: after(each.day) for each in every})
    each_report_is_whole_and_signed(every, yard)
    half_of_the_requests_broke(every)


def tell(every: list[Work], server: Server) -> None:
    """The counts, which pytest shows with -s or -rP."""
    count = sum((each.count for each in every), Counter())
    sent = sum(len(each.tablet.entries) for each in every)
    kept = len(stored.asked(server, stored.ENTRIES))
    pictures = len(stored.asked(server, stored.PHOTOGRAPHS))
    told = (
        f"{len(every)} tablets, {sent} entries sent, {kept} stored, {pictures} photographs; {count.total()} requests: "
        f"{count[PASSED]} answered, {count[GONE]} broken off half sent, {count[LOST]} done and the answer lost"
    )
    sys.stdout.write(f"{told}\n")


def each_entry_is_there_once_and_in_order(every: list[Work], server: Server) -> None:
    there = stored.by_first(stored.asked(server, stored.ENTRIES))
    assert there == {
        each.tablet.report: [(at["place"], at["key"], at["kind"]) for at in each.tablet.entries]
        for each in every
    }
    kinds = Counter(kind for rows in there.values() for _, _, kind in rows)
    assert kinds["reading"] == TABLETS * len(READINGS)
    assert kinds["photograph"] == TABLETS * PHOTOGRAPHS
    for once in ("begun", "gauge_check", "bench_test", "swap", "leak_test", "signed"):
        assert kinds[once] == TABLETS, once


def each_photograph_is_there_once(every: list[Work], server: Server, attached: Path) -> None:
    """Under the sum of what was sent; what is kept tells no place, and lies under its own."""
    rows = stored.asked(server, stored.PHOTOGRAPHS)
    sent = {key: sorted(sums) for key, sums in stored.by_first([row[:2] for row in rows]).items()}
    assert sent == {
        each.tablet.report: sorted((shots.sum_of(at),) for at in each.pictures) for each in every
    }
    files = {shots.sum_of(at.read_bytes()) for at in attached.rglob("*") if at.is_file()}
    assert {row.sha256 for row in rows} <= files
    assert len({row.sha256 for row in rows}) == len(rows) == TABLETS * PHOTOGRAPHS


def each_report_became_what_it_says(every: list[Work], server: Server) -> None:
    events = stored.by_first(stored.asked(server, stored.EVENTS))
    readings = stored.by_first(stored.asked(server, stored.READINGS))
    parts = stored.by_first(stored.asked(server, stored.PARTS))
    for each in every:
        told = ("pass", SIGNED["name"], FACILITY["facility"], each.day)
        assert events[each.car_id] == [
            ("service_equipment_changed", "pass", "", "", each.day),
            ("visual;thickness;lining;relief_device;leakage", *told),
        ]
        assert readings[each.car_id] == [(Decimal(inches),) for inches in READINGS]
        number = 1000 + each.number
        old, new = (f"BV-{number}", LINED_ON, each.day), (f"BV-2-{number}", each.day, None)
        assert parts[each.car_id] == [old, new]


def each_stands(found: dict[int, Items], wanted: dict[int, Items]) -> None:
    assert {car: {item: found[car][item] for item in BEFORE} for car in found} == wanted


def each_report_is_whole_and_signed(every: list[Work], server: Server) -> None:
    """As its page tells it."""
    with httpx.Client(base_url=server.url, cookies=dict(COOKIES), timeout=60) as client:
        for (number,) in stored.asked(server, "select id from report"):
            page = client.get(f"/reports/{number}").text
            assert f"Signed by {SIGNED['name']}" in page
            assert "Missing:" not in page


def half_of_the_requests_broke(every: list[Work]) -> None:
    for each in every:
        count = each.count
        assert abs(count[GONE] + count[LOST] - count[PASSED]) <= 1, each
        assert abs(count[GONE] - count[LOST]) <= 1, each
        assert min(count[GONE], count[LOST]) > PHOTOGRAPHS
