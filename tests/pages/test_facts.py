"""Dated facts on pages: a new row, the due dates before and after, the history intact."""

import re
from html.parser import HTMLParser

import pytest

from app.actions import ladings
from app.actions.changes import NewLading
from app.pages.fact_forms import FACTS
from tests.pages.car_cast import acid_car
from tests.pages.test_car import text


@pytest.fixture
def acid(record) -> int:
    return record(acid_car)


def test_every_kind_of_fact_has_a_form_that_opens(client, acid):
    for kind in FACTS:
        assert client.get(f"/cars/{acid}/facts/{kind}").status_code == 200, kind


RECORDED = [
    # A lading that is not corrosive brings the ten years back (49 CFR 180.509(f)(2), 2019 edition).
    (
        "lading",
        {"commodity": "Molasses", "hazardous": "no", "corrosive_or_reactive": "no"},
        "Thickness 2023-03-15 overdue 2028-03-15 in date",
    ),
    # Lined: a lining item of eight years, and thickness by the lining's application (180.509(i)).
    (
        "lining",
        {"lined": "yes", "kind": "rubber", "applied_on": "2024-05-02", "from_on": "2024-05-02"},
        "Lining no such item 2032-05-02 in date",
    ),
    # A marked date controls (49 CFR 180.515, 2019 edition).
    ("stencil", {"marked_on": "2018-03-15", "visual": "2027-06"}, "Visual inspection 2028-03-15 in date 2027-06-01"),
    # An approved longer interval that is on the stencil replaces the rule's (180.509(l)).
    (
        "approval",
        {"item": "visual", "interval_months": "144", "reference": "AP-4", "stenciled": "yes"},
        "Visual inspection 2028-03-15 in date 2030-03-15 in date",
    ),
    # The owner's shorter interval for service equipment (180.509(k)(1)).
    ("fitting", {"service_equipment_interval_months": "60"}, "Service equipment 2028-03-15 in date 2023-03-15 overdue"),
    # The owner's minimum moves line C under the reading, but not both heads' firmness.
    ("details", {"specification": "DOT 111A100W1", "built_on": "2008-03-01"}, "Specification and tank were recorded."),
    ("owner", {"owner": "Brindle Cars", "region": "North"}, "The owner was recorded."),
    ("standing", {"standing": "stored", "reason": "No loads."}, "The standing was recorded."),
    ("hold", {"held": "yes", "reason": "Valve weeps."}, "It was recorded."),
    ("name", {"mark": "ZQAX", "number": "7"}, "The car was re-marked."),
    (
        "convert",
        {"specification": "DOT 111A60W1", "built_on": "2008-03-01", "from_on": "2025-01-02"},
        "The conversion was recorded.",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "typed", "said"), RECORDED, ids=[row[0] for row in RECORDED])
def test_a_fact_is_recorded_and_the_answer_shows_what_moved(client, acid, kind, typed, said):
    typed = {"from_on": "2026-11-25"} | typed
    answer = client.post(f"/cars/{acid}/facts/{kind}", data=typed)
    assert answer.status_code == 200, text(answer)
    assert said in text(answer)


WRONG = [
    ("lading", {"commodity": ""}, "Nothing was entered; this is needed."),
    ("lading", {"commodity": "Acid", "un": "1789x"}, "Found '1789x'; want an identification number"),
    ("lading", {"commodity": "Acid", "from_on": "2027-01-01"}, "lies in the future"),
    ("lading", {"commodity": "Acid", "hazardous": "perhaps"}, "Found 'perhaps'; want yes or no"),
    ("lining", {"lined": ""}, "Nothing was entered; this is needed."),
    ("lining", {"lined": "yes", "applied_on": "2001-01-01"}, "lies before the car was built"),
    ("stencil", {"visual": "soon"}, "Found 'soon'; want the date as painted"),
    ("approval", {"item": "leakage"}, "Found 'leakage'; want one of the choices"),
    ("fitting", {"service_equipment_interval_months": "x"}, "Found 'x'; want a number of months"),
    ("owner", {"owner": ""}, "Nothing was entered; this is needed."),
    ("standing", {"standing": "lost"}, "Found 'lost'; want one of the choices"),
    ("name", {"mark": "Z", "number": "7"}, "want a reporting mark of 2 to 4 letters"),
    ("details", {"specification": "DOT 111"}, "A delimiter of class 111 is wanted"),
    (
        "details",
        {"specification": "DOT 111A100W1", "built_on": "2020-01-01"},
        "lies after an event recorded on 2018-03-15",
    ),
    ("convert", {"specification": "DOT 111A60W1", "from_on": ""}, "Nothing was entered; this is needed."),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "typed", "said"), WRONG)
def test_each_wrong_field_is_told_beside_it_and_nothing_is_recorded(
    client, acid, kind, typed, said
):
    typed = {"from_on": "2026-11-25"} | typed
    answer = client.post(f"/cars/{acid}/facts/{kind}", data=typed)
    assert answer.status_code == 422
    read = text(answer)
    assert said in read or said.lower() in read
    for value in typed.values():
        assert (
            not value
            or f'value="{value}"' in answer.text
            or "choices" in said
            or "perhaps" in value
        )


def test_a_lading_is_chosen_from_the_list(client, acid, record):
    new = NewLading(
        "Caustic soda",
        un="UN1824",
        hazard_class="8",
        packing_group="II",
        corrosive_or_reactive=True,
    )
    record(lambda db: ladings.save(db, new))
    form = client.get(f"/cars/{acid}/facts/lading", params={"choose": "Caustic soda"})
    for value in ("Caustic soda", "UN1824", "2026-11-25"):
        assert f'value="{value}"' in form.text
    unknown = client.get(f"/cars/{acid}/facts/lading", params={"choose": "Nothing such"})
    assert "is not on the list of ladings" in text(unknown)


def test_a_new_lading_starts_from_an_empty_form_lest_old_figures_stay(client, acid):
    assert "UN1789" not in text(client.get(f"/cars/{acid}/facts/lading")).replace(
        "Such as UN1789", ""
    )
    assert 'value="Hydrochloric acid"' not in client.get(f"/cars/{acid}/facts/lading").text


def test_a_fact_from_an_earlier_day_says_that_the_later_one_stays(client, acid):
    client.post(
        f"/cars/{acid}/facts/lading",
        data={"commodity": "Molasses", "hazardous": "no", "from_on": "2026-06-01"},
    )
    late = {"commodity": "Vinegar", "hazardous": "no", "from_on": "2025-01-01"}
    answer = client.post(f"/cars/{acid}/facts/lading", data=late)
    assert "What was recorded from 2026-06-01 on is later and stays in force." in text(answer)


def test_a_converted_car_keeps_what_it_was(client, acid):
    typed = {"specification": "DOT 111A60W1", "built_on": "2008-03-01", "from_on": "2025-01-02"}
    client.post(f"/cars/{acid}/facts/convert", data=typed)
    read = text(client.get(f"/cars/{acid}"))
    assert "Since 2025-01-02" in read
    assert "Specification DOT 111A100W1" in read
    assert "until 2025-01-02" in read


def test_a_sold_car_leaves_the_lists_and_not_the_record(client, acid):
    assert "104512" in text(client.get("/fleet"))
    client.post(f"/cars/{acid}/facts/standing", data={"standing": "sold", "from_on": "2026-11-25"})
    assert "104512" not in text(client.get("/fleet"))
    assert "Inspections and changes" in text(client.get(f"/cars/{acid}"))


def test_a_kind_of_fact_that_is_none_is_told(client, acid):
    assert client.get(f"/cars/{acid}/facts/colour").status_code == 404


def test_a_fact_recorded_wrongly_is_withdrawn_and_what_was_before_holds_again(client, acid, record):
    sweet = {"commodity": "Molasses", "hazardous": "no", "corrosive_or_reactive": "no"}
    client.post(f"/cars/{acid}/facts/lading", data=sweet | {"from_on": "2026-06-01"})
    page = client.get(f"/cars/{acid}").text
    address = re.search(r'href="(/facts/service/\d+/withdraw)"', page)[1]
    assert client.post(address, data={"reason": ""}).status_code == 422
    answer = client.post(address, data={"reason": "Another car."})
    assert answer.status_code == 200
    assert "Thickness 2028-03-15 in date 2023-03-15 overdue" in text(answer)
    read = text(client.get(f"/cars/{acid}"))
    assert "Lading Hydrochloric acid" in read
    assert "Another car." in read
    twice = client.post(address, data={"reason": "Another car."})
    assert twice.status_code == 422
    assert "was already withdrawn" in text(twice)


def test_what_a_car_cannot_be_without_is_not_withdrawn(client, acid):
    address = "/facts/construction/1/withdraw"
    assert address not in client.get(f"/cars/{acid}").text
    answer = client.post(address, data={"reason": "Wrong."})
    assert answer.status_code == 422
    assert "A car cannot be without this fact" in text(answer)


def test_a_fact_that_is_none_is_told(client, acid):
    assert client.get("/facts/colour/1/withdraw").status_code == 404
    assert client.get("/facts/service/99/withdraw").status_code == 404


class Sent(HTMLParser):
    """What the form of a page sends as it stands."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.values: dict[str, str] = {}
        self.chooser = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "select":
            self.chooser = told["name"]
        elif tag == "option" and "selected" in told:
            self.values[self.chooser] = told["value"]
        elif tag == "input" and (
            told.get("type") not in ("radio", "checkbox") or "checked" in told
        ):
            self.values[told.get("name", "")] = told.get("value", "")


def in_force(client, car: int, table: str) -> str:
    """The number of the row of this table that the car's page offers to correct."""
    found = re.findall(rf"/facts/{table}/(\d+)/correct", client.get(f"/cars/{car}").text)
    assert found, f"nothing of {table} to correct"
    return str(found[0])


TABLES = ["car_name", "construction", "ownership", "service", "standing"]


@pytest.mark.parametrize("table", TABLES)
def test_a_correction_starts_from_what_is_recorded_and_changes_nothing_by_itself(
    client, acid, table
):
    address = f"/facts/{table}/{in_force(client, acid, table)}/correct"
    form = client.get(address)
    assert form.status_code == 200
    before = client.get(f"/api/v1/cars/{acid}").json()
    answer = client.post(address, data=Sent(form.text).values)
    assert answer.status_code == 200, text(answer)
    assert "The record was replaced" in text(answer)
    assert client.get(f"/api/v1/cars/{acid}").json() == before


def test_a_name_recorded_wrongly_is_corrected_and_holds_from_where_it_did(client, acid):
    address = f"/facts/car_name/{in_force(client, acid, 'car_name')}/correct"
    answer = client.post(address, data={"mark": "ZQKX", "number": "104521"})
    assert answer.status_code == 200
    assert "ZQKX 104521" in text(client.get(f"/cars/{acid}"))
    page = client.get(f"/cars/{acid}").text
    assert "Since the beginning" in page
    again = client.post(address, data={"mark": "ZQKX", "number": "104522"})
    assert again.status_code == 422
    assert "already corrected" in text(again)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"mark": "Z", "number": "7"}, "want a reporting mark of 2 to 4 letters"),
        ({"mark": "ZQKX", "number": "7", "from_on": "2027-01-01"}, "lies in the future"),
    ],
)
def test_a_correction_that_cannot_be_is_told_and_nothing_is_lost(client, acid, typed, said):
    address = f"/facts/car_name/{in_force(client, acid, 'car_name')}/correct"
    answer = client.post(address, data=typed)
    assert answer.status_code == 422
    assert said in text(answer)
    assert 'value="7"' in answer.text


@pytest.mark.parametrize("address", ["/facts/party/1/correct", "/facts/service/99/correct"])
def test_what_there_is_not_cannot_be_corrected(client, address):
    assert client.get(address).status_code == 404
