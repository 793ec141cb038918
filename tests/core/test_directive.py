"""Conditions of directives: what holds, what does not, and what somebody has to look at.

How serials compare is a choice of ours (common practice, no source): the cases are written from the sentence in
`core.directive.in_range`, read as a person would read a maker's list of serials.
"""

from datetime import date

import pytest

from app.core.directive import (
    CarLooks,
    ComponentLooks,
    Condition,
    Match,
    comparable,
    condition_of,
    in_range,
    matches,
    same,
)

CAR = CarLooks(
    "DOT 111A100W1", design="ZQ-7", builder="Marrowfen Invented Works", built_on=date(2004, 6, 1),
    material="TC128B", un="UN1789", lading="Hydrochloric acid", owner="Quillmoor Invented Leasing",
    lining="rubber",
)  # fmt: skip
BARE = CarLooks("DOT 111A100W1")
VALVE = ComponentLooks("relief_valve", "Brindle Invented Valves", "EX-1", "L12", "RV-150B7")


@pytest.mark.parametrize(
    ("serial", "held"),
    [
        ("AB100", True),  # both ends are in
        ("AB250", True),
        ("AB99", False),  # by number, not by letter: AB99 would come after AB250
        ("AB251", False),
        ("AB0150", True),  # zeros in front do not count
        ("ab-150", True),  # nor do case, hyphens, spaces, dots, slashes
        (" A.B/ 150 ", True),
        ("AB 1.5/0", None),  # between figures a sign may part one number from another
        ("XY150", False),  # another maker's letters, another range
        ("XY150R", False),
        ("150", None),  # somebody may have left the letters away
        ("15", False),  # no letters, and the number lies outside anyhow
        ("AB150R", None),  # a letter behind: part of the number, or not?
        ("AB9000R", False),
        ("", None),  # none on record
        ("AB", None),  # a serial without a number
        ("unreadable", False),
        ("A1B150", False),  # only the last number counts, and before it stands A1B
    ],
)
def test_a_serial_is_compared_by_its_number_where_the_same_stands_in_front(serial, held):
    assert in_range(serial, "AB100", "AB250") is held


@pytest.mark.parametrize(
    ("serial", "held"), [("7", True), ("A7", None), ("21", False), ("A21", False), ("", None)]
)
def test_of_a_range_without_letters_a_serial_with_letters_cannot_be_told(serial, held):
    assert in_range(serial, "1", "20") is held


@pytest.mark.parametrize(
    ("first", "last", "serial", "held"),
    [
        ("AB100", None, "AB100000", True),
        ("AB100", None, "AB1", False),
        (None, "AB100", "AB1", True),
        (None, "AB100", "AB101", False),
    ],
)
def test_a_range_may_be_open_at_one_end(first, last, serial, held):
    assert in_range(serial, first, last) is held


@pytest.mark.parametrize(
    ("first", "last", "serial", "held"),
    [
        # By the last number alone it lies within, by all figures as one number it does not; and the other way round.
        ("A1-001", "A1-100", "A1-50", None),
        ("2024-001", "2024-100", "2024-7", None),
        ("1-100", "1-200", "11-50", None),
        # Both ways alike.
        ("A1-001", "A1-100", "A1-050", True),
        ("2024-001", "2024-100", "2024-101", False),
        ("1-100", "1-200", "3-150", False),
    ],
)
def test_a_serial_of_several_numbers_is_told_only_where_each_way_of_reading_agrees(
    first, last, serial, held
):
    assert in_range(serial, first, last) is held


@pytest.mark.parametrize(
    ("wanted", "found", "held"),
    [
        ("L77", "l77", True), ("L77", "L 77", None), ("L-77", "L77", None), ("L77", "L78", False),
        ("Two  words", "two words", True), ("L77", "", None), ("L77", " ", None),
    ],
)  # fmt: skip
def test_names_that_differ_in_spaces_and_signs_alone_are_looked_at_by_hand(wanted, found, held):
    assert same(wanted, found) is held


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("AB100", "AB250", ""),
        ("AB100", None, ""),
        (None, None, ""),
        ("AB100", "XY250", "the same in front"),
        ("AB", "AB250", "end in a number"),
        ("AB100R", None, "end in a number"),
        ("AB250", "AB100", "ends before it begins"),
    ],
)
def test_the_ends_of_a_range_can_be_compared(first, last, said):
    found = comparable(first, last)
    assert said in found
    assert bool(found) == bool(said)


@pytest.mark.parametrize(
    ("asked", "matching"),
    [
        ({"specification": "DOT 111A100W1"}, True),
        ({"specification": "111a"}, True),  # as it begins, with or without the agency
        ({"specification": "dot-111 a100"}, True),
        ({"specification": "TC 111A"}, False),
        ({"specification": "DOT 112"}, False),
        ({"design": "zq-7"}, True),
        ({"builder": "  marrowfen  invented WORKS "}, True),
        ({"builder": "Marrowfen"}, False),  # a name is meant whole
        ({"built_from": date(2004, 6, 1), "built_to": date(2004, 6, 1)}, True),
        ({"built_from": date(2004, 6, 2)}, False),
        ({"built_to": date(2004, 5, 31)}, False),
        ({"material": "TC128B"}, True),
        ({"material": "A515-70"}, False),
        ({"un": "UN1789"}, True),
        ({"un": "UN1824"}, False),
        ({"lading": "hydrochloric acid"}, True),
        ({"owner": "quillmoor invented leasing"}, True),
        ({"owner": "Somebody else, invented"}, False),
        ({"lining": "Rubber"}, True),
        ({"lining": "glass"}, False),
        ({"specification": "111", "material": "TC128B", "lining": "rubber"}, True),
        ({"specification": "111", "material": "TC128B", "lining": "glass"}, False),
    ],
)
def test_all_that_is_asked_of_a_car_must_hold(asked, matching):
    found = matches(Condition(**asked), CAR)
    assert (found is not None) is matching
    assert found is None or not found.by_hand


@pytest.mark.parametrize(
    "asked",
    [
        {"design": "ZQ-7"}, {"builder": "Marrowfen Invented Works"}, {"built_from": date(2000, 1, 1)},
        {"material": "TC128B"}, {"un": "UN1789"}, {"lading": "Acid"}, {"owner": "Anybody"},
    ],
)  # fmt: skip
def test_what_is_not_on_record_is_looked_at_by_hand(asked):
    found = matches(Condition(**asked), BARE)
    assert found is not None
    assert found.by_hand
    assert "not on record" in [value for _, value in found.why]


def test_what_is_not_on_record_does_not_count_where_anything_else_surely_fails():
    assert matches(Condition(builder="X", specification="112"), BARE) is None


def test_a_car_of_which_no_lining_is_known_is_not_meant_by_a_directive_about_one():
    assert matches(Condition(lining="rubber"), BARE) is None
    unknown_kind = CarLooks("DOT 111A100W5", lining=None)
    assert matches(Condition(lining="rubber"), unknown_kind) == Match(
        True, (("lining", "not on record"),)
    )


@pytest.mark.parametrize(
    ("asked", "component", "held"),
    [
        ({"kind": "relief_valve", "lot": "l12"}, VALVE, True),
        ({"kind": "relief_valve", "lot": "L1"}, VALVE, False),
        (
            {"kind": "relief_valve", "maker": "brindle invented valves", "model": "EX-1"},
            VALVE,
            True,
        ),
        ({"kind": "relief_valve", "lot": "L12"}, ComponentLooks("relief_valve"), None),
        ({"kind": "valve", "lot": "L12"}, VALVE, False),
        # A device of which nobody said what kind it is may be a valve; asked for any, a valve is one.
        ({"kind": "relief_valve"}, ComponentLooks("relief_device", lot="L12"), None),
        ({"kind": "relief_device"}, VALVE, True),
        ({"kind": "relief_device"}, ComponentLooks("valve"), False),
        ({"kind": "relief_valve", "serial_from": "RV-150B1", "serial_to": "RV-150B9"}, VALVE, True),
        ({"kind": "relief_valve", "serial_from": "RV-150B8"}, VALVE, False),
        ({"kind": "relief_valve", "lot": "L12", "specification": "112"}, VALVE, False),
    ],
)
def test_all_that_is_asked_of_a_component_and_its_car_must_hold(asked, component, held):
    found = matches(Condition(**asked), CAR, component)
    assert (None if found and found.by_hand else found is not None) is held


def test_a_match_names_the_facts_it_rests_on():
    found = matches(Condition(kind="relief_valve", lot="L12", material="TC128B"), CAR, VALVE)
    assert found == Match(False, (("kind", "relief_valve"), ("lot", "L12"), ("material", "TC128B")))


def test_a_condition_is_kept_as_it_was_stated():
    condition = Condition(kind="relief_valve", lot="L12", built_from=date(2004, 6, 1))
    kept = condition.stated()
    assert kept == {"built_from": "2004-06-01", "kind": "relief_valve", "lot": "L12"}
    assert condition_of(kept) == condition
