"""Requests made up from the API's own description, right and wrong: none may find a bug (a 500).

`make test` asks a few of each; `make fuzz` asks many, other ones each time.
"""

import os
import warnings
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from app.api.calculator import REQUEST
from app.api.cars import NEW_CAR
from app.api.docs import described
from app.api.visits import SENDING
from app.main import create_app
from app.settings import Settings
from tests.api.conftest import NOON, TestClient
from tests.fixtures.people import COOKIES, beforehand, let_in
from tests.fixtures.web import asking as asking_as_a_person

with warnings.catch_warnings():
    # Its own dependencies are older than our warnings.
    warnings.simplefilter("ignore")
    import schemathesis
    from schemathesis import GenerationMode
    from schemathesis.generation.case import Case

SAID = {"Origin": "http://testserver"}
# How many requests of each kind an operation is asked; set by `make fuzz`.
MANY = int(os.environ.get("FUZZ_EXAMPLES", "0"))
fuzzing = settings(
    max_examples=MANY or 20,
    derandomize=not MANY,
    database=None,
    phases=[Phase.generate, Phase.shrink] if MANY else [Phase.generate],
    # Strategies made from a schema draw slowly at first.
    suppress_health_check=list(HealthCheck),
)
# The description does not depend on a store.
DESCRIBED: dict[str, Any] = described(create_app(Settings(database_url="sqlite://")))
# What takes nothing at all cannot be asked wrongly.
OPERATIONS = [
    (method.upper(), path, mode)
    for path, methods in DESCRIBED["paths"].items()
    for method, told in methods.items()
    for mode in GenerationMode
    if mode == GenerationMode.POSITIVE or "parameters" in told or "requestBody" in told
]


@pytest.fixture
def web_app(sqlite_url: str) -> Iterator[FastAPI]:
    """The application on a store with a car, an event and a visit, so that some requests find something."""
    unlimited = {"requests_per_minute_address": 0, "requests_per_minute_person": 0}
    app = create_app(Settings(database_url=sqlite_url, **unlimited), lambda: NOON)
    with beforehand(app.state.sessions) as db:
        let_in(db)
    with TestClient(app, headers=SAID, cookies=dict(COOKIES)) as asking:
        car = asking.post("/api/v1/cars", json=NEW_CAR).json()["id"]
        event = {"on": "2018-03-15", "items": ["visual", "thickness"]}
        assert asking.post(f"/api/v1/cars/{car}/events", json=event).status_code == 201
        assert asking.post(f"/api/v1/cars/{car}/visits", json=SENDING).status_code == 201
        yield app


def asked_of(app: FastAPI, method: str, path: str) -> Any:
    """The operation of the description, which asks this application."""
    schema = schemathesis.openapi.from_dict(DESCRIBED)
    schema.app = app
    return schema[path][method]


@pytest.mark.parametrize(
    ("method", "path", "mode"), OPERATIONS, ids=lambda part: getattr(part, "value", part)
)
def test_no_request_made_from_the_description_finds_a_bug(
    web_app: FastAPI, method: str, path: str, mode: GenerationMode
):
    operation = asked_of(web_app, method, path)

    @given(case=operation.as_strategy(generation_mode=mode), found=st.booleans())
    @fuzzing
    def holds(case: Case, found: bool) -> None:
        # Half of all ask about the car, the event and the visit that are there.
        for name in ("car_id", "event_id", "visit_id"):
            if found and name in case.path_parameters:
                case.path_parameters[name] = 1
        response = case.call(headers=SAID, cookies=dict(COOKIES))
        assert response.status_code < 500, f"{case.as_curl_command()}\n{response.text}"
        # Else none of them reached what it asks for.
        assert response.status_code not in (401, 403, 429), response.text

    holds()


# Values that a request may hold anywhere, of which each has been the end of some program.
ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**25), 10**25),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=30),
    st.sampled_from(["", "0000-00-00", "9999-12-31", "2024-02-29", "2024-02", "1800", "\x00"]),
    st.sampled_from([[], {}, [None], {"": None}, [[]], 1e-300, 1e300, -0.0, 10**400]),
)


def spots(value: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every value in a request, outer ones too."""
    if way:
        yield way
    inner = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for name, part in inner:
        yield from spots(part, (*way, name))


def replaced(value: Any, way: tuple[Any, ...], odd: Any) -> Any:
    if not way:
        return odd
    first, *rest = way
    if isinstance(value, dict):
        return {**value, first: replaced(value[first], tuple(rest), odd)}
    return [
        replaced(part, tuple(rest), odd) if at == first else part for at, part in enumerate(value)
    ]


def test_no_odd_value_anywhere_in_a_good_request_finds_a_bug(web_app: FastAPI):
    with asking_as_a_person(web_app) as asking:

        @given(st.sampled_from(list(spots(REQUEST))), ODD)
        @settings(fuzzing, max_examples=MANY or 200)
        def holds(way: tuple[Any, ...], odd: Any) -> None:
            body = replaced(REQUEST, way, odd)
            response = asking.post("/api/v1/due-dates", json=body)
            assert response.status_code in (200, 422), (way, odd, response.text)

        holds()
