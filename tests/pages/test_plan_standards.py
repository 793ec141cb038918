"""The standards for planning on their page: kept as typed, and refused in words with nothing lost."""

from dataclasses import replace

import pytest

from app.actions import plans
from app.core.plan.basis import FIRST, PlanShop, Standard
from tests.pages.plans_cast import NORTH, fleet, standards
from tests.pages.reading import Page

# The least that can be kept, but for shops.
ONES = {
    "cleaning_cost": "1", "days_away": "1", "earning_per_day": "1", "unplaced_cost": "1",
    "visual.skill": "tank", "visual.days": "2", "visual.cost": "1",
}  # fmt: skip


def test_standards_are_kept_as_typed_and_shown_again(client, record, web_app):
    record(fleet)
    form = {
        "cleaning_cost": "1,500", "days_away": "10", "earning_per_day": "55.5", "unplaced_cost": "90000",
        "visual.skill": "tank", "visual.days": "2.5", "visual.cost": "1800", "visual.late_cost": "",
        "shops.0.code": NORTH, "shops.0.does": "tank", "shops.0.days": "40",
        "shops.0.months": "2027-07 0, 2027-12 20", "shops.0.move_cost": "1400",
        "moves": f"Gulf; {NORTH}; 700", "cars": "zqkx 7001; 85; 2027-03",
    }  # fmt: skip
    answer = client.post("/plans/standards", data=form)
    assert "Kept." in answer.text, Page(answer.text).words
    kept = record(plans.basis_of)
    assert kept.shops == (
        PlanShop(NORTH, ("tank",), 40.0, {"2027-07": 0.0, "2027-12": 20.0}, 1400.0),
    )
    assert (kept.cleaning_cost, kept.days_away, kept.earning_per_day) == (1500.0, 10, 55.5)
    assert kept.standards["visual"].days == 2.5
    assert kept.move_cost("Gulf") == {NORTH: 700.0}
    assert kept.move_cost("Prairie") == {NORTH: 1400.0}
    assert (kept.cars[0].car, kept.cars[0].earning_per_day, kept.cars[0].earliest) == (
        "ZQKX 7001",
        85.0,
        "2027-03",
    )
    shown = client.get("/plans/standards").text
    assert "2027-07 0, 2027-12 20" in shown
    assert f"Gulf; {NORTH}; 700" in shown


@pytest.mark.parametrize(
    ("regions", "told"),
    [
        (("Gulf",), ""),
        (("Gulff", "Gulf"), "what moving from “Gulff” costs, and no car of yours is there"),
        (("Gulff", "gulf"), "from “Gulff”, “gulf” costs, and no car of yours is in any of these"),
        ((), ""),
    ],
)
def test_regions_in_which_no_car_is_are_kept_and_told(client, record, regions, told):
    record(fleet)
    shop = {"shops.0.code": NORTH, "shops.0.does": "tank", "shops.0.days": "40"}
    moves = "\n".join(f"{region}; {NORTH}; 700" for region in regions)
    page = Page(client.post("/plans/standards", data={**ONES, **shop, "moves": moves}).text).words
    assert "Kept." in page
    assert told in page
    assert bool(told) == ("no car of yours" in page)


def test_a_directive_has_its_row_and_standards_kept_before_it_had_one_are_read(client, record):
    record(fleet)
    old = {item: held for item, held in FIRST.standards.items() if item != "directive"}
    record(lambda db: standards(db, replace(FIRST, standards=old)))
    assert record(plans.basis_of).standards == old
    page = client.get("/plans/standards").text
    assert 'name="directive.days" value=""' in page
    form = ONES | {"directive.skill": "tank", "directive.days": "3", "directive.cost": "900"}
    assert "Kept." in client.post("/plans/standards", data=form).text
    assert record(plans.basis_of).standards["directive"] == Standard("tank", 3, 900)


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("cleaning_cost", "-5", "want a cost from 0"),
        ("cleaning_cost", "lots", "is not a number"),
        ("cleaning_cost", "nan", "is not a number"),
        ("days_away", "inf", "is not a number"),
        ("cleaning_cost", "1,5", "want one such as 1.5"),
        ("cars", "ZQKX 99; 85;", "There is no car ZQKX 99 of yours"),
        ("days_away", "1e400", "is not a number"),
        ("days_away", "9" * 400, "is not a number"),
        ("unplaced_cost", "1e300", "want a cost from 0"),
        ("days_away", "4000", "want 0 to 366"),
        ("days_away", "1.7", "is no whole number of days"),
        ("moves", f"Gulf; {NORTH}; 5\ngulf; {NORTH}; 7", "it is there twice"),
        ("cars", "ZQKX 7001; 85;\nzqkx 7001; 90;", "it is there twice"),
        ("shops.0.months", "2027-07 0, 2027-07 5", "it is there twice"),
        ("visual.days", "0", "want more than 0"),
        ("visual.late_cost", "-1", "want a cost from 0"),
        ("shops.0.does", "welding of moons", "No item takes the skill"),
        ("shops.0.months", "July", "want a month and its days"),
        ("shops.0.days", "-3", "want 0 or more"),
        ("moves", "Gulf; Nowhere Shop; 5", "No shop is named"),
        ("moves", "Gulf Nowhere Shop 5", "want 3 parts with semicolons between"),
        ("cars", "ZQKX 7001; 85; spring", "want a month such as"),
    ],
)
def test_standards_that_cannot_be_are_refused_with_what_was_typed(
    client, record, field, typed, told
):
    record(fleet)
    form = {
        **ONES,
        "shops.0.code": NORTH, "shops.0.does": "tank", "shops.0.days": "40", "shops.0.move_cost": "",
    }  # fmt: skip
    answer = client.post("/plans/standards", data={**form, field: typed})
    assert answer.status_code == 422
    assert told in answer.text
    assert typed in answer.text
    assert record(plans.basis_of) == FIRST


def test_two_shops_whose_names_differ_in_capitals_alone_are_one_too_many(client, record):
    record(fleet)
    shop = {"does": "tank", "days": "40", "move_cost": "1"}
    form = {
        **ONES,
        **{f"shops.{at}.{name}": typed for at in (0, 1) for name, typed in shop.items()},
        "shops.0.code": NORTH, "shops.1.code": NORTH.lower(),
    }  # fmt: skip
    answer = client.post("/plans/standards", data=form)
    assert answer.status_code == 422
    assert f"“{NORTH.lower()}” is there twice" in Page(answer.text).words


def test_a_row_that_no_form_has_is_no_row(client, record):
    record(fleet)
    for row in ("x", "9" * 9, "9" * 5000):
        answer = client.post("/plans/standards", data={f"shops.{row}.code": NORTH})
        assert answer.status_code == 422


def test_what_is_wrong_with_a_shop_is_told_at_its_field_past_rows_left_empty(client, record):
    record(fleet)
    form = {
        **ONES,
        "shops.0.code": "", "shops.3.code": NORTH, "shops.3.does": "tank, flying", "shops.3.days": "-3",
        "shops.3.months": "2027-07 -4", "shops.3.move_cost": "-1",
    }  # fmt: skip
    page = client.post("/plans/standards", data=form).text
    for name in ("does", "days", "months", "move_cost"):
        field = page.split(f'name="shops.3.{name}"')[1].split(">")[0]
        assert 'aria-invalid="true"' in field, name


def test_faults_are_told_by_shop_or_item_and_the_name_of_the_field(client, record):
    record(fleet)
    form = {
        **ONES, "visual.days": "0", "moves": "Gulf; Nowhere Shop; 5",
        "shops.1.code": NORTH, "shops.1.does": "tank", "shops.1.days": "40", "shops.1.months": "2027-07 -4",
        "shops.1.move_cost": "-1",
    }  # fmt: skip
    told = Page(client.post("/plans/standards", data=form).text).words
    for fault in (
        "Visual inspection: Shop days : 0 days; want more than 0",
        f"{NORTH}: Other days : -4 days a month",
        f"{NORTH}: Moving a car there : -1; want a cost",
        "Moving from a region : No shop is named",
    ):
        assert fault.replace(" :", ":") in told.replace(" :", ":"), told
    nameless = {**ONES, "shops.2.days": "40", "shops.2.does": "tank", "shops.2.move_cost": "x"}
    told = Page(client.post("/plans/standards", data=nameless).text).words.replace(" :", ":")
    assert "Shop 3: Want the name of the shop" in told
    assert "Shop 3: Moving a car there: “x” is not a number" in told


def version_of(page: str) -> str:
    return page.split('name="version" value="')[1].split('"')[0]


def test_what_somebody_else_kept_meanwhile_is_told_and_nothing_typed_is_lost(client, record):
    record(fleet)
    shop = {"shops.0.code": NORTH, "shops.0.does": "tank", "shops.0.days": "40"}
    form = {**ONES, **shop, "version": version_of(client.get("/plans/standards").text)}
    theirs = {**form, "visual.cost": "15000", "shops.0.days": "8", "moves": f"Gulf; {NORTH}; 700"}
    assert client.post("/plans/standards", data=form).status_code == 200
    opened = version_of(client.get("/plans/standards").text)
    assert "Kept." in client.post("/plans/standards", data={**theirs, "version": opened}).text
    ours = {**form, "version": opened, "visual.days": "2.75"}
    answer = client.post("/plans/standards", data=ours)
    assert answer.status_code == 409
    told = Page(answer.text).words
    for changed in (
        "Visual inspection: Cost : Kept meanwhile: 15000; it was 1.",
        f"{NORTH}: Days a month : Kept meanwhile: 8; it was 40.",
        f"Moving from a region : Kept meanwhile: Moving from Gulf to {NORTH}: not stated, now 700.",
    ):
        assert changed in told, (changed, told)
        assert told.count(changed.partition(" : ")[2]) == 2  # above the form, and at its field
    assert 'value="2.75"' in answer.text
    assert record(plans.basis_of).standards["visual"] == Standard("tank", 2, 15000)
    # Not told once more; and kept once it was read.
    assert client.post("/plans/standards", data=ours).status_code == 409
    latest = answer.text.split('name="meanwhile" value="')[1].split('"')[0]
    read = {**ours, "visual.cost": "15000", "meanwhile": latest}
    assert "Kept." in client.post("/plans/standards", data=read).text
    assert record(plans.basis_of).standards["visual"] == Standard("tank", 2.75, 15000)
    # Sent twice, it is answered as the first time.
    assert "Kept." in client.post("/plans/standards", data=read).text
