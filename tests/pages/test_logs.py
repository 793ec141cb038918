"""What a request leaves in the log: one line, its number, and nothing that anybody typed."""

import io
import json
import logging
import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from app import logs, web
from app.errors import Away
from app.web.logs import identify

SECRET = "planted-9f1c"


@pytest.fixture
def told(log_as_it_was: None) -> io.StringIO:
    """What is told from now on, as JSON lines at the most talkative level until `tell` says otherwise."""
    stream = io.StringIO()
    tell(stream, "json", "debug")
    return stream


def tell(stream: io.StringIO, form: logs.Form, level: logs.Level) -> None:
    """Set the log up as a process does, and look at what it writes to stderr."""
    logs.set_up(form, level)
    (handler,) = logging.getLogger().handlers
    assert isinstance(handler, logging.StreamHandler)
    handler.setStream(stream)


def lines(told: io.StringIO) -> list[dict[str, object]]:
    return [json.loads(line) for line in told.getvalue().splitlines()]


def requests(told: io.StringIO) -> list[dict[str, object]]:
    return [line for line in lines(told) if line["logger"] == "app.web.logs"]


@pytest.mark.parametrize(
    ("method", "address", "route", "status"),
    [
        ("GET", "/fleet?q=ZQKX+1", "/fleet", 200),
        ("GET", "/cars/7", "/cars/{car_id}", 404),
        ("GET", "/api/v1/cars/7", "/api/v1/cars/{car_id}", 404),
        ("GET", "/nothing/typed", "unmatched", 404),  # it may be the key of a link, mistyped
        ("GET", "/static/style.css?v=1", "/static/...", 200),
        ("POST", "/about", "/about", 405),
    ],
)
def test_a_request_is_one_line_with_its_route_and_not_its_address(
    client: TestClient, told: io.StringIO, method: str, address: str, route: str, status: int
) -> None:
    answer = client.request(method, address)
    (line,) = requests(told)
    assert answer.status_code == status
    assert (line["method"], line["route"], line["status"]) == (method, route, status)
    assert line["request_id"] == answer.headers["x-request-id"]
    assert isinstance(line["ms"], int)
    assert line["level"] == "info"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", str(line["time"]))


def test_who_was_signed_in_is_named_by_number(
    client: TestClient, stranger: TestClient, told: io.StringIO
) -> None:
    client.get("/about")
    stranger.get("/health")
    assert [line["person_id"] for line in requests(told)] == [1, None]


@pytest.mark.parametrize(
    ("given", "taken"),
    [
        ("a1B2-c3_d4.e5", True),
        ("x" * 64, True),
        ("x" * 65, False),
        ("", False),
        ("two words", False),
        ("a\nb", False),  # would be a line of its own
        ("é", False),
        ("<b>", False),
    ],
)
def test_a_number_is_taken_over_only_when_it_is_a_plain_token(given: str, taken: bool) -> None:
    assert (identify(given) == given) is taken
    assert re.fullmatch(r"[A-Za-z0-9._-]{1,64}", identify(given))


def test_two_requests_have_two_numbers_and_a_proxys_is_kept(client: TestClient) -> None:
    first, second = (client.get("/about").headers["x-request-id"] for _ in range(2))
    assert first != second
    kept = client.get("/about", headers={"X-Request-ID": "from-the-proxy.1"})
    assert kept.headers["x-request-id"] == "from-the-proxy.1"


def failing(app: FastAPI, wrong: Exception) -> None:
    @web.may("everyone")
    def fail(posted: web.Posted) -> None:
        raise wrong

    app.add_api_route("/fail", fail, methods=["POST"])


@pytest.mark.parametrize("part", [{}, {"HX-Request": "true"}])
def test_an_error_shows_the_number_that_the_log_has(
    web_app: FastAPI, client: TestClient, told: io.StringIO, part: dict[str, str]
) -> None:
    failing(web_app, ZeroDivisionError("innards"))
    for answer in (client.post("/fail", headers=part), client.get("/nothing", headers=part)):
        number = answer.headers["x-request-id"]
        assert f"Number of this request: {number}" in answer.text
        assert number in {line["request_id"] for line in requests(told)}


def test_a_bug_is_told_with_its_places_and_the_number_of_its_request(
    web_app: FastAPI, client: TestClient, told: io.StringIO
) -> None:
    failing(web_app, ZeroDivisionError("innards"))
    number = client.post("/fail").headers["x-request-id"]
    assert [line["status"] for line in requests(told)] == [500]
    (bug,) = [line for line in lines(told) if line["logger"] == "app.web.problems"]
    assert bug["request_id"] == number
    assert bug["message"] == "POST /fail failed"
    exception = bug["exception"]
    assert isinstance(exception, list)
    assert exception[0] == "builtins.ZeroDivisionError"
    assert any("test_logs.py" in place and "in fail" in place for place in exception)
    assert "innards" not in told.getvalue()


def planted(wrong: Exception) -> Exception:
    """With a cause and a context that tell of it too."""
    wrong.__cause__ = ValueError(SECRET)
    wrong.__cause__.__context__ = KeyError(SECRET)
    return wrong


def away(cause: Exception) -> Away:
    problem = Away()
    problem.__cause__ = cause
    return problem


@pytest.mark.parametrize(
    "wrong",
    [
        ValueError(f"{SECRET} has more than six decimals"),
        planted(RuntimeError(SECRET)),
        OperationalError("INSERT", {"password": SECRET}, Exception(f"DETAIL: ({SECRET})")),
        away(OperationalError("INSERT", [SECRET], Exception(f"it is gone\nDETAIL: ({SECRET})"))),
    ],
    ids=["its message", "its cause", "parameters", "why the database is away"],
)
@pytest.mark.parametrize("form", ["text", "json"])
def test_a_secret_planted_everywhere_is_in_no_line(
    web_app: FastAPI,
    client: TestClient,
    told: io.StringIO,
    form: logs.Form,
    wrong: Exception,
) -> None:
    tell(told, form, "debug")
    failing(web_app, wrong)
    headers = {
        "Cookie": f"session={SECRET}; recorder={SECRET}",
        "Authorization": f"Bearer {SECRET}",
        "X-Request-ID": f"not plain: {SECRET}",
        "User-Agent": SECRET,
        "X-Forwarded-For": SECRET,
        "Sec-Fetch-Site": "same-origin",
        "Referer": f"http://testserver/{SECRET}",
    }
    form_values = {"password": SECRET, "recorded_by": SECRET}
    for address in (f"/fail?q={SECRET}", f"/{SECRET}", f"/cars/{SECRET}", f"/api/v1/cars/{SECRET}"):
        client.post(address, headers=headers, data=form_values)
        client.get(address, headers=headers)
    client.post("/api/v1/due-dates", headers=headers, json={SECRET: SECRET})
    assert len(told.getvalue().splitlines()) > 9
    assert SECRET not in told.getvalue()


def test_what_a_statement_was_given_is_in_no_line(web_app: FastAPI, told: io.StringIO) -> None:
    """SQLAlchemy puts parameters into its messages, and PostgreSQL the values of a row."""
    with web_app.state.engine.connect() as connection:
        try:
            connection.execute(text("INSERT INTO nowhere VALUES (:value)"), {"value": SECRET})
        except OperationalError:
            logging.getLogger("app.anywhere").exception("It failed")
    assert SECRET not in told.getvalue()
    assert "sqlalchemy.exc.OperationalError (SQLITE_ERROR)" in told.getvalue()


@pytest.mark.parametrize(
    ("level", "seen"), [("debug", 4), ("info", 3), ("warning", 2), ("error", 1)]
)
def test_the_level_is_for_what_is_ours(told: io.StringIO, level: logs.Level, seen: int) -> None:
    tell(told, "text", level)
    for name in ("debug", "info", "warning", "error"):
        getattr(logging.getLogger("app.anything"), name)("said")
    assert told.getvalue().count("said") == seen
    logging.getLogger("sqlalchemy.engine").info("a library's chat")
    logging.getLogger("python_multipart").debug("a form's parts")
    assert told.getvalue().count("\n") == seen


def test_a_line_of_text_stays_a_line(told: io.StringIO) -> None:
    tell(told, "text", "info")
    logging.getLogger("app.anything").warning("one\ntwo\r\nthree")
    assert told.getvalue().count("\n") == 1
    assert "warning app.anything: one two three" in told.getvalue()
