"""The table of what is measured: what a row says of itself, and which rows a run replaces."""

import json
from pathlib import Path

import pytest

from bench import results
from bench.rows import Row, figure
from bench.timing import in_turn


def row(name: str = "a page", **asked: float) -> Row:
    return Row(name, 30.0, 10.0, "ms", "an empty page", **asked)


@pytest.mark.parametrize(
    ("asked", "met"),
    [
        ({"most": 30}, True),
        ({"most": 29.9}, False),
        ({"times": 3}, True),
        ({"times": 2.9}, False),
        ({"most": 30, "times": 2.9}, False),  # both are asked for
        ({"most": 29.9, "times": 3}, False),
    ],
)
def test_a_row_is_met_when_all_that_is_asked_of_it_is(asked: dict[str, float], met: bool) -> None:
    assert row(**asked).met is met


def test_a_row_of_which_nothing_is_asked_is_none() -> None:
    with pytest.raises(ValueError, match="Nothing is asked"):
        row()


def test_what_is_asked_for_is_told_in_words() -> None:
    assert row(most=50, times=3).target == "at most 50 ms, at most 3 times"


@pytest.mark.parametrize(
    ("value", "told"), [(1.00462, "1.0046"), (12.345, "12.3"), (0.061, "0.061"), (1282.3, "1,282")]
)
def test_figures_have_the_digits_that_count(value: float, told: str) -> None:
    assert figure(value) == told


def put(folder: Path, part: str, size: str, *rows: Row) -> None:
    results.put(part, size, rows, 0.5, "17.0", ["pages", "import"], folder)  # type: ignore[arg-type]


def names(folder: Path) -> list[tuple[str, str, str]]:
    kept = json.loads((folder / "results.json").read_text())
    return [(each["part"], each["size"], each["name"]) for each in kept]


def test_a_run_replaces_the_rows_of_its_part_and_size_alone(tmp_path: Path) -> None:
    put(tmp_path, "import", "small", row("a file", times=3))
    put(tmp_path, "pages", "full", row("large", times=3))
    put(tmp_path, "pages", "small", row("before", times=3), row("gone", times=3))
    put(tmp_path, "pages", "small", row("now", times=3))
    assert names(tmp_path) == [
        ("pages", "small", "now"),
        ("pages", "full", "large"),
        ("import", "small", "a file"),
    ]


def test_a_missed_row_stands_out_in_the_page(tmp_path: Path) -> None:
    put(tmp_path, "pages", "small", row("slow", times=2), row("quick", times=3))
    told = (tmp_path / "results.md").read_text()
    assert "2 rows, 1 **MISSED**." in told
    (missed,) = [line for line in told.splitlines() if "MISSED" in line and "|" in line]
    assert missed.startswith("| slow | small | 30 ms | 10 ms | 3 | at most 2 times | **MISSED** |")


def test_both_sides_are_asked_in_turn_and_the_first_round_goes_unheard() -> None:
    asked: list[str] = []
    taken = {"ours": iter([90.0, 1.0, 2.0, 6.0]), "theirs": iter([90.0, 4.0, 3.0, 5.0])}

    def side(name: str) -> float:
        asked.append(name)
        return next(taken[name])

    found = in_turn(lambda: side("ours"), lambda: side("theirs"), times=3)
    assert (found, asked) == ([2.0, 4.0], ["ours", "theirs"] * 4)
