"""What is recorded stays: through a full storage, another person, a newer program, packs taken again and let go."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Error, expect

from app.web import field_program
from tests.browser.field.engine.conftest import Tablet
from tests.browser.field.engine.register import AS_IT_IS, IDA, Register, program_with
from tests.browser.field.engine.test_sending import add_picture, hold, in_view
from tests.browser.field.storage import SMALL

FILLING = """async ([at, report]) => {
  const { add } = await import(at);
  for (let n = 0; n < 60; n += 1) await add(report, "defect", { place: "x".repeat(1_000_000) });
}"""


def head_says(tablet: Tablet, words: str) -> None:
    expect(tablet.page.get_by_role("banner")).to_contain_text(words)


def allow(tablet: Tablet, room: int) -> None:
    """From now on the storage takes so many bytes more."""
    tablet.page.evaluate("bytes => { globalThis.roomLeft = bytes }", room)


def held_back(tablet: Tablet) -> None:
    """Wait until the program holds room back."""
    tablet.call("holdReserve")
    assert not tablet.call("isScarce")


def fill_up(tablet: Tablet, report: str) -> None:
    with pytest.raises(Error, match="storage is full, so this was not written"):
        tablet.page.evaluate(FILLING, [tablet.module("database.js"), report])


@pytest.fixture
def small(tablet: Tablet) -> Tablet:
    """A tablet whose storage can be full."""
    tablet.page.add_init_script(SMALL)
    return tablet


# A full storage ----------------------------------------------------------------------------------------------------


def test_little_room_is_told_before_it_is_too_late(small: Tablet, register: Register) -> None:
    small.open().take_along()
    held_back(small)
    hold(register)
    report = small.record(1)
    expect(small.page.get_by_role("banner")).not_to_contain_text("Little room")
    allow(small, 0)
    small.call("add", report, "defect", {"place": "x" * 4_000_000})
    head_says(small, "Little room is left on this tablet")
    assert [each["kind"] for each in small.call("entries", report)] == [
        "begun",
        "reading",
        "defect",
    ]


def test_photographs_stop_while_there_is_room_for_what_is_typed(
    small: Tablet, register: Register
) -> None:
    small.open().take_along()
    hold(register)
    held_back(small)
    report = small.record(1)
    allow(small, 0)
    with pytest.raises(Error, match="too little room left for photographs"):
        add_picture(small, report)
    small.call("add", report, "reading", {"inches": "0.41"})
    assert [each["kind"] for each in small.call("entries", report)] == [
        "begun",
        "reading",
        "reading",
    ]


def test_a_full_storage_refuses_in_words_and_loses_nothing(
    small: Tablet, register: Register
) -> None:
    small.open().take_along()
    hold(register)
    report = small.record(2)
    allow(small, 0)
    fill_up(small, report)
    before = small.call("entries", report)
    assert [each["place"] for each in before] == list(range(1, len(before) + 1))
    allow(small, 500_000_000)
    small.call("add", report, "reading", {"inches": "0.42"})
    register.weather = []
    small.call("sendNow", module="sending.js")
    small.until_sent(report)
    assert len(register.of_report(report)) == len(before) + 1


# Another person ----------------------------------------------------------------------------------------------------


def test_another_person_neither_sees_nor_sends_what_the_first_recorded(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    ada, register.person = register.person, None
    report = tablet.record(2)
    picture = add_picture(tablet, report)
    register.person = dict(IDA)
    tablet.page.reload()
    head_says(tablet, "Ida Example")
    head_says(tablet, "nothing waits")
    assert tablet.call("reports") == tablet.call("entries", report) == tablet.call("cars") == []
    assert tablet.call("picture", picture) is None
    in_view(tablet, "No car is on this tablet yet")
    with pytest.raises(Error, match="not on this tablet"):
        tablet.call("add", report, "reading", {"inches": "0.4"})
    tablet.until_at_rest()
    assert register.came == []
    register.person = ada
    tablet.page.reload()
    tablet.until_sent(report)
    assert [each["kind"] for each in register.of_report(report)] == [
        "begun",
        "reading",
        "reading",
        "photograph",
    ]


def test_whoever_signs_in_while_the_page_is_open_is_noticed_before_anything_is_sent(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    tablet.until_at_rest()
    register.person = dict(IDA)
    report = tablet.record(0)  # a reading after it could come too late: the report is Ada's
    head_says(tablet, "Ida Example")
    tablet.until_at_rest()
    assert register.entries == {}
    assert tablet.call("entries", report) == []


# A newer program ---------------------------------------------------------------------------------------------------


def newer() -> dict[str, bytes]:
    """The same program with another word in its head."""
    shell = AS_IT_IS.files["shell.js"].replace(b'"nothing waits"', b'"nothing waits here"')
    return {"shell.js": shell}


def test_a_newer_program_waits_until_a_person_takes_it_and_what_is_recorded_stays(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().ready().take_along()
    tablet.until_at_rest()
    hold(register)
    report = tablet.record(3)
    picture = add_picture(tablet, report)
    register.program = program_with(newer())
    tablet.call("look", module="program.js")
    head_says(tablet, "A newer version of the program is here")
    tablet.call("add", report, "reading", {"inches": "0.47"})
    register.weather = []
    with tablet.page.expect_navigation():
        tablet.page.get_by_role("button", name="Take the new version").click()
    tablet.until_sent(report)
    tablet.until_at_rest()
    head_says(tablet, "nothing waits here")
    assert [each["says"].get("inches") for each in register.of_report(report)][1:4] == [
        "0.40",
        "0.41",
        "0.42",
    ]
    assert len(register.photographs[picture]) == 600_000


def test_a_program_that_leads_the_store_on_leads_on_what_waits_in_it(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().ready().take_along()
    tablet.until_at_rest()
    hold(register)
    report = tablet.record(2)
    steps = AS_IT_IS.files["upgrades.js"].replace(b"[first, packs]", b"[first, packs, third]")
    steps += b'\nfunction third(db) { db.createObjectStore("invented"); }\n'
    register.program = program_with({"upgrades.js": steps})
    tablet.call("look", module="program.js")
    head_says(tablet, "A newer version of the program is here")
    register.weather = []
    with tablet.page.expect_navigation():
        tablet.page.get_by_role("button", name="Take the new version").click()
    tablet.until_sent(report)
    assert len(register.of_report(report)) == 3
    stores: list[str] = tablet.page.evaluate(
        "new Promise(done => { indexedDB.open('stencilbook-field').onsuccess = "
        "({ target }) => done([...target.result.objectStoreNames]) })"
    )
    assert "invented" in stores


def test_a_program_older_than_the_store_says_so_and_touches_nothing(
    tablet: Tablet, register: Register
) -> None:
    tablet.open()
    tablet.page.goto(f"{tablet.url}/field/manifest.webmanifest")
    tablet.page.evaluate(
        "new Promise(done => { const asked = indexedDB.open('stencilbook-field', 99);"
        " asked.onsuccess = () => { asked.result.close(); done(); } })"
    )
    tablet.page.goto(f"{tablet.url}/field#/")
    expect(tablet.page.get_by_role("alert")).to_contain_text(
        "A newer version of the program has used this tablet"
    )


# Packs -------------------------------------------------------------------------------------------------------------


def test_a_car_tells_when_it_was_taken_itself_whatever_was_taken_later(
    tablet: Tablet, register: Register
) -> None:
    """What others recorded at it since then is a conflict; a pack of other cars knows nothing of that."""
    cars, register.now = register.cars, "2026-11-26T08:00:00Z"
    register.cars = cars[:1]
    tablet.open().take_along()
    register.cars, register.now = cars[1:], "2026-11-26T11:00:00Z"
    tablet.call("take", {"question": "list=y", "words": "Another list"}, module="packs.js")
    says = [tablet.call("entries", tablet.record(0, car_id))[0]["says"] for car_id in (101, 102)]
    assert [each["taken_at"] for each in says] == ["2026-11-26T08:00:00Z", "2026-11-26T11:00:00Z"]


def test_cars_are_let_go_but_not_those_with_work_that_is_not_sent(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    hold(register)
    tablet.record(1, 102)
    tablet.call("forget", "list=x", module="packs.js")
    held: list[dict[str, Any]] = tablet.call("cars")
    assert [each["id"] for each in held] == [102]


def test_a_pack_that_breaks_off_changes_nothing(tablet: Tablet, register: Register) -> None:
    tablet.open().take_along()
    tablet.until_at_rest()
    register.cars = [each | {"version": 2} for each in register.cars]
    register.weather = [None, "gone"]
    with pytest.raises(Error, match="No connection"):
        tablet.take_along()
    assert {each["version"] for each in tablet.call("cars")} == {1}


def test_the_set_has_a_step_for_each_version_that_went_out() -> None:
    assert b"UPGRADES = [first, packs];" in field_program.program().files["upgrades.js"]
