"""What is recorded is written first, and reaches the register once and in order, however the network fares."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.field.engine.conftest import Tablet
from tests.browser.field.engine.register import Register, problem


def test_what_is_recorded_without_a_connection_goes_when_there_is_one(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().ready().take_along()
    tablet.page.context.set_offline(True)
    tablet.page.reload()
    report = tablet.record()
    expect(tablet.page.get_by_role("banner")).to_contain_text("no connection")
    expect(tablet.page.get_by_role("banner")).to_contain_text("3 entries")
    tablet.page.context.set_offline(False)
    tablet.until_sent(report)
    assert [each["place"] for each in register.of_report(report)] == [1, 2, 3]
    expect(tablet.page.get_by_role("banner")).to_contain_text("nothing waits")
