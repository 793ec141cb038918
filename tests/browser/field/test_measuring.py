"""What is too small, too pale or too wide on a page for the field is noticed."""

import pytest
from playwright.sync_api import Page

from tests.browser.field.measuring import LOOKS, SIZES, unsound

BY_AXE = ("color-contrast-enhanced", "label")
PAGE = """<!doctype html><html lang="en"><title>Made up</title>
<style>body { font: 18px sans-serif; color: #000; background: #fff }
.hidden { position: absolute; clip-path: inset(50%) }
.large { display: inline-block; width: 60px; height: 50px; font: inherit }</style><main><h1>Made up</h1>"""


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("<button class='large' style='width: 10px; padding: 0'>x</button>", "10 by 50"),
        ("<button class='large' style='height: 10px; padding: 0'>x</button>", "60 by 10"),
        ("<label class='large' style='width: 40px'><input type='radio'>x</label>", "40 by 50"),
        ("<label class='large' style='width: 9px' for=f>x</label><input class='hidden' type=file id=f>", "9 by 50"),
        ("<p><a href='/'>Alone in its line</a></p>", " by "),
        ("<p style='font-size: 17px'>Small</p>", "letters of 17"),
        ("<label>It<input class='large' style='font-size: 16px'></label>", "letters of 16"),
        ("<p style='color: #6f6f6f'>Five to one</p>", "color-contrast-enhanced"),
        ("<input class='large'>", "label"),
        ("<div style='width: 1100px'>Wide</div>", "too wide by "),
    ],
)  # fmt: skip
def test_at_each_size_that_is_looked_at_it_is_told(page: Page, content: str, told: str) -> None:
    page.set_content(PAGE + content)
    found = [*unsound(page)]
    assert len(found) >= (LOOKS if told in BY_AXE else len(SIZES))
    assert all(told in each for each in found), found


def test_what_is_large_enough_and_a_link_among_words_are_not(page: Page) -> None:
    page.set_content(
        f"{PAGE}<p>As <a href='/'>a rule</a> says</p><button class='large'>x</button>"
        "<label class='large'><input type='checkbox'>x</label>"
    )
    assert [*unsound(page)] == []
