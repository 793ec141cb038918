"""Required thickness B and the lines C, D and E made from it.

Sources, annual edition of October 1, 2019: 49 CFR 179.101-1 and 179.201-1 (tables and notes), 179.100-6
and 179.200-6(a) (plate formula), 179.100-7 and 179.200-7 (tensile strength), 180.509(f) and (g)
(lines and allowance). The results were worked by hand from them.
"""

from decimal import Decimal

import pytest

from app.answers import due_dates
from tests.core.cars import SHELL_AND_HEADS, TANK, ask, measured, passed, texts, zone

TOP = "shell_top"
BOTTOM = "shell_bottom"
HEADS = ("head_a", "head_b")


def lines(specification, zone_name, **tank):
    """B, C, D and E of a zone as shown."""
    row = zone(due_dates(ask(specification=specification, tank=tank)), zone_name)
    shown = (row["required_in"], row["line_c_in"], row["line_d_in"], row["line_e_in"])
    return tuple(None if inches is None else Decimal(str(inches)) for inches in shown)


def required(specification, zone_name=TOP, **tank):
    return lines(specification, zone_name, **tank)[0]


def exact(*inches):
    return tuple(Decimal(text) for text in inches)


@pytest.mark.parametrize("zones", [(TOP, *HEADS), (BOTTOM,)], ids=["top and heads", "bottom"])
@pytest.mark.parametrize(
    ("specification", "tank", "top_and_heads", "bottom"),
    [
        # 180.509(g), 60 psig up to but not including 200: 1/8 in top and heads, 1/16 in bottom.
        (
            "DOT 111A60W1",  # 7/16 in, 60 psig
            {},
            exact("0.4375", "0.375", "0.3125", "0.25"),
            exact("0.4375", "0.40625", "0.375", "0.3125"),
        ),
        (
            "DOT 111A100W1",  # 7/16 in, 100 psig
            {},
            exact("0.4375", "0.375", "0.3125", "0.25"),
            exact("0.4375", "0.40625", "0.375", "0.3125"),
        ),
        (
            "DOT 105A100W",  # 9/16 in, 100 psig
            {},
            exact("0.5625", "0.5", "0.4375", "0.375"),
            exact("0.5625", "0.53125", "0.5", "0.4375"),
        ),
        (
            "DOT 117J100W",  # 9/16 in, 100 psig
            {},
            exact("0.5625", "0.5", "0.4375", "0.375"),
            exact("0.5625", "0.53125", "0.5", "0.4375"),
        ),
        (
            "DOT 111A100ALW1",  # 5/8 in, 100 psig
            {},
            exact("0.625", "0.5625", "0.5", "0.4375"),
            exact("0.625", "0.59375", "0.5625", "0.5"),
        ),
        # 180.509(g), 200 psig and over: 1/32 in everywhere. C shown rounded half up.
        (
            "DOT 105A300W",  # 9/16 in by note 1, 300 psig
            {"material": "TC128B"},
            exact("0.5625", "0.54688", "0.53125", "0.46875"),
            exact("0.5625", "0.54688", "0.53125", "0.46875"),
        ),
        (
            "DOT 112J340W",  # 9/16 in by note 1, 340 psig
            {"material": "TC128B"},
            exact("0.5625", "0.54688", "0.53125", "0.46875"),
            exact("0.5625", "0.54688", "0.53125", "0.46875"),
        ),
        (
            "DOT 105A500W",  # 11/16 in, 500 psig
            {},
            exact("0.6875", "0.67188", "0.65625", "0.59375"),
            exact("0.6875", "0.67188", "0.65625", "0.59375"),
        ),
        (
            "DOT 105A200ALW",  # 5/8 in, 200 psig exactly: the second row of the table
            {},
            exact("0.625", "0.60938", "0.59375", "0.53125"),
            exact("0.625", "0.60938", "0.59375", "0.53125"),
        ),
    ],
)
def test_lines_follow_from_the_required_thickness(
    specification, tank, top_and_heads, bottom, zones
):
    for name in zones:
        expected = bottom if name == BOTTOM else top_and_heads
        assert lines(specification, name, **tank) == expected


def test_lines_are_shown_rounded_half_up():
    # C is 17/32 less 1/64, which is 0.515625 in.
    tank = {"material": "TC128B", "required_thickness_in": {TOP: 0.53125}}
    assert lines("DOT 112A200W", TOP, **tank) == exact("0.53125", "0.51563", "0.5", "0.4375")


@pytest.mark.parametrize(
    ("specification", "diameter", "material", "required_in"),
    [
        # 179.200-6(a), efficiency 0.9 by default.
        ("DOT 111A100W1", 119, "A516-70", "0.47222"),  # the formula asks for more than 7/16
        ("DOT 111A100W1", 119, "TC128B", "0.4375"),  # the formula gives 0.40809, so the table does
        ("DOT 111A60W1", 110, "A516-70", "0.4375"),  # 0.20952, so the table
        # 179.100-6, efficiency 1.0 by default; note 1 of 179.101-1 for 81,000 psi.
        ("DOT 112A340W", 118, "TC128B", "0.61914"),  # more than 9/16
        ("DOT 105A300W", 100, "TC128B", "0.5625"),  # 0.46296, so the table
        ("DOT 105A500W", 102, "TC128B", "0.78704"),  # more than 9/16
    ],
)
def test_the_required_thickness_is_the_larger_of_table_and_plate_formula(
    specification, diameter, material, required_in
):
    tank = {"material": material, "inside_diameter_in": diameter}
    for name in SHELL_AND_HEADS:
        assert required(specification, name, **tank) == Decimal(required_in)


@pytest.mark.parametrize(
    ("specification", "diameter", "material", "efficiency", "required_in"),
    [
        # A formula value below the table's comes to light at a lower joint efficiency.
        ("DOT 111A100W1", 119, "TC128B", 0.45, "0.81619"),  # 0.40809 at 0.9
        ("DOT 111A60W1", 110, "A516-70", 0.3, "0.62857"),  # 0.20952 at 0.9
        ("DOT 105A300W", 100, "TC128B", 0.5, "0.92593"),  # 0.46296 at 1.0
    ],
)
def test_the_plate_formula_divides_by_the_joint_efficiency(
    specification, diameter, material, efficiency, required_in
):
    tank = {
        "material": material,
        "inside_diameter_in": diameter,
        "joint_efficiency": efficiency,
    }
    assert required(specification, **tank) == Decimal(required_in)


@pytest.mark.parametrize(
    ("material", "tensile_psi", "required_in"),
    [
        # 500 psig, 119 in, efficiency 0.9: P d / (2 S E) = 33,055.6 / S; 179.100-7, 179.200-7.
        ("A285C", None, "0.60101"),  # 55,000 psi, from memory
        ("A212B", None, "0.47222"),  # 70,000 psi, from memory
        ("A515-70", None, "0.47222"),  # 70,000 psi, from memory
        ("A516-70", None, "0.47222"),  # 70,000 psi
        ("A537-1", None, "0.47222"),  # 70,000 psi
        ("A240-304", None, "0.44074"),  # 75,000 psi
        ("A240-316", None, "0.44074"),  # 75,000 psi
        ("A240-304L", None, "0.47222"),  # 70,000 psi
        ("A240-316L", None, "0.47222"),  # 70,000 psi
        ("A302B", None, "0.4375"),  # 80,000 psi: 0.41319, the table asks for more
        ("TC128B", None, "0.4375"),  # 81,000 psi
        ("B162-NI", None, "0.82639"),  # 40,000 psi
        ("AL5052", None, "1.32222"),  # 25,000 psi
        ("AL5154", None, "1.10185"),  # 30,000 psi
        ("AL5254", None, "1.10185"),  # 30,000 psi
        ("AL5454", None, "1.06631"),  # 31,000 psi
        ("AL5086", None, "0.94444"),  # 35,000 psi
        ("AL5083", None, "0.86988"),  # 38,000 psi
        (None, 70000, "0.47222"),  # stated in psi
        (None, 55000, "0.60101"),
    ],
)
def test_the_plate_formula_takes_the_tensile_strength_of_the_material(
    material, tensile_psi, required_in
):
    tank = {"material": material, "tensile_psi": tensile_psi, "inside_diameter_in": 119}
    aluminum = material is not None and material.startswith("AL")
    specification = "DOT 111A100ALW1" if aluminum else "DOT 111A100W1"
    assert required(specification, **tank) == Decimal(required_in)


@pytest.mark.parametrize("material", ["A285C", "A212B", "A515-70"])
def test_a_strength_from_memory_is_told_as_such(material):
    tank = {"material": material, "inside_diameter_in": 119}
    assert "not verified against the rule text" in texts(
        zone(due_dates(ask(tank=tank)), TOP)["reasons"]
    )


@pytest.mark.parametrize(
    ("specification", "tank", "required_in"),
    [
        # Note 1 of 179.101-1: at least 81,000 psi 9/16 in, at least 65,000 psi 5/8 in, else 11/16 in.
        ("DOT 105A300W", {"tensile_psi": 81000}, "0.5625"),
        ("DOT 105A300W", {"tensile_psi": 90000}, "0.5625"),
        ("DOT 105A300W", {"tensile_psi": 80999}, "0.625"),
        ("DOT 105A300W", {"tensile_psi": 65000}, "0.625"),
        ("DOT 105A300W", {"tensile_psi": 64999}, "0.6875"),
        ("DOT 105A300W", {}, "0.6875"),  # unknown steel: the largest
        ("DOT 112A400W", {"material": "A516-70"}, "0.625"),
        ("DOT 114A340W", {"material": "TC128B"}, "0.5625"),
        ("DOT 120A500W", {"material": "A302B"}, "0.625"),
        ("DOT 109A300W", {"material": "TC128B"}, "0.5625"),
        # Note 3: steel of at least 65,000 psi 1/2 in.
        ("DOT 105A200W", {"tensile_psi": 65000}, "0.5"),
        ("DOT 105A200W", {"tensile_psi": 64999}, "0.5625"),
        ("DOT 105A100W", {}, "0.5625"),
        ("DOT 120A200W", {"material": "TC128B"}, "0.5"),
        ("DOT 112A200W", {"tensile_psi": 65000}, "0.5"),
        ("DOT 112A200W", {"tensile_psi": 64999}, "0.5625"),
        # Note 5: inside diameter of at most 87 in 1/2 in; the formula gives less than 0.4 in there.
        ("DOT 112A200W", {"inside_diameter_in": 87, "tensile_psi": 60000}, "0.5"),
        ("DOT 112A200W", {"inside_diameter_in": 87.01, "tensile_psi": 60000}, "0.5625"),
        ("DOT 112A200W", {"inside_diameter_in": 87}, "0.5"),
        ("DOT 112A200W", {"inside_diameter_in": 100, "tensile_psi": 65000}, "0.5"),
        ("DOT 105A200W", {"inside_diameter_in": 80, "tensile_psi": 60000}, "0.5625"),  # no note 5
    ],
)
def test_the_notes_of_the_table_lower_it_for_strong_steel_or_a_small_tank(
    specification, tank, required_in
):
    assert required(specification, **tank) == Decimal(required_in)


@pytest.mark.parametrize(
    ("specification", "like"),
    [
        ("DOT 105J300W", "DOT 105A300W"),
        ("DOT 105S500W", "DOT 105A500W"),
        ("DOT 112T340W", "DOT 112A340W"),
        ("DOT 111S100W1", "DOT 111A100W1"),
    ],
)
def test_any_delimiter_of_the_class_uses_the_row_of_the_class(specification, like):
    assert lines(specification, BOTTOM, **TANK) == lines(like, BOTTOM, **TANK)


@pytest.mark.parametrize(
    ("tank", "shell", "heads"),
    [
        # 1.83 P d / (2 S E) for the heads: printed for class 113 in 179.400-8, from memory here.
        ({"head_shape": "3:1"}, "0.47222", "0.86417"),
        ({"head_shape": "2:1"}, "0.47222", "0.47222"),
        ({}, "0.47222", "0.47222"),  # 2:1 by default
        # 179.200-6(a): efficiency 1.0 where it is stated, 0.425 in, less than the table.
        ({"joint_efficiency": 1.0}, "0.4375", "0.4375"),
        ({"joint_efficiency": 0.9}, "0.47222", "0.47222"),
        ({"joint_efficiency": 0.85}, "0.5", "0.5"),
        ({"joint_efficiency": 1, "head_shape": "3:1"}, "0.4375", "0.77775"),
    ],
)
def test_head_shape_and_joint_efficiency_enter_the_plate_formula(tank, shell, heads):
    tank = {"material": "A516-70", "inside_diameter_in": 119, **tank}
    for name in SHELL_AND_HEADS:
        expected = heads if name in HEADS else shell
        assert required("DOT 111A100W1", name, **tank) == Decimal(expected)


def test_the_factor_for_flat_heads_is_told_to_be_from_memory():
    tank = {**TANK, "head_shape": "3:1"}
    answer = due_dates(ask(tank=tank))
    assert "not verified against the rule text" in texts(zone(answer, "head_a")["reasons"])
    assert "not verified against the rule text" not in texts(zone(answer, TOP)["reasons"])


@pytest.mark.parametrize(
    ("tank", "required_in"),
    [
        ({"inside_diameter_in": 119}, "0.4375"),  # no strength: the table alone
        ({"material": "A516-70"}, "0.4375"),  # no diameter: the table alone
        ({}, "0.4375"),
    ],
)
def test_without_diameter_and_strength_the_table_alone_serves(tank, required_in):
    assert required("DOT 111A100W1", **tank) == Decimal(required_in)


@pytest.mark.parametrize(
    ("owner", "top", "bottom"),
    [
        ({TOP: 0.5}, "0.5", "0.4375"),  # only that zone
        ({BOTTOM: 0.45}, "0.4375", "0.45"),
        ({TOP: 0.4}, "0.4375", "0.4375"),  # the owner cannot go below the table
        ({TOP: 0.43751, BOTTOM: 0.43749}, "0.43751", "0.4375"),
    ],
)
def test_the_owner_may_only_ask_for_more(owner, top, bottom):
    tank = {**TANK, "required_thickness_in": owner}
    assert required("DOT 111A100W1", TOP, **tank) == Decimal(top)
    assert required("DOT 111A100W1", BOTTOM, **tank) == Decimal(bottom)


@pytest.mark.parametrize(
    "specification",
    [
        "DOT 115A60W1",  # its table row is the inner tank's
        "DOT 115A60ALW",
    ],
)
def test_without_a_row_only_the_minimum_of_the_owner_serves(specification):
    event = passed("2018-03-15", "thickness", readings=measured())
    unknown = due_dates(ask(event, specification=specification))
    assert {zone(unknown, name)["verdict"] for name in SHELL_AND_HEADS} == {"unknown"}
    assert lines(specification, BOTTOM, **TANK) == (None, None, None, None)
    tank = {"required_thickness_in": {BOTTOM: 0.4375}}
    assert lines(specification, BOTTOM, **tank) == exact("0.4375", "0.40625", "0.375", "0.3125")
    known = due_dates(ask(event, specification=specification, tank=tank))
    assert zone(known, BOTTOM)["verdict"] == "above_c"
    assert zone(known, TOP)["verdict"] == "unknown"


def test_all_four_zones_are_listed_in_their_order_though_nothing_was_measured():
    rows = due_dates(ask())["thickness"]
    assert [row["zone"] for row in rows] == list(SHELL_AND_HEADS)
    assert {row["verdict"] for row in rows} == {"not_measured"}
    for row in rows:
        assert row["reading_in"] is row["measured_on"] is row["extent"] is None
