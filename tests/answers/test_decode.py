"""Reading a specification as stenciled on the car.

Sources, annual edition of October 1, 2019: 49 CFR 179.22 (grammar), 179.101-1 (pressure classes), 179.201-1
and 179.202 (non-pressure classes), 179.221-1 (class 115), 179.401-1 (class 113), 179.15 (start to
discharge at most 33% of burst), 180.519 (ton tanks). Delimiter H and weld I: industry summaries of
85 FR 75680, 2020, and 179.22(e).
"""

import json
from decimal import Decimal

import pytest

from app.answers import decode
from app.errors import Refused

SHAPE = {
    "agency",
    "class",
    "class_kind",
    "delimiter",
    "delimiter_meaning",
    "test_pressure_psig",
    "material",
    "material_meaning",
    "weld",
    "suffix",
    "suffix_meaning",
    "burst_psig",
    "minimum_plate_in",
    "bottom_outlet",
    "insulation",
    "relief_max_psig",
    "citations",
    "warnings",
}


def number(value):
    return None if value is None else Decimal(str(value))


def parts(text):
    found = decode(text)
    return tuple(
        found[name] for name in ("class", "class_kind", "delimiter", "material", "weld", "suffix")
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("DOT 111A100W1", ("111", "non_pressure", "A", None, "W", "1")),
        ("DOT 111A100ALW2", ("111", "non_pressure", "A", "AL", "W", "2")),
        ("DOT 111A60W5", ("111", "non_pressure", "A", None, "W", "5")),
        ("DOT 111S100W1", ("111", "non_pressure", "S", None, "W", "1")),
        ("DOT 115A60W6", ("115", "non_pressure", "A", None, "W", "6")),
        ("DOT 117A100W", ("117", "non_pressure", "A", None, "W", None)),
        ("DOT 117J100W", ("117", "non_pressure", "J", None, "W", None)),
        ("DOT 117R100W", ("117", "non_pressure", "R", None, "W", None)),
        ("DOT 117P100W", ("117", "non_pressure", "P", None, "W", None)),
        ("AAR 211A100W1", ("211", "non_pressure", "A", None, "W", "1")),
        ("DOT 103W", ("103", "non_pressure", None, None, "W", None)),
        ("DOT 104W", ("104", "non_pressure", None, None, "W", None)),
        ("DOT 105A300W", ("105", "pressure", "A", None, "W", None)),
        ("DOT 105S300W", ("105", "pressure", "S", None, "W", None)),
        ("DOT 105J600I", ("105", "pressure", "J", None, "I", None)),
        ("DOT 105H600W", ("105", "pressure", "H", None, "W", None)),
        ("DOT 109A300ALW", ("109", "pressure", "A", "AL", "W", None)),
        ("DOT 112T340W", ("112", "pressure", "T", None, "W", None)),
        ("DOT 112J400F", ("112", "pressure", "J", None, "F", None)),
        ("DOT 114J340W", ("114", "pressure", "J", None, "W", None)),
        ("DOT 120S200ALW", ("120", "pressure", "S", "AL", "W", None)),
        ("DOT 106A500X", ("106", "ton_tank", "A", None, "X", None)),
        ("DOT 110A500-W", ("110", "ton_tank", "A", None, "W", None)),
        ("DOT 113A60W", ("113", "cryogenic", "A", None, "W", None)),
        ("DOT 113C120W", ("113", "cryogenic", "C", None, "W", None)),
    ],
)
def test_a_stencil_is_taken_apart(text, expected):
    assert parts(text) == expected
    assert set(decode(text)) == SHAPE


@pytest.mark.parametrize(
    ("text", "class_", "kind"),
    [("DOT 27", "27", "ton_tank"), ("DOT 107A3000", "107", "seamless")],
)
def test_old_and_seamless_classes_are_known(text, class_, kind):
    found = decode(text)
    assert (found["class"], found["class_kind"]) == (class_, kind)
    assert found["burst_psig"] is None


@pytest.mark.parametrize(
    ("text", "test", "burst", "plate", "relief_max"),
    [
        # 179.101-1, with 33% of burst by 179.15.
        ("DOT 105A100ALW", 100, 500, "0.625", "165"),
        ("DOT 105A200ALW", 200, 500, "0.625", "165"),
        ("DOT 105A300ALW", 300, 750, "0.625", "247.5"),
        ("DOT 105A100W", 100, 500, "0.5625", "165"),
        ("DOT 105A200W", 200, 500, "0.5625", "165"),
        ("DOT 105A300W", 300, 750, "0.6875", "247.5"),
        ("DOT 105A400W", 400, 1000, "0.6875", "330"),
        ("DOT 105A500W", 500, 1250, "0.6875", "412.5"),
        ("DOT 105A600W", 600, 1500, "0.6875", "495"),
        ("DOT 109A100ALW", 100, 500, "0.625", "165"),
        ("DOT 109A200ALW", 200, 500, "0.625", "165"),
        ("DOT 109A300ALW", 300, 750, "0.625", "247.5"),
        ("DOT 109A300W", 300, 500, "0.6875", "165"),  # 500 as printed
        ("DOT 112A200W", 200, 500, "0.5625", "165"),
        ("DOT 112A340W", 340, 850, "0.6875", "280.5"),
        ("DOT 112A400W", 400, 1000, "0.6875", "330"),
        ("DOT 112A500W", 500, 1250, "0.6875", "412.5"),
        ("DOT 114A340W", 340, 850, "0.6875", "280.5"),
        ("DOT 114A400W", 400, 1000, "0.6875", "330"),
        ("DOT 120A200ALW", 200, 500, "0.625", "165"),
        ("DOT 120A100W", 100, 500, "0.5625", "165"),
        ("DOT 120A200W", 200, 500, "0.5625", "165"),
        ("DOT 120A300W", 300, 750, "0.6875", "247.5"),
        ("DOT 120A400W", 400, 1000, "0.6875", "330"),
        ("DOT 120A500W", 500, 1250, "0.6875", "412.5"),
        # 179.201-1 and 179.202, with 33% of burst by 179.15.
        ("DOT 111A60ALW1", 60, 240, "0.5", "79.2"),
        ("DOT 111A60ALW2", 60, 240, "0.5", "79.2"),
        ("DOT 111A60W1", 60, 240, "0.4375", "79.2"),
        ("DOT 111A60W2", 60, 240, "0.4375", "79.2"),
        ("DOT 111A60W5", 60, 240, "0.4375", "79.2"),
        ("DOT 111A60W6", 60, 240, "0.4375", "79.2"),
        ("DOT 111A60W7", 60, 240, "0.4375", "79.2"),
        ("DOT 111A100ALW1", 100, 500, "0.625", "165"),
        ("DOT 111A100ALW2", 100, 500, "0.625", "165"),
        ("DOT 111A100W1", 100, 500, "0.4375", "165"),
        ("DOT 111A100W2", 100, 500, "0.4375", "165"),
        ("DOT 111A100W3", 100, 500, "0.4375", "165"),
        ("DOT 111A100W4", 100, 500, "0.4375", "165"),
        ("DOT 111A100W5", 100, 500, "0.4375", "165"),
        ("DOT 111A100W6", 100, 500, "0.4375", "165"),
        ("DOT 111A100W7", 100, 500, "0.4375", "165"),
        ("DOT 117A100W", 100, 500, "0.5625", "165"),
        # 179.221-1: the inner tank.
        ("DOT 115A60ALW", 60, 240, "0.1875", "79.2"),
        ("DOT 115A60W1", 60, 240, "0.125", "79.2"),
        ("DOT 115A60W6", 60, 240, "0.125", "79.2"),
    ],
)
def test_the_class_table_gives_pressures_and_plate(text, test, burst, plate, relief_max):
    found = decode(text)
    assert found["test_pressure_psig"] == test
    assert found["burst_psig"] == burst
    assert number(found["minimum_plate_in"]) == Decimal(plate)
    assert number(found["relief_max_psig"]) == Decimal(relief_max)
    assert "49 CFR 179." in json.dumps(found["citations"])


@pytest.mark.parametrize(
    ("text", "test", "burst", "plate"),
    [
        ("DOT 113A60W", 60, 240, "0.1875"),  # 179.401-1
        ("DOT 113C120W", 120, 300, "0.1875"),  # 179.401-1
    ],
)
def test_a_cryogenic_car_has_its_own_table(text, test, burst, plate):
    found = decode(text)
    assert (found["test_pressure_psig"], found["burst_psig"]) == (test, burst)
    assert number(found["minimum_plate_in"]) == Decimal(plate)


@pytest.mark.parametrize(
    ("text", "bottom_outlet", "insulation"),
    [
        # 179.201-1.
        ("DOT 111A60ALW1", "optional", "optional"),
        ("DOT 111A60ALW2", "none", "optional"),
        ("DOT 111A60W1", "optional", "optional"),
        ("DOT 111A60W2", "none", "optional"),
        ("DOT 111A60W5", "none", "optional"),
        ("DOT 111A60W6", "optional", "optional"),
        ("DOT 111A60W7", "none", "optional"),
        ("DOT 111A100ALW1", "optional", "optional"),
        ("DOT 111A100ALW2", "none", "optional"),
        ("DOT 111A100W1", "optional", "optional"),
        ("DOT 111A100W2", "none", "optional"),
        ("DOT 111A100W3", "optional", "required"),
        ("DOT 111A100W4", "none", "required"),
        ("DOT 111A100W5", "none", "optional"),
        ("DOT 111A100W6", "optional", "optional"),
        ("DOT 111A100W7", "none", "optional"),
        ("DOT 117A100W", "optional", "optional"),
        ("DOT 115A60ALW", "optional", "required"),
        ("DOT 115A60W1", "optional", "required"),
        # 179.101-1.
        ("DOT 105A300W", "none", "required"),
        ("DOT 109A300W", "none", "optional"),
        ("DOT 112A340W", "none", "optional"),
        ("DOT 114A340W", "optional", "optional"),
        ("DOT 120A300W", "optional", "required"),
    ],
)
def test_the_class_table_gives_bottom_outlet_and_insulation(text, bottom_outlet, insulation):
    found = decode(text)
    assert (found["bottom_outlet"], found["insulation"]) == (bottom_outlet, insulation)


def test_a_retrofitted_or_performance_car_has_no_burst_of_its_own():
    # 179.202-13: 7/16 in at least, pressures as built; 179.202-12 gives no figure.
    retrofitted, performance = decode("DOT 117R100W"), decode("DOT 117P100W")
    assert number(retrofitted["minimum_plate_in"]) == Decimal("0.4375")
    assert retrofitted["burst_psig"] is None
    assert performance["minimum_plate_in"] is performance["burst_psig"] is None


@pytest.mark.parametrize(
    ("text", "row_of"),
    [
        ("DOT 105J300W", "DOT 105A300W"),
        ("DOT 105H600W", "DOT 105A600W"),
        ("DOT 105J600I", "DOT 105A600W"),  # I stands in place of W
        ("DOT 112S400W", "DOT 112A400W"),
        ("DOT 114T340W", "DOT 114A340W"),
        ("DOT 111S100W2", "DOT 111A100W2"),
        ("DOT 117J100W", "DOT 117A100W"),
    ],
)
def test_any_delimiter_of_the_class_uses_its_row(text, row_of):
    for name in ("burst_psig", "minimum_plate_in", "bottom_outlet", "insulation"):
        assert decode(text)[name] == decode(row_of)[name]


@pytest.mark.parametrize(
    ("text", "agency"),
    [
        ("DOT 111A100W1", "DOT"),
        ("TC 111A100W1", "TC"),
        ("AAR 111A100W1", "AAR"),
        ("ICC 111A100W1", "ICC"),
        ("CTC 111A100W1", "CTC"),
        ("111A100W1", None),
    ],
)
def test_the_agency_may_be_given(text, agency):
    assert decode(text)["agency"] == agency


@pytest.mark.parametrize(
    "text",
    [
        "DOT111A100W1",
        "dot 111a100w1",
        "DOT-111A100-W1",
        "DOT-111-A-100-W-1",
        "  DOT  111 A 100 W 1  ",
        "Dot 111A100W1",
    ],
)
def test_spaces_hyphens_and_case_do_not_matter(text):
    assert decode(text) == decode("DOT 111A100W1")


@pytest.mark.parametrize(
    ("text", "name", "said"),
    [
        ("DOT 105S300W", "delimiter_meaning", "head"),  # 179.22(b)
        ("DOT 105J300W", "delimiter_meaning", "jacket"),  # 179.22(c)
        ("DOT 105J300W", "delimiter_meaning", "thermal"),
        ("DOT 112T340W", "delimiter_meaning", "thermal"),  # 179.22(d)
        ("DOT 105H600W", "delimiter_meaning", "inhalation"),
        ("DOT 117R100W", "delimiter_meaning", "retrofit"),
        ("DOT 117P100W", "delimiter_meaning", "performance"),
        ("DOT 113A60W", "delimiter_meaning", "423"),  # design temperature -423 F
        ("DOT 113C120W", "delimiter_meaning", "260"),
        ("DOT 111A100ALW1", "material_meaning", "alumin"),
        ("DOT 111A100W5", "suffix_meaning", "lin"),
        ("DOT 111A100W3", "suffix_meaning", "insulat"),
        ("DOT 111A100W2", "suffix_meaning", "bottom"),
    ],
)
def test_letters_and_digits_are_explained(text, name, said):
    assert said in decode(text)[name].lower()


@pytest.mark.parametrize("name", ["material", "material_meaning", "suffix", "suffix_meaning"])
def test_what_is_not_there_is_null(name):
    found = decode("DOT 105A300W")
    assert found[name] is None or (name == "material_meaning" and "steel" in found[name])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Marks of the grammar: 49 CFR 179.22 and 179.201-1; agencies by a public guide, TC from memory.
        ("DOT-117R", ("117", "non_pressure", "R", None, None, None)),
        ("DOT-117P", ("117", "non_pressure", "P", None, None, None)),
        ("TC 117R", ("117", "non_pressure", "R", None, None, None)),
        ("CTC 111A60F1", ("111", "non_pressure", "A", None, "F", "1")),  # forge weld
        ("ICC 105A600I", ("105", "pressure", "A", None, "I", None)),  # 179.22(e)
        ("DOT 106A800NCI", ("106", "ton_tank", "A", "NCI", None, None)),
        ("AAR 111A100AN1", None),  # N alone is nickel, and AN no letter of the tables
        ("DOT 111A100NW1", ("111", "non_pressure", "A", "N", "W", "1")),
        ("DOT 103AW", ("103", "non_pressure", "A", None, "W", None)),
        ("DOT 103ALW", ("103", "non_pressure", None, "AL", "W", None)),
        ("DOT 103BW", ("103", "non_pressure", None, "B", "W", None)),
        ("DOT 103EW", ("103", "non_pressure", None, "E", "W", None)),
        # No longer built, in service still: 173.31(a)(7), 180.507.
        ("DOT 113A175W", ("113", "cryogenic", "A", None, "W", None)),
        ("DOT 113C60W", ("113", "cryogenic", "C", None, "W", None)),
        ("DOT 113D60W", ("113", "cryogenic", "D", None, "W", None)),
        ("DOT 113D120W", ("113", "cryogenic", "D", None, "W", None)),
        # Converted cars, 180.515: small characters on the manway nozzle.
        ("DOT 105J200W", ("105", "pressure", "J", None, "W", None)),
        ("DOT 109A300W", ("109", "pressure", "A", None, "W", None)),
        ("DOT 112S400W", ("112", "pressure", "S", None, "W", None)),
        ("DOT 114T400W", ("114", "pressure", "T", None, "W", None)),
        ("DOT 120J300W", ("120", "pressure", "J", None, "W", None)),
        ("DOT 111A100W", ("111", "non_pressure", "A", None, "W", None)),
    ],
)
def test_every_mark_of_the_grammar_is_read(text, expected):
    if expected is None:
        with pytest.raises(Refused):
            decode(text)
    else:
        assert parts(text) == expected


@pytest.mark.parametrize(
    ("text", "burst", "plate", "outlet", "insulation"),
    [
        # 49 CFR 180.515: the last numeral may be left out. What its rows (179.201-1) have in common.
        ("DOT 111A100W", 500, "0.4375", None, None),
        ("DOT 111A60W", 240, "0.4375", None, "optional"),
        ("DOT 111A100ALW", 500, "0.625", None, "optional"),
        ("DOT 111S100W", 500, "0.4375", None, None),
        ("DOT 115A60W", 240, "0.125", "optional", "required"),
    ],
)
def test_a_last_numeral_left_out_is_warned_of_and_leaves_what_all_have_in_common(
    text, burst, plate, outlet, insulation
):
    found = decode(text)
    assert "last numeral is left out" in json.dumps(found["warnings"])
    assert found["suffix"] is found["suffix_meaning"] is None
    assert (found["burst_psig"], number(found["minimum_plate_in"])) == (burst, Decimal(plate))
    assert (found["bottom_outlet"], found["insulation"]) == (outlet, insulation)


@pytest.mark.parametrize(
    "text",
    ["DOT 117A100W", "DOT 115A60ALW", "DOT 105A300W", "DOT 111A100F", "DOT 111A100NW"],
)
def test_a_specification_without_a_numeral_of_its_own_is_not_warned_of_one(text):
    assert "last numeral" not in json.dumps(decode(text)["warnings"])


@pytest.mark.parametrize(
    ("text", "place"),
    [
        # A class alone, or a part of a stencil: the place is where it breaks off.
        ("DOT-111", 8),
        ("DOT 105", 8),
        ("112", 4),
        ("DOT 111A", 9),
        ("DOT 111A100", 12),
        ("DOT 113", 8),
        ("AAR", 4),
    ],
)
def test_a_stub_of_a_stencil_is_refused_where_it_breaks_off(text, place):
    with pytest.raises(Refused) as refusal:
        decode(text)
    assert f"at character {place} of" in str(refusal.value)


def test_a_number_printed_against_its_class_is_warned_of():
    # 179.101-1 prints 500 psig for 109A300W, with 750 for 109A300ALW.
    assert decode("DOT 109A300W")["warnings"]
    assert not decode("DOT 105A300W")["warnings"]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("DOT 999A100W1", "999"),  # no such class
        ("DOT 11A100W1", "11"),
        ("XYZ 111A100W1", "XYZ"),  # no such agency
        ("DOT 111B100W1", "B"),  # no such delimiter
        ("DOT 105R300W", "R"),  # of another class
        ("DOT 111A105W1", "105"),  # no such test pressure
        ("DOT 105A340W", "340"),  # of another class
        ("DOT 111A100Q1", "Q"),  # no such weld
        ("DOT 111A100W9", "9"),  # no such digit
        ("DOT 111A100W1 JUNK", "JUNK"),  # more than a stencil
        ("DOT 111A100W1.5", "."),
        ("DOT 111A", "111A"),  # breaks off
        ("DOT", "DOT"),
        ("hello", "hello"),
    ],
)
def test_what_cannot_be_read_is_refused_and_shows_the_place(text, place):
    with pytest.raises(Refused) as refusal:
        decode(text)
    told = " ".join([str(refusal.value), *(str(fault) for fault in refusal.value.faults)])
    assert place.lower() in told.lower()


@pytest.mark.parametrize("text", ["", "   ", "-", "DOT 111A100W1" * 1000, "１１１A100W1", "\x00"])
def test_nonsense_is_refused_in_a_short_sentence(text):
    with pytest.raises(Refused) as refusal:
        decode(text)
    assert len(str(refusal.value)) < 300
