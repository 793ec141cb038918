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
    """A component in the drawing, by its number in the table; `beneath` is out of sight from above."""

    number: int
    x: int
    side_y: int
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
    """One spot a component, in the given order; those of one place stand side by side."""
    places = [place_of(each.installation.position) for each in mounted]
    together, seen = Counter(places), Counter[Place]()
    drawn = []
    for number, place in enumerate(places, 1):
        shift = APART * (2 * seen[place] - together[place] + 1) // 2
        seen[place] += 1
        drawn.append(_spot(number, place, shift))
    return tuple(drawn)


def _spot(number: int, place: Place, shift: int) -> Spot:
    heights = {"top": SIDE_TOP, "bottom": SIDE_BOTTOM, "": (SIDE_TOP + SIDE_BOTTOM) // 2}
    sides = {"left": PLAN_LEFT, "right": PLAN_RIGHT, "": (PLAN_LEFT + PLAN_RIGHT) // 2}
    x = ALONG[place.end] + shift
    return Spot(number, x, heights[place.height], sides[place.side], place.height == "bottom")
