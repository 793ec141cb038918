"""Which names are answered to, which proxies are believed, where the register sends people."""

import dataclasses
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient

from app.errors import Refused
from app.main import create_app
from app.settings import Settings, read_settings
from app.web.hosts import allowed_hosts, from_this_machine, own_address

PUBLIC = "https://register.example"
PROXY = "10.1.2.3"
Serve = Callable[..., Any]


@dataclasses.dataclass
class Seen:
    """What the application made of a request."""

    client: str
    scheme: str
    host: str
    local: bool


def seeing(app: FastAPI) -> None:
    def see(request: Request) -> dict[str, Any]:
        client = request.client.host if request.client else ""
        host = request.headers["host"]
        return dataclasses.asdict(
            Seen(client, request.url.scheme, host, from_this_machine(request))
        )

    app.add_api_route("/see", see)
    app.add_api_route("/see", see, methods=["POST"])


@pytest.fixture
def asked(sqlite_url: str) -> Serve:
    @contextmanager
    def serve(base: str, client: str = "203.0.113.9", **given: Any) -> Iterator[TestClient]:
        app = create_app(Settings(database_url=sqlite_url, **given))
        seeing(app)
        options: dict[str, Any] = {"follow_redirects": False, "raise_server_exceptions": False}
        with TestClient(app, base_url=base, client=(client, 5000), **options) as asking:
            yield asking

    return serve


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("register.example", 200),
        ("REGISTER.example", 200),  # names are the same in capitals
        ("register.example:443", 200),
        ("register.example.", 200),  # the same name, written to its root
        ("also.example", 200),  # named in ALLOWED_HOSTS
        ("localhost:8000", 200),
        ("127.0.0.1:8000", 200),
        ("[::1]:8000", 200),
        ("evil.example", 421),
        ("register.example.evil.example", 421),
        ("evilregister.example", 421),
        ("203.0.113.7", 421),  # an address is a name as well
        ("register.example@evil.example", 400),
        ("register.example/evil", 400),
        ("register.example:443:443", 400),
        ("register.example, evil.example", 400),
        ("rеgister.example", 400),  # a Cyrillic letter that looks like ours
        ("xn--rgister-bvg.example", 421),
        ("", 400),
        (" ", 400),
    ],
)
def test_only_our_own_names_are_answered_to(asked: Serve, host: str, status: int) -> None:
    given = {"public_url": PUBLIC, "allowed_hosts": ("also.example",)}
    with asked(PUBLIC, **given) as client:
        answer = client.get("/about", headers={"Host": host.encode()})
    assert answer.status_code == status
    if status != 200:
        assert "Stencilbook" in answer.text, "our own page"
        assert "evil" not in answer.text


def test_a_second_host_header_is_no_way_in(asked: Serve) -> None:
    with asked(PUBLIC, public_url=PUBLIC) as client:
        two = [("Host", "register.example"), ("Host", "evil.example")]
        assert client.get("/about", headers=two).status_code == 400


def test_under_api_another_name_is_told_in_json(asked: Serve) -> None:
    with asked("https://evil.example", public_url=PUBLIC) as client:
        answer = client.get("/api/v1/docs")
    assert answer.status_code == 421
    assert "ALLOWED_HOSTS" in answer.json()["error"]["message"]


def test_health_is_told_by_any_name_since_load_balancers_have_their_own(asked: Serve) -> None:
    with asked("http://10.0.0.5:8000", public_url=PUBLIC) as client:
        assert client.get("/health").status_code == 200


@pytest.mark.parametrize(
    ("given", "more"),
    [
        ({}, set()),
        ({"host": "0.0.0.0"}, set()),  # no name by which anyone asks
        ({"host": "192.0.2.8"}, {"192.0.2.8"}),
        ({"public_url": "http://register.example:8080"}, {"register.example"}),
        ({"allowed_hosts": ("a.example", "B.example")}, {"a.example", "b.example"}),
    ],
)
def test_besides_this_machine_the_settings_say_which_names(
    monkeypatch: pytest.MonkeyPatch, given: dict[str, Any], more: set[str]
) -> None:
    monkeypatch.delenv("ALLOWED_HOSTS")
    assert allowed_hosts(Settings(**given)) == {"localhost", "127.0.0.1", "::1"} | more


TOLD = {
    "X-Forwarded-For": "198.51.100.4",
    "X-Forwarded-Proto": "https",
    "X-Forwarded-Host": "register.example",
}


def test_a_proxy_that_is_named_is_believed(asked: Serve) -> None:
    given = {"public_url": PUBLIC, "trusted_proxies": ("10.1.0.0/16",)}
    with asked("http://app:8000", PROXY, **given) as client:
        seen = client.get("/see", headers=TOLD).json()
    assert seen == {
        "client": "198.51.100.4", "scheme": "https", "host": "register.example", "local": False,
    }  # fmt: skip


def test_what_a_browser_wrote_before_a_named_proxy_is_not_believed(asked: Serve) -> None:
    lied = {
        "X-Forwarded-For": "127.0.0.1, 198.51.100.4",
        "X-Forwarded-Host": "evil.example, register.example",
        "X-Forwarded-Proto": "https",
    }
    with asked("http://app", PROXY, public_url=PUBLIC, trusted_proxies=(PROXY,)) as client:
        seen = client.get("/see", headers=lied).json()
    assert (seen["client"], seen["host"]) == ("198.51.100.4", "register.example")


@pytest.mark.parametrize("trusted", [(), ("10.9.9.9",)])
def test_nobody_else_can_say_who_asks(asked: Serve, trusted: tuple[str, ...]) -> None:
    with asked("http://localhost:8000", PROXY, trusted_proxies=trusted) as client:
        seen = client.get("/see", headers=TOLD).json()
    assert seen == {
        "client": PROXY, "scheme": "http", "host": "localhost:8000", "local": False,
    }  # fmt: skip


def test_a_name_that_a_proxy_passes_on_has_to_be_ours_too(asked: Serve) -> None:
    with asked("http://app", PROXY, public_url=PUBLIC, trusted_proxies=(PROXY,)) as client:
        answer = client.get("/see", headers=TOLD | {"X-Forwarded-Host": "evil.example"})
    assert answer.status_code == 421


@pytest.mark.parametrize(
    ("client", "host", "headers", "local"),
    [
        ("127.0.0.1", "localhost:8000", {}, True),
        ("::1", "[::1]:8000", {}, True),
        ("127.0.0.1", "127.0.0.1", {"X-Forwarded-For": "203.0.113.9"}, False),  # behind a proxy
        ("127.0.0.1", "127.0.0.1", {"Via": "1.1 proxy"}, False),
        ("127.0.0.1", "127.0.0.1", {"Forwarded": "for=203.0.113.9"}, False),
        # A proxy that writes none of the usual ones, each by itself.
        ("127.0.0.1", "127.0.0.1", {"X-Real-IP": "203.0.113.9"}, False),
        ("127.0.0.1", "127.0.0.1", {"True-Client-IP": "203.0.113.9"}, False),
        ("127.0.0.1", "127.0.0.1", {"CF-Connecting-IP": "203.0.113.9"}, False),
        ("127.0.0.1", "127.0.0.1", {"X-Client-IP": "203.0.113.9"}, False),
        ("127.0.0.1", "127.0.0.1", {"X-Forwarded-Server": "proxy.example"}, False),
        ("127.0.0.1", "127.0.0.1", {"X-Forwarded-Port": "443"}, False),
        ("127.0.0.1", "127.0.0.1", {"X-Forwarded-Anything": ""}, False),
        ("127.0.0.1", "testserver", {}, False),  # a name that was led to this machine
        ("203.0.113.9", "localhost", {}, False),
    ],
)
def test_only_who_sits_at_this_machine_asks_from_it(
    asked: Serve, client: str, host: str, headers: dict[str, str], local: bool
) -> None:
    with asked(f"http://{host}", client) as asking:
        assert asking.get("/see", headers=headers).json()["local"] is local


def test_what_comes_without_https_is_led_there_when_a_person_reads(asked: Serve) -> None:
    given = {"public_url": PUBLIC, "trusted_proxies": (PROXY,)}
    with asked("http://register.example", PROXY, **given) as client:
        answer = client.get("/fleet?q=ZQ", headers={"X-Forwarded-Proto": "http"})
        assert (answer.status_code, answer.headers["location"]) == (308, f"{PUBLIC}/fleet?q=ZQ")
        # A program that was led on would go on sending its token in the clear.
        assert client.get("/api/v1/docs").status_code == 403
        assert client.post("/see").status_code == 403


def test_it_is_led_to_the_public_address_only(asked: Serve) -> None:
    with asked("http://register.example", public_url=PUBLIC) as client:
        assert client.get("//evil.example").headers["location"].startswith(f"{PUBLIC}/")


def test_a_proxy_that_was_forgotten_is_told_instead_of_led_in_circles(asked: Serve) -> None:
    with asked("http://register.example", PROXY, public_url=PUBLIC) as client:
        answer = client.get("/fleet", headers=TOLD)
    assert answer.status_code == 403
    assert "TRUSTED_PROXIES" in answer.text


@pytest.mark.parametrize("header", ["X-Real-IP", "CF-Connecting-IP", "X-Forwarded-Port"])
def test_so_is_a_proxy_that_tells_less(asked: Serve, header: str) -> None:
    with asked("http://register.example", PROXY, public_url=PUBLIC) as client:
        assert "TRUSTED_PROXIES" in client.get("/fleet", headers={header: "443"}).text


def test_tools_on_the_machine_itself_need_no_https(asked: Serve) -> None:
    with asked("http://127.0.0.1:8000", "127.0.0.1", public_url=PUBLIC) as client:
        assert client.get("/see").json()["local"]


@pytest.mark.parametrize(
    ("public", "told"),
    [
        (PUBLIC, "max-age=31536000; includeSubDomains"),
        ("http://register.example", None),
        ("", None),
    ],
)
def test_browsers_are_held_to_https_only_where_it_is_used(
    asked: Serve, public: str, told: str | None
) -> None:
    with asked(public or "http://localhost", public_url=public) as client:
        for path in ("/about", "/nothing", "/static/style.css"):
            assert client.get(path).headers.get("strict-transport-security") == told


@pytest.mark.parametrize(
    ("given", "leads"),
    [
        ("/cars/4", "/cars/4"),
        ("/due?owner=2&item=visual#row", "/due?owner=2&item=visual#row"),
        ("", "/"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("\\\\evil.example", "/"),
        ("/\t/evil.example", "/"),  # browsers leave out the tab
        ("/\n/evil.example", "/"),
        ("https://evil.example", "/"),
        ("javascript:alert(1)", "/"),
        ("evil.example", "/"),
        (" //evil.example", "/"),
        ("/x\r\nSet-Cookie: a=b", "/"),
    ],
)
def test_an_address_that_came_with_a_request_leads_to_our_own_pages_only(
    given: str, leads: str
) -> None:
    assert own_address(given) == leads


def test_the_way_back_from_an_error_leads_to_our_own_pages_only(asked: Serve) -> None:
    with asked("http://localhost") as client:
        back = client.get("/nothing", headers={"Referer": "http://localhost//evil.example/x"})
        assert "//evil.example" not in back.text


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("PUBLIC_URL", "register.example", "https://register.example"),
        ("PUBLIC_URL", "ftp://register.example", "https://"),
        ("PUBLIC_URL", "https://register.example/stencilbook", "without a path"),
        ("PUBLIC_URL", "https://a:b@register.example", "without a path"),
        ("PUBLIC_URL", "https://register.example:port", "https://"),
        ("TRUSTED_PROXIES", "*", "127.0.0.1"),
        ("TRUSTED_PROXIES", "proxy.example", "172.18.0.0/16"),
        ("ALLOWED_HOSTS", "*", "register.example"),
        ("ALLOWED_HOSTS", "https://a.example", "register.example"),
    ],
)
def test_a_wrong_address_is_refused_by_name(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str, says: str
) -> None:
    monkeypatch.setenv(name, value)
    with pytest.raises(Refused) as refused:
        read_settings()
    assert refused.value.faults[0].path.startswith(name)
    assert says in refused.value.faults[0].problem


def test_addresses_are_kept_as_browsers_write_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PUBLIC_URL", "https://Café.EXAMPLE:443/")
    monkeypatch.setenv("TRUSTED_PROXIES", "127.0.0.1, 172.18.0.9/16")
    monkeypatch.setenv("ALLOWED_HOSTS", "A.example,b.example.")
    found = read_settings()
    assert found.public_url == "https://xn--caf-dma.example"
    assert found.trusted_proxies == ("127.0.0.1/32", "172.18.0.0/16")
    assert found.allowed_hosts == ("a.example", "b.example")
