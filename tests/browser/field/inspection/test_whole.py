"""A whole inspection with the network cut, the browser killed in the middle, and a flaking network to send it by."""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime

from playwright.sync_api import expect

from tests.browser.field.inspection.conftest import Device
from tests.browser.field.inspection.network import LOST, Network, flaking
from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import CAR
from tests.fixtures.server import Server

ITEMS = ("visual", "thickness", "lining", "relief_device", "leakage")
MEASURED = (
    "select e.items, count(*) from event e join reading r on r.event_id = e.id"
    " where e.reference like 'Field report %' group by e.id"
)
READINGS = [f"0.4{40 + at % 9}" for at in range(40)]


def test_each_entry_reaches_the_register_once_in_order_and_the_due_items_move(
    tablet: Device, wire: Network, yard_server: Server
) -> None:
    inspector = tablet.start()
    inspector.take_along()
    before = dues(yard_server)
    wire.cut = True
    report = inspector.begin(CAR, *ITEMS)
    first_half(inspector, report)
    assert asked(yard_server, "select count(*) from field_entry") == [(0,)]
    tablet.kill()

    inspector = tablet.start().open(f"report/{report}")
    second_half(inspector, report)
    held = on_the_tablet(inspector, report)

    wire.weather, wire.cut = flaking(), False
    page = inspector.page
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.get_by_role("main")).to_contain_text("signed by I. Nobody, sent", timeout=240_000)

    stored = asked(yard_server, "select place, key, kind from field_entry order by id")
    assert stored == held
    kinds = Counter(kind for _, _, kind in stored)
    assert (kinds["reading"], kinds["photograph"], kinds["signed"]) == (40, 6, 1)
    assert asked(yard_server, "select count(*), count(distinct sent_sha256) from photograph") == [
        (6, 6)
    ]
    assert sum(each[0] == LOST for each in wire.broken) >= 3
    after = dues(yard_server)
    assert asked(yard_server, MEASURED) == [("visual;thickness;lining;relief_device;leakage", 40)]
    for item in ("visual", "lining", "relief_device"):
        assert before[item] != after[item] > f"dated {datetime.now(UTC).date()}", item
    assert after["leakage"].startswith("by_event")  # the valve that was put on was tested for leaks


def first_half(inspector: Inspector, report: str) -> None:
    inspector.steps(report, "visual")
    inspector.outcome(report, "visual")
    inspector.check_gauge(report)
    inspector.readings(report, READINGS[:25])
    inspector.photographs(report, "photographs", 3)


def second_half(inspector: Inspector, report: str) -> None:
    inspector.readings(report, READINGS[25:])
    inspector.bench(report)
    inspector.lining(report)
    inspector.photographs(report, "lining", 3, seed=3)
    inspector.swap(report)
    inspector.leak(report)
    for item in ITEMS[1:]:
        inspector.outcome(report, item)
    inspector.sign(report)


def on_the_tablet(inspector: Inspector, report: str) -> list[tuple[int, str, str]]:
    """Place, key and kind of all that the tablet holds of a report."""
    program = inspector.page.locator('script[type="module"]').first.get_attribute("src")
    rows = inspector.page.evaluate(
        "async ([at, key]) => (await (await import(at)).entries(key)).map(each => [each.place, each.key, each.kind])",
        [str(program).replace("main.js", "database.js"), report],
    )
    return [tuple(row) for row in rows]


def dues(server: Server) -> dict[str, str]:
    """How each item stands and the day on which it falls due."""
    rows = asked(server, "select item, state || ' ' || coalesce(due_on, '') from due")
    return {str(item): str(told) for item, told in rows}


def asked(server: Server, question: str) -> list[tuple[object, ...]]:
    path = server.database_url.removeprefix("sqlite:///")
    with closing(sqlite3.connect(path)) as store:
        return store.execute(question).fetchall()
