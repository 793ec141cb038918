"""Accounts in Chromium, from the link that the program prints to a token: by hand, by passkey, by code.

Each page on the way is shown to axe.
"""

import re
import shutil
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pyotp
import pytest
from playwright.sync_api import Page, ViewportSize, expect

from tests.browser.sound import must_be_sound, must_be_sound_at_each
from tests.fixtures.server import serving

COMPANY = "Quarrel Invented Leasing"
EMAIL, OTHER_EMAIL = "ada@people.invalid", "ida@people.invalid"
PASSWORD, OTHER_PASSWORD = "seven green ladders hum", "nine blue kettles wander"


@dataclass(frozen=True)
class Fresh:
    """A program just started on an empty store: where it serves, and what it printed."""

    url: str
    log: Path

    @property
    def set_up_link(self) -> str:
        found = re.search(r"http://localhost:\d+/set-up/[\w-]+", self.log.read_text())
        assert found
        return found[0]


@pytest.fixture
def fresh(sqlite_template: Path, tmp_path: Path) -> Iterator[Fresh]:
    with _on_an_empty_store(sqlite_template, tmp_path) as started:
        yield started


@pytest.fixture
def strict(sqlite_template: Path, tmp_path: Path) -> Iterator[Fresh]:
    """One that lets nobody further with a password alone."""
    with _on_an_empty_store(sqlite_template, tmp_path, SECOND_FACTOR="required") as started:
        yield started


@contextmanager
def _on_an_empty_store(template: Path, folder: Path, **settings: str) -> Iterator[Fresh]:
    shutil.copyfile(template, folder / "store.db")
    with serving(f"sqlite:///{folder / 'store.db'}", folder, **settings) as running:
        yield Fresh(running.url.replace("127.0.0.1", "localhost"), folder / "server.log")


def test_from_the_first_link_to_a_token(
    page: Page, page_without_javascript: Page, tablet: Page, fresh: Fresh
) -> None:
    _make_the_first_account(page, fresh)
    link = _invite(page)
    _join_without_javascript(page_without_javascript, link)
    _add_a_passkey(page, fresh)
    _sign_in_by_passkey(page, fresh)
    code = _set_up_codes(page)
    _sign_in_by_code(tablet, fresh, code)
    _make_and_revoke_a_token(page, fresh)
    _end_a_sign_in(page, tablet, fresh)


def _make_the_first_account(page: Page, fresh: Fresh) -> None:
    page.goto(fresh.url)
    expect(page.get_by_role("heading", name="Nobody has an account yet")).to_be_visible()
    must_be_sound(page)
    page.goto(fresh.set_up_link)
    must_be_sound(page)
    page.get_by_label("Company").fill(COMPANY)
    page.get_by_label("Your name").fill("Ada Example")
    page.get_by_label("Email address").fill(EMAIL)
    page.get_by_label("New password").fill("password1234")
    page.get_by_label("The same again").fill("password1234")
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_role("alert").filter(has_text="guessed first")).to_be_visible()
    expect(page.get_by_label("Your name")).to_have_value("Ada Example")
    must_be_sound(page)
    page.get_by_label("New password").fill(PASSWORD)
    page.get_by_label("The same again").fill(PASSWORD)
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_role("heading", name="People")).to_be_visible()
    expect(page.get_by_role("banner")).to_contain_text("Ada Example")
    must_be_sound(page)


def _invite(page: Page) -> str:
    page.get_by_role("link", name="Invite somebody").click()
    page.get_by_label("Email address").fill(OTHER_EMAIL)
    page.get_by_label("Inspector:").check()
    must_be_sound(page)
    page.get_by_role("button", name="Make the link").click()
    must_be_sound(page)
    link = page.locator("#link").inner_text()
    page.get_by_role("link", name="Done").click()
    expect(page.get_by_role("row", name=OTHER_EMAIL)).to_contain_text("invited by Ada Example")
    return link


def _join_without_javascript(page: Page, link: str) -> None:
    page.goto(link)
    page.get_by_label("Your name").fill("Ida Example")
    page.get_by_label("New password").fill(OTHER_PASSWORD)
    page.get_by_label("The same again").fill(OTHER_PASSWORD)
    page.get_by_role("button", name="Make the account").click()
    expect(page.get_by_role("heading", name="Ida Example")).to_be_visible()
    page.get_by_role("banner").get_by_role("button", name="Sign out").click()
    page.get_by_label("Email address").fill(OTHER_EMAIL)
    page.get_by_label("Password").fill(OTHER_PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("banner")).to_contain_text("Ida Example")


def _add_a_passkey(page: Page, fresh: Fresh) -> None:
    tools = page.context.new_cdp_session(page)
    tools.send("WebAuthn.enable")
    tools.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )
    page.goto(f"{fresh.url}/account/passkeys")
    must_be_sound(page)
    page.get_by_label("What to call it").fill("The tests’ phone")
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_role("heading", name="The passkey is kept")).to_be_visible()
    expect(page.locator(".paper li")).to_have_count(10)
    must_be_sound(page)
    page.goto(f"{fresh.url}/account/passkeys")
    expect(page.get_by_role("row", name="The tests’ phone")).to_be_visible()
    must_be_sound(page)
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_role("alert").filter(has_text="has a passkey")).to_be_visible()


def _sign_in_by_passkey(page: Page, fresh: Fresh) -> None:
    page.get_by_role("banner").get_by_role("button", name="Sign out").click()
    page.goto(f"{fresh.url}/account/sign-ins")
    must_be_sound(page)
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("heading", name="Where you are signed in")).to_be_visible()
    expect(page.get_by_role("row", name="this one")).to_contain_text("passkey")
    must_be_sound(page)


def _set_up_codes(page: Page) -> pyotp.TOTP:
    page.get_by_role("link", name="Codes", exact=True).click()
    made = pyotp.TOTP(page.locator("#secret").inner_text().replace(" ", ""))
    expect(page.locator(".drawn svg")).to_be_visible()
    must_be_sound(page)
    page.get_by_label("Code").fill(made.now())
    page.get_by_role("button", name="Ask for codes from now on").click()
    expect(page.get_by_role("heading", name="Codes are asked for")).to_be_visible()
    must_be_sound(page)
    page.get_by_role("link", name="Go on").click()
    must_be_sound(page)
    return made


def _sign_in_by_code(tablet: Page, fresh: Fresh, code: pyotp.TOTP) -> None:
    tablet.goto(f"{fresh.url}/account")
    must_be_sound(tablet)
    tablet.get_by_label("Email address").fill(EMAIL)
    tablet.get_by_label("Password").fill(PASSWORD)
    tablet.get_by_role("button", name="Sign in").tap()
    expect(tablet.get_by_role("heading", name="One more thing")).to_be_visible()
    must_be_sound(tablet)
    tablet.get_by_label("Code").fill("000000")
    tablet.get_by_role("button", name="Go on").tap()
    expect(tablet.get_by_text("This is not a code that counts now")).to_be_visible()
    must_be_sound(tablet)
    # The code of this moment was used up by setting codes up; the next counts already.
    tablet.get_by_label("Code").fill(code.at(int(time.time()) + 30))
    tablet.get_by_role("button", name="Go on").tap()
    expect(tablet.get_by_role("heading", name="Ada Example")).to_be_visible()
    must_be_sound(tablet)


def _make_and_revoke_a_token(page: Page, fresh: Fresh) -> None:
    page.goto(f"{fresh.url}/account/tokens")
    must_be_sound(page)
    page.get_by_label("Which program").fill("The yard’s program")
    page.get_by_label("Read: the register").check()
    page.get_by_role("button", name="Make the token").click()
    must_be_sound(page)
    token = page.locator("#token").inner_text()
    assert _asked_with(fresh, token) == 200
    page.get_by_role("link", name="I have copied it").click()
    expect(page.get_by_role("row", name="The yard’s program")).to_contain_text("from 127.0.0.1")
    must_be_sound(page)
    page.get_by_role("button", name="Revoke The yard’s program").click()
    expect(page.get_by_role("status")).to_contain_text("revoked")
    assert _asked_with(fresh, token) == 401


def _end_a_sign_in(page: Page, tablet: Page, fresh: Fresh) -> None:
    page.goto(f"{fresh.url}/account/sign-ins")
    expect(page.get_by_role("row", name="password and code")).to_be_visible()
    other = page.get_by_role("row", name="password and code")
    other.get_by_role("button", name="End the sign-in").click()
    expect(page.get_by_role("status")).to_contain_text("ended")
    tablet.reload()
    expect(tablet.get_by_role("heading", name="Sign in", exact=True)).to_be_visible()


def _asked_with(fresh: Fresh, token: str) -> int:
    asked = urllib.request.Request(
        f"{fresh.url.replace('localhost', '127.0.0.1')}/api/v1/cars",
        headers={"Authorization": f"Bearer {token}"},
    )
    try:
        with urllib.request.urlopen(asked, timeout=20) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        return refused.code


OTHERS = (
    "/people", "/people/invite", "/people/parties", "/people/1", "/people/1/changes", "/account",
    "/account/prove", "/account/email", "/account/password", "/account/sign-ins", "/account/tokens",
    "/account/passkeys", "/account/codes",
)  # fmt: skip


def test_axe_finds_nothing_on_the_other_pages_at_any_width(page: Page, fresh: Fresh) -> None:
    page.goto(fresh.set_up_link)
    at_every_width(page)
    _make_the_account(page)
    for path in OTHERS:
        page.goto(fresh.url + path)
        # The sign-in is new, so nothing asks for it again.
        assert page.url == fresh.url + path
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        at_every_width(page)


def test_a_password_alone_leads_to_a_page_that_asks_for_a_second_secret(
    page: Page, strict: Fresh
) -> None:
    page.goto(strict.set_up_link)
    _make_the_account(page)
    answer = page.goto(f"{strict.url}/fleet")
    assert answer
    assert answer.status == 403
    at_every_width(page)
    page.get_by_role("link", name="Set up codes").click()
    expect(page).to_have_url(f"{strict.url}/account/codes")


def _make_the_account(page: Page) -> None:
    for label, value in (
        ("Company", COMPANY), ("Your name", "Ada Example"), ("Email address", EMAIL),
        ("New password", PASSWORD), ("The same again", PASSWORD),
    ):  # fmt: skip
        page.get_by_label(label).fill(value)
    page.get_by_role("button", name="Make the account").click()


def at_every_width(page: Page) -> None:
    must_be_sound_at_each(
        page, *(ViewportSize(width=width, height=900) for width in (360, 820, 1280))
    )
