"""The panel to scale: millimetres of the picture and of a capital's height, and a sheet whose text can be read."""

from datetime import date
from io import BytesIO
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from app.core.panel import Panel, PanelRow
from app.files.panel_drawing import CAP_HEIGHT, LETTER_MM, drawing, drawing_svg
from app.files.panel_pdf import Sheet, panel_pdf, scale_of

SVG = "{http://www.w3.org/2000/svg}"
DONE, DUE = date(2018, 3, 15), date(2028, 3, 15)
PANEL = Panel(
    (
        PanelRow("TANK QUALIFIED", ("visual",), DONE, DUE, "ZQ01"),
        PanelRow("PRD 75 PSIG", ("relief_device",), None, None),
        PanelRow("<script> & more", ("lining",), DONE, DUE),
    ),
    ("TANK TEST 100 PSIG",),
    (),
)
SHEET = Sheet(
    date(2026, 11, 25), "Qualification panel of ZQKX 1", "A lead.", "A caution.",
    {"Against what was last seen painted": ["Visual: *2027* #was seen <b>"], "Empty": []},
)  # fmt: skip


@pytest.fixture(scope="module")
def svg() -> ElementTree.Element:
    return ElementTree.fromstring(drawing_svg(drawing(PANEL, "month"), "A panel"))


def test_one_unit_of_the_picture_is_a_millimetre(svg):
    _, _, width, height = svg.get("viewBox").split()
    assert (svg.get("width"), svg.get("height")) == (f"{width}mm", f"{height}mm")


def test_capitals_are_one_inch_high(svg):
    sizes = {
        float(text.get("font-size")) for text in svg.iter(f"{SVG}text") if text.text == "QUALIFIED"
    }
    # Of the type that the drawing reckons with, as its tables say: a capital is 0.729 of the size.
    assert [round(size * 0.729, 1) for size in sizes] == [25.4]
    assert LETTER_MM == 25.4
    assert CAP_HEIGHT == 0.729


def test_letters_stand_within_their_cells(svg):
    height = float(svg.get("viewBox").split()[3])
    edges = sorted(
        {
            float(line.get("x1"))
            for line in svg.iter(f"{SVG}line")
            if line.get("x1") == line.get("x2")
        }
    )
    for text in svg.iter(f"{SVG}text"):
        if float(text.get("font-size")) > 20:
            left, width = float(text.get("x")), float(text.get("textLength"))
            right = min(edge for edge in edges if edge > left)
            assert text.text == "TANK TEST 100 PSIG" or left + width < right
            assert 25.4 < float(text.get("y")) < height


def test_the_bar_is_ten_inches_long(svg):
    (path,) = svg.iter(f"{SVG}path")
    ends = [float(word) for word in path.get("d").replace("M", " ").replace("H", " ").split()[0:1]]
    far = float(path.get("d").split("H")[1].split("M")[0])
    assert far - ends[0] == pytest.approx(254)


def test_what_is_written_is_text_and_nothing_of_it_markup(svg):
    written = [text.text for text in svg.iter(f"{SVG}text")]
    assert "<script> & more" in written
    assert "03-2028" in written
    assert not list(svg.iter(f"{SVG}script"))


@pytest.mark.parametrize(("form", "text"), [("month", "03-2028"), ("year", "2028")])
def test_the_sheet_is_letter_size_and_says_what_the_drawing_says(form, text):
    drawn = drawing(PANEL, form)
    reader = PdfReader(BytesIO(panel_pdf(drawn, SHEET)))
    page = reader.pages[0]
    # 11 by 8.5 in at 72 points.
    assert [float(page.mediabox.width), float(page.mediabox.height)] == [792, 612]
    words = page.extract_text()
    for said in ("TANK QUALIFIED", "ZQ01", text, "Visual: *2027* #was seen <b>", "A caution."):
        assert said in words
    assert f"Scale 1 : {scale_of(drawn)}" in words
    assert "Empty" not in words


def test_the_sheet_is_tagged_carries_its_fonts_and_is_named():
    reader = PdfReader(BytesIO(panel_pdf(drawing(PANEL, "month"), SHEET)))
    assert reader.metadata.title == "Qualification panel of ZQKX 1"
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    # What a file says of itself that is PDF/A (ISO 19005-2).
    told = reader.trailer["/Root"]["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in told
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in told
    fonts = reader.pages[0]["/Resources"]["/Font"]
    assert any("DejaVuSansMono" in font.get_object()["/BaseFont"] for font in fonts.values())


def test_the_drawing_on_the_sheet_is_to_the_scale_it_says():
    """Where two texts of the panel stand on paper is as far apart as in the drawing, by the scale."""
    drawn = drawing(PANEL, "month")
    reader = PdfReader(BytesIO(panel_pdf(drawn, SHEET)))
    words: list[tuple[str, float]] = []

    def seen(text, cm, tm, _font, _size):
        if text.strip():
            words.append((text.strip(), tm[4] * cm[0] + cm[4]))

    reader.pages[0].extract_text(visitor_text=seen)
    at = dict(reversed(words))
    mm = {each.text: each.x for each in drawn.texts}
    on_paper = (at["DUE"] - at["ITEM"]) * 25.4 / 72
    assert on_paper == pytest.approx((mm["DUE"] - mm["ITEM"]) / scale_of(drawn), abs=0.2)
