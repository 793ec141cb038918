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
    drawn = made(
        style=_style(pygal, chart), width=chart.width, height=chart.height, js=[], explicit_size=True,
        legend_at_bottom=True, legend_at_bottom_columns=LEGEND_COLUMNS, margin=MARGIN,
        margin_bottom=_below(chart), x_labels_major_every=chart.every, show_minor_x_labels=chart.every == 1,
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


def style_sums(picture: bytes) -> list[str]:
    """The sums of a picture's style sheets, as a Content-Security-Policy names what it allows."""
    styles = ElementTree.fromstring(picture).iter(f"{{{SVG}}}style")
    sums = (b64encode(sha256((each.text or "").encode()).digest()).decode() for each in styles)
    return [f"'sha256-{one}'" for one in sums]


def _style(pygal: Any, chart: Chart) -> Any:
    return pygal.style.Style(
        background=PAPER, plot_background=PAPER, foreground=INK, foreground_strong=INK,
        foreground_subtle="#8a8f8c", opacity="1", opacity_hover="1",
        colors=LINE_COLOURS if chart.kind == "lines" else COLOURS,
        font_family="sans-serif", label_font_size=13, legend_font_size=14, major_label_font_size=13,
    )  # fmt: skip


def _below(chart: Chart) -> int:
    """The margin below, px: the library keeps room for whole rows of the legend, not for one begun."""
    count = len(chart.series)
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
