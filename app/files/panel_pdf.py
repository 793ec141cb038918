"""The qualification panel on a sheet for the painter: the drawing at a scale that fits, its remarks and differences."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from app.files.panel_drawing import Drawing

TEMPLATE = Path(__file__).with_name("panel.typ")
# What a letter-size sheet that lies holds beside its margins, mm.
ROOM_MM = 249.0
SCALES = (2, 5, 10, 20)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The words of the sheet; `parts` are headings with their sentences, `on` is its day."""

    on: date
    title: str
    lead: str
    caution: str
    parts: Mapping[str, Sequence[str]]


def scale_of(drawn: Drawing) -> int:
    """The least by which the drawing fits the sheet: 5 is 1 to 5."""
    return next((scale for scale in SCALES if drawn.width / scale <= ROOM_MM), SCALES[-1])


def panel_pdf(drawn: Drawing, sheet: Sheet) -> bytes:
    """PDF/A with tags and its fonts within."""
    import typst  # loaded when a sheet is asked for: most requests ask for none

    scale = scale_of(drawn)
    given = {
        "on": [sheet.on.year, sheet.on.month, sheet.on.day],
        "title": sheet.title, "lead": sheet.lead, "caution": sheet.caution, "scale": scale,
        "parts": [
            {"title": title, "said": list(said)} for title, said in sheet.parts.items() if said
        ],
        "width": drawn.width, "height": drawn.height,
        "texts": [
            {"x": each.x, "top": each.y - each.cap, "size": each.size, "text": each.text}
            for each in drawn.texts
        ],
        "lines": [[each.x, each.y, each.to_x, each.to_y] for each in drawn.lines],
        "bar": [drawn.bar.x, drawn.bar.y, drawn.bar.to_x, drawn.bar.to_y],
        "bar_text": drawn.bar_text.text,
    }  # fmt: skip
    made: bytes = typst.compile(
        _template(),
        format="pdf",
        pdf_standards=["a-2a"],
        ignore_system_fonts=True,
        sys_inputs={"given": json.dumps(given)},
    )
    return made


@cache
def _template() -> bytes:
    return TEMPLATE.read_bytes()
