"""Reasons that explain: what closes what is owed, what was taken for granted, and what would change a date."""

from typing import Any

import pytest

from app.answers.due_dates import answer
from app.core.facts import Answer, Reason
from tests.core.cars import (
    AS_OF,
    LIQUOR,
    OIL,
    UNLINED_ITEMS,
    ask,
    changed,
    failed,
    passed,
    qualified,
    reading,
)

UNSTATED = {"commodity": "Tanning liquor"}
JUST_TANK = {"material": None, "inside_diameter_in": None}


def part(asked: dict[str, Any], item: str, name: str) -> list[str]:
    """The sentences of one part of an item's explanation."""
    due = answer(asked).item(item)
    assert due is not None
    return [reason.text for reason in due.reasons if reason.part == name]


@pytest.mark.parametrize(
    ("events", "item", "closes"),
    [
        # 180.509(f)(6): blasting may have thinned the tank.
        ([changed("2026-05-01", "repair_reducing_thickness")], "thickness", "Closed by a passing thickness test"),
        # 180.509(j).
        ([changed("2026-05-01", "service_equipment_changed")], "leakage", "Closed by a passing leakage test"),
        # A failed device is closed also by another one.
        ([failed("2026-05-01", "relief_device")], "relief_device",
         "Closed by a passing relief device qualification, or by another relief device in its place"),
        # Ordered, not failed: another device does not close it.
        ([changed("2026-05-01", "ordered_inspection", opens=["relief_device"])], "relief_device",
         "Closed by a passing relief device qualification"),
        # Failed and ordered: only a pass closes both.
        ([failed("2026-05-01", "relief_device"), changed("2026-06-01", "ordered_inspection", opens=["relief_device"])],
         "relief_device", "Closed by a passing relief device qualification"),
        ([failed("2026-05-01", "air_brake")], "air_brake", "Closed by a passing air brake test"),
    ],
)  # fmt: skip
def test_what_is_owed_says_what_closes_it(events: list[Any], item: str, closes: str):
    asked = ask(qualified(), *events)
    assert part(asked, item, "closes") == [closes]
    assert part(asked, item, "owed")


def test_a_failed_lining_is_closed_also_by_a_new_one():
    asked = ask(
        failed("2026-05-01", "lining"),
        lining={"kind": "rubber", "applied_on": "2020-05-01"},
        service=LIQUOR,
    )
    assert part(asked, "lining", "closes") == [
        "Closed by a passing lining inspection, or by a new lining on record as an event (lining applied)"
    ]


@pytest.mark.parametrize(
    ("asked", "item", "told"),
    [
        # Thin because nothing is stated of the lading.
        (ask(qualified(shell_bottom=0.4), service=UNSTATED), "thickness",
         "A stated “not corrosive or reactive to the tank” would make it 120 months"),
        # Thin and measured so: readings do not help.
        (ask(qualified(shell_bottom=0.4), service=LIQUOR), "thickness",
         "With shell bottom measured at or below line C, only a lading that is not corrosive"),
        # Line C is not firm without diameter and material.
        (ask(qualified(), tank=JUST_TANK, service=LIQUOR), "thickness",
         "the owner's minimum for shell top, shell bottom, A-end head and B-end head, or diameter and material"),
        # Never measured.
        (ask(service=LIQUOR), "thickness", "a reading surely above line C at shell top"),
        # Not corrosive: what a corrosive one would do.
        (ask(qualified(shell_bottom=0.4), service=OIL), "thickness",
         "A lading corrosive or reactive to the tank would make it 60 months, since shell bottom is not surely above"),
        (ask(qualified(), service=LIQUOR), "thickness",
         "A reading at or below line C in shell or heads would make it 60 months"),
        (ask(), "visual", "A passing visual inspection on record would be counted from instead"),
        (ask(built_on=None), "visual", "The day built, or a passing visual inspection, would make it known"),
        (ask(relief_device={"kind": "valve", "installed_on": "2020-01-01"}), "relief_device",
         "The day it was tested, or a passing qualification since, would make it known"),
        # The six-month clause fails only for want of a word: 180.515(c).
        (ask(relief_device={"kind": "valve", "tested_on": "2020-01-01", "installed_on": "2020-03-01"}), "relief_device",
         "Stated to be a valve that was protected in storage, it would count from its installation"),
        (ask(qualified()), "service_equipment", "A shorter interval stated by the owner would be counted with"),
        (ask(lining={"applied_on": "2020-05-01"}, service=LIQUOR), "lining",
         "The owner's own interval would be counted with, up to that"),
        (ask(lining={"applied_on": "2020-05-01", "owner_interval_months": 120}, service=LIQUOR), "lining",
         "Service history or analysis on record as supporting them would make it 120 months"),
        (ask(lining={"applied_on": "2020-05-01", "owner_interval_months": 60}, service=UNSTATED), "lining",
         "A stated “not corrosive or reactive to the tank” would make it not required"),
        (ask(lining={"applied_on": "2020-05-01"}, service=OIL), "lining",
         "A lading corrosive or reactive to the tank would make it asked for"),
        (ask(qualified(), approvals=[{"item": "visual", "interval_months": 144, "stenciled": False}]), "visual",
         "An approval for 144 months is not yet stenciled and changes nothing until it is"),
        (ask(qualified(), stencil={"marked_on": "2018-04-01", "due": {"visual": "2027"}}), "visual",
         "A passing visual inspection after 2018-04-01, when it was marked, would overtake it"),
        (ask(qualified(), stencil={"due": {"visual": "2027"}}), "visual",
         "The day it was marked is not known, so no inspection overtakes it"),
        (ask(service={"commodity": "Something"}), "service_end",
         "State whether it is poisonous by inhalation, or its hazard class"),
        (ask(service={"commodity": "Light cycle oil", "hazard_class": "3"}), "service_end",
         "stated as well: the packing group, whether it is jacketed, whether it was built to CPC-1232"),
        (ask(qualified(), passed("2018-03-15", "leakage")), "leakage", "Installing, replacing or qualifying"),
    ],
)  # fmt: skip
def test_what_would_change_it_is_said(asked: dict[str, Any], item: str, told: str):
    assert told in "\n".join(part(asked, item, "would_change"))


@pytest.mark.parametrize(
    ("asked", "item", "told"),
    [
        (ask(service=UNSTATED), "thickness", "is not stated: assumed that it is, the safe side"),
        (ask(service=LIQUOR), "thickness", "head were never measured: counted as at line C, the safe side"),
        (ask(service={"commodity": "Light cycle oil", "hazard_class": "3"}), "service_end",
         "no packing group is stated: counted as I, the earliest"),
        (ask(lining={"applied_on": "2020-05-01"}, service=LIQUOR), "lining",
         "The lining owner's interval is not known: 96 months, the outer bound"),
    ],
)  # fmt: skip
def test_what_was_assumed_is_said_with_its_safe_side(asked: dict[str, Any], item: str, told: str):
    assert told in "\n".join(part(asked, item, "assumed"))


@pytest.mark.parametrize(
    ("more", "why"),
    [
        # 180.515(c), 2019 edition: each condition in turn.
        ({"installed_on": None}, "no day of installation is known"),
        ({"installed_on": "2021-03-01"}, "more than six months after its test"),
        ({"kind": "disc"}, "it is for devices that reclose"),
        ({"kind": None}, "whether it is a valve is not stated"),
        ({"protected_in_storage": False}, "it was not protected in storage"),
        ({"protected_in_storage": None}, "whether it was protected in storage is not stated"),
    ],
)
def test_the_six_month_clause_says_what_keeps_it_from_counting(more: dict[str, Any], why: str):
    device = {
        "kind": "valve", "tested_on": "2020-01-01", "installed_on": "2020-03-01", "protected_in_storage": True,
    }  # fmt: skip
    due = answer(ask(relief_device=device | more)).item("relief_device")
    assert due is not None
    assert why in " ".join(reason.text for reason in due.reasons)


def test_the_safe_side_of_an_unstated_lading_is_the_shorter_interval():
    """What is said to change it does change it: 49 CFR 180.509(f)(2), 2019 edition."""
    thin = qualified(shell_bottom=0.4)
    assumed, stated = (
        answer(ask(thin, service=service)).item("thickness")
        for service in (UNSTATED, UNSTATED | {"corrosive_or_reactive": False})
    )
    assert assumed is not None
    assert stated is not None
    assert (assumed.interval_months, stated.interval_months) == (60, 120)


@pytest.mark.parametrize(
    ("asked", "item", "name", "told"),
    [
        # 180.509(f)(2), 2019 edition: both conditions are needed for 5 years.
        (ask(qualified(), service=LIQUOR), "thickness", "counted",
         "Shell and heads read above line C in all zones, so 120 months, be the lading corrosive or not"),
        (ask(qualified(), service=OIL), "thickness", "would_change",
         "A reading at or below line C in shell or heads, and with it a lading corrosive or reactive to the tank"),
        # Four zones alike are one sentence; one that differs has its own.
        (ask(service=LIQUOR), "thickness", "assumed",
         "Shell top, shell bottom, A-end head and B-end head were never measured"),
        (ask(qualified(shell_bottom=0.4), tank=JUST_TANK, service=LIQUOR), "thickness", "counted",
         "Shell bottom is at or below line C"),
        # 180.503: strictly above 2.5 mil a year.
        (ask(qualified(shell_bottom=0.4), service=UNSTATED | {"corrosion_rate_mil_per_year": 3.1}), "thickness",
         "counted", "this one 3.1 mil a year, beside 2.5"),
        (ask(qualified(shell_bottom=0.4), service=OIL | {"corrosion_rate_mil_per_year": 2.5}), "thickness",
         "counted", "Its corrosion rate, 2.5 mil a year, is not above 2.5"),
        (ask(qualified(shell_bottom=0.4), service=UNSTATED | {"corrosion_rate_mil_per_year": 1}), "thickness",
         "counted", "Its corrosion rate, 1 mil a year, is not above 2.5"),
        # A month alone is enough by 180.517; its first day is the safe side.
        (ask(passed("2018-03", "visual")), "visual", "assumed",
         "2018-03-01, the latest passing visual inspection: only its month is known, and the first day of it counts"),
        # 232.305(d).
        (ask(), "air_brake", "counted", "Counted from 2010-06-01, when the car was built\n2010-06-01 plus 96"),
        (ask(rebuilt_on="2020-05-01"), "air_brake", "counted", "Counted from 2020-05-01, when the car was rebuilt"),
        # 180.509(i): not asked for where the lading is not corrosive.
        (ask(lining={"applied_on": "2020-05-01"}, service=OIL), "lining", "counted",
         "If it were asked for: 2020-05-01 plus 96 months is 2028-05-01"),
        (ask(lining={"kind": "rubber"}, service=LIQUOR), "lining", "counted",
         "neither the day the lining was applied nor a passing lining inspection is known"),
        # Whether a test of a part starts the years anew is an open question of 180.509(f)(6).
        (ask(qualified(), passed("2024-05-01", "repair_reducing_thickness", "thickness",
                                 readings=[reading("shell_bottom", 0.44)])), "thickness", "counted",
         "The test of 2024-05-01 has readings of shell bottom alone"),
    ],
)  # fmt: skip
def test_an_item_says_what_it_went_by(asked: dict[str, Any], item: str, name: str, told: str):
    assert told in "\n".join(part(asked, item, name))


def test_a_test_of_the_whole_tank_or_without_readings_raises_no_question():
    for event in (qualified(), passed("2018-03-15", "thickness")):
        assert not any("alone" in each for each in part(ask(event), "thickness", "counted"))


def test_a_stencil_does_not_control_a_lining_that_is_not_asked_for():
    painted = {"marked_on": "2020-05-02", "due": {"lining": "2027"}}
    due = answer(ask(lining={"applied_on": "2020-05-01"}, service=OIL, stencil=painted)).item(
        "lining"
    )
    assert due is not None
    assert due.state == "not_required"
    assert not any("controls" in reason.text for reason in due.reasons)


@pytest.mark.parametrize("protected", [None, False])
def test_a_device_tested_on_the_day_it_was_installed_has_nothing_to_gain_by_the_clause(
    protected: bool | None,
):
    """180.515(c), 2019 edition: both days are the same."""
    day = "2020-03-01"
    device = {
        "kind": "valve",
        "tested_on": day,
        "installed_on": day,
        "protected_in_storage": protected,
    }
    due = answer(ask(relief_device=device)).item("relief_device")
    assert due is not None
    told = "\n".join(reason.text for reason in due.reasons)
    assert f"Counted from {day}, when it was tested and installed" in told
    assert "protected" not in told


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        # By event: what is not known is whether it is owed at all.
        (ask(passed("2018-03-15", *UNLINED_ITEMS)), "Leakage test: whether it is owed is not known"),
        (ask(qualified(), lining={"applied_on": "2020-05-01"}, service=LIQUOR),
         "Thickness test: whether it is owed is not known"),
        (ask(qualified(), service={"commodity": "Something"}),
         "End of service for this lading: whether it has come is not known"),
        (ask(built_on=None), "Visual inspection: when it is due is not known"),
    ],
)  # fmt: skip
def test_loading_says_what_is_not_known_of_an_item(asked: dict[str, Any], told: str):
    assert told in [reason.text for reason in answer(asked).loading.reasons]


# Required thickness -----------------------------------------------------------------------------------------------


def governing(found: Answer, zone: str) -> list[str]:
    shown = next(each for each in found.thickness if each.zone == zone)
    return [each.source for each in shown.sources if each.governs]


@pytest.mark.parametrize(
    ("tank", "source"),
    [
        # 111A100W1: 7/16 in by 179.201-1; the formula asks for 0.40809 in of TC128B at 119 in.
        ({"material": "TC128B", "inside_diameter_in": 119}, "table"),
        # 500 x 119 / (2 x 70,000 x 0.9) = 0.47222 in, 179.200-6.
        ({"material": "A516-70", "inside_diameter_in": 119}, "formula"),
        ({"required_thickness_in": {"shell_top": 0.5}}, "owner"),
        # All three alike: one governs all the same.
        ({"required_thickness_in": {"shell_top": 0.4375}}, "table"),
    ],
)
def test_the_one_that_asks_for_the_most_governs(tank: dict[str, Any], source: str):
    found = answer(ask(tank=tank))
    assert governing(found, "shell_top") == [source]


def test_the_numbers_that_went_in_are_told():
    """49 CFR 179.200-6 and 180.509(g), 2019 edition."""
    found = answer(ask(tank={"material": "A516-70", "inside_diameter_in": 119}))
    shown = next(each for each in found.thickness if each.zone == "shell_top")
    text = " ".join(reason.text for reason in shown.reasons)
    assert (
        "burst 500 psig, inside diameter 119 in, tensile strength 70000 psi, joint efficiency 0.9"
        in text
    )
    assert "The plate formula asks for the most and makes B 0.47222 in" in text
    assert "The allowance F is 0.125 in at a marked test pressure of 100 psig" in text


def test_headings_are_no_part_of_a_reason():
    assert Reason("a", "b", "asks") == Reason("a", "b")


def test_mechanical_items_are_told_apart_in_the_loading_answer():
    asked = ask(qualified(), passed("2010-07-01", "air_brake"), as_of=AS_OF)
    told = answer(asked).loading.reasons
    assert [reason.part for reason in told if "Air brake" in reason.text] == ["mechanical"]
