"""Pictures of numbers, as SVG without scripts; each stands beside a table that says the same.

Nothing in them is told by colour alone: bars are hatched and lines dashed, each in its own way.
"""

from __future__ import annotations

import sys
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from typing import Any, Literal
from xml.etree import ElementTree

# The first is the darkest, so that prints in black and white tell neighbours apart.
COLOURS = (
    "#1f2a30",
    "#c8a24a",
    "#0b5c66",
    "#d9d2c0",
    "#8c3b2a",
    "#9fb8bd",
    "#5f6f3a",
    "#e3b9a8",
    "#6b6f70",
    "#b0b7a1",
)
# Lines are thin, so each is dark enough for itself.
LINE_COLOURS = ("#1f2a30", "#8c3b2a", "#0b5c66")
SVG = "http://www.w3.org/2000/svg"
INK, PAPER = "#1f2a30", "#fffef9"
# What lies over the bars of each colour, on a tile of 6 by 6, and in which colour: none over the first two.
HATCHES = (
    ("", INK),
    ("", INK),
    ("M0 3H6", PAPER),
    ("M-1 1L1 -1M0 6L6 0M5 7L7 5", INK),
    ("M-1 5L1 7M0 0L6 6M5 -1L7 1", PAPER),
    ("M3 0V6", INK),
    ("M0 3H6M3 0V6", PAPER),
    ("M2 2H4V4H2Z", INK),
    ("M3 0V6", PAPER),
    ("M0 0L6 6M0 6L6 0", INK),
)
DASHES = (("solid", "none"), ("dashed", "10 5"), ("dotted", "2 4"))
FAINT_GUIDES = (
    ".guide.line, .guide { stroke: #d5d0c2 !important; stroke-dasharray: none !important }"
)
Drawn = Literal["dots", "hollow", "solid", "dashed", "dotted"]
STRONG_LEVELS = (
    f".axis.y .major.guide.line {{ stroke: {INK} !important; stroke-width: 1.3 !important; "
    "stroke-dasharray: 14 3 2 3 !important }"
)
MARGIN, LEGEND_COLUMNS, LEGEND_ROW = 10, 4, 24


@dataclass(frozen=True, slots=True)
class Chart:
    """`series` by name, a number for each of `labels`: as bars on or beside one another, or as lines.

    Every `every`th label is written, from the first on.
    """

    labels: Sequence[str]
    series: Mapping[str, Sequence[float]]
    kind: Literal["stacked", "beside", "lines"] = "stacked"
    every: int = 1
    width: int = 1180
    height: int = 360


def svg(chart: Chart) -> bytes:
    """The picture; it has no name of its own, so whoever shows it says what it is of."""
    pygal = _library()
    made = {"stacked": pygal.StackedBar, "beside": pygal.Bar, "lines": pygal.Line}[chart.kind]
    colours = LINE_COLOURS if chart.kind == "lines" else COLOURS
    drawn = made(
        style=_style(pygal, colours), width=chart.width, height=chart.height, js=[], explicit_size=True,
        legend_at_bottom=True, legend_at_bottom_columns=LEGEND_COLUMNS, margin=MARGIN,
        margin_bottom=_below(len(chart.series)), x_labels_major_every=chart.every, show_minor_x_labels=chart.every == 1,
        truncate_legend=-1, truncate_label=-1, show_dots=False, include_x_axis=True,
        value_formatter=lambda number: f"{number:,.10g}".replace(",", "\u202f"),
    )  # fmt: skip
    drawn.x_labels = list(chart.labels)
    drawn.config.css.append(f"inline:{FAINT_GUIDES}")
    for place, (name, values) in enumerate(chart.series.items()):
        if chart.kind == "lines":
            how = _dash(drawn, place)
            drawn.add(f"{name} ({how})", list(values))
        else:
            _hatch(drawn, place)
            drawn.add(name, list(values))
    return _tidied(drawn.render())


@dataclass(frozen=True, slots=True)
class Track:
    """Points by year (2026.5 is its middle) and value: as dots, hollow ones for what does not count, or as a line."""

    name: str
    points: Sequence[tuple[float, float]]
    drawn: Drawn = "solid"


@dataclass(frozen=True, slots=True)
class Course:
    """Values over the years, against `levels`: values with a name, each a line across the picture."""

    tracks: Sequence[Track]
    levels: Sequence[tuple[str, float]] = ()
    width: int = 1180
    height: int = 340


def course_svg(course: Course) -> bytes:
    """The picture; as that of `svg`, it has no name of its own."""
    pygal = _library()
    style = _style(pygal, tuple(_track_colour(track) for track in course.tracks) or LINE_COLOURS)
    drawn = pygal.XY(
        style=style, width=course.width, height=course.height, js=[], explicit_size=True,
        legend_at_bottom=True, legend_at_bottom_columns=LEGEND_COLUMNS, margin=MARGIN,
        margin_bottom=_below(len(course.tracks)), truncate_legend=-1, dots_size=5,
        no_data_text="Nothing to draw", x_value_formatter=lambda year: f"{year:g}",
    )  # fmt: skip
    drawn.config.css += [f"inline:{FAINT_GUIDES}", f"inline:{STRONG_LEVELS}"]
    if course.tracks:
        _scale(drawn, course)
    for place, track in enumerate(course.tracks):
        drawn.config.css.append(f"inline:{_track_style(place, track)}")
        dots = track.drawn in ("dots", "hollow")
        named = f"{track.name} ({_TOLD[track.drawn]})"
        drawn.add(named, list(track.points), stroke=not dots, show_dots=dots)
    return _tidied(drawn.render())


def _scale(drawn: Any, course: Course) -> None:
    """The levels by their names on the axis, and round numbers between them where there is room."""
    values = [value for track in course.tracks for _, value in track.points]
    values += [value for _, value in course.levels]
    low, high = min(values), max(values)
    step = next((each for each in STEPS if high - low <= 8 * each), STEPS[-1])
    first, last = int(low / step), int(high / step) + 1
    room = (last - first) * step / 14
    taken = [value for _, value in course.levels]
    ticks = [round(at * step, 6) for at in range(first, last + 1)]
    free = [tick for tick in ticks if all(abs(tick - value) > room for value in taken)]
    drawn.range = (ticks[0], ticks[-1])
    drawn.y_labels = [
        *({"label": f"{tick:.10g}", "value": tick} for tick in free),
        *({"label": f"{name} {value:.10g}", "value": value} for name, value in course.levels),
    ]
    drawn.y_labels_major = taken


STEPS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2)
_DASHES = {"solid": "none", "dashed": "10 5", "dotted": "2 4"}
_TOLD = {"dots": "full dots", "hollow": "hollow dots"} | {name: name for name in _DASHES}


def _track_colour(track: Track) -> str:
    """What was read is dark, what is worked out of it has a colour."""
    return LINE_COLOURS[0] if track.drawn in ("dots", "hollow") else LINE_COLOURS[1]


def _track_style(place: int, track: Track) -> str:
    colour = _track_colour(track)
    if track.drawn in ("dots", "hollow"):
        inside = colour if track.drawn == "dots" else PAPER
        return (
            f".serie-{place} .dot {{fill: {inside} !important; fill-opacity: 1 !important; "
            f"stroke: {colour} !important; stroke-width: 2 !important}}"
        )
    return (
        f".serie-{place} .line {{stroke: {colour} !important; stroke-width: 2.5 !important; "
        f"stroke-dasharray: {_DASHES[track.drawn]} !important}}"
    )


def style_sums(picture: bytes) -> list[str]:
    """The sums of a picture's style sheets, as a Content-Security-Policy names what it allows."""
    styles = ElementTree.fromstring(picture).iter(f"{{{SVG}}}style")
    sums = (b64encode(sha256((each.text or "").encode()).digest()).decode() for each in styles)
    return [f"'sha256-{one}'" for one in sums]


def _style(pygal: Any, colours: Sequence[str]) -> Any:
    return pygal.style.Style(
        background=PAPER, plot_background=PAPER, foreground=INK, foreground_strong=INK,
        foreground_subtle="#8a8f8c", opacity="1", opacity_hover="1",
        colors=tuple(colours),
        font_family="sans-serif", label_font_size=13, legend_font_size=14, major_label_font_size=13,
    )  # fmt: skip


def _below(count: int) -> int:
    """The margin below, px: the library keeps room for whole rows of the legend, not for one begun."""
    rows = -(-count // LEGEND_COLUMNS)
    return MARGIN + (rows - count // LEGEND_COLUMNS) * LEGEND_ROW


def _dash(drawn: Any, place: int) -> str:
    """Draw a line in its own way; that way in a word, since the legend shows no line."""
    how, dashes = DASHES[place % len(DASHES)]
    drawn.config.css.append(
        f"inline:.serie-{place} .line"
        f"{{stroke-width: 2.5 !important; stroke-dasharray: {dashes} !important}}"
    )
    return how


def _hatch(drawn: Any, place: int) -> None:
    lines, ink = HATCHES[place % len(HATCHES)]
    colour = COLOURS[place % len(COLOURS)]
    drawn.config.defs.append(
        f'<pattern id="hatch-{place}" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<path d="M0 0H6V6H0Z" fill="{colour}"/><path d="{lines}" fill="none" stroke="{ink}"/></pattern>'
    )
    # The paper between neighbours tells them apart where both are dark.
    drawn.config.css.append(
        f"inline:rect.color-{place}, .color-{place} .bars path"
        f"{{fill: url(#hatch-{place}) !important; stroke: {PAPER} !important; stroke-width: 0.5}}"
    )


@cache
def _library() -> Any:
    """Loaded when a picture is asked for: most requests ask for none.

    It leaves a finder of its plugins behind, of a kind that Python warns of at every later import; there are none.
    """
    import pygal
    import pygal.style

    sys.meta_path[:] = [
        each for each in sys.meta_path if type(each).__name__ != "PluginImportFixer"
    ]
    return pygal


def _tidied(made: bytes) -> bytes:
    """Without scripts and what the library leaves for them: its settings, and the words beside each bar."""
    tree = ElementTree.fromstring(made)
    unused = {f"{{{SVG}}}{name}" for name in ("script", "desc")}
    for parent in list(tree.iter()):
        parent.attrib.pop("style", None)
        for child in list(parent):
            if child.tag in unused or child.get("class") == "tooltip":
                parent.remove(child)
    for bars in tree.iter(f"{{{SVG}}}g"):
        if bars.get("class") == "bars":
            _joined(bars)
    ElementTree.register_namespace("", SVG)
    written: bytes = ElementTree.tostring(tree, encoding="utf-8", xml_declaration=True)
    return written


def _joined(bars: ElementTree.Element) -> None:
    """The bars of one colour as one shape: on paper each shape with hatches is a picture of its own, and large."""
    sides = [
        [float(bar.get(side, "0")) for side in ("x", "y", "width", "height")]
        for bar in bars.iter(f"{{{SVG}}}rect")
    ]
    drawn = " ".join(f"M{x:.2f} {y:.2f}h{w:.2f}v{h:.2f}h{-w:.2f}z" for x, y, w, h in sides if h > 0)
    bars[:] = [ElementTree.Element(f"{{{SVG}}}path", {"d": drawn})] if drawn else []
