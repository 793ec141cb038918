"""Colours of the sheets: each a property that the dark ground states too, and contrast enough to read (WCAG 2.2, 1.4.3
and 1.4.11: 4.5 for text, 3 for what is drawn; 7 for text beside a car, 1.4.6)."""

import re
from itertools import product

import pytest

from app.web.rendering import STATIC

COLOUR = re.compile(r"#[0-9a-fA-F]{3,8}\b|\brgb\(|\bhsl\(")
STATED = re.compile(r"(--[\w-]+):\s*([^;]+);")
FIRST_BLOCK = re.compile(r"\{([^}]*--[^}]*)\}")
SHEETS = sorted(STATIC.rglob("*.css"))
GROUNDS = ("paper", "sheet", "sunk", "accent-wash", "stop-wash", "soon-wash")
TEXT = ("ink", "ink-2", "accent", "accent-dark", "stop", "now", "soon", "fine")
# What stands on which, beside the words on the grounds.
PAIRS = (
    ("on-band", "band", 4.5), ("on-band-2", "band", 4.5), ("on-band", "band-2", 4.5), ("white", "band-2", 4.5),
    ("white", "band-3", 4.5), ("on-accent", "accent", 4.5), ("on-accent", "accent-dark", 4.5),
    ("on-accent", "stop", 4.5), ("on-accent", "stop-dark", 4.5), ("now", "now-wash", 4.5), ("ink", "now-wash", 4.5),
    ("ink", "hover", 4.5),
    ("quiet", "sheet", 4.5), ("quiet", "paper", 4.5), ("ink-2", "field", 4.5), ("ink", "tank", 4.5),
    ("rule-strong", "field", 3), ("rule-strong", "sheet", 3), ("rule-strong", "paper", 3), ("edge", "sheet", 3),
    ("band-focus", "band", 3), ("band-focus", "band-2", 3), ("stop", "condemned", 3), ("ink", "sound", 3),
)  # fmt: skip


def stated(sheet: str) -> dict[str, str]:
    """The properties that a sheet begins with."""
    block = FIRST_BLOCK.search((STATIC / sheet).read_text())
    assert block
    return {name[2:]: value for name, value in STATED.findall(block[1])}


LIGHT, FIELD, DARK = stated("style.css"), stated("field/field.css"), stated("dark.css")
GROUND_OF = {
    "light": LIGHT,
    "dark": LIGHT | DARK,
    "field": LIGHT | FIELD,
    "field in the dark": LIGHT | FIELD | DARK,
    "at a car": LIGHT | stated("at_car.css"),
}
MUST = dict.fromkeys(("light", "dark"), 4.5) | dict.fromkeys(
    ("field", "field in the dark", "at a car"), 7.0
)


def luminance(colour: str) -> float:
    """Relative luminance of `#rgb` or `#rrggbb`, as WCAG 2.2 defines it."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * each for each in colour[1:])
    shares = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares
    ]
    return sum(each * part for each, part in zip(linear, (0.2126, 0.7152, 0.0722), strict=True))


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# Examples of https://www.w3.org/WAI/WCAG22/Techniques/general/G18 and of its understanding document.
@pytest.mark.parametrize(
    ("one", "other", "told"), [("#000", "#fff", 21.0), ("#777777", "#ffffff", 4.48)]
)
def test_contrast_is_counted_as_published(one: str, other: str, told: float) -> None:
    assert contrast(one, other) == pytest.approx(told, abs=0.005)


@pytest.mark.parametrize("name", GROUND_OF)
def test_words_can_be_read_on_every_ground(name: str) -> None:
    colours = GROUND_OF[name]
    found = {
        (text, ground): round(contrast(colours[text], colours[ground]), 2)
        for text, ground in product(TEXT, GROUNDS)
    }
    assert {pair: ratio for pair, ratio in found.items() if ratio < MUST[name]} == {}


@pytest.mark.parametrize("name", ["light", "dark"])
def test_and_so_can_all_else(name: str) -> None:
    colours = GROUND_OF[name]
    found = {(one, on): round(contrast(colours[one], colours[on]), 2) for one, on, _ in PAIRS}
    assert {(one, on): found[one, on] for one, on, least in PAIRS if found[one, on] < least} == {}


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda each: each.name)
def test_every_colour_is_a_property(sheet) -> None:
    """But for the properties themselves there is none in a sheet, so that dark is one sheet of colours."""
    bare = STATED.sub("", sheet.read_text())
    assert COLOUR.findall(bare) == []


def test_dark_states_every_colour_that_stands_on_its_ground() -> None:
    same_on_both = {
        name for name in LIGHT if name.startswith(("band-rule", "band-focus", "on-band"))
    }
    coloured = {name for name, value in LIGHT.items() if COLOUR.search(value)}
    assert coloured - same_on_both - {"white", "black"} <= DARK.keys()
    assert DARK.keys() <= LIGHT.keys() | {"color-scheme"}
