"""`import`: a file into the register whole, or not at all."""

from pathlib import Path

import pytest
from openpyxl import Workbook

from tests.cli.conftest import CARS, EVENTS, Run


@pytest.fixture
def cars(tmp_path: Path) -> str:
    path = tmp_path / "cars.csv"
    path.write_text(CARS)
    return str(path)


def listed(run: Run) -> int:
    """How many due items the register lists."""
    return run("due", "--before", "2100-01-01").text.count("\n") - 1


def test_a_file_is_brought_in_and_counted(run: Run, store: str, cars: str) -> None:
    ended = run("import", "cars", cars)
    assert (ended.status, ended.err) == (0, "")
    assert ended.text == (
        "cars.csv is in the register: 3 rows, 3 added, 0 changed, 0 repeated. Import 1.\n"
    )
    assert listed(run) == 27  # nine dated items for each of three cars


def test_the_same_file_again_adds_nothing(run: Run, store: str, cars: str) -> None:
    run("import", "cars", cars)
    assert "0 added, 0 changed, 3 repeated" in run("import", "cars", cars).text


def test_a_dry_run_tells_and_stores_nothing(run: Run, store: str, cars: str) -> None:
    ended = run("import", "cars", cars, "--dry-run")
    assert ended.status == 0
    assert "would be brought in: 3 rows, 3 added" in ended.text
    assert "Nothing was stored." in ended.text
    assert "Invented Owner A" in ended.text  # a new party
    assert listed(run) == 0


def test_a_dry_run_shows_each_change(run: Run, register: str, tmp_path: Path) -> None:
    path = tmp_path / "more.csv"
    path.write_text(CARS.replace("Invented Owner B", "Invented Owner A"))
    ended = run("import", "cars", str(path), "--dry-run")
    assert "0 added, 1 changed, 2 repeated" in ended.text
    assert "row 4, ZQAX 20: " in ended.text
    assert "now 'Invented Owner B', would be 'Invented Owner A'" in ended.text


@pytest.mark.parametrize("dry", [[], ["--dry-run"]])
def test_every_bad_row_is_a_line_on_stderr_and_nothing_is_stored(
    run: Run, store: str, tmp_path: Path, dry: list[str]
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(
        "mark,number,specification,built_on\n"
        "ZQAX,1,DOT 111A100W1,2010-01-01\n"
        "ZQAX,2,DOT 111A100W1,31/31/2019\n"
        "ZQAX,0,DOT 111A100W1,2010-01-01\n"
    )
    ended = run("import", "cars", str(path), *dry)
    assert ended.status == 2
    first, second = ended.err.splitlines()
    assert first.startswith("row 3, built_on: found '31/31/2019'; want ")
    assert second.startswith("row 4, number: found '0'; want ")
    assert listed(run) == 0


def test_a_workbook_is_brought_in_as_well(run: Run, store: str, tmp_path: Path) -> None:
    book = Workbook()
    for line in CARS.splitlines():
        book.active.append(line.split(","))
    book.save(tmp_path / "cars.xlsx")
    assert "3 added" in run("import", "cars", str(tmp_path / "cars.xlsx")).text


def test_events_of_a_car_that_the_register_lacks_are_refused(
    run: Run, store: str, tmp_path: Path
) -> None:
    path = tmp_path / "events.csv"
    path.write_text(EVENTS)
    ended = run("import", "events", str(path))
    assert ended.status == 2
    assert ended.err.startswith("row 2, ")
    assert "ZQAX 100" in ended.err


@pytest.mark.parametrize("kind", ["cars", "components", "events", "ladings", "visits"])
def test_the_template_tells_each_column_on_a_line(run: Run, kind: str) -> None:
    ended = run("import", kind, "--template")
    assert ended.status == 0
    lines = ended.text.splitlines()
    assert len({line.split()[0] for line in lines}) == len(lines)
    assert "(must be there)" in lines[0]


@pytest.mark.parametrize(
    ("content", "status", "sentence"),
    [
        (None, 3, "cannot be read: No such file or directory."),
        (b"", 2, "file.csv is empty."),
        (b"%PDF-1.7", 2, "file.csv is a PDF."),
        (b"colour,size\nred,3\n", 2, "row 1"),
    ],
)
def test_a_file_that_is_none_of_ours_is_told(
    run: Run, store: str, tmp_path: Path, content: bytes | None, status: int, sentence: str
) -> None:
    path = tmp_path / "file.csv"
    if content is not None:
        path.write_bytes(content)
    ended = run("import", "cars", str(path))
    assert ended.status == status
    assert sentence in ended.err


def test_a_folder_is_no_file(run: Run, store: str, tmp_path: Path) -> None:
    ended = run("import", "cars", str(tmp_path))
    assert ended.status == 3
    assert "cannot be read: Is a directory." in ended.err
