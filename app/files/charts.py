"""Pictures of numbers, as SVG without scripts; each stands beside a table that says the same."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any
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
SVG = "http://www.w3.org/2000/svg"
INK, PAPER = "#1f2a30", "#fffef9"


@dataclass(frozen=True, slots=True)
class Chart:
    """`series` by name, a number for each of `labels`; as bars on one another, or beside one another."""

    labels: Sequence[str]
    series: Mapping[str, Sequence[float]]
    stacked: bool = True
    width: int = 1180
    height: int = 360


def svg(chart: Chart) -> bytes:
    """The picture; it has no name of its own, so whoever shows it says what it is of."""
    pygal = _library()
    style = pygal.style.Style(
        background=PAPER, plot_background=PAPER, foreground=INK, foreground_strong=INK,
        foreground_subtle="#8a8f8c", opacity="1", opacity_hover="1", colors=COLOURS,
        font_family="sans-serif", label_font_size=13, legend_font_size=14, major_label_font_size=13,
    )  # fmt: skip
    kind = pygal.StackedBar if chart.stacked else pygal.Bar
    drawn = kind(
        style=style, width=chart.width, height=chart.height, js=[], explicit_size=True,
        legend_at_bottom=True, legend_at_bottom_columns=5, show_minor_x_labels=False,
        x_labels_major_every=max(1, len(chart.labels) // 12), truncate_legend=-1, truncate_label=-1, margin=10,
    )  # fmt: skip
    drawn.x_labels = list(chart.labels)
    for name, values in chart.series.items():
        drawn.add(name, list(values))
    return _without_scripts(drawn.render())


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


def _without_scripts(made: bytes) -> bytes:
    """The library leaves its settings in one, for a program that is not loaded here."""
    tree = ElementTree.fromstring(made)
    for parent in list(tree.iter()):
        for child in list(parent):
            if child.tag == f"{{{SVG}}}script":
                parent.remove(child)
    ElementTree.register_namespace("", SVG)
    written: bytes = ElementTree.tostring(tree, encoding="utf-8", xml_declaration=True)
    return written
