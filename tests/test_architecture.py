"""Who may import whom, what the core may touch, and how long a function or module may grow.

The imports table is the one in DEVELOPERS.md.
"""

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
APP = ROOT / "app"
LONGEST_FUNCTION = 45
LONGEST_MODULE = 450

WEB = {"fastapi", "starlette", "jinja2", "uvicorn"}
READING = {f"sqlalchemy.{name}" for name in ("select", "text", "func", "union_all", "exists")}
WRITING = {f"sqlalchemy.{name}" for name in ("insert", "update", "delete")}


def imports_table() -> dict[str, set[str]]:
    section = (
        (ROOT / "DEVELOPERS.md").read_text().split("## Who may import whom")[1].split("\n## ")[0]
    )
    rows = re.findall(r"^\| (`\w+`(?:, `\w+`)*) \| (.+) \|$", section, flags=re.MULTILINE)
    return {
        part: set(re.findall(r"`(\w+)`", allowed))
        for parts, allowed in rows
        for part in re.findall(r"`(\w+)`", parts)
    }


MAY_IMPORT = imports_table()


def sources(part: str) -> list[Path]:
    module = APP / f"{part}.py"
    return [module] if module.is_file() else sorted((APP / part).rglob("*.py"))


def imported(source: str, package: str = "app") -> set[str]:
    """The dotted names that `source`, a module of `package`, imports, at whatever depth."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            parents = package.split(".")
            above = parents[: len(parents) - node.level + 1] if node.level else []
            origin = ".".join([*above, *([node.module] if node.module else [])])
            found |= {f"{origin}.{name.name}" for name in node.names}
    return found


def imported_by(path: Path) -> set[str]:
    return imported(path.read_text(), ".".join(path.relative_to(ROOT).parts[:-1]))


def parts_in(names: set[str]) -> set[str]:
    """The parts of app/ among dotted names; what app/__init__.py itself holds is no part."""
    return {name.split(".")[1] for name in names if name.startswith("app.")} & MAY_IMPORT.keys()


def outside(names: set[str]) -> set[str]:
    """The top names of packages that are not ours."""
    return {name.split(".")[0] for name in names} - {"app"}


def app_sources() -> list[Path]:
    return sorted(APP.rglob("*.py"))


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def layout() -> str:
    return (ROOT / "DEVELOPERS.md").read_text().split("## Where a thing goes")[1].split("```")[1]


def test_the_layout_names_no_module_that_is_gone() -> None:
    there = {path.name for path in app_sources()}
    assert not set(re.findall(r"\w+\.py", layout())) - there


@pytest.mark.parametrize("part", ["core", "store", "web"])
def test_the_layout_names_every_module_of_the_parts_with_most_of_them(part: str) -> None:
    modules = {path.stem for path in (APP / part).iterdir() if not path.name.startswith("__")}
    assert not modules - set(re.findall(r"\w+", layout()))


def test_the_imports_table_allows_nothing_that_nobody_does() -> None:
    for part, allowed in MAY_IMPORT.items():
        done = parts_in(set().union(*map(imported_by, sources(part))))
        assert not (allowed & MAY_IMPORT.keys()) - done, f"{part} is allowed more than it does"


@pytest.mark.parametrize(
    ("source", "package", "parts"),
    [
        ("import app.web", "app.pages", {"web"}),
        ("from app.web import page", "app.pages", {"web"}),
        ("from app import web", "app.pages", {"web"}),
        ("def late():\n    from app.store.db import engine", "app.core", {"store"}),
        ("from ..store import db", "app.core", {"store"}),
        ("from . import months", "app.core", {"core"}),
        ("from app import __version__", "app.pages", set()),
        ("from application.web import page", "app.pages", set()),
    ],
)
def test_an_import_is_seen_however_it_is_written(
    source: str, package: str, parts: set[str]
) -> None:
    assert parts_in(imported(source, package)) == parts


def test_the_table_in_developers_md_names_every_part_and_no_other() -> None:
    there = {path.stem for path in APP.iterdir() if path.suffix == ".py" or path.is_dir()}
    assert MAY_IMPORT.keys() == there - {"__init__", "__main__", "__pycache__"}


def test_the_table_allows_no_circle() -> None:
    settled: set[str] = set()
    waiting = dict(MAY_IMPORT)
    while ready := {part for part, allowed in waiting.items() if allowed <= settled}:
        settled |= ready
        waiting = {part: allowed for part, allowed in waiting.items() if part not in settled}
    assert not waiting, f"these import each other: {sorted(waiting)}"


@pytest.mark.parametrize("part", MAY_IMPORT)
def test_a_part_imports_only_what_the_table_allows(part: str) -> None:
    allowed = MAY_IMPORT[part] | {part}
    strangers = {named(path): parts_in(imported_by(path)) - allowed for path in sources(part)}
    assert not {path: found for path, found in strangers.items() if found}


def test_starting_the_package_only_hands_over_to_the_command_line() -> None:
    assert imported_by(APP / "__main__.py") == {"app.cli.main"}
    assert not imported_by(APP / "__init__.py")


@pytest.mark.parametrize("part", ["core", "errors"])
def test_the_innermost_parts_import_only_the_standard_library(part: str) -> None:
    strangers = {named(path): outside(imported_by(path)) for path in sources(part)}
    assert not {
        path: found - sys.stdlib_module_names
        for path, found in strangers.items()
        if found - sys.stdlib_module_names
    }


def test_the_core_asks_no_clock() -> None:
    clocks = [
        f"{named(path)}:{node.lineno}"
        for path in sources("core")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Attribute) and node.attr in ("today", "now", "utcnow")
    ]
    assert not clocks
    assert not {named(path) for path in sources("core") if "time" in outside(imported_by(path))}


def test_only_the_web_side_knows_the_web_framework() -> None:
    knowing = {
        named(path)
        for part in MAY_IMPORT.keys() - {"main", "web", "pages", "api", "cli"}
        for path in sources(part)
        if outside(imported_by(path)) & WEB
    }
    assert not knowing


@pytest.mark.parametrize(
    ("statements", "may_write_them"),
    [
        # `sqlalchemy` as a whole could be used for either.
        (READING | {"sqlalchemy"}, {"store"}),
        (WRITING, {"store", "actions"}),
    ],
    ids=["questions", "changes"],
)
def test_sql_is_written_only_where_it_belongs(
    statements: set[str], may_write_them: set[str]
) -> None:
    strays = {
        named(path): found
        for part in MAY_IMPORT.keys() - may_write_them
        for path in sources(part)
        if (found := imported_by(path) & statements)
    }
    assert not strays


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def lines_of(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (function.end_lineno or function.lineno) - function.lineno + 1


def test_no_function_is_longer_than_one_can_read_at_once() -> None:
    long = [
        f"{named(path)}:{function.lineno} {function.name}, {lines_of(function)} lines"
        for path in app_sources()
        for function in functions(path)
        if lines_of(function) > LONGEST_FUNCTION
    ]
    assert not long


def test_no_module_holds_more_than_one_subject_can_fill() -> None:
    lengths = {named(path): len(path.read_text().splitlines()) for path in app_sources()}
    assert not {path: lines for path, lines in lengths.items() if lines > LONGEST_MODULE}


def test_every_module_opens_with_its_job() -> None:
    silent = [
        named(path)
        for path in app_sources()
        if path.read_text().strip() and not ast.get_docstring(ast.parse(path.read_text()))
    ]
    assert not silent
