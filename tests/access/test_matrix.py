"""Every route, for every role, on what is the person's own, another's, and nobody's.

`NEEDS` says again, apart from the code, what each route asks for, and `WHO` who may do so: a route that is
added without a row here fails, and so does one that asks for less than it did.
"""

from __future__ import annotations

import re
import shutil
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from fastapi import FastAPI
from pypdf import PdfReader
from sqlalchemy import update

from app import api, pages
from app.access import ROLES
from app.store.people import SignIn
from app.web.admission import needed_by
from tests.access.routes import NEEDS
from tests.access.world import FOREIGN, FOREIGN_CAR, OWN, World, browser_key, fill
from tests.fixtures.web import NOW, TestClient, asking

DESK = {"planner", "compliance"}
WHO: dict[str, set[str]] = {
    "read": {*DESK, "inspector", "shop"},
    "load_check": {*DESK, "inspector", "shop", "loading_rack"},
    "record_work": {*DESK, "inspector", "shop"},
    "record_facts": DESK,
    "bring_in": DESK,
    "try_out": DESK,
    "watch": DESK,
    "plan": DESK,
    "keep_rules": {"compliance"},
    "keep_ladings": set(),  # but for members of the party that keeps the register
    "administer": {"administrator"},
    "keep_record": {*DESK, "administrator"},
    "own_account": set(ROLES),
}
# What fills an address beside the keys of things.
WORDS = {
    "kind": "lading", "table": "stencil", "item": "visual", "step": "released",
    "specification": "DOT 111A100W1", "lading_id": "1",
    "key": "no-such-key", "text": "DOT 111A100W1",
    "part": "overdue", "version": "no-such-set", "name": "main.js", "picture": "due",
    "zone": "shell_top", "stop": "overdue",
}  # fmt: skip
# Where one address wants another word, or a question.
OTHERWISE = {
    "/installations/{installation_id}/{kind}": "/installations/{installation_id}/remove",
    "/cars/{car_id}/verdict": "/cars/{car_id}/verdict?row=0",
    "/api/v1/field/photographs/{digest}": (
        "/api/v1/field/photographs/{digest}?at=0&bytes=2&report={report_key}"
    ),
    "/plans/versions/{version_id}/month": (
        "/plans/versions/{version_id}/month?shop=Invented+Works&month=2027-01"
    ),
    "/plans/{plan_id}/compare": "/plans/{plan_id}/compare?before={version_id}&after={version_id}",
    **{f"/forecast/{{table}}.{form}": f"/forecast/due.{form}" for form in ("csv", "json", "xlsx")},
    "/rulebook/effect/confirm": "/rulebook/effect/confirm?edition=987654321",
}
# Only somebody at the machine itself may set the register up.
AT_THE_MACHINE = "/set-up/{key}"
# What people did is for those who look after them.
OF_PEOPLE = {"/people/{person_id}/changes"}
# What tells people what they wrote themselves, the names of others' cars among it.
OWN_WORDS = {"/loading/asked", "/loading/asked.csv", "/loading/asked.json", "/loading/asked.xlsx"}
# Keys that belong to one person, not to all of a party.
PERSONAL = {"upload_id", "waiting_id", "job_id"}
OWNER_OF_PERSONAL = "planner"
PARAMETER = re.compile(r"\{(\w+)(?::\w+)?\}")


def routes() -> list[tuple[str, str, str]]:
    """Method, address and what the code says that the route needs."""
    found = []
    for prefix, routers in (("", pages.ROUTERS), (api.ADDRESS, api.ROUTERS)):
        for router in routers:
            for route in router.routes:
                for method in sorted(route.methods - {"HEAD"}):
                    found.append((method, prefix + route.path, needed_by(route.endpoint)))
    return found


ROUTES = [(method, path) for method, path, _ in routes()]
WITH_A_KEY = [
    (method, path)
    for method, path in ROUTES
    if set(PARAMETER.findall(path)) - WORDS.keys() and NEEDS.get((method, path)) != "everyone"
]


@pytest.fixture(scope="module")
def world(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[FastAPI, World]:
    from app.main import create_app
    from app.settings import Settings

    path = tmp_path_factory.mktemp("matrix") / "store.db"
    shutil.copyfile(sqlite_template, path)
    app = create_app(
        Settings(
            database_url=f"sqlite:///{path}",
            requests_per_minute_address=0,
            requests_per_minute_person=0,
        ),
        clock=lambda: NOW,
    )
    return app, fill(app)


def ask(app, method: str, path: str, keys: dict[str, str], role: str | None, party: str = OWN):
    written = OTHERWISE.get(path, path)
    address = PARAMETER.sub(lambda found: {**WORDS, **keys}[found[1]], written)
    cookies = {"session": browser_key(role, party)} if role else {}
    client: TestClient = asking(app, cookies)
    answer = client.request(method, address, follow_redirects=False)
    if method == "POST" and path.startswith(("/account", "/sign-out")):
        with app.state.engine.begin() as connection:  # who signed out is in again for what follows
            connection.execute(update(SignIn).values(ended_at=None))
    return answer


def told(answer, keys: dict[str, str]) -> str:
    """What an answer says, whichever key was asked for and whichever request it was."""
    said = re.sub(r"Number of this request: \S+", "", answer.text)
    for value in sorted(keys.values(), key=len, reverse=True):
        said = re.sub(rf"\b{re.escape(value)}\b", "KEY", said)
    return said


def words_of(answer) -> str:
    """What an answer says; of a ZIP file, what its members do: packed, figures stand in it by chance."""
    if not answer.content.startswith(b"PK"):
        return answer.text
    with ZipFile(BytesIO(answer.content)) as held:
        return "\n".join(_said(name, held.read(name)) for name in held.namelist())


def _said(name: str, content: bytes) -> str:
    if not name.endswith(".pdf"):
        return content.decode("utf-8", "replace")
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)


def test_every_route_is_in_the_matrix_and_asks_for_what_the_matrix_says():
    assert {(method, path): needed for method, path, needed in routes()} == NEEDS


@pytest.mark.parametrize(("method", "path"), ROUTES)
def test_a_stranger_passes_only_where_everyone_may(world, method, path):
    app, filled = world
    answer = ask(app, method, path, filled.own, None)
    if path == AT_THE_MACHINE:
        assert answer.status_code == 403
    elif NEEDS[method, path] == "everyone":
        assert answer.status_code not in (401, 403)
        assert "/sign-in?next" not in answer.headers.get("location", "")
    elif path.startswith("/api/") or method != "GET":
        assert answer.status_code == 401
    else:
        assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize(("method", "path"), ROUTES)
def test_a_role_passes_only_where_it_may(world, method, path):
    app, filled = world
    needed = NEEDS[method, path]
    for role in ROLES if needed != "everyone" else ():
        # What nobody has, so that nothing is changed for those who ask next.
        answer = ask(app, method, path, filled.missing, role)
        # The first page sends on whoever may not look into the register.
        refused = answer.status_code == (303 if path == "/" else 403)
        assert refused == (role not in WHO[needed]), role


@pytest.mark.parametrize(("method", "path"), WITH_A_KEY)
def test_what_is_anothers_answers_as_what_does_not_exist(world, method, path):
    app, filled = world
    for role in allowed(method, path):
        foreign = ask(app, method, path, filled.foreign, role)
        missing = ask(app, method, path, filled.missing, role)
        assert foreign.status_code == missing.status_code != 401, role
        assert told(foreign, filled.foreign) == told(missing, filled.missing), role
        assert foreign.headers.get("location") == missing.headers.get("location"), role


@pytest.mark.parametrize(("method", "path"), [each for each in WITH_A_KEY if each[0] == "GET"])
def test_what_is_ones_own_is_found(world, method, path):
    app, filled = world
    personal = bool(PERSONAL & set(PARAMETER.findall(path)))
    for role in allowed(method, path):
        unseen = path in OF_PEOPLE and role != "administrator"
        if not unseen and (not personal or role == OWNER_OF_PERSONAL):
            answer = ask(app, method, path, filled.own, role)
            assert answer.status_code in (200, 303), (role, answer.text[-600:])


@pytest.mark.parametrize(
    "path", [path for method, path in ROUTES if method == "GET" and not PARAMETER.findall(path)]
)
def test_no_list_shows_what_is_anothers(world, path):
    app, _filled = world
    secrets = (FOREIGN,) if path in OWN_WORDS else (FOREIGN, FOREIGN_CAR[0], str(FOREIGN_CAR[1]))
    for role in ROLES:
        said = words_of(ask(app, "GET", path, {}, role))
        for secret in secrets:
            assert not re.search(rf"\b{secret}\b", said), (role, secret)


def allowed(method: str, path: str) -> list[str]:
    """Those who may ask this at all, of what is their own."""
    return [role for role in ROLES if role in WHO[NEEDS[method, path]]]
