"""The tablet's program as it is served: one set of files that fits together, its worker, and what installing needs."""

import json
import re
from pathlib import Path, PurePosixPath

import pytest
from fastapi.testclient import TestClient

from app.web import field_program
from app.web.field_program import made_of

PROGRAM = field_program.program()
MODULES = sorted(name for name in PROGRAM.files if name.endswith(".js") and name != "worker.js")
IMPORTED = re.compile(r"""(?:from\s*|import\(|import\s+)["']([^"']+)["']""")


def test_a_file_of_the_set_is_kept_for_good(stranger: TestClient) -> None:
    answer = stranger.get(PROGRAM.address("database.js"))
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert answer.headers["content-type"] == "text/javascript; charset=utf-8"


@pytest.mark.parametrize("name", ["nothing.js", "../app.js", "vendor/htmx.min.js", "worker.js/x"])
def test_what_is_not_in_the_set_is_not_found(stranger: TestClient, name: str) -> None:
    assert stranger.get(PROGRAM.address(name)).status_code == 404


def test_an_earlier_set_is_not_answered_with_the_present_one(stranger: TestClient) -> None:
    earlier = PROGRAM.address("database.js").replace(PROGRAM.version, "0" * 16)
    assert stranger.get(earlier).status_code == 404


@pytest.mark.parametrize("name", MODULES)
def test_a_module_imports_only_what_is_in_the_set(name: str) -> None:
    """By relative addresses: an absolute one would leave the set."""
    if name.startswith("vendor/"):
        return
    for asked in IMPORTED.findall(PROGRAM.files[name].decode()):
        assert asked.startswith("."), asked
        parts: list[str] = list(PurePosixPath(name).parent.parts)
        for part in PurePosixPath(asked).parts:
            parts.pop() if part == ".." else parts.append(part)
        assert "/".join(parts) in PROGRAM.files, asked


def test_the_version_moves_with_any_file_and_any_name() -> None:
    versions = {
        made_of({"a.js": b"1", "b.js": b"2"}).version,
        made_of({"a.js": b"1", "b.js": b"3"}).version,
        made_of({"a.js": b"1", "c.js": b"2"}).version,
        made_of({"a.js": b"12", "b.js": b""}).version,
    }
    assert len(versions) == 4


@pytest.mark.parametrize("question", ["", "?sends=true"])
def test_the_worker_keeps_the_whole_set_and_may_look_after_its_page(
    stranger: TestClient, question: str
) -> None:
    answer = stranger.get(f"/field/worker.js{question}")
    assert answer.headers["service-worker-allowed"] == "/field"
    assert answer.headers["cache-control"] == "no-cache"
    told = re.search(r"^const kept = (.+);$", answer.text, re.MULTILINE)
    assert told
    kept = json.loads(told[1])
    assert kept["version"] == PROGRAM.version
    wanted = PROGRAM.files.keys() - {"worker.js"} | {"shell.html"}
    assert set(kept["files"]) == set(map(PROGRAM.address, wanted))
    for address in kept["files"]:
        assert stranger.get(address).status_code == 200, address
    assert answer.text.startswith("import ") == bool(question)


def test_the_page_that_is_kept_tells_of_nobody(client: TestClient, stranger: TestClient) -> None:
    shell = PROGRAM.address("shell.html")
    assert client.get(shell).text == stranger.get(shell).text
    assert PROGRAM.address("main.js") in client.get(shell).text


def test_the_manifest_has_what_installing_needs(stranger: TestClient) -> None:
    answer = stranger.get("/field/manifest.webmanifest")
    assert answer.headers["content-type"] == "application/manifest+json"
    told = answer.json()
    assert (told["start_url"], told["scope"], told["display"]) == (
        "/field", "/field", "standalone",
    )  # fmt: skip
    for icon in told["icons"]:
        picture = stranger.get(icon["src"])
        assert picture.status_code == 200
        assert picture.headers["content-type"] == icon["type"]


def test_every_file_beside_the_modules_is_of_a_known_kind() -> None:
    field = Path(__file__).parents[2] / "static" / "field"
    strange = [
        path
        for path in field.rglob("*")
        if path.is_file() and path.suffix not in field_program.TYPES
    ]
    assert not strange
