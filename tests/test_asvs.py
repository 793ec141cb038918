"""docs/asvs.md: every requirement of levels 1 and 2 has a row, and each row a test that exists or a reason."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "asvs.md").read_text()
ROW = re.compile(r"^\| V(\d+\.\d+\.\d+) \| ([12]) \| (.+?) \| (.+?) \| (.+?) \|$", re.MULTILINE)
ROWS = [match.groups() for match in ROW.finditer(PAGE)]
each_row = pytest.mark.parametrize("row", ROWS, ids=lambda row: f"V{row[0]}")
# OWASP ASVS 5.0.0: how many requirements of levels 1 and 2 each section has.
SECTIONS = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2,
    "2.1": 3, "2.2": 3, "2.3": 4, "2.4": 1,
    "3.2": 2, "3.3": 4, "3.4": 6, "3.5": 5, "3.7": 2,
    "4.1": 3, "4.2": 1, "4.3": 2, "4.4": 4,
    "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3,
    "6.1": 3, "6.2": 12, "6.3": 4, "6.4": 4, "6.5": 5, "6.6": 3, "6.8": 4,
    "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5, "7.5": 2, "7.6": 2,
    "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1,
    "9.1": 3, "9.2": 4,
    "10.1": 2, "10.2": 2, "10.3": 4, "10.4": 11, "10.5": 5, "10.6": 2, "10.7": 3,
    "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 4, "11.5": 1, "11.6": 1,
    "12.1": 3, "12.2": 2, "12.3": 4,
    "13.1": 1, "13.2": 5, "13.3": 2, "13.4": 5,
    "14.1": 2, "14.2": 4, "14.3": 3,
    "15.1": 3, "15.2": 3, "15.3": 7,
    "16.1": 1, "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3,
    "17.1": 1, "17.2": 4, "17.3": 2,
}  # fmt: skip


def test_every_requirement_of_both_levels_has_one_row_in_order() -> None:
    ids = [tuple(map(int, row[0].split("."))) for row in ROWS]
    assert ids == sorted(set(ids))
    found: dict[str, int] = {}
    for one, two, _ in ids:
        found[f"{one}.{two}"] = found.get(f"{one}.{two}", 0) + 1
    assert found == SECTIONS
    levels = [row[1] for row in ROWS]
    assert (levels.count("1"), levels.count("2")) == (70, 183)
    assert len(re.findall(r"^\| V", PAGE, re.MULTILINE)) == len(ROWS), "a row of another shape"


@each_row
def test_a_row_names_a_test_that_exists_or_a_reason(row: tuple[str, ...]) -> None:
    _, _, asks, met, tested = row
    assert len(asks) < 100, "a few words of our own"
    files = re.findall(r"`(tests/[\w/]+\.py)`", tested)
    if files:
        assert re.sub(r"`[^`]+`|, ", "", tested) == ""
        assert not [name for name in files if not (ROOT / name).is_file()]
    elif tested == "–":
        assert re.match(r"\*\*Does not apply\*\*: \w+", met)
    else:
        assert tested == "by reading" or re.match(r"\*\*OPEN\*\*: \w+", tested)


@each_row
def test_a_module_that_a_row_names_exists(row: tuple[str, ...]) -> None:
    for name in re.findall(r"`([a-z_]+(?:/[a-z_]+)*\.py)\b", row[3]):
        assert (ROOT / "app" / name).is_file() or (ROOT / name).is_file(), name


def test_a_setting_that_a_row_names_exists() -> None:
    from app.settings import Settings

    named = set(re.findall(r"`([A-Z]{2,}_[A-Z_]+)`", PAGE)) - {"PRODUCT"}
    assert named
    assert {name.lower() for name in named} <= set(Settings.model_fields)
