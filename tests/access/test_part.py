"""The owner of a lining or of service equipment: what they see and record of a car that is another's."""

import io
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zipfile import ZipFile

import pytest
from fastapi import FastAPI

from app.main import create_app
from app.settings import Settings
from app.store.db import make_engine, sessions, write_session
from tests.access.parties import (
    FITTER,
    LINER,
    MARK,
    NUMBER,
    OWNER,
    browser,
    companies,
    lined_car,
    signed_in,
)
from tests.fixtures.store import at_rest
from tests.fixtures.web import NOW, TestClient
from tests.pages.reading import Page, csv_rows

NOTHING = 987654
# What is the owner's alone: lading, region, other inspections, where and by whom.
SECRETS = (
    "Hydrochloric", "UN1789", "Gulf of Nowhere", "Whole Works", "secret of the owner", "Brake Works", "TRUCK-1045",
)  # fmt: skip
OF = {
    LINER: frozenset(("lining",)),
    FITTER: frozenset(("service_equipment", "relief_device", "leakage")),
}
NOT_HIS = {LINER: ("Valve Works", "RV-1045"), FITTER: ("Lining Works", "invented rubber")}
PARTS = sorted(OF)


@dataclass
class Shared:
    """A car of one company, its lining another's and its equipment a third's."""

    app: FastAPI
    car: int
    events: dict[str, int]

    def ask(self, party: str, role: str = "inspector") -> TestClient:
        return browser(self.app, party, role)


@pytest.fixture(scope="module")
def made(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """A store with the cars, to be copied, and the key of the one that is shared."""
    path = tmp_path_factory.mktemp("shared") / "store.db"
    shutil.copyfile(sqlite_template, path)
    engine = make_engine(f"sqlite:///{path}")
    with write_session(sessions(engine)) as db:
        party = companies(db, OWNER, LINER, FITTER)
        for name in party:
            for role in ("inspector", "planner"):
                signed_in(db, party[name], role)
        lined_car(db, party[LINER], NUMBER + 1)
        car = lined_car(db, party[OWNER], lining_owner=LINER, equipment_owner=FITTER).id
    engine.dispose()
    at_rest(path)
    return path, car


@pytest.fixture
def shared(made: tuple[Path, int], tmp_path: Path) -> Iterator[Shared]:
    template, car = made
    shutil.copyfile(template, tmp_path / "store.db")
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'store.db'}")
    app = create_app(settings, clock=lambda: NOW)
    rows = browser(app, OWNER, "planner").get(f"/api/v1/cars/{car}/events").json()["rows"]
    yield Shared(app, car, {";".join(row["items"]): row["id"] for row in rows})
    app.state.engine.dispose()


def shown(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, (address, answer.text[-300:])
    return answer.text


def of_the_car(rows: list[dict]) -> list[dict]:
    return [row for row in rows if (row["mark"], int(row["number"])) == (MARK, NUMBER)]


@pytest.mark.parametrize("party", PARTS)
def test_the_page_shows_the_matching_items_and_nothing_of_others(shared, party):
    text = shown(shared.ask(party), f"/cars/{shared.car}")
    words = Page(text).words
    assert f"{MARK} {NUMBER}" in words.replace("\xa0", " ")
    assert "DOT 111A100W5" in words
    assert OWNER in words
    assert set(re.findall(r'<tr id="([a-z_]+)"', text)) == OF[party]
    for secret in (*SECRETS[2:], *NOT_HIS[party]):
        assert secret not in text, secret
    assert "Check before loading" not in text
    assert "May be loaded" not in text
    assert "May not be loaded" not in text


def test_the_lining_s_owner_sees_lining_facts_and_the_equipment_s_owner_components(shared):
    lining, equipment = (
        Page(shown(shared.ask(party), f"/cars/{shared.car}")).words for party in (LINER, FITTER)
    )
    assert "invented rubber" in lining
    assert "Lining Works" in lining
    assert "RV-1045" in equipment
    assert "Valve Works" in equipment
    assert "2022-02-03" in lining
    assert "2022-03-04" in equipment


@pytest.mark.parametrize("party", PARTS)
def test_every_link_of_the_page_leads_somewhere(shared, party):
    client = shared.ask(party)
    text = shown(client, f"/cars/{shared.car}")
    links = set(re.findall(r'href="(/[^"#]*)"', text)) - {"/sign-out"}
    assert any("/correct" in link for link in links)
    for link in sorted(links):
        if not link.startswith("/static"):
            assert client.get(link).status_code == 200, link


GONE = (
    "/cars/{car}/worked-out", "/cars/{car}/trial", "/cars/{car}/facts/lading", "/cars/{car}/components/new",
    "/cars/{car}/visits/new", "/cars/{car}/verdict?row=0", "/cars/{car}?as_of=2024-01-01",
    "/api/v1/cars/{car}", "/api/v1/cars/{car}/visits", "/api/v1/cars/{car}/due?as_of=2024-01-01",
    "/due/{car}/visual/reasons?as_of=2024-01-01",
)  # fmt: skip


@pytest.mark.parametrize("address", GONE)
@pytest.mark.parametrize("party", PARTS)
def test_what_is_of_the_whole_car_answers_as_what_does_not_exist(shared, party, address):
    client = shared.ask(party, "planner")
    said = []
    for key in (shared.car, NOTHING):
        answer = client.get(address.format(car=key))
        plain = re.sub(r"Number of this request: \S+", "", answer.text)
        plain = re.sub(rf"(/cars/|the key ){key}\b", "KEY", plain)
        said.append((answer.status_code, plain))
    assert said[0] == said[1]
    assert said[0][0] == 404


@pytest.mark.parametrize("party", PARTS)
def test_the_api_tells_the_matching_items_without_thickness_or_loading(shared, party):
    answer = shared.ask(party).get(f"/api/v1/cars/{shared.car}/due").json()
    assert set(answer) == {"car", "as_of", "answers_for", "items"}
    assert {item["item"] for item in answer["items"]} == OF[party]
    assert OF[party] <= set(answer["answers_for"])
    assert all(item["reasons"] for item in answer["items"])


def test_the_dates_are_those_that_the_owner_sees(shared):
    whole = shared.ask(OWNER).get(f"/api/v1/cars/{shared.car}/due").json()["items"]
    parts = [
        item
        for party in PARTS
        for item in shared.ask(party).get(f"/api/v1/cars/{shared.car}/due").json()["items"]
    ]
    assert parts == [item for item in whole if item["item"] in OF[LINER] | OF[FITTER]]


# Which events each is told, by what they name; "visual;lining" names more than the lining.
TOLD = {LINER: ["lining"], FITTER: ["relief_device;leakage"]}


@pytest.mark.parametrize("party", PARTS)
def test_only_events_that_name_matching_items_alone_are_told(shared, party):
    client = shared.ask(party)
    rows = client.get(f"/api/v1/cars/{shared.car}/events").json()["rows"]
    assert [";".join(row["items"]) for row in rows] == TOLD[party]
    for items, key in shared.events.items():
        expected = 200 if items in TOLD[party] else 404
        assert client.get(f"/api/v1/events/{key}").status_code == expected
        assert client.get(f"/events/{key}/correct").status_code == expected
        assert client.get(f"/events/{key}/withdraw").status_code == expected


def test_readings_of_the_shell_are_never_told_nor_lost(shared):
    """A lining inspection with spot readings stays the owner's to correct: another would lose them."""
    spots = {
        "on": "2024-05-06", "items": ["lining"],
        "readings": [{"zone": "shell_top", "inches": 0.43125, "confirmed": True}],
    }  # fmt: skip
    made = shared.ask(OWNER).post(f"/api/v1/cars/{shared.car}/events", json=spots)
    assert made.status_code == 201, made.text
    key = made.json()["event"]["id"]
    client = shared.ask(LINER)
    assert client.get(f"/api/v1/events/{key}").json()["readings"] == []
    assert "0.43125" not in shown(client, f"/cars/{shared.car}")
    assert client.get(f"/events/{key}/correct").status_code == 404
    answer = client.post(
        f"/api/v1/events/{key}/correction", json={"on": "2024-05-07", "items": ["lining"]}
    )
    assert answer.status_code == 404


LINING = {"on": "2025-06-07", "items": ["lining"], "facility": "Lining Works"}
# What each records, and whether it is theirs to record.
RECORDED = [
    (LINER, LINING, 201),
    (FITTER, LINING, 404),
    (FITTER, LINING | {"items": ["relief_device", "leakage"]}, 201),
    (LINER, LINING | {"items": ["leakage"]}, 404),
    (LINER, LINING | {"items": ["lining", "visual"]}, 404),
    (LINER, LINING | {"items": ["lining", "lining_applied"]}, 404),
    (FITTER, LINING | {"items": ["relief_device_changed"]}, 404),
    # A reading is of the tank, whatever was inspected.
    (LINER, LINING | {"readings": [{"zone": "shell_top", "inches": 0.43}]}, 404),
    (OWNER, LINING, 201),
]


@pytest.mark.parametrize(("party", "body", "status"), RECORDED)
def test_an_inspector_records_what_names_matching_items_alone(shared, party, body, status):
    before = shared.ask(OWNER).get(f"/api/v1/cars/{shared.car}/events").json()["rows"]
    answer = shared.ask(party).post(f"/api/v1/cars/{shared.car}/events", json=body)
    assert answer.status_code == status, answer.text
    after = shared.ask(OWNER).get(f"/api/v1/cars/{shared.car}/events").json()["rows"]
    assert len(after) - len(before) == (status == 201)
    if status == 201 and party != OWNER:
        assert {item["item"] for item in answer.json()["due"]["items"]} == OF[party]
        assert "loading" not in answer.json()["due"]
    if status == 404:
        assert str(shared.car) in answer.json()["error"]["message"]


def test_the_form_offers_the_matching_items_and_no_readings(shared):
    text = shown(shared.ask(LINER), f"/cars/{shared.car}/events/new")
    assert re.findall(r'name="items"[^>]*value="(\w+)"|value="(\w+)"[^>]*name="items"', text) in (
        [("lining", "")], [("", "lining")],
    )  # fmt: skip
    assert "readings" not in text
    assert "lining_applied" not in text


def test_an_inspection_is_recorded_corrected_and_withdrawn_on_the_page(shared):
    client = shared.ask(LINER)
    form = {
        "happened_on": "2025-06-07",
        "items": "lining",
        "outcome": "pass",
        "facility": "Lining Works",
    }
    answer = client.post(f"/cars/{shared.car}/events", data=form)
    assert answer.status_code == 200, Page(answer.text).words
    words = Page(answer.text).words
    assert "1 of 1 due item" in words
    assert "Lining Works" in shown(shared.ask(OWNER), f"/cars/{shared.car}")
    event = int(re.search(r"/events/(\d+)/correct", answer.text)[1])
    answer = client.post(f"/events/{event}/correct", data=form | {"happened_on": "2025-06-08"})
    assert answer.status_code == 200, Page(answer.text).words
    event = int(re.search(r"/events/(\d+)/withdraw", answer.text)[1])
    wrong = client.post(f"/events/{event}/correct", data=form | {"items": ["lining", "visual"]})
    assert wrong.status_code == 404
    answer = client.post(f"/events/{event}/withdraw", data={"reason": "Another car."})
    assert answer.status_code == 200
    assert (
        "Withdrawn by inspector at Invented Lining Works: Another car."
        in Page(shown(client, f"/cars/{shared.car}")).words
    )


def test_a_mistake_on_the_form_is_told_beside_what_was_typed(shared):
    form = {"happened_on": "2031-01-01", "items": "lining", "outcome": "pass", "facility": "Kept"}
    answer = shared.ask(LINER).post(f"/cars/{shared.car}/events", data=form)
    assert answer.status_code == 422
    assert "lies in the future" in answer.text
    assert "Kept" in answer.text


@pytest.mark.parametrize("party", PARTS)
def test_the_register_shows_the_row_with_what_the_party_may_know(shared, party):
    client = shared.ask(party, "planner")
    [row] = of_the_car(client.get("/api/v1/cars").json()["rows"])
    due = client.get(f"/api/v1/cars/{shared.car}/due").json()["items"]
    dated = [item for item in due if item["due_on"]]
    first = min(dated, key=lambda item: (item["status"] != "due_now", item["due_on"]), default=None)
    assert (row["specification"], row["owner"]) == ("DOT 111A100W5", OWNER)
    assert (row["region"], row["commodity"] or "", row["built_on"]) == ("", "", None)
    found = row["next"] and (row["next"]["item"], row["next"]["due_on"])
    assert found == (first and (first["item"], first["due_on"]))
    # The owner's own next item is another's affair.
    [whole] = of_the_car(shared.ask(OWNER).get("/api/v1/cars").json()["rows"])
    assert whole["next"]["item"] not in OF[party]
    assert whole["next"]["item"] not in (found or ())


LISTS = ("/fleet", "/fleet.csv", "/due", "/due.csv", "/overdue", "/", "/api/v1/cars", "/api/v1/due",
         "/due?status=unknown", "/fleet?standing=all", "/visits", "/ladings", "/record", "/imports")  # fmt: skip


@pytest.mark.parametrize("address", LISTS)
def test_no_list_tells_what_is_the_owner_s(shared, address):
    text = shown(shared.ask(FITTER, "planner"), address)
    for secret in (*SECRETS[2:], *NOT_HIS[FITTER]):
        assert secret not in text, secret


# Filters that would tell by what they find.
PROBES = (
    "/fleet?region=Gulf+of+Nowhere",
    "/fleet?lading=Hydrochloric+acid",
    "/due?region=Gulf+of+Nowhere",
)
API_PROBES = ("/api/v1/cars?region=Gulf+of+Nowhere", "/api/v1/cars?commodity=Hydrochloric+acid",
              "/api/v1/due?region=Gulf+of+Nowhere", "/api/v1/due?item=visual")  # fmt: skip


@pytest.mark.parametrize("address", PROBES)
def test_no_filter_of_a_page_finds_out_what_is_the_owner_s(shared, address):
    answer = shared.ask(FITTER, "planner").get(address)
    assert str(NUMBER) not in re.findall(r"\b\d+\b", Page(answer.text).words)


@pytest.mark.parametrize("address", API_PROBES)
def test_no_filter_of_the_api_finds_out_what_is_the_owner_s(shared, address):
    assert of_the_car(shared.ask(FITTER, "planner").get(address).json()["rows"]) == []
    assert of_the_car(shared.ask(OWNER, "planner").get(address).json()["rows"])


def test_an_export_of_due_items_holds_the_matching_ones(shared):
    rows = csv_rows(shared.ask(FITTER, "planner").get("/due.csv").content)
    own = of_the_car(rows)
    assert {row["item"] for row in own} <= OF[FITTER]
    assert {row["region"] for row in own} <= {""}


def test_why_an_item_falls_due_unfolds_for_matching_items_alone(shared):
    client = shared.ask(LINER)
    assert client.get(f"/due/{shared.car}/lining/reasons").status_code == 200
    assert client.get(f"/due/{shared.car}/visual/reasons").status_code == 404


def test_a_list_that_looks_back_leaves_cars_reached_in_part_out(shared):
    for address in ("/fleet?as_of=2024-01-01", "/due?as_of=2024-01-01"):
        text = shown(shared.ask(FITTER, "planner"), f"{address}&known=2026-11-25T13:00")
        assert str(NUMBER) not in re.findall(r"\b\d+\b", Page(text).words)


def test_recording_for_many_chooses_whole_cars_alone(shared):
    """A lining's owner with cars of its own records for all of its list, and not for the other's car."""
    client = shared.ask(LINER, "planner")
    text = Page(shown(client, f"/record?q={MARK}")).words
    assert "1 car" in text
    form = {"happened_on": "2026-06-07", "items": "visual", "outcome": "pass"}
    answer = client.post(f"/record?q={MARK}", data=form)
    assert answer.status_code == 200, Page(answer.text).words
    assert f"{MARK} {NUMBER + 1}" in Page(answer.text).words


def test_an_evidence_packet_is_of_whole_cars_alone(shared):
    client = shared.ask(LINER, "planner")
    for ending in ("", ".pdf", ".zip"):
        assert client.get(f"/cars/{shared.car}/evidence{ending}").status_code == 404
    told = Page(shown(client, f"/due/evidence?q={MARK}")).words
    assert "1 car; 1 car of which you see only a part is left out" in told
    for address in ("/fleet/evidence.zip", f"/due/evidence.zip?q={MARK}"):
        with ZipFile(io.BytesIO(client.get(address).content)) as packed:
            held = [name for name in packed.namelist() if name.startswith("cars/")]
        assert [name.split("-")[1] for name in held] == [str(NUMBER + 1)]
