"""The guides name what the product shows: its words, pictures that are there, and no picture lies about unnamed."""

import io
import re
import tokenize
from functools import cache
from html import unescape
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GUIDES = (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")))
BY_ROLE = ("planner", "compliance", "field", "shop", "administrator")
SCREENS = ROOT / "docs" / "screens"
LINK = re.compile(r"\]\((?!\w+:|#)([^)#]+)")
BOLD = re.compile(r"\*\*(.+?)\*\*", re.DOTALL)
COMMENT = re.compile(r"\{#.*?#\}|/\*.*?\*/|^\s*//.*?$", re.DOTALL | re.MULTILINE)


def links(guide: Path) -> list[Path]:
    return [(guide.parent / link).resolve() for link in LINK.findall(guide.read_text())]


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_every_link_and_picture_of_a_guide_leads_to_a_file(guide: Path) -> None:
    assert [str(each) for each in links(guide) if not each.is_file()] == []


def test_every_picture_is_named_by_a_guide() -> None:
    named = {each for guide in GUIDES for each in links(guide)}
    assert {each.resolve() for each in SCREENS.rglob("*.png")} - named == set()


def plain(text: str) -> str:
    return " ".join(unescape(text).replace("’", "'").split()).lower()


@cache
def shown() -> str:
    """All that pages and the program of the tablet can say: templates and scripts but their comments, and strings."""
    said = [
        COMMENT.sub(" ", path.read_text())
        for folder, kind in (("templates", "*.html"), ("static/field", "*.js"))
        for path in sorted((ROOT / folder).rglob(kind))
    ]
    for folder in ("pages", "web", "core"):
        for path in sorted((ROOT / "app" / folder).rglob("*.py")):
            read = tokenize.generate_tokens(io.StringIO(path.read_text()).readline)
            said += [token.string for token in read if token.type == tokenize.STRING]
    return plain("\n".join(said))


@pytest.mark.parametrize("role", BY_ROLE)
def test_the_words_in_bold_of_a_guide_are_those_of_the_product(role: str) -> None:
    bold = {plain(each) for each in BOLD.findall((ROOT / "docs" / f"{role}.md").read_text())}
    assert bold
    assert {each for each in bold if not re.search(rf"\b{re.escape(each)}", shown())} == set()


def test_a_word_that_no_page_says_is_noticed() -> None:
    assert "look through the file" in shown()
    assert "look through this invented thing" not in shown()
