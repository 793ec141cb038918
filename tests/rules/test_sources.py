"""Every number, interval, day or condition that the rules state has its test, and the test shows it."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from app.rules.reader import default_rulebook
from tests.rules.sources import HELD, NOT_CALCULATED, Held

ROOT = Path(__file__).parents[2]
CITED = re.compile(r"(49 CFR (part )?\d+|\d+ FR \d+|FAST Act section \d+)")


@cache
def cases_of(file: str) -> dict[str, str]:
    """Each test of a file with its source, cases and all."""
    text = (ROOT / file).read_text(encoding="utf-8")
    lines = text.splitlines()
    found = {}
    for node in ast.parse(text).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            first = min([node.lineno, *(each.lineno for each in node.decorator_list)])
            found[node.name] = "\n".join(lines[first - 1 : node.end_lineno])
    return found


@pytest.mark.parametrize("held", HELD, ids=lambda held: f"{held.citation}: {held.states}")
def test_what_is_stated_has_a_test_that_shows_it(held: Held):
    file, name = held.test.split("::")
    assert name in cases_of(file)
    for text in held.shows:
        assert text in cases_of(file)[name], f"{name} does not show {text}"


@pytest.mark.parametrize(
    "cited", [*HELD, *NOT_CALCULATED], ids=lambda cited: f"{cited[0]}: {cited[1]}"
)
def test_a_row_names_a_published_section(cited: tuple[str, ...]):
    assert CITED.match(cited[0])
    assert cited[1]


def test_no_row_stands_twice():
    rows = [(row[0], row[1]) for row in (*HELD, *NOT_CALCULATED)]
    assert len(rows) == len(set(rows))


def sections(citation: str) -> set[str]:
    """The sections that a citation names, without their paragraphs: 180.509 of `49 CFR 180.509(d)(2), (f)(6)`."""
    found = set(re.findall(r"\b\d{3}\.\d+(?:-\d+)?", citation)) | set(
        re.findall(r"\d+ FR \d+", citation)
    )
    found |= set(re.findall(r"part 180, Appendix D|FAST Act section \d+", citation))
    return found


def test_every_section_that_a_rule_cites_is_here():
    held = set().union(*(sections(row.citation) for row in HELD))
    book = default_rulebook()
    cited = {rule.citation for rule in book.rules.values()}
    cited |= {ban.citation for ban in book.flammable_bans}
    cited |= {material.citation for material in book.materials.values()}
    cited |= {row.citation for rows in book.stencils.rows.values() for row in rows}
    named = {section for citation in cited for section in sections(citation)}
    # 224.111 and the others in paragraphs; 173.31(e) by its amendment.
    bases = {section.split("-")[0] for section in held}
    missing = {
        section for section in named if section not in held and section.split("-")[0] not in bases
    }
    assert not missing


def test_every_row_of_the_class_tables_is_here():
    shown = " ".join(row.states for row in HELD)
    for rows in default_rulebook().stencils.rows.values():
        for row in rows:
            if row.class_ in ("103", "104", "211", "107"):  # no table in the editions seen
                continue
            assert row.class_ in shown, row
            if row.plate_in is not None and row.class_ not in ("113", "117"):
                text = f"{row.class_}A{row.pressure}{row.material}W{row.suffix}"
                assert text in shown, text
