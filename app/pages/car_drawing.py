"""Where components are on the car, drawn in side and top view: the B end at the left, so that the right side faces us.

Positions are words of the trade ("top, B end"); left and right are as seen from the B end. Lengths out
are the drawing's own units.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from app.store.components import Mounted

WIDTH, MIDDLE = 640, 320
# The tank in both views: its ends, and where its edges lie.
SIDE_TOP, SIDE_BOTTOM, PLAN_LEFT, PLAN_RIGHT = 34, 104, 178, 238
ALONG = {"b": 150, "a": 490, "": MIDDLE}
APART = 24
# "B end", "b-end", "end B"; a capital letter by itself is an end too, a small one may be an article.
END = re.compile(r"\b([ABab])[ -]?[Ee]nd\b|\b[Ee]nd ([ABab])\b|\b([AB])\b")


@dataclass(frozen=True, slots=True)
class Place:
    """What a position says: the end (`b`, `a`), the side (`left`, `right`) and the height; each may be open."""

    end: str
    side: str
    height: str

    @property
    def order(self) -> tuple[int, int, int]:
        """B end, A end, left, right, top, bottom: as people walk around a car."""
        return (
            ("b", "a", "").index(self.end),
            ("left", "right", "").index(self.side),
            ("top", "bottom", "").index(self.height),
        )


@dataclass(frozen=True, slots=True)
class Spot:
    """A component in both views, by its number in the table; `beneath` is out of sight from above."""

    number: int
    side_x: int
    side_y: int
    plan_x: int
    plan_y: int
    beneath: bool


def place_of(position: str) -> Place:
    """The place that these words name, in whatever order they stand."""
    said = position.lower()
    end = END.search(position)
    return Place(
        next(filter(None, end.groups())).lower() if end else "",
        next((side for side in ("left", "right") if side in said), ""),
        next((height for height in ("top", "bottom") if height in said), ""),
    )


def spots(mounted: Sequence[Mounted]) -> tuple[Spot, ...]:
    """One spot a component, in the given order."""
    places = [place_of(each.installation.position) for each in mounted]
    heights = {"top": SIDE_TOP, "bottom": SIDE_BOTTOM, "": (SIDE_TOP + SIDE_BOTTOM) // 2}
    sides = {"left": PLAN_LEFT, "right": PLAN_RIGHT, "": (PLAN_LEFT + PLAN_RIGHT) // 2}
    side = _side_by_side([(ALONG[place.end], heights[place.height]) for place in places])
    plan = _side_by_side([(ALONG[place.end], sides[place.side]) for place in places])
    return tuple(
        Spot(number, *beside, *above, place.height == "bottom")
        for number, (place, beside, above) in enumerate(zip(places, side, plan, strict=True), 1)
    )


def _side_by_side(points: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The points, those that would cover each other moved apart along the car."""
    together, seen = Counter(points), Counter[tuple[int, int]]()
    moved = []
    for point in points:
        shift = APART * (2 * seen[point] - together[point] + 1) // 2
        seen[point] += 1
        moved.append((point[0] + shift, point[1]))
    return moved
