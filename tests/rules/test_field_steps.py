"""The built-in steps, cautions and needs as data: complete, cited, and refused when they are not.

Sources: 49 CFR 180.509(d)-(k), 180.511, 180.519 (edition 2019), 173.31(d)(1), 173.319(e), 224.109 (2015); the rest is
marked as common practice, no source.
"""

from datetime import date

import pytest

from app.core.facts import EVENT_ITEMS
from app.core.steps import LEVELS, MEASURES, Held, Need, Step, composed, lacking
from app.rules.field_work import HERE, field_work, read_field_work
from app.rules.reader import BadRulebook
from app.store import field_data

DAY = date(2026, 11, 25)


@pytest.mark.parametrize("item", EVENT_ITEMS)
def test_every_due_item_that_is_inspected_has_steps(item):
    steps = field_work().steps[item]
    assert steps
    assert len({step.id for step in steps}) == len(steps)
    assert all(step.look_at and step.where and step.acceptance for step in steps)


@pytest.mark.parametrize("item", EVENT_ITEMS)
def test_what_has_a_citation_says_its_edition(item):
    for step in field_work().steps[item]:
        assert step.citation is None or ("CFR" in step.citation and "(20" in step.citation)


def test_every_measure_has_a_step_and_is_one_that_an_owner_may_use():
    used = {step.measure for steps in field_work().steps.values() for step in steps}
    assert used == set(MEASURES) == set(field_data.MEASURES)


def test_before_entry_loosening_and_pressure_somebody_is_warned_and_sent_to_the_site_s_procedures():
    cautions = {each.when: " ".join(each.words) for each in field_work().cautions}
    assert set(cautions) == {"entry", "loosening", "pressure"}
    assert all("site's own" in words for words in cautions.values())


@pytest.mark.parametrize(
    ("item", "step", "caution"),
    [
        ("visual", "visual.inside", "entry"),
        ("structural_integrity", "structural_integrity.fillet", "entry"),
        ("thickness", "thickness.shell", "entry"),
        ("relief_device", "relief_device.identity", "loosening"),
        ("relief_device", "relief_device.bench", "pressure"),
        ("leakage", "leakage.test", "pressure"),
        ("tank_retest", "tank_retest.pressure", "pressure"),
    ],
)
def test_what_can_hurt_somebody_has_its_caution(item, step, caution):
    found = {each.id: each.caution for each in field_work().steps[item]}
    assert found[step] == caution


def step(item: str = "visual", measure: str = "look", more: str = "") -> str:
    stated = f'id = "a"\nlook_at = "x"\nwhere = "y"\nmeasure = "{measure}"\nacceptance = "z"\n'
    return f"[[steps.{item}]]\n{stated}{more}"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (step(measure="gaze"), "gaze"),
        (step(more='citation = "49 CFR 1"'), "stand together"),
        (step("age_limit"), "age_limit"),
        ('[[needs.visual]]\nmethod = "XX"\nlevel = "II"', "stands twice"),
    ],
)
def test_a_bad_file_is_refused_by_name(tmp_path, text, fault):
    for path in HERE.glob("*.toml"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "zz.toml").write_text(text)
    if "steps.visual" in text:
        tank = (tmp_path / "tank.toml").read_text()
        (tmp_path / "tank.toml").write_text(tank.replace("steps.visual", "steps.leakage"))
        (tmp_path / "equipment.toml").unlink()
    with pytest.raises(BadRulebook, match=fault):
        read_field_work(tmp_path)


OWN = Step("own.1.0", "weld", "", "look", None, "", None, None)


def test_an_owner_s_steps_stand_behind_the_built_in_ones_or_in_their_place():
    built_in = field_work().steps["visual"]
    assert composed(built_in, [OWN], instead=False) == (*built_in, OWN)
    assert composed(built_in, [OWN], instead=True) == (OWN,)


UT2 = Need("UT", "II")


@pytest.mark.parametrize(
    ("needs", "held", "lacks"),
    [
        # common practice, no source: any one need serves, a higher level too, the last day still counts
        ([], [], ""),
        ([UT2], [Held("UT", "II", DAY)], ""),
        ([UT2], [Held("UT", "III", DAY)], ""),
        ([UT2, Need("PT", "II")], [Held("PT", "II", DAY)], ""),
        ([UT2], [], "none of these is on record"),
        ([UT2], [Held("PT", "III", DAY)], "none of these is on record"),
        ([UT2], [Held("UT", "I", DAY)], "UT is held at level I"),
        ([UT2], [Held("UT", "II", date(2026, 11, 24))], "UT, level II, was valid until 2026-11-24"),
    ],
)
def test_what_somebody_lacks_is_said(needs, held, lacks):
    assert lacking(needs, held, DAY) == lacks


def test_levels_go_up():
    assert LEVELS == ("I", "II", "III")
