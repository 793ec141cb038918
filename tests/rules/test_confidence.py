"""What nobody checked against the rule text says so, wherever it has a say.

Each row was written from memory or from a secondary notice; the section named is where it would have to be checked.
"""

import pytest

from app.answers import decode, due_dates
from app.core.rule import UNVERIFIED
from app.rules.reader import default_rulebook
from tests.core.cars import LIQUOR, ask, item, measured, passed, qualified, texts, zone

THIN = qualified(shell_bottom=0.38)


def said(due):
    assert due["confidence"] == "memory"
    return texts(due["reasons"])


@pytest.mark.parametrize(
    ("name", "car"),
    [
        # 232.305 as changed on December 11, 2020 (85 FR 80544).
        ("air_brake", {}),
        ("air_brake", {"built_on": None}),
        # 215.203 after June 2026.
        ("age_limit", {}),
        ("age_limit", {"built_on": None}),
        # FAST Act section 7304(b): its dated rows.
        ("service_end", {"service": {"hazard_class": "3", "un": "UN1267"}}),
        ("service_end", {"service": {"hazard_class": "3", "packing_group": "I"}}),
        ("service_end", {"service": {"hazard_class": "3", "packing_group": "II"}}),
        ("service_end", {"service": {"hazard_class": "3", "packing_group": "III"}}),
        # 172.101: the UN numbers of the ladings in Appendix D to part 180.
        (
            "thickness",
            {"service": {"hazard_class": "8", "un": "UN1789", "corrosive_or_reactive": False}},
        ),
        (
            "lining",
            {
                "service": {"hazard_class": "8", "un": "UN1789", "corrosive_or_reactive": False},
                "lining": {"kind": "rubber", "applied_on": "2020-01-01"},
            },
        ),
    ],
)
def test_an_item_that_rests_on_memory_says_so_in_its_reasons(name, car):
    answer = due_dates(ask(passed("2018-03-15", "thickness", readings=measured()[:3]), **car))
    assert UNVERIFIED in said(item(answer, name))


@pytest.mark.parametrize(
    ("name", "car"),
    [
        *((name, {}) for name in ("visual", "structural_integrity", "safety_systems", "thickness")),
        *((name, {}) for name in ("service_equipment", "relief_device", "leakage", "reflective_sheeting")),
        ("lining", {"lining": {"applied_on": "2020-01-01"}, "service": LIQUOR}),
        ("tank_retest", {"specification": "DOT 106A500X"}),
        ("relief_device", {"specification": "DOT 106A500X"}),
        ("rupture_disc", {"specification": "DOT 113A60W"}),
    ],
)  # fmt: skip
def test_an_item_that_was_read_in_the_rule_text_does_not(name, car):
    due = item(due_dates(ask(THIN, **car)), name)
    assert due["confidence"] == "verified"
    assert UNVERIFIED not in texts(due["reasons"])


@pytest.mark.parametrize("material", ["A285C", "A212B", "A515-70"])
def test_the_strength_of_a_retired_steel_says_so_beside_the_zone(material):
    # 179.100-7 and 179.200-7 as they stood when these steels were allowed.
    answer = due_dates(
        ask(THIN, tank={"material": material, "inside_diameter_in": 100}, service=LIQUOR)
    )
    assert UNVERIFIED in said(item(answer, "thickness"))
    assert UNVERIFIED in texts(zone(answer, "shell_top")["reasons"])


def test_the_factor_of_flat_heads_says_so_beside_the_heads_only():
    # 179.200-6(b): the formula is an image in every copy seen.
    tank = {"material": "TC128B", "inside_diameter_in": 119, "head_shape": "3:1"}
    answer = due_dates(ask(THIN, tank=tank, service=LIQUOR))
    assert UNVERIFIED in said(item(answer, "thickness"))
    assert UNVERIFIED in texts(zone(answer, "head_a")["reasons"])
    assert UNVERIFIED not in texts(zone(answer, "shell_top")["reasons"])


def test_no_rule_from_memory_is_without_a_test_here():
    rules = default_rulebook().rules
    assert {name for name, rule in rules.items() if rule.confidence == "memory"} == {
        "air_brake", "air_brake_first", "age_limit", "corrosive_un", "plate_formula_head",
        # Told beside the stencil and the facts of a car, not in a due item: test_contradictions.py.
        "says_enhanced", "interim_dropped",
    }  # fmt: skip


def test_the_bans_from_memory_are_those_of_the_act_whose_rows_were_not_seen():
    bans = default_rulebook().flammable_bans
    assert [ban.confidence for ban in bans] == ["memory", "verified", "memory", "memory"]


@pytest.mark.parametrize(
    ("car", "source"),
    [
        # 85 FR 75680: only what others told of it was seen.
        ({"service": {"hazard_class": "2.3"}, "tank": {"normalized_steel": False}}, "industry summaries of 2020"),
        ({"service": {"hazard_class": "2.3"}, "tank": {"normalized_steel": True}}, "industry summaries of 2020"),
        # FAST Act section 7304: an agency's answer to a question.
        ({"service": {"hazard_class": "3", "un": "UN1170"}}, "an agency's answer of April 2023"),
    ],
)  # fmt: skip
def test_a_last_day_known_from_others_says_from_whom_and_that_no_rule_text_was_seen(car, source):
    due = due_dates(ask(THIN, **car))
    assert item(due, "service_end")["confidence"] == "verified"
    assert f"(from {source}; the rule text was not seen)" in " ".join(
        reason["text"] for reason in item(due, "service_end")["reasons"]
    )


def test_only_these_are_known_from_others():
    book = default_rulebook()
    assert {name: rule.known_from for name, rule in book.rules.items() if rule.known_from} == {
        "movement_approval": "agency pages of 2014",
        "poison_non_normalized": "industry summaries of 2020",
        "poison_not_2009": "industry summaries of 2020",
    }
    assert all(
        "rule text not seen" in rule.edition for rule in book.rules.values() if rule.known_from
    )
    assert [bool(ban.known_from) for ban in book.flammable_bans] == [False, True, False, False]


def test_a_letter_from_memory_says_so_where_a_stencil_is_read():
    # 179.22 names neither; they move no date, so the due dates of a car do not speak of them.
    told = [
        warning["text"]
        for text in ("TC 111A100W1", "DOT 106A500X")
        for warning in decode(text)["warnings"]
    ]
    assert [each for each in told if "from memory" in each] == [
        "Agency TC: not verified (from memory)", "Weld letter X: not verified (from memory)",
    ]  # fmt: skip
    for text in ("DOT 111A100W1", "AAR 211A100W1", "DOT 106A500W"):
        assert "from memory" not in texts(decode(text)["warnings"])
    assert "from memory" not in texts(due_dates(ask(specification="TC 111A100W1"))["warnings"])


def test_a_stencil_reads_the_same_whoever_vouches_for_its_letters():
    # 179.22: the agency letters TC and the weld letter X are from memory and move no date.
    assert decode("TC 111A100W1")["class"] == "111"
    assert decode("DOT 106A500X")["weld"] == "X"
