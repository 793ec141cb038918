"""Pictures of numbers: nothing is cut off, and nothing told by colour alone."""

import re
from xml.etree import ElementTree

import pytest

from app.files.charts import Chart, Course, Track, course_svg, svg

SVG = "{http://www.w3.org/2000/svg}"
LABELS = [f"2027-{month:02}" for month in range(1, 13)]


def chart(count: int, kind="stacked") -> Chart:
    return Chart(LABELS, {f"Group {at}": [at + 1.0] * 12 for at in range(count)}, kind)


@pytest.mark.parametrize("count", range(1, 11))
@pytest.mark.parametrize("kind", ["stacked", "beside", "lines"])
def test_every_name_of_the_legend_lies_inside_the_picture(kind, count):
    drawn = chart(count, kind)
    tree = ElementTree.fromstring(svg(drawn))
    (legends,) = (each for each in tree.iter(f"{SVG}g") if each.get("class") == "legends")
    top = float(re.search(r", ?([\d.]+)\)", legends.get("transform"))[1])
    lines = [top + float(text.get("y")) for text in legends.iter(f"{SVG}text")]
    assert len(lines) == count
    assert max(lines) + 4 <= drawn.height


def test_bars_of_one_picture_are_hatched_each_in_its_own_way():
    tree = ElementTree.fromstring(svg(chart(9)))
    inks = [
        (path.get("d"), path.get("stroke"))
        for pattern in tree.iter(f"{SVG}pattern")
        for path in list(pattern)[1:]
    ]
    # The first two are plain: the darkest of all, and a light one.
    assert inks[:2] == [("", "#1f2a30")] * 2
    assert len(set(inks[2:])) == len(inks[2:]) == 7


def test_a_line_says_in_its_name_how_it_is_drawn():
    tree = ElementTree.fromstring(svg(chart(3, "lines")))
    words = [text.text for text in tree.iter(f"{SVG}text")]
    assert [word for word in words if word and word.startswith("Group")] == [
        "Group 0 (solid)", "Group 1 (dashed)", "Group 2 (dotted)",
    ]  # fmt: skip


def test_the_bars_of_a_colour_are_one_shape_which_keeps_what_is_printed_small():
    """Hatches print as a picture for each shape that has them: a hundred bars apart made a file of 60 MB."""
    tree = ElementTree.fromstring(svg(chart(9)))
    shapes = [len(list(group)) for group in tree.iter(f"{SVG}g") if group.get("class") == "bars"]
    assert shapes == [1] * 9
    assert not [rect for rect in tree.iter(f"{SVG}rect") if rect.get("class") == "rect"]


READ = [(2008.2, 0.426), (2013.2, 0.416), (2018.2, 0.406)]


def course(*tracks: Track) -> ElementTree.Element:
    return ElementTree.fromstring(course_svg(Course(tracks, [("B", 0.4375), ("C", 0.40625)])))


def test_a_course_names_its_levels_on_the_axis_with_their_values():
    words = [text.text for text in course(Track("General", READ, "dots")).iter(f"{SVG}text")]
    assert "B 0.4375" in words
    assert "C 0.40625" in words


def test_a_course_says_how_each_track_is_drawn_and_draws_it_so():
    tracks = (
        Track("Read", READ, "dots"),
        Track("Left out", READ, "hollow"),
        Track("Line", READ, "dashed"),
    )
    root = course(*tracks)
    words = [text.text for text in root.iter(f"{SVG}text")]
    for named in ("Read (full dots)", "Left out (hollow dots)", "Line (dashed)"):
        assert named in words
    assert len([dot for dot in root.iter(f"{SVG}circle") if "dot" in (dot.get("class") or "")]) == 6
    (style,) = root.iter(f"{SVG}style")
    assert "stroke-dasharray:10 5" in (style.text or "")


def test_readings_lie_at_their_value_between_the_levels():
    root = course(Track("Read", [(2010.0, 0.421875), (2020.0, 0.40625)], "dots"))
    dots = [
        float(dot.get("cy"))
        for dot in root.iter(f"{SVG}circle")
        if "dot" in (dot.get("class") or "")
    ]
    # Half way from C to B, and on C.
    guides = [
        float(re.search(r"M[\d.]+ ([\d.]+)", path.get("d"))[1])
        for path in root.iter(f"{SVG}path")
        if "major guide" in (path.get("class") or "")
    ]
    assert dots[0] == pytest.approx(sum(guides) / 2, abs=0.1)
    assert dots[1] == pytest.approx(max(guides), abs=0.1)


def test_a_course_without_readings_says_that_there_is_nothing_to_draw():
    assert "Nothing to draw" in [text.text for text in course().iter(f"{SVG}text")]
