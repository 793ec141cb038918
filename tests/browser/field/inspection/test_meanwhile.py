"""What comes up between a tablet and the register itself: others' work, a sign-in that ended, what is refused."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from app.actions import events
from app.actions.changes import NewEvent
from app.actions.stamp import Stamp
from app.store.db import make_engine, sessions, write_session
from tests.browser.field.inspection.conftest import Device
from tests.browser.field.inspection.network import Network
from tests.browser.field.inspection.test_whole import asked
from tests.browser.field.inspection.walking import Inspector
from tests.browser.field.inspection.yard import CAR
from tests.fixtures.people import COOKIES
from tests.fixtures.server import Server


def record_elsewhere(server: Server) -> None:
    """Somebody else records the same item of the same car at a desk."""
    now = datetime.now(UTC)
    engine = make_engine(server.database_url)
    with write_session(sessions(engine)) as db:
        new = NewEvent(now.date(), ("visual",), facility="Made-up Shop", inspector="Otto Other")
        events.record_event(db, 1, new, Stamp("Otto Other", now, now.date()))
    engine.dispose()


def counting(server: Server) -> int:
    found = asked(
        server, "select count(*) from event where items = 'visual' and superseded_at is null"
    )
    return int(str(found[0][0]))


def begun(tablet: Device) -> tuple[Inspector, str]:
    inspector = tablet.start().take_along()
    return inspector, inspector.begin(CAR, "visual")


def sent(inspector: Inspector, report: str) -> None:
    inspector.at(report)
    expect(inspector.page.get_by_role("main")).to_contain_text(
        "signed by I. Nobody, sent", timeout=30_000
    )


def head_says(inspector: Inspector, words: str) -> None:
    expect(inspector.page.get_by_role("banner")).to_contain_text(words, timeout=30_000)


@pytest.mark.parametrize(
    ("keep", "more"), [("Keep both", 1), ("Theirs stands, mine does not count", 0)]
)
def test_where_others_recorded_the_same_both_are_shown_and_a_person_decides(
    tablet: Device, wire: Network, yard_server: Server, keep: str, more: int
) -> None:
    inspector, report = begun(tablet)
    wire.cut = True
    inspector.outcome(report, "visual")
    inspector.sign(report)
    record_elsewhere(yard_server)
    before = counting(yard_server)
    wire.cut = False
    inspector.go("waiting")
    inspector.press("Send now")
    inspector.follow("Look at both and decide")
    main = inspector.page.get_by_role("main")
    for told in ("Invented Tank Car Works", "Made-up Shop", "Otto Other"):
        expect(main).to_contain_text(told)
    inspector.press("Send it so")
    expect(inspector.page.get_by_role("alert")).to_contain_text("Nothing is chosen for")
    inspector.choose("What stands", keep)
    inspector.press("Send it so")
    sent(inspector, report)
    assert counting(yard_server) == before + more


def test_a_sign_in_that_ended_keeps_all_until_the_person_is_in_again(
    tablet: Device, yard_server: Server
) -> None:
    inspector, report = begun(tablet)
    head_says(inspector, "nothing waits")
    tablet.sign_in(None)
    inspector.outcome(report, "visual")
    head_says(inspector, "signed out")
    inspector.sign(report)
    head_says(inspector, "2 entries")
    tablet.sign_in(COOKIES["session"])
    inspector.page.reload()
    sent(inspector, report)


def test_what_the_register_refuses_says_why_and_is_mended_where_it_was_recorded(
    tablet: Device, yard_server: Server
) -> None:
    inspector, report = begun(tablet)
    inspector.swap(report, "BV-77", tested="2098-01-01")
    inspector.outcome(report, "visual")
    inspector.go("waiting")
    main = inspector.page.get_by_role("main")
    expect(main).to_contain_text("swap refused", timeout=30_000)
    expect(main).to_contain_text("2098-01-01")
    inspector.follow("Mend")
    wrong = inspector.page.locator("[aria-invalid=true]")
    expect(wrong).to_have_value("2098-01-01")
    wrong.fill("2026-01-02")
    inspector.press(re.compile("^Keep|^Send"))
    head_says(inspector, "nothing waits")
    told = asked(yard_server, "select says from field_entry where kind = 'swap'")
    assert [("BV-77" in str(each), "2026-01-02" in str(each)) for (each,) in told] == [(True, True)]
