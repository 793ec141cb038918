"""Where components stand in the drawing of a car: the words of the trade, in whatever order people write them."""

import pytest

from app.pages.car_drawing import ALONG, MIDDLE, Place, place_of, spots
from app.store.components import Mounted
from app.store.tables import Component, Installation


@pytest.mark.parametrize(
    ("position", "place"),
    [
        ("top, B end", Place("b", "", "top")),
        ("A end left", Place("a", "left", "")),
        ("end A", Place("a", "", "")),  # as some write it
        ("top B", Place("b", "", "top")),
        ("beside a ladder, top", Place("", "", "top")),  # no end, an article
        ("a-end, bottom", Place("a", "", "bottom")),
        ("right", Place("", "right", "")),
        ("manway", Place("", "", "")),  # no place of the trade's six
        ("", Place("", "", "")),
    ],
)
def test_a_position_names_a_place(position, place):
    assert place_of(position) == place


def mounted(*positions: str) -> list[Mounted]:
    return [
        Mounted(Installation(position=each), Component(kind="valve"), None) for each in positions
    ]


def test_ends_lie_where_the_drawing_says_and_left_is_above_right_seen_from_above():
    b, a, left, right = spots(mounted("B end", "A end", "left", "right"))
    assert b.side_x == ALONG["b"] < MIDDLE < ALONG["a"] == a.side_x
    assert left.plan_y < right.plan_y


def test_components_of_one_place_stand_side_by_side():
    found = spots(mounted("top", "top", "top"))
    assert len({spot.side_x for spot in found}) == 3
    assert sum(spot.side_x for spot in found) == 3 * MIDDLE


def test_none_covers_another_in_either_view():
    found = spots(mounted("top", "bottom", "B end left", "B end", "B end right", "left"))
    assert len({(spot.side_x, spot.side_y) for spot in found}) == len(found)
    assert len({(spot.plan_x, spot.plan_y) for spot in found}) == len(found)


def test_what_is_at_the_bottom_is_out_of_sight_from_above():
    assert [spot.beneath for spot in spots(mounted("bottom", "top"))] == [True, False]
