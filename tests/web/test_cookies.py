"""The cookie of a sign-in: bound to this host and to HTTPS where the register is reached so."""

import pytest
from starlette.requests import Request
from starlette.responses import Response

from app.settings import Settings
from app.web.cookies import cookie_name, drop_cookie, read_cookie, set_cookie

LOCAL = Settings()
PUBLIC = Settings(public_url="https://register.example")


def parts(answer: Response) -> tuple[str, set[str]]:
    first, *rest = answer.headers["set-cookie"].split("; ")
    return first, {each.lower() for each in rest}


def asking(cookie: str) -> Request:
    return Request({"type": "http", "headers": [(b"cookie", cookie.encode())]})


def test_by_https_the_cookie_is_this_hosts_alone_and_never_sent_in_the_clear() -> None:
    answer = Response()
    set_cookie(answer, PUBLIC, "value")
    first, said = parts(answer)
    assert first == "__Host-session=value"
    assert said == {"secure", "httponly", "samesite=lax", "path=/"}  # and no Domain


def test_on_this_machine_it_works_without_https() -> None:
    answer = Response()
    set_cookie(answer, LOCAL, "value", seconds=60)
    first, said = parts(answer)
    assert first == "session=value"
    assert said == {"httponly", "samesite=lax", "path=/", "max-age=60"}


def test_a_cookie_that_no_link_has_to_carry_may_be_strict() -> None:
    answer = Response()
    set_cookie(answer, PUBLIC, "v", name="passkey", same_site="strict")
    first, said = parts(answer)
    assert first == "__Host-passkey=v"
    assert "samesite=strict" in said


@pytest.mark.parametrize("settings", [LOCAL, PUBLIC])
def test_what_is_dropped_is_what_was_set(settings: Settings) -> None:
    answer = Response()
    drop_cookie(answer, settings)
    first, said = parts(answer)
    assert first == f'{cookie_name(settings)}=""'
    assert {"max-age=0", "path=/", "httponly"} <= said
    assert ("secure" in said) == settings.https  # a browser ignores a __Host- cookie without it


def test_by_https_a_cookie_that_another_page_of_the_domain_could_set_is_not_believed() -> None:
    assert read_cookie(asking("session=planted"), PUBLIC) == ""
    assert read_cookie(asking("session=planted; __Host-session=ours"), PUBLIC) == "ours"
    assert read_cookie(asking("session=ours"), LOCAL) == "ours"
