"""The loading rack's page in Chromium: on a phone, in print, by keyboard, with nothing for axe to find."""

from collections.abc import Iterator
from datetime import date

import pytest
from playwright.sync_api import Browser, Page, expect

from app.actions import visits
from app.store.db import make_engine, sessions, write_session
from tests.access.parties import (
    FITTER,
    LINER,
    MARK,
    NUMBER,
    OWNER,
    STAMP,
    asks,
    companies,
    lined_car,
    signed_in,
)
from tests.browser.sound import nothing_for_axe
from tests.fixtures.server import Server, serving
from tests.pages.test_loading import add

PHONE = {"width": 360, "height": 740}
IN_DATE, PAST = f"{MARK} 1", f"{MARK} 2"


@pytest.fixture(scope="module")
def shared(sqlite_template, tmp_path_factory) -> Iterator[Server]:
    """A car in date, one never inspected, one shared in part, and one of them at a shop."""
    import shutil

    folder = tmp_path_factory.mktemp("rack-server")
    url = f"sqlite:///{folder / 'store.db'}"
    shutil.copyfile(sqlite_template, folder / "store.db")
    engine = make_engine(url)
    with write_session(sessions(engine)) as db:
        party = companies(db, OWNER, LINER, FITTER)
        signed_in(db, party[OWNER], "loading_rack")
        signed_in(db, party[OWNER], "planner")
        signed_in(db, party[LINER], "inspector")
        signed_in(db, party[FITTER], "inspector")
        add(db, party[OWNER], 1, date(2024, 5, 6))
        add(db, party[OWNER], 2, None)
        car = lined_car(db, party[OWNER], lining_owner=LINER, equipment_owner=FITTER)
        asks(db, party[OWNER], "planner", "record_facts")
        visits.send(
            db, car.id, visits.Sending("Made-up Car Shop", date(2026, 11, 2), "Look."), STAMP
        )
        # Late, and planned for after its work was due.
        planning = visits.Planning(
            "Made-up Car Shop", date(2026, 10, 1), ("visual", "thickness"), 20
        )
        visits.plan(db, 1, planning, STAMP)
    engine.dispose()
    with serving(url, folder) as running:
        yield running


def opened(browser: Browser, server: Server, who: str, **traits) -> Page:
    context = browser.new_context(locale="en-US", **traits)
    held = {"name": "session", "value": f"key-of-{who}", "domain": "127.0.0.1", "path": "/"}
    context.add_cookies([held])
    page = context.new_page()
    page.set_default_timeout(15_000)
    return page


@pytest.fixture
def phone(browser: Browser, shared: Server) -> Iterator[Page]:
    page = opened(browser, shared, f"loading_rack-at-{OWNER}", viewport=PHONE, has_touch=True)
    yield page
    page.context.close()


def fits(page: Page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("asked", ["", IN_DATE, PAST, f"{MARK} 99"])
def test_the_page_fits_a_phone_and_axe_finds_nothing(phone: Page, shared: Server, asked: str):
    phone.goto(f"{shared.url}/loading" + (f"?car={asked}" if asked else ""))
    assert fits(phone)
    nothing_for_axe(phone)


def test_home_leads_a_rack_to_its_question_which_is_asked_by_keyboard(phone: Page, shared: Server):
    phone.goto(shared.url)
    expect(phone).to_have_url(f"{shared.url}/loading")
    phone.get_by_label("Mark and number, as on the car").fill("zqax 2")
    phone.keyboard.press("Enter")
    expect(phone.get_by_role("heading", name="May not be loaded")).to_be_visible()
    expect(phone.get_by_label("Mark and number, as on the car")).to_have_value("zqax 2")


def test_the_word_is_large_and_its_button_can_be_hit_with_gloves(phone: Page, shared: Server):
    phone.goto(f"{shared.url}/loading?car={PAST}")
    word = phone.get_by_role("heading", name="May not be loaded")
    assert word.evaluate("node => parseFloat(getComputedStyle(node).fontSize)") >= 24
    box = phone.get_by_role("button", name="Ask").bounding_box()
    assert box["height"] >= 44
    shape = phone.locator(".loading-shape").bounding_box()
    assert shape["width"] >= 40


@pytest.mark.parametrize(
    ("asked", "word"), [(IN_DATE, "May be loaded"), (PAST, "May not be loaded")]
)
def test_word_and_shape_are_on_the_print(phone: Page, shared: Server, asked: str, word: str):
    """The word and a shape of its own, so that a black-and-white print tells the answers apart."""
    phone.goto(f"{shared.url}/loading?car={asked}")
    phone.emulate_media(media="print")
    expect(phone.get_by_role("heading", name=word, exact=True)).to_be_visible()
    expect(phone.locator(".loading-shape")).to_be_visible()
    stroke, fill = phone.locator(".loading-shape path").last.evaluate(
        "node => [getComputedStyle(node).stroke, getComputedStyle(node).fill]"
    )
    assert (stroke, fill) != ("none", "none")
    expect(phone.get_by_role("button", name="Ask")).to_be_hidden()


def test_each_answer_has_a_shape_of_its_own(phone: Page, shared: Server):
    drawn = set()
    for asked in (IN_DATE, PAST):
        phone.goto(f"{shared.url}/loading?car={asked}")
        drawn.add(phone.locator(".loading-shape").inner_html())
    assert len(drawn) == 2


@pytest.mark.parametrize(
    "who", [f"inspector-at-{LINER}", f"inspector-at-{FITTER}", f"planner-at-{OWNER}"]
)
@pytest.mark.parametrize(
    "viewport", [{"width": 1280, "height": 900}, {"width": 820, "height": 1180}]
)
def test_axe_finds_nothing_on_a_car_that_companies_share(
    browser: Browser, shared: Server, who: str, viewport: dict
):
    page = opened(browser, shared, who, viewport=viewport)
    paths = ["/fleet", "/cars/3", "/cars/3/events/new", "/visits"]
    if who.startswith("planner"):
        paths += ["/visits/1/arrived", "/visits/1/undo/sent", "/cars/1/visits/new"]
        paths += ["/visits/1", "/visits/2", "/visits/2/sent", "/visits/2/cancel"]
        paths += ["/visits/2/order", "/visits/orders?shop=Made-up+Car+Shop"]
    for path in paths:
        assert page.goto(shared.url + path).status == 200, path
        assert fits(page), path
        nothing_for_axe(page)
    assert f"{MARK} {NUMBER}" in page.goto(f"{shared.url}/cars/3").text().replace(
        "&nbsp;", " "
    ).replace("\xa0", " ")
    page.context.close()
