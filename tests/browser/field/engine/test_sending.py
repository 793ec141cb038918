"""What is recorded is written first, and reaches the register once and in order, however the network fares."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from tests.browser.field.engine.conftest import Tablet
from tests.browser.field.engine.register import Register, car, problem

BUSY, SLOW = problem(503), problem(429, Retry_After="1")
# 600 KB that a picture may have: three pieces.
PICTURE = """async ([at, report]) => {
  const db = await import(at);
  const bytes = Uint8Array.from({ length: 600_000 }, (_, n) => (n * 7919) % 251);
  return (await db.addPicture(report, new Blob([bytes], { type: "image/png" }), { words: "B end" })).says.digest;
}"""


def hold(register: Register) -> None:
    """Let nothing through until the weather is cleared."""
    register.weather = [problem(503)] * 50


def in_view(tablet: Tablet, words: str) -> None:
    expect(tablet.page.get_by_role("main")).to_contain_text(words)


def add_picture(tablet: Tablet, report: str) -> str:
    digest: str = tablet.page.evaluate(PICTURE, [tablet.module("database.js"), report])
    return digest


def test_what_is_recorded_without_a_connection_goes_when_there_is_one(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().ready().take_along()
    tablet.page.context.set_offline(True)
    tablet.page.reload()
    report = tablet.record()
    head = tablet.page.get_by_role("banner")
    expect(head).to_contain_text("no connection")
    expect(head).to_contain_text("3 entries wait")
    tablet.page.context.set_offline(False)
    tablet.until_sent(report)
    assert [each["place"] for each in register.of_report(report)] == [1, 2, 3]
    expect(head).to_contain_text("nothing waits")


@pytest.mark.parametrize(
    ("weather", "said"),
    [
        # More than it asks again at once.
        (["gone"] * 4, "no connection"),
        (["lost"] * 4, "no connection"),  # stored, but no answer comes: sent again and known
        ([BUSY], "register is busy"),
        ([SLOW], "asked to wait"),
    ],
    ids=["before it came", "the answer", "busy", "too often"],
)
def test_one_failure_is_told_and_tried_again_by_itself(
    tablet: Tablet, register: Register, weather: list[object], said: str
) -> None:
    tablet.open().take_along()
    tablet.until_at_rest()
    register.weather = list(weather)  # type: ignore[arg-type]
    report = tablet.record(0)
    expect(tablet.page.get_by_role("banner")).to_contain_text(said)
    tablet.until_sent(report)
    assert len(register.entries) == 1


def test_a_flaking_network_stores_each_entry_once_and_in_order(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    tablet.until_at_rest()
    flakes = ["gone", "lost", None, BUSY, "lost", None, "gone", problem(500), "lost", None, "lost"]
    register.weather = list(flakes)
    report = tablet.record(5)
    for _ in flakes:
        tablet.page.evaluate("() => dispatchEvent(new Event('online'))")
        tablet.until_at_rest()
    tablet.until_sent(report)
    stored = register.of_report(report)
    assert [each["place"] for each in stored] == [1, 2, 3, 4, 5, 6]
    assert [each["says"].get("inches") for each in stored[1:]] == [
        "0.40",
        "0.41",
        "0.42",
        "0.43",
        "0.44",
    ]


def test_signed_out_keeps_what_waits_until_the_same_person_is_in_again(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    tablet.until_at_rest()
    ada, register.person = register.person, None
    report = tablet.record(1)
    head = tablet.page.get_by_role("banner")
    expect(head).to_contain_text("signed out")
    expect(head.get_by_role("link", name="Sign in")).to_have_attribute(
        "href", "/sign-in?next=/field"
    )
    assert tablet.states(report) == ["waiting", "waiting"]
    register.person = ada
    tablet.open("waiting")
    tablet.until_sent(report)


def test_what_is_too_large_goes_in_parts_and_one_entry_alone_is_told(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    hold(register)
    report = tablet.record(8)
    other = tablet.record(0)
    tablet.call("add", other, "defect", {"place": "x" * 3000})
    register.weather, register.most_bytes = [], 1500
    tablet.call("sendNow", module="sending.js")
    tablet.until_sent(report)
    tablet.until("(await db.entries(given[0]))[1].state === 'refused'", other)
    tablet.go("waiting")
    in_view(tablet, "This is too large.")


def test_a_refused_entry_holds_up_its_own_report_only_and_is_mended_in_its_place(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    register.refuses = lambda entry: (
        "Give inches." if entry["says"].get("inches") == "0.40" else None
    )
    report, other = tablet.record(3), tablet.record(0)
    tablet.until_sent(other)
    tablet.until("(await db.entries(given[0]))[1].state === 'refused'", report)
    assert tablet.states(report) == ["stored", "refused", "waiting", "waiting"]
    tablet.go("waiting")
    in_view(tablet, "Give inches.")
    refused = tablet.call("entries", report)[1]
    mend = tablet.page.get_by_role("link", name="Mend")
    expect(mend).to_have_attribute("href", f"#/report/{report}/mend/{refused['key']}")
    tablet.call("mend", refused, {"zone": "shell_top", "inches": "0.41"})
    tablet.until_sent(report)
    assert [each["place"] for each in register.of_report(report)] == [1, 2, 3, 4]
    assert refused["key"] not in register.entries
    in_view(tablet, "Nothing waits.")


def test_what_speaks_of_a_refused_entry_speaks_of_the_mended_one(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    register.refuses = lambda entry: "No." if entry["says"].get("inches") == "0.40" else None
    report = tablet.record(1)
    tablet.until("(await db.entries(given[0]))[1].state === 'refused'", report)
    refused = tablet.call("entries", report)[1]
    tablet.call("add", report, "reading", {"inches": "0.5"}, {"replaces": refused["key"]})
    mended = tablet.call("mend", refused, {"inches": "0.45"})
    tablet.until_sent(report)
    assert register.of_report(report)[2]["replaces"] == mended["key"]


def test_a_refused_entry_can_be_done_without(tablet: Tablet, register: Register) -> None:
    tablet.open("waiting").take_along()
    register.refuses = lambda entry: "No." if entry["says"].get("inches") == "0.40" else None
    report = tablet.record(2)
    tablet.page.get_by_role("button", name="Do without").click()
    tablet.page.get_by_role("button", name="Yes, do without it").click()
    tablet.until_sent(report)
    assert [each["says"].get("inches") for each in register.of_report(report)] == [None, "0.41"]


def test_a_refused_signature_opens_the_report_for_what_it_lacks(
    tablet: Tablet, register: Register
) -> None:
    tablet.open("waiting").take_along()
    register.refuses = lambda entry: (
        "An outcome is missing."
        if entry["kind"] == "signed" and len(register.of_report(entry["report"])) < 3
        else None
    )
    report = tablet.record(1)
    tablet.call("add", report, "signed", {"name": "Ada Example", "method": "typed"})
    in_view(tablet, "An outcome is missing.")
    tablet.call("add", report, "outcome", {"item": "thickness", "outcome": "pass"})
    tablet.call("add", report, "signed", {"name": "Ada Example", "method": "typed"})
    tablet.until("(await db.reports())[0].state === 'sent'")
    assert [each["kind"] for each in register.of_report(report)] == [
        "begun",
        "reading",
        "outcome",
        "signed",
    ]


OTHER = {
    "item": "thickness", "event_id": 31, "happened_on": "2026-11-25", "outcome": "pass",
    "facility": "Other Made-up Works", "inspector": "Otto Example", "recorded_by": "Otto Example",
    "recorded_at": "2026-11-25T10:00:00Z",
}  # fmt: skip


def test_a_conflict_waits_for_a_person_and_goes_with_the_decision_before_the_signature(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    register.others = [OTHER]
    report = tablet.record(1)
    tablet.call("add", report, "signed", {"name": "Ada Example", "method": "typed"})
    tablet.until("(await db.entries(given[0]))[2].state === 'conflict'", report)
    tablet.go("waiting")
    in_view(tablet, "Otto Example at Other Made-up Works")
    signed = tablet.call("entries", report)[2]
    link = tablet.page.get_by_role("link", name="Look at both and decide")
    expect(link).to_have_attribute("href", f"#/report/{report}/conflict/{signed['key']}")
    expect(tablet.page.get_by_role("navigation")).to_contain_text("1 to decide")
    tablet.call("resolve", report, [{"item": "thickness", "other": 31, "keep": "both"}])
    tablet.until_sent(report)
    kinds = [each["kind"] for each in register.of_report(report)]
    assert kinds == ["begun", "reading", "resolved", "signed"]


def test_a_photograph_goes_on_where_the_network_broke_and_the_signature_goes_last(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().take_along()
    hold(register)
    report = tablet.record(0)
    digest = add_picture(tablet, report)
    tablet.call("add", report, "signed", {"name": "Ada Example", "method": "typed"})
    # Who, the entries, how much has come; two pieces, the second never answered; how much; the third.
    register.weather = [None, None, None, None, *["lost"] * 4]
    register.asked.clear()
    tablet.call("sendNow", module="sending.js")
    tablet.call("sendNow", module="sending.js")
    tablet.until("(await db.reports())[0].state === 'sent'")
    pieces = [
        path.partition("at=")[2].partition("&")[0]
        for method, path in register.asked
        if method == "PUT"
    ]
    assert pieces == ["0", *["262144"] * 4, "524288"]
    assert len(register.photographs[digest]) == 600_000
    assert tablet.call("picture", digest) is None, (
        "what the register holds whole needs no room here"
    )


def test_a_photograph_that_the_register_cannot_take_is_told_and_can_be_sent_again(
    tablet: Tablet, register: Register
) -> None:
    tablet.open("waiting").take_along()
    hold(register)
    report = tablet.record(0)
    digest = add_picture(tablet, report)
    register.weather = [None, None, None, problem(422, "This is no picture.")]
    tablet.call("sendNow", module="sending.js")
    in_view(tablet, "This is no picture.")
    tablet.page.get_by_role("button", name="Send again").click()
    # "Nothing waits." stood there while it was refused as well.
    tablet.until(
        "await import(at.replace('database', 'sending')).then(({ waiting }) => waiting())"
        ".then(({ photographs, refused }) => !photographs && !refused)"
    )
    in_view(tablet, "Nothing waits.")
    assert len(register.photographs[digest]) == 600_000


def test_what_the_register_lost_is_sent_again(tablet: Tablet, register: Register) -> None:
    """It was brought back from a copy made before the last entries came."""
    tablet.open().take_along()
    report = tablet.record(2)
    tablet.until_sent(report)
    for lost in register.of_report(report)[1:]:
        del register.entries[lost["key"]]
    tablet.call("add", report, "outcome", {"item": "thickness", "outcome": "pass"})
    tablet.until("(await db.entries(given[0])).length === 4", report)
    tablet.until_sent(report)
    assert [each["place"] for each in register.of_report(report)] == [1, 2, 3, 4]


def test_two_windows_send_each_entry_once(tablet: Tablet, register: Register) -> None:
    tablet.open().take_along()
    second = Tablet(tablet.page.context.new_page(), tablet.url, register).open()
    tablet.until_at_rest()
    reports = [tablet.record(3), second.record(3), tablet.record(3)]
    for each in reports:
        tablet.until_sent(each)
    assert len(register.came) == len(set(register.came)) == 12
    expect(second.page.get_by_role("banner")).to_contain_text("nothing waits")


def test_the_worker_sends_when_the_browser_wakes_it_though_no_page_is_open(
    tablet: Tablet, register: Register
) -> None:
    tablet.open().ready().take_along()
    hold(register)
    report = tablet.record(2)
    tablet.until_at_rest()
    tools = tablet.page.context.new_cdp_session(tablet.page)
    registrations: list[str] = []
    tools.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda told: registrations.extend(each["registrationId"] for each in told["registrations"]),
    )
    tools.send("ServiceWorker.enable")
    tablet.page.goto(f"{tablet.url}/field/manifest.webmanifest")
    register.weather = []
    waking = {
        "origin": tablet.url,
        "registrationId": registrations[0],
        "tag": "send",
        "lastChance": True,
    }
    tools.send("ServiceWorker.dispatchSyncEvent", waking)
    deadline = 100
    while len(register.entries) < 3 and deadline:
        tablet.page.wait_for_timeout(50)
        deadline -= 1
    assert [each["place"] for each in register.of_report(report)] == [1, 2, 3]


# What the register tells --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ahead", "told"),
    [
        (timedelta(days=400), "this tablet's clock was 400 days behind the register's"),
        (timedelta(hours=-3), "this tablet's clock was 3 hours ahead of the register's"),
        (timedelta(minutes=4), None),
    ],
)
def test_a_clock_that_is_off_is_told_and_still_is_without_a_connection(
    tablet: Tablet, register: Register, ahead: timedelta, told: str | None
) -> None:
    register.ahead = ahead
    tablet.open().ready()
    tablet.until_at_rest()
    register.weather = ["gone"] * 50
    tablet.page.reload()
    banner = tablet.page.get_by_role("banner")
    expect(banner).to_contain_text("Ada Example")
    if told:
        expect(banner).to_contain_text(told)
    else:
        tablet.until_at_rest()
        expect(banner).not_to_contain_text("clock")


def test_a_refusal_is_told_by_its_field_and_never_by_the_key_of_an_entry(
    tablet: Tablet, register: Register
) -> None:
    register.refuses = lambda entry: "give a serial" if entry["kind"] == "reading" else None
    register.wrong_at = f"swap.{'0f' * 16}"
    tablet.open().take_along()
    tablet.record(1)
    tablet.go("waiting")
    main = tablet.page.get_by_role("main")
    expect(main).to_contain_text("Give a serial")
    assert "0f0f" not in main.inner_text()


def test_the_very_number_comes_first_of_what_the_register_finds_and_more_are_spoken_of(
    tablet: Tablet, register: Register
) -> None:
    tablet.open("find")
    register.found = [car(1060), car(10600), car(106)]
    register.more = "ZQAA 10600"
    tablet.page.get_by_label("Part of the mark or number").fill("106")
    tablet.page.get_by_role("button", name="Look in the register").click()
    found = tablet.page.get_by_role("main").locator("li.card .car")
    expect(found).to_have_text(["ZQAA 106", "ZQAA 1060", "ZQAA 10600"])
    expect(tablet.page.get_by_role("main")).to_contain_text("Type more of the mark and the number")
