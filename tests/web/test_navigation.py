"""Where the head of every page leads."""

from __future__ import annotations

import re

import pytest

from app.access import ROLES, Member, Viewer
from app.web.navigation import AREAS, leads
from tests.access.routes import NEEDS

EVERYBODY = Viewer(
    1, "Somebody", tuple(Member(1, "Example Party (invented)", role) for role in ROLES)
)
PLACES = [place for area in AREAS for place in area.places]


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place.address)
def test_a_page_is_led_to_exactly_for_those_who_may_open_it(place) -> None:
    assert NEEDS["GET", place.address] == (place.needs or "everyone")


@pytest.mark.parametrize(
    ("here", "area", "place"),
    [
        ("/", "Due dates", "Home"),
        ("/due", "Due dates", "Due"),
        ("/due/evidence", "Due dates", "Due"),
        ("/cars/9/visits", "Cars", "Fleet"),
        ("/fleet/labels", "Cars", "Fleet"),
        ("/fleet/wear/rows", "Cars", "Wear"),
        ("/plans/versions/1", "Work", "Plans"),
        ("/audits/findings", "Compliance", "Audits"),
        ("/people/invite", "Office", "People"),
    ],
)
def test_a_page_lies_in_the_area_of_the_page_it_belongs_to(
    here: str, area: str, place: str
) -> None:
    led = leads(EVERYBODY, here)
    assert led.area
    assert led.place
    assert (led.area.name, led.place.name) == (area, place)


# Pages of a person alone, of nobody, and of work, which says itself where it belongs.
OF_NO_AREA = (
    "/account",
    "/health",
    "/ready",
    "/invitation",
    "/new-password",
    "/set-up",
    "/sign-in",
    "/jobs",
    "/api",
)
FILE = re.compile(r"\.(csv|xlsx|json|pdf|zip|svg|ics|js)$")
PAGES = [
    path
    for method, path in NEEDS
    if method == "GET" and not path.startswith(OF_NO_AREA) and not FILE.search(path)
]


@pytest.mark.parametrize("path", PAGES)
def test_every_other_page_lies_in_an_area(path: str) -> None:
    assert leads(EVERYBODY, path).place


@pytest.mark.parametrize("here", ["/account", "/duet", "/nowhere"])
def test_a_page_of_no_area_shows_areas_alone(here: str) -> None:
    led = leads(EVERYBODY, here)
    assert led.areas
    assert (led.area, led.place) == (None, None)


def test_whoever_is_not_signed_in_is_led_to_what_everybody_may_see() -> None:
    assert [place.address for area in leads(None, "/").areas for place in area.places] == ["/about"]
