"""The qualification panel drawn to scale: where each line and each text lies, in millimetres, and the same as SVG.

Letters are 1 in high and the layout a table: common practice, no source. The type is one of equal widths, so that
the drawing is known without a font; the painter's own letters decide what it looks like.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from app.core.panel import Form, Panel, PanelRow, painted

SVG = "http://www.w3.org/2000/svg"
INK, PAPER = "#1d2529", "#ffffff"
LETTER_MM = 25.4
# Of DejaVu Sans Mono, in parts of its size: how high a capital is, and how wide every letter.
CAP_HEIGHT, ADVANCE = 0.729, 0.602
FONT = "DejaVu Sans Mono, Liberation Mono, monospace"
LETTER_STEP_MM = LETTER_MM / CAP_HEIGHT * ADVANCE
LINE_MM, MARGIN_MM = 2.0, 20.0
ROW_MM = LETTER_MM * 1.9
HEADINGS = ("ITEM", "STATION", "QUALIFIED", "DUE")
LEAST_LETTERS = (14, 8, 9, 7)
BAR_MM, BAR_LETTER_MM = 254.0, 8.0
OPEN = "-"


@dataclass(frozen=True, slots=True)
class Text:
    """A text by the left end of its base line, in letters whose capitals are `cap` high; mm."""

    x: float
    y: float
    cap: float
    text: str

    @property
    def size(self) -> float:
        return self.cap / CAP_HEIGHT

    @property
    def width(self) -> float:
        return len(self.text) * self.size * ADVANCE


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line from one point to another, mm."""

    x: float
    y: float
    to_x: float
    to_y: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """What is painted, and below it a bar of 10 in that is not, to hold a print against."""

    width: float
    height: float
    texts: tuple[Text, ...]
    lines: tuple[Line, ...]
    bar: Line
    bar_text: Text


def drawing(panel: Panel, form: Form) -> Drawing:
    """The panel as a table with a frame, the rows in its order, and its foot below them."""
    cells = [HEADINGS, *(_cells(row, form) for row in panel.rows)]
    widths = [
        max(least, *(len(row[at]) for row in cells)) for at, least in enumerate(LEAST_LETTERS)
    ]
    columns = [MARGIN_MM]
    for width in widths:
        columns.append(columns[-1] + (width + 1) * LETTER_STEP_MM)
    longest = max((len(line) for line in panel.foot), default=0)
    right = max(columns[-1], MARGIN_MM + (longest + 1) * LETTER_STEP_MM)
    bottom = MARGIN_MM + (len(cells) + len(panel.foot)) * ROW_MM
    texts = [*_table(cells, columns), *_foot(panel.foot, len(cells))]
    lines = [*_frame(right, bottom), *_rules(len(cells), columns, right)]
    bar_y = bottom + 2 * MARGIN_MM
    return Drawing(
        right + MARGIN_MM, bar_y + MARGIN_MM, tuple(texts), tuple(lines),
        Line(MARGIN_MM, bar_y, MARGIN_MM + BAR_MM, bar_y),
        Text(MARGIN_MM + BAR_MM + 8, bar_y + BAR_LETTER_MM / 2, BAR_LETTER_MM, "10 in (254 mm), not painted"),
    )  # fmt: skip


def _cells(row: PanelRow, form: Form) -> tuple[str, ...]:
    done, due = painted(row.done, form) or OPEN, painted(row.due, form) or OPEN
    return row.label, row.station or OPEN, done, due


def _base(row: int) -> float:
    """The base line of a row's letters, so that they stand in its middle."""
    return MARGIN_MM + row * ROW_MM + (ROW_MM + LETTER_MM) / 2


def _table(cells: Sequence[Sequence[str]], columns: Sequence[float]) -> Iterator[Text]:
    for number, row in enumerate(cells):
        for x, text in zip(columns, row, strict=False):
            yield Text(x + LETTER_STEP_MM / 2, _base(number), LETTER_MM, text)


def _foot(foot: Sequence[str], above: int) -> Iterator[Text]:
    for number, text in enumerate(foot, above):
        yield Text(MARGIN_MM + LETTER_STEP_MM / 2, _base(number), LETTER_MM, text)


def _frame(right: float, bottom: float) -> Iterator[Line]:
    left, top = MARGIN_MM, MARGIN_MM
    yield Line(left, top, right, top)
    yield Line(right, top, right, bottom)
    yield Line(right, bottom, left, bottom)
    yield Line(left, bottom, left, top)


def _rules(rows: int, columns: Sequence[float], right: float) -> Iterator[Line]:
    """A line below each row of the table, and between its columns."""
    for number in range(1, rows + 1):
        y = MARGIN_MM + number * ROW_MM
        yield Line(MARGIN_MM, y, right, y)
    for x in columns[1:-1]:
        yield Line(x, MARGIN_MM, x, MARGIN_MM + rows * ROW_MM)


def drawing_svg(drawn: Drawing, title: str) -> bytes:
    """In true size: one unit is a millimetre, and the picture is as wide as the panel."""
    ElementTree.register_namespace("", SVG)
    root = ElementTree.Element(
        f"{{{SVG}}}svg",
        {
            "width": f"{drawn.width:.2f}mm",
            "height": f"{drawn.height:.2f}mm",
            "viewBox": f"0 0 {drawn.width:.2f} {drawn.height:.2f}",
            "role": "img",
        },
    )
    _add(root, "title", {}).text = title
    _add(root, "rect", {"width": drawn.width, "height": drawn.height, "fill": PAPER})
    ruled = _add(root, "g", {"stroke": INK, "stroke-width": LINE_MM, "stroke-linecap": "square"})
    for line in drawn.lines:
        _add(ruled, "line", {"x1": line.x, "y1": line.y, "x2": line.to_x, "y2": line.to_y})
    letters = _add(root, "g", {"fill": INK, "font-family": FONT, "font-weight": "bold"})
    for text in drawn.texts:
        _letter(letters, text)
    bar = drawn.bar
    ends = f"M{bar.x} {bar.y - 5}v10M{bar.x} {bar.y}H{bar.to_x}M{bar.to_x} {bar.y - 5}v10"
    _add(root, "path", {"d": ends, "stroke": INK, "stroke-width": 0.5})
    _letter(_add(root, "g", {"fill": INK, "font-family": FONT}), drawn.bar_text)
    written: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return written


def _letter(parent: ElementTree.Element, text: Text) -> None:
    # The length holds the text within its cell, whichever font there is.
    made = _add(
        parent,
        "text",
        {
            "x": text.x,
            "y": text.y,
            "font-size": text.size,
            "textLength": text.width,
            "lengthAdjust": "spacingAndGlyphs",
        },
    )
    made.text = text.text


def _add(
    parent: ElementTree.Element, name: str, said: Mapping[str, float | str]
) -> ElementTree.Element:
    written = {
        key: f"{value:.3f}" if isinstance(value, float) else value for key, value in said.items()
    }
    return ElementTree.SubElement(parent, f"{{{SVG}}}{name}", written)
