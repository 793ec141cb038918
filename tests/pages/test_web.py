"""What every page has: a commit before its answer, one way to say what is wrong, no foreign code."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session

from app import api, pages, web
from app.errors import Busy, Conflict, Fault, NewerStore, NotFound, Problem, Refused
from tests.fixtures.people import COOKIES, KEEPER
from tests.fixtures.web import Record, asking

TEMPLATES = Path(__file__).parents[2] / "templates"
FAULTS = [Fault("events.0.on", "want a date, got 'x'"), Fault("car.number", "want 1 to 999999")]


def raising(app: FastAPI, problem: Exception) -> None:
    """Have /raise and /api/raise raise `problem`."""

    def fail() -> None:
        raise problem

    app.add_api_route("/raise", fail)
    app.add_api_route("/api/raise", fail)


PROBLEMS = [
    (NotFound("There is no car ZQKX 1."), 404),
    (Conflict("Recorded already."), 409),
    (Refused("It cannot be.", FAULTS), 422),
    (Busy(), 503),
    (NewerStore("0042"), 503),
]


@pytest.mark.parametrize(("problem", "status"), PROBLEMS)
def test_a_problem_is_a_page_that_says_it_and_leads_back(
    web_app: FastAPI, client: TestClient, problem: Problem, status: int
) -> None:
    raising(web_app, problem)
    answer = client.get("/raise", headers={"Referer": "http://testserver/fleet?q=ZQ"})
    assert answer.status_code == status
    assert str(problem) in answer.text
    assert 'href="/fleet?q=ZQ"' in answer.text


@pytest.mark.parametrize(("problem", "status"), PROBLEMS)
def test_under_api_a_problem_has_one_json_shape(
    web_app: FastAPI, client: TestClient, problem: Problem, status: int
) -> None:
    raising(web_app, problem)
    answer = client.get("/api/raise")
    assert answer.status_code == status
    faults = [{"path": each.path, "problem": each.problem} for each in problem.faults]
    assert answer.json() == {"error": {"message": str(problem), "faults": faults}}


def test_a_busy_store_says_when_to_try_again(web_app: FastAPI, client: TestClient) -> None:
    raising(web_app, Busy())
    assert client.get("/raise").headers["retry-after"] == "3"


def test_every_fault_of_several_is_listed(web_app: FastAPI, client: TestClient) -> None:
    raising(web_app, Refused("It cannot be.", FAULTS))
    told = client.get("/raise").text
    assert all(fault.path in told for fault in FAULTS)


def test_a_bug_is_a_page_without_its_innards(web_app: FastAPI, client: TestClient) -> None:
    raising(web_app, ZeroDivisionError("the innards"))
    answer = client.get("/raise")
    assert answer.status_code == 500
    assert "the innards" not in answer.text
    assert "Nothing of this request was stored" in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def test_htmx_gets_a_problem_as_a_part_of_a_page(web_app: FastAPI, client: TestClient) -> None:
    raising(web_app, Refused("It cannot be."))
    answer = client.get("/raise", headers={"HX-Request": "true"})
    assert "It cannot be." in answer.text
    assert "<html" not in answer.text


def test_a_commit_that_fails_is_no_200(
    web_app: FastAPI, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(self: Session) -> None:
        raise RuntimeError("the disk is full")

    def fine(db: web.Db) -> dict[str, str]:
        return {"recorded": "yes"}

    web_app.add_api_route("/write", fine, methods=["POST"])
    monkeypatch.setattr(Session, "commit", broken)
    assert client.post("/write").status_code == 500


def test_reading_waits_for_no_writer_and_keeps_nothing(
    web_app: FastAPI, client: TestClient, record: Record[None]
) -> None:
    @web.may("record_facts")
    def write_in_a_get(db: web.Db) -> dict[str, str]:
        from app.store.tables import Party

        db.add(Party(name="Unwanted"))
        db.flush()
        return {}

    web_app.add_api_route("/sly", write_in_a_get)
    assert client.get("/sly").status_code == 200

    def look(db: Session) -> None:
        from app.store import cars

        assert list(cars.party_names(db).values()) == [KEEPER]

    record(look)


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},  # another port or subdomain is another program
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},  # a sandboxed frame
        {"Origin": "http://testserver:81"},
    ],
)
def test_a_change_asked_for_by_another_site_is_refused(
    client: TestClient, headers: dict[str, str]
) -> None:
    answer = client.post("/ladings/new", headers=headers, data={"name": "Slipped in"})
    assert answer.status_code == 403
    assert "Slipped in" not in client.get("/ladings").text


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "same-origin", "Origin": "http://testserver"},
        {"Sec-Fetch-Site": "none"},  # typed into the address bar
        {"Origin": "http://testserver"},  # a browser without Sec-Fetch-Site
        {},  # a program
    ],
)
def test_a_change_asked_for_here_is_taken(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/ladings/new", headers=headers, data={"name": "Sugar syrup"})
    assert answer.status_code == 200
    assert "Sugar syrup" in answer.text


def test_reading_may_be_asked_for_from_anywhere(client: TestClient) -> None:
    assert client.get("/about", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/health", "/nothing", "/static/style.css"])
def test_every_answer_keeps_foreign_code_and_frames_out(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'; script-src 'self'; style-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("path", ["/", "/about", "/fleet", "/due", "/overdue", "/ladings"])
def test_no_page_has_inline_code_or_styles(client: TestClient, path: str) -> None:
    page = client.get(path).text
    assert not re.search(r"<script(?![^>]*\bsrc=)", page)
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", page)


def test_static_files_named_by_their_sum_are_kept_for_good(client: TestClient) -> None:
    address = re.search(r'href="(/static/style\.css\?v=\w+)"', client.get("/about").text)
    assert address
    assert "immutable" in client.get(address[1]).headers["cache-control"]
    assert "immutable" not in client.get("/static/style.css").headers.get("cache-control", "")


def test_who_records_is_who_is_signed_in_whatever_name_is_sent(
    web_app: FastAPI, client: TestClient, stranger: TestClient
) -> None:
    @web.may("record_work")
    def say(by: web.Recorder, posted: web.Posted) -> dict[str, str]:
        return {"by": by}

    web_app.add_api_route("/say", say, methods=["POST"])
    assert client.post("/say").json() == {"by": "Test Planner"}
    client.cookies.set("recorded_by", "Zoë Quill".encode().hex())
    sent = {"recorded_by": "Zoë Quill", "by": "Zoë Quill"}
    answer = client.post("/say?recorded_by=Quill", data=sent)
    assert answer.json() == {"by": "Test Planner"}
    assert "set-cookie" not in answer.headers  # nothing of it is kept for the next form either
    assert stranger.post("/say", data=sent, follow_redirects=False).status_code in (303, 401)


@pytest.mark.usefixtures("client")
def test_a_body_over_the_limit_is_refused_with_the_limit(web_app: FastAPI) -> None:
    from app.main import create_app
    from app.settings import Settings

    url = web_app.state.settings.database_url
    small = create_app(Settings(database_url=url, upload_limit_mb=1))
    with asking(small) as signed_in:
        answer = signed_in.post("/imports", content=b"x" * 2_100_000)
        assert answer.status_code == 413
        assert "At most 1 MB" in answer.text
        pieces = (b"x" * 100_000 for _ in range(30))  # sent without saying how much
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        answer = signed_in.post("/ladings/new", content=pieces, headers=form)
        assert "At most 1 MB" in answer.text


def test_what_day_it_is_follows_the_time_zone(web_app: FastAPI) -> None:
    from datetime import UTC, datetime

    from app.main import create_app
    from app.settings import Settings

    url = web_app.state.settings.database_url
    # 03:00 in UTC is still the day before in Chicago.
    night = create_app(
        Settings(database_url=url, time_zone="America/Chicago"),
        clock=lambda: datetime(2026, 11, 25, 3, 0, tzinfo=UTC),
    )
    with TestClient(night) as client:
        assert "<time>2026-11-24</time>" in client.get("/about").text


def test_a_store_of_a_newer_version_is_told_on_every_page(
    web_app: FastAPI, client: TestClient, record: Record[None]
) -> None:
    def from_the_future(db: Session) -> None:
        db.connection().exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")

    record(from_the_future)
    answer = client.get("/fleet")
    assert answer.status_code == 503
    assert "newer version" in answer.text


@pytest.mark.parametrize("cookies", [{}, COOKIES])
@pytest.mark.parametrize("path", ["/fleet", "/sign-in", "/api/v1/cars"])
def test_a_store_to_be_brought_up_to_date_first_is_told_before_anybody_is_let_in(
    tmp_path: Path, path: str, cookies: dict[str, str]
) -> None:
    from app.main import create_app
    from app.settings import Settings

    empty = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'empty.db'}"))
    with asking(empty, cookies) as client:
        answer = client.get(path, follow_redirects=False)
    assert answer.status_code == 422
    assert "python -m app migrate" in answer.text


def test_a_locked_store_is_busy_and_loses_nothing(
    web_app: FastAPI, client: TestClient, record: Record[None], monkeypatch: pytest.MonkeyPatch
) -> None:
    with web_app.state.engine.connect() as other:
        other.exec_driver_sql("PRAGMA busy_timeout = 10")
    web_app.state.engine.dispose()
    monkeypatch.setattr(
        "app.store.db.PRAGMAS", ("PRAGMA journal_mode = WAL", "PRAGMA busy_timeout = 50")
    )
    import sqlite3

    holder = sqlite3.connect(web_app.state.engine.url.database, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        answer = client.post("/ladings/new", data={"name": "Sugar syrup"})
    finally:
        holder.close()
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert client.post("/ladings/new", data={"name": "Sugar syrup"}).status_code == 200


def test_unknown_addresses_and_methods_are_told(client: TestClient) -> None:
    assert "no page at /nothing" in client.get("/nothing").text
    assert client.post("/about").status_code == 405


def test_health_says_that_it_serves(client: TestClient) -> None:
    assert client.get("/health").json()["status"] == "ok"


# Other places of an address, filled with something that is there to be asked.
FITTING = {"kind": "owner", "item": "visual", "table": "lining", "part": "overdue"}
TEXTS = {
    "job_id",
    "upload_id",
    "waiting_id",
    "key",
}  # the key of an invitation is a secret, not a number


def numbered() -> Iterator[tuple[str, str]]:
    """Method and address of every page and answer with a row's number in it, which is left out."""
    routers = [("", router) for router in pages.ROUTERS]
    routers += [(api.ADDRESS, module.router) for module in (api.cars, api.events, api.trial)]
    for prefix, router in routers:
        for route in router.routes:
            address = re.sub(r"{(\w+)}", lambda name: FITTING.get(name[1], name[0]), route.path)
            places = re.findall(r"{(\w+)}", address)
            if places and not TEXTS & set(places):
                yield from ((method, prefix + address) for method in route.methods)


@pytest.mark.parametrize("key", [2**63, 10**23 - 1, "9" * 5000, 2**63 - 1, 0, -1])
def test_a_number_that_no_row_can_have_is_not_found(client: TestClient, key: int | str) -> None:
    asked = list(numbered())
    assert len(asked) > 25
    for method, address in asked:
        path = re.sub(r"{\w+}", str(key), address) + "?row=0"
        sent = {"json": {"on": "2026-11-03", "items": ["visual"]}} if method == "POST" else {}
        answer = client.request(method, path, **sent)
        assert answer.status_code == 404, (method, address, answer.text[-2000:])


def test_what_scrolls_sideways_is_reached_by_keyboard_and_has_a_name() -> None:
    found = [
        box
        for source in sorted(TEMPLATES.rglob("*.html"))
        for box in re.findall(r'<div class="scroll[^>]*>', source.read_text())
    ]
    assert found
    for box in found:
        assert re.search(r' tabindex="0" role="(group|region)" aria-label="', box), box
