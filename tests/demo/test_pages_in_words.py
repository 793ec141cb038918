"""Pages of the demo fleet speak in words: no name of the program's own, such as head_a, is left in them."""

import re
from html.parser import HTMLParser

import pytest
from fastapi.testclient import TestClient

TRIAL = "trial?lining.what=applied&lining.on=2024-05-01&lading.commodity=Acid"
CARS = [f"/cars/{car}" for car in (*range(1, 26), 400, 800)]
PAGES = [
    "/", "/fleet", "/due", "/due?status=unknown", "/overdue", "/overdue?item=thickness", "/ladings",
    "/record", "/rulebook", "/rulebook/tables", "/rulebook/questions", "/rulebook/editions", "/about",
    *CARS,
    *(f"{car}/{page}" for car in CARS[:6] for page in ("worked-out", TRIAL, "events/new")),
]  # fmt: skip
# What a person writes in an edition of the rulebook is told as it must be written.
WRITTEN_SO = {"(due_precision);", "(stencil_year);"}


@pytest.mark.parametrize("address", PAGES)
def test_a_page_shows_words_and_no_names_of_the_program(
    demo_client: TestClient, address: str
) -> None:
    answer = demo_client.get(address)
    assert answer.status_code == 200
    assert set(names_in(answer.text)) <= WRITTEN_SO


def test_a_name_among_words_is_noticed() -> None:
    page = "<p>at the head_a end <code>set_psig</code></p><input name='head_b'><td>due_now</td>"
    assert names_in(page) == ["head_a", "due_now"]


def names_in(page: str) -> list[str]:
    seen = Seen()
    seen.feed(page)
    return re.findall(r"\S*\w_\w\S*", " ".join(seen.words))


class Seen(HTMLParser):
    """What a person sees of a page, less what is set as code."""

    QUIET = ("script", "style", "code", "textarea")

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self._quiet = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._quiet += tag in self.QUIET
        # Read aloud, or shown in an empty field.
        self.words += [
            value or "" for name, value in attrs if name in ("aria-label", "placeholder")
        ]

    def handle_endtag(self, tag: str) -> None:
        self._quiet -= tag in self.QUIET

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.words.append(data)
