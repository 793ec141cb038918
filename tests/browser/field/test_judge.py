"""The tablet judges as the program does: the same table of cases asked of both, in a real browser."""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from playwright.sync_api import Page

from app.actions.changes import NewReading
from app.actions.readings import THICKEST, THINNEST, slip
from app.core import relief
from app.core.facts import Reading
from app.core.thickness import Lines, Measured, zone_thickness
from app.files.drawings import margin_in_words
from app.rules.reader import default_rulebook

# B, C, D and E of made-up tanks: an allowance of 1/8 in, of 3/16 in, and none.
LINES = (
    ("0.4375", "0.375", "0.3125", "0.25"),
    ("0.5625", "0.46875", "0.375", "0.3125"),
    ("0.25", "0.25", "0.25", "0.1875"),
    (None, None, None, None),
)
# Beside each line by the least that a gauge shows, and numbers that no binary fraction holds.
NEAR = ("-0.001", "0", "0.001")
APART = (("general", None, None), ("local", "8", "16"), ("local", "8.01", "16"), ("local", "3", "15.99"),
         ("local", None, "20"), ("local", "2.5", "40"))  # fmt: skip
ASKS = {"thickest": str(THICKEST), "thinnest": str(THINNEST)}
RANGES = (("71.25", "78.75"), (None, "375"), ("60", None), (None, None), ("75", "75"))


def readings() -> Iterator[dict[str, Any]]:
    for lines, (extent, span, apart) in itertools.product(LINES, APART):
        known = [Decimal(line) for line in lines if line] or [Decimal("0.3")]
        values = {line + Decimal(by) for line in known for by in NEAR} | {Decimal("0.3")}
        for inches in sorted(values):
            yield {
                "lines": lines, "inches": str(inches), "extent": extent, "span_in": span, "apart_in": apart,
            }  # fmt: skip


def exact(text: str | None) -> Fraction | None:
    return None if text is None else Fraction(text)


def judged_here(case: Mapping[str, Any]) -> list[str]:
    required, c, d, e = (exact(line) for line in case["lines"])
    line = Lines(required, c, d, e, False, (), "verified")
    reading = Reading(
        "shell_top", Fraction(case["inches"]), case["extent"], exact(case["span_in"]), exact(case["apart_in"])
    )  # fmt: skip
    measured = Measured(date(2026, 11, 2), reading, full=True)
    zone = zone_thickness("shell_top", line, [measured], default_rulebook())
    # Without a line nothing says whether a local one is taken for general.
    return [zone.verdict, margin_in_words(zone), "" if c is None else str(zone.extent)]


JUDGE = """async cases => {
  const { reading } = await import("/app/judge.js");
  return cases.map(({ lines: [, c, d, e], ...taken }) => {
    const told = reading(taken, { zone: "shell_top", c, d, e, judged_by: "lines" });
    return [told.verdict, told.margin, c === null ? "" : told.extent];
  });
}"""


@pytest.fixture(scope="module")
def desk(browser: Any, screens: str) -> Iterator[Page]:
    """A page that may import the modules; one for all cases."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(screens + "app/judge.js")
    yield page
    context.close()


def test_a_reading_stands_on_the_tablet_as_it_does_here(desk: Page) -> None:
    cases = list(readings())
    assert len(cases) > 150
    told = desk.evaluate(JUDGE, cases)
    assert [
        (case, one) for case, one in zip(cases, told, strict=True) if one != judged_here(case)
    ] == []


def test_every_verdict_is_among_the_cases() -> None:
    found = {judged_here(case)[0] for case in readings()}
    assert found == {"condemned", "at_or_below_c", "above_c", "unknown"}


GAUGES = {  # 49 CFR 180.509(f)(1): within 0.002 in of the standard
    ("0.500", "0.502"): True, ("0.500", "0.498"): True, ("0.500", "0.5021"): False, ("0.500", "0.4979"): False,
    ("0.3", "0.302"): True, ("1", "1.00"): True,
}  # fmt: skip


def test_a_gauge_reads_its_standard_within_two_thousandths(desk: Page) -> None:
    told = desk.evaluate(
        "async cases => { const { gauge } = await import('/app/judge.js');"
        "  return cases.map(([standard, read]) => gauge(standard, read).within); }",
        list(GAUGES),
    )
    assert told == list(GAUGES.values())


def test_a_slip_of_the_point_is_asked_about_in_the_same_words(desk: Page) -> None:
    inches = (
        "0",
        "-0.2",
        "0.437",
        "4.37",
        "437",
        "0.05",
        "0.049",
        "0.0437",
        "2.999",
        "3",
        "3.001",
        "4.375",
    )
    cases = [[one, design] for one in inches for design in ("0.4375", "0.25", None)]
    told = desk.evaluate(
        f"async cases => {{ const {{ slip }} = await import('/app/judge.js');"
        f"  return cases.map(([inches, design]) => slip(inches, design, {ASKS})); }}",
        cases,
    )
    here = [
        slip(NewReading("shell_top", Decimal(one)), Decimal(design) if design else None)  # type: ignore[arg-type]
        for one, design in cases
    ]
    assert told == here


MEASURES = {
    "found_psig": "found",
    "left_psig": "left",
    "vapor_tight_psig": "vapor_tight",
    "set_psig": "set",
}


def benched() -> list[tuple[str, str | None, str | None, str | None]]:
    pressures = (
        None,
        "75",
        "71.25",
        "71.249",
        "78.75",
        "78.751",
        "375",
        "375.1",
        "60",
        "59.9",
        "0",
    )
    return [
        (measure, psig, *ends)
        for measure, psig, ends in itertools.product(MEASURES, pressures, RANGES)
    ]


def benched_here(measure: str, psig: str | None, least: str | None, most: str | None) -> list[str]:
    allowed = relief.Range(exact(least), exact(most), ())
    judged = relief._judged(MEASURES[measure], exact(psig), allowed, ())  # type: ignore[arg-type]
    return [judged.verdict, relief.in_words(replace(judged))]


def test_a_bench_test_stands_on_the_tablet_as_it_does_here(desk: Page) -> None:
    cases = benched()
    told = desk.evaluate(
        """async cases => { const { bench } = await import("/app/judge.js");
          return cases.map(([measure, psig, least, most]) => {
            const range = { least, most };
            const told = bench(measure, psig, { opens: range, vapor_tight: range, set: range });
            return [told.verdict, told.words];
          }); }""",
        cases,
    )
    assert [
        (case, one) for case, one in zip(cases, told, strict=True) if one != benched_here(*case)
    ] == []


def test_a_reading_far_from_its_neighbours_or_from_last_time_is_asked_about(desk: Page) -> None:
    asks = {"loss_in": "0.03", "neighbour_in": "0.04"}
    last = {"inches": "0.440", "on": "2016-11-05"}
    told = desk.evaluate(
        """async ([cases, last, asks]) => { const { unlikely } = await import("/app/judge.js");
          return cases.map(([inches, around]) => unlikely(inches, around, last, asks)); }""",
        [
            [
                ["0.410", ["0.441", "0.370"]],
                ["0.409", []],
                ["0.471", []],
                ["0.440", ["0.481", "0.399"]],
            ],
            last,
            asks,
        ],
    )
    assert told == [
        [],
        ["0.031 in lost since 2016-11-05"],
        ["0.031 in thicker than on 2016-11-05"],
        ["0.041 in from every reading around it"],
    ]
