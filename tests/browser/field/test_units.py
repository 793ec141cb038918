"""Millimetres and kilopascals on the tablet: kept as they were said, never judged better than exactly, offline too."""

import itertools
from fractions import Fraction
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from app.core.measure import exact, kept, read
from app.core.showing import Preferences, in_words, length
from tests.browser.field.test_judge import desk as desk
from tests.browser.field.test_recording import button, go, measuring, said
from tests.browser.field.test_recording import page as page

METRIC = {"length": "mm", "pressure": "kPa", "days": "day_first"}
LINES = {"c": "0.437007", "d": "0.4", "e": "0.3375", "judged_by": "lines"}
MEASURED = [
    f"{tenths}.{rest} mm" for tenths, rest in itertools.product(range(8, 13), (0, 1, 16, 9999))
]


def test_a_measure_is_read_as_it_is_here(desk: Page) -> None:
    cases = [*MEASURED, "11.1 mm", "517 kPa", "0.1 kPa", "0.438"]
    told = desk.evaluate(
        """async cases => { const { decimal, shown } = await import("/app/decimal.js");
          return cases.map((each) => [shown(decimal(each), 6), shown(decimal(each, true), 6)]); }""",
        cases,
    )
    for said_, (down, up) in zip(cases, told, strict=True):
        exactly = exact(read(said_))
        assert Fraction(down) == Fraction(kept(read(said_)))
        assert Fraction(down) <= exactly <= Fraction(up)


def test_no_reading_is_judged_better_than_it_stands(desk: Page) -> None:
    told = desk.evaluate(
        """async ([lines, cases]) => { const { reading } = await import("/app/judge.js");
          return cases.map((inches) => reading({ inches, extent: "general" }, lines).verdict); }""",
        [LINES, MEASURED],
    )
    worst_first = ("condemned", "at_or_below_c", "above_c")
    assert set(told) == set(worst_first)
    for inches, verdict in zip(MEASURED, told, strict=True):
        value = exact(read(inches))
        stands = 0 if value < Fraction(LINES["d"]) else 1 if value <= Fraction(LINES["c"]) else 2
        assert worst_first.index(verdict) <= stands


@pytest.mark.parametrize(
    ("left", "verdict"), [("537.791068 kPa", "within"), ("537.791069 kPa", "outside")]
)
def test_a_pressure_is_held_to_the_far_end_of_its_range(
    desk: Page, left: str, verdict: str
) -> None:
    """49 CFR 179.15(b): 78 psig at most, 537.791068867... kPa."""
    told = desk.evaluate(
        """async left => { const { bench } = await import("/app/judge.js");
          return bench("left_psig", left, { opens: { least: "72", most: "78" } }).verdict; }""",
        left,
    )
    assert told == verdict


TYPED = """async ([prefers, cases]) => {
  const { prefer, spelled, stated, typed, line } = await import("/app/prefers.js");
  prefer(prefers);
  try {
    return [cases.map(([text, unit]) => stated(text, unit)), typed("0.438", "in"), typed("11.1 mm", "in"),
      line("0.406"), spelled("tested 2018-03-05, set at 75 psig"),
      spelled("0.0333333 in lost, 0.0333333 in above line C")];
  } finally { prefer(null); }
}"""


def test_what_is_typed_is_stated_in_the_unit_that_is_shown(desk: Page) -> None:
    cases = [["11.1", "in"], ["0.438 in", "in"], ["11.1MM", "in"], ["517", "psig"], ["75 psi", "psig"], ["5 kPa", "in"],
             ["12", "minutes"], ["x", "in"]]  # fmt: skip
    stated, inches, metric, line, spelled, lost = desk.evaluate(TYPED, [METRIC, cases])
    assert stated == ["11.1 mm", "0.438", "11.1 mm", "517 kPa", "75", None, "12", None]
    assert (inches, metric) == ("0.438 in", "11.1 mm")
    assert (
        lost == "≈\u202f0.847 mm lost, ≈\u202f0.846 mm above line C"
    )  # to the side that looks worse
    assert line == length(Fraction("0.406"), "mm", "up")
    assert spelled == in_words(
        "tested 2018-03-05, set at 75 psig", Preferences("in", "kPa", "day_first")
    )
    assert desk.evaluate(TYPED, [None, [["0.438", "in"]]])[0] == ["0.438"]


def test_a_reading_in_millimetres_is_kept_as_it_was_typed_without_a_connection(page: Any) -> None:
    page.evaluate(
        "prefers => import('/app/prefers.js').then(({ prefer }) => prefer(prefers))", METRIC
    )
    key = measuring(page)
    assert said(page, key, "gauge_check")[0]["read_in"] == "0.5 mm"
    page.get_by_label("Millimetres", exact=True).fill("11.1")
    button(page, "Keep, next").click()
    expect(page.locator(".cell:not(.unread)")).to_have_count(1)
    assert [each["inches"] for each in said(page, key, "reading")] == ["11.1 mm"]
    go(page, f"report/{key}")
    go(page, f"report/{key}/thickness")
    expect(page.locator(".cell:not(.unread)").first).to_contain_text("11.1")
