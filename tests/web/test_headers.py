"""What every answer tells a browser, and that our own pages keep to it."""

import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.web.headers import as_file

ROOT = Path(__file__).parents[2]
SOURCES = [*sorted((ROOT / "templates").rglob("*.html")), *sorted((ROOT / "static").glob("*.svg"))]
ANSWERS = [
    "/",
    "/about",
    "/nothing",
    "/health",
    "/api/v1/nothing",
    "/static/style.css",
    "/static/no",
]


@pytest.mark.parametrize("path", ANSWERS)
def test_every_answer_has_every_header(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    policy = dict(
        part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert not re.search(r"unsafe|\*|https?:|nonce", str(policy))
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cross-origin-opener-policy"] == "same-origin"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "camera=()" in headers["permissions-policy"]
    assert "publickey-credentials-get=(self)" in headers["permissions-policy"]
    assert "strict-transport-security" not in headers, "this machine's name would be held to it"


CAMERA = {
    "/field": True,
    "/field/worker.js": True,
    "/field/nothing": True,
    "/fieldwork": False,
    "/fleet": False,
    "/static/field/main.js": False,
    "/api/v1/field/who": False,
}


@pytest.mark.parametrize(("path", "allowed"), CAMERA.items())
def test_only_the_pages_of_the_field_may_ask_for_the_camera(
    client: TestClient, path: str, allowed: bool
) -> None:
    told = client.get(path).headers["permissions-policy"].split(", ")
    assert ("camera=(self)" in told) == allowed
    assert ("camera=()" in told) != allowed
    assert "microphone=()" in told
    assert "geolocation=()" in told


@pytest.mark.parametrize("path", ["/", "/about", "/nothing", "/health", "/api/v1/nothing"])
def test_nothing_of_the_register_is_kept_by_a_browser(client: TestClient, path: str) -> None:
    assert client.get(path).headers["cache-control"] == "no-store"


def test_every_answer_says_its_kind_and_letters(client: TestClient) -> None:
    for path in ANSWERS:
        kind = client.get(path).headers["content-type"]
        assert re.fullmatch(r"text/(html|css); charset=utf-8|application/json", kind), path


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.name)
def test_no_template_or_drawing_has_code_or_styles_inside(source: Path) -> None:
    text = source.read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    assert not re.search(r"<style|\sstyle\s*=|\son[a-z]+\s*=|javascript:", text)
    assert not re.search(r"(src|href)=[\"'](https?:)?//", text), "loads from elsewhere"


def test_what_python_draws_has_neither() -> None:
    for source in sorted((ROOT / "app").rglob("*.py")):
        assert not re.search(r"<style|\bstyle=[\"']|\bon[a-z]+=\\?[\"']", source.read_text()), (
            source
        )


def test_no_text_is_marked_as_safe_html_by_a_template() -> None:
    for source in SOURCES:
        assert not re.search(r"\|\s*safe\b|autoescape\s+false", source.read_text()), source


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("due-2026-11-25.csv", 'attachment; filename="due-2026-11-25.csv"'),
        ("../../etc/passwd", 'attachment; filename="etc-passwd"'),
        ("C:\\temp\\x.csv", 'attachment; filename="C-temp-x.csv"'),
        ('a"; filename="b.exe', None),
        ("a\r\nSet-Cookie: x=y.csv", None),
        ("Café.csv", None),
        ("列車.csv", None),
        ("....", 'attachment; filename="file"'),
        ("", 'attachment; filename="file"'),
        ("x" * 500 + ".csv", None),
    ],
)
def test_a_file_name_says_only_a_name(name: str, told: str | None) -> None:
    value = as_file(name)["Content-Disposition"]
    wanted = r"""attachment; filename="[A-Za-z0-9 =._-]+"(; filename\*=UTF-8''[A-Za-z0-9._~%-]+)?"""
    assert re.fullmatch(wanted, value)
    assert len(value) < 600
    assert told is None or value == told


def test_letters_of_other_languages_are_kept_for_browsers_that_know_them() -> None:
    assert as_file("Café.csv")["Content-Disposition"].endswith("filename*=UTF-8''Caf%C3%A9.csv")
