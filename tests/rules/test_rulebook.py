"""The rules as data: each with its citation, edition and confidence; a bad file stops the start-up."""

import shutil

import pytest

from app.core.rule import UNVERIFIED
from app.rules.reader import DEFAULT, BadRulebook, default_rulebook, read_rulebook

RULES = default_rulebook().rules


@pytest.mark.parametrize("name", sorted(RULES))
def test_every_rule_says_what_where_from_and_how_sure(name):
    rule = RULES[name]
    assert rule.text
    assert rule.citation
    assert rule.edition
    assert rule.confidence in ("verified", "memory")
    assert (UNVERIFIED in rule.reason.text) is (rule.confidence == "memory")


@pytest.mark.parametrize(
    ("code", "psi", "confidence"),
    [
        # 49 CFR 179.100-7 and 179.200-7, annual edition of October 1, 2019.
        ("TC128B", 81000, "verified"),
        ("A302B", 80000, "verified"),
        ("A516-70", 70000, "verified"),
        ("A537-1", 70000, "verified"),
        ("A240-304", 75000, "verified"),
        ("A240-316", 75000, "verified"),
        ("A240-304L", 70000, "verified"),
        ("A240-316L", 70000, "verified"),
        ("B162-NI", 40000, "verified"),
        ("AL5052", 25000, "verified"),
        ("AL5154", 30000, "verified"),
        ("AL5254", 30000, "verified"),
        ("AL5454", 31000, "verified"),
        ("AL5086", 35000, "verified"),
        ("AL5083", 38000, "verified"),
        # Retired steels, from memory.
        ("A285C", 55000, "memory"),
        ("A212B", 70000, "memory"),
        ("A515-70", 70000, "memory"),
    ],
)
def test_a_material_has_its_tensile_strength(code, psi, confidence):
    material = default_rulebook().materials[code]
    assert (material.tensile_psi, material.confidence) == (psi, confidence)
    assert material.citation


def test_no_material_is_there_without_a_test():
    assert len(default_rulebook().materials) == 18


@pytest.fixture
def changed(tmp_path):
    """Reads a copy of the rulebook in which one text of one file was replaced."""

    def read(file, old, new):
        folder = tmp_path / "rules"
        shutil.copytree(DEFAULT, folder)
        path = folder / file
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return read_rulebook(folder)

    return read


def test_a_rulebook_is_read_from_its_folder(changed):
    book = changed("180-509.toml", "interval_months = 96", "interval_months = 95")
    assert book.rule("lining").interval_months == 95


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("180-509.toml", "interval_months = 120", "interval_month = 120"),  # misspelt
        ("180-509.toml", "interval_months = 120", "interval_months = -120"),
        ("180-509.toml", "interval_months = 120", 'interval_months = "ten years"'),
        ("180-509.toml", 'citation = "49 CFR 180.509(d)"\n', ""),  # says not where from
        ("180-509.toml", 'edition = "2019"\n', ""),
        ("180-509.toml", 'confidence = "verified"', 'confidence = "sure"'),
        ("180-509.toml", "[rules.structural_integrity]", "[rules.visual]"),  # twice in a file
        ("180-515.toml", "[rules.", "[rules.visual]\n[rules."),  # twice in two files
        ("180-509.toml", 'local_extra_in = "1/16"', 'local_extra_in = "a little"'),
        ("180-509.toml", 'local_extra_in = "1/16"', "local_extra_in = 0.1"),  # not exact
        ("rulebook.toml", '"visual"', '"visuals"'),  # no such item
        ("appendix-d.toml", '"UN2789"', '"2789"'),
        ("rulebook.toml", "id = ", "id == "),  # no TOML
    ],
)
def test_a_bad_rule_file_is_refused(changed, file, old, new):
    with pytest.raises(BadRulebook):
        changed(file, old, new)
