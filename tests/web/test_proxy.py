"""Behind a real proxy with a self-made certificate, set up by the very text of docs/https.md."""

import http.client
import json
import os
import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import trustme
from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from playwright.sync_api import Browser

from app.main import create_app
from app.settings import Settings
from app.web.cookies import read_cookie, set_cookie
from app.web.hosts import from_this_machine
from tests.fixtures.lacking import lacking
from tests.fixtures.processes import tied_to_us
from tests.fixtures.sockets import answering

NAME = "register.example"
DOCUMENT = Path(__file__).parents[2] / "docs" / "https.md"
AROUND = """
daemon off; pid nginx.pid; error_log stderr warn; worker_processes 1; user {user};
events {{ worker_connections 128; }}
http {{
    access_log off;
    client_body_temp_path body; proxy_temp_path proxied; fastcgi_temp_path f;
    uwsgi_temp_path u; scgi_temp_path s;
    include site.conf;
}}
"""


@dataclass(frozen=True)
class Proxy:
    """Ports of the proxy and what a browser has to trust to use it."""

    https: int
    plain: int
    trusting: ssl.SSLContext

    def ask(
        self, method: str, path: str, name: str = NAME, secure: bool = True, **headers: str
    ) -> http.client.HTTPResponse:
        """The answer, with its body in `body`."""
        line = socket.create_connection(("127.0.0.1", self.https if secure else self.plain), 15)
        if secure:
            line = self.trusting.wrap_socket(line, server_hostname=NAME)
        asking = http.client.HTTPConnection(name)
        asking.sock = line
        try:
            said = {key.replace("_", "-"): value for key, value in headers.items()}
            asking.request(method, path, headers={"Host": name} | said)
            answer = asking.getresponse()
            answer.body = answer.read().decode()
            return answer
        finally:
            asking.close()


def with_sign_in(settings: Settings) -> FastAPI:
    app = create_app(settings)

    def sign_in() -> Response:
        answer = JSONResponse({})
        set_cookie(answer, settings, "who-it-is")
        return answer

    def look(request: Request) -> dict[str, object]:
        return {
            "client": request.client.host if request.client else "",
            "scheme": request.url.scheme,
            "host": request.headers["host"],
            "signed_in": read_cookie(request, settings),
            "at_the_machine": from_this_machine(request),
        }

    app.add_api_route("/try-in", sign_in, methods=["POST"])
    app.add_api_route("/try", look)
    return app


@pytest.fixture(scope="module")
def nginx() -> str:
    found = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        lacking("nginx", "apt-get install nginx-light")
    return found


@pytest.fixture(scope="module")
def proxy(
    nginx: str, sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Proxy]:
    folder = tmp_path_factory.mktemp("proxy")
    shutil.copyfile(sqlite_template, folder / "store.db")
    settings = Settings(
        database_url=f"sqlite:///{folder / 'store.db'}",
        public_url=f"https://{NAME}",
        trusted_proxies=("127.0.0.1",),
        upload_limit_mb=1,
    )
    with answering(with_sign_in(settings)) as behind, _started(nginx, folder, behind) as running:
        yield running


@contextmanager
def _started(
    nginx: str, folder: Path, behind: int, name: str = NAME, https: int = 0
) -> Iterator[Proxy]:
    authority = trustme.CA()
    made = authority.issue_cert(name)
    made.private_key_pem.write_to_path(folder / "register.key")
    for number, part in enumerate(made.cert_chain_pems):
        part.write_to_path(folder / "register.pem", append=number > 0)
    https, plain = https or _free(), _free()
    site = _site(folder, behind, https, plain)
    if name != NAME:
        # A port that is not the usual one belongs to the name.
        site = site.replace(NAME, name).replace("Host $host;", "Host $http_host;")
    (folder / "site.conf").write_text(site)
    user = "root" if os.geteuid() == 0 else "nobody"
    (folder / "nginx.conf").write_text(AROUND.format(user=user))
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    command = [*tied_to_us(), nginx, "-p", str(folder), "-c", str(folder / "nginx.conf")]
    with (
        (folder / "nginx.log").open("wb") as log,
        subprocess.Popen(command, stdout=log, stderr=log, cwd=folder) as process,
    ):
        try:
            _wait(https, process, folder / "nginx.log")
            yield Proxy(https, plain, trusting)
        finally:
            process.terminate()
            process.wait(timeout=15)


def _site(folder: Path, behind: int, https: int, plain: int) -> str:
    text = re.search(r"```nginx\n(.*?)```", DOCUMENT.read_text(), re.DOTALL)
    assert text
    replaced = {
        "listen 80;": f"listen 127.0.0.1:{plain};",
        "listen 443 ": f"listen 127.0.0.1:{https} ",
        "/etc/ssl/": f"{folder}/",
        "127.0.0.1:8000": f"127.0.0.1:{behind}",
    }
    site = text[1]
    for old, new in replaced.items():
        assert old in site
        site = site.replace(old, new)
    return site


def _free() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


def _wait(port: int, process: subprocess.Popen[bytes], printed: Path) -> None:
    until = time.monotonic() + 30
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 5).close()
            return
        except OSError:
            if process.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"the proxy did not start:\n{printed.read_text()}") from None
            time.sleep(0.05)


def test_a_page_comes_by_https_with_every_header(proxy: Proxy) -> None:
    answer = proxy.ask("GET", "/about")
    assert answer.status == 200
    assert answer.headers["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains"
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert answer.headers["Server"] == "nginx", "without its version"


def test_what_comes_without_https_is_led_there_but_no_program(proxy: Proxy) -> None:
    answer = proxy.ask("GET", "/fleet?q=ZQ", secure=False)
    assert (answer.status, answer.headers["Location"]) == (308, f"https://{NAME}/fleet?q=ZQ")
    assert proxy.ask("GET", "/api/v1/docs", secure=False).status == 403


def test_the_cookie_of_a_sign_in_is_secure_and_comes_back(proxy: Proxy) -> None:
    set_by = proxy.ask("POST", "/try-in", Origin=f"https://{NAME}").headers["Set-Cookie"]
    assert set_by == "__Host-session=who-it-is; HttpOnly; Path=/; SameSite=lax; Secure"
    back = proxy.ask("GET", "/try", Cookie=set_by.split(";")[0])
    assert json.loads(back.body)["signed_in"] == "who-it-is"


def test_the_application_learns_who_asked_and_cannot_be_lied_to(proxy: Proxy) -> None:
    lies = {
        "X_Forwarded_For": "192.0.2.77", "X_Forwarded_Host": "evil.example",
        "X_Forwarded_Proto": "http", "Forwarded": "for=192.0.2.78;host=evil.example",
    }  # fmt: skip
    seen = json.loads(proxy.ask("GET", "/try", **lies).body)
    assert (seen["scheme"], seen["host"]) == ("https", NAME)
    assert seen["at_the_machine"] is False, "who comes through the proxy may be anybody"


def test_a_change_from_another_site_is_refused_behind_the_proxy_too(proxy: Proxy) -> None:
    assert proxy.ask("POST", "/ladings/new", Origin="https://evil.example").status == 403
    assert proxy.ask("POST", "/ladings/new", Origin=f"http://{NAME}:81").status == 403
    signed_in = {"Cookie": "__Host-session=x"}
    assert proxy.ask("POST", "/nothing", **signed_in).status == 403
    assert proxy.ask("POST", "/nothing", **signed_in, Origin=f"https://{NAME}").status == 404


def test_by_another_name_nothing_is_answered(proxy: Proxy) -> None:
    with pytest.raises(http.client.RemoteDisconnected):
        proxy.ask("GET", "/about", name="evil.example")


@pytest.mark.parametrize("version", ["TLSv1", "TLSv1_1"])
def test_old_versions_of_tls_are_not_spoken(proxy: Proxy, version: str) -> None:
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning, match="deprecated"):
        old.minimum_version = old.maximum_version = ssl.TLSVersion[version]
    with (
        socket.create_connection(("127.0.0.1", proxy.https), 15) as line,
        pytest.raises(ssl.SSLError, match=r"(?i)version|alert"),
    ):
        old.wrap_socket(line, server_hostname=NAME)


def test_a_strangers_certificate_is_not_trusted(proxy: Proxy) -> None:
    with (
        socket.create_connection(("127.0.0.1", proxy.https), 15) as line,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        ssl.create_default_context().wrap_socket(line, server_hostname=NAME)


def test_a_browser_keeps_the_cookie_and_breaks_no_rule_of_the_page(
    nginx: str, browser: Browser, sqlite_url: str, tmp_path: Path
) -> None:
    https = _free()
    settings = Settings(
        database_url=sqlite_url,
        public_url=f"https://localhost:{https}",
        trusted_proxies=("127.0.0.1",),
    )
    broken: list[str] = []
    with (
        answering(with_sign_in(settings)) as behind,
        _started(nginx, tmp_path, behind, "localhost", https),
    ):
        context = browser.new_context(ignore_https_errors=True)
        page = context.new_page()
        page.on("console", lambda said: broken.append(said.text))
        page.goto(f"{settings.public_url}/about")
        assert page.evaluate("isSecureContext && 'credentials' in navigator")
        assert page.evaluate("fetch('/try-in', {method: 'POST'}).then(it => it.status)") == 200
        seen = page.evaluate("fetch('/try').then(it => it.json())")
        assert (seen["signed_in"], seen["scheme"]) == ("who-it-is", "https")
        assert page.evaluate("document.cookie") == "", "no script sees it"
        assert not [text for text in broken if "Content Security Policy" in text]
        context.close()
