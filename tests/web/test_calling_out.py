"""Where the program itself calls out, to a mail server and a provider: encrypted, and to whom the certificate names."""

import json
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from urllib.request import build_opener

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, Session

from app import mail
from app.errors import Refused
from app.settings import Settings
from app.web import openid
from app.web.openid import Begun

FROM, TO, USER, PASSWORD = (
    "register@people.invalid",
    "ida@people.invalid",
    "register",
    "invented-9f1c",
)
LINK = "https://register.example/invitation/of-this-test"


class Letters:
    """What a local mail server is handed: envelopes, and whether the line was encrypted; who logged in."""

    def __init__(self) -> None:
        self.found: list[tuple[list[str], str, bool]] = []
        self.logins: list[tuple[bytes, bool]] = []

    async def handle_DATA(  # noqa: N802
        self, _: object, session: Session, envelope: Envelope
    ) -> str:
        text = (envelope.content or b"").decode()
        self.found.append((envelope.rcpt_tos, text, session.ssl is not None))
        return "250 taken"

    def login(self, _1: object, session: Session, _2: object, _3: str, given) -> AuthResult:
        self.logins.append((given.password, session.ssl is not None))
        return AuthResult(success=True)


@pytest.fixture
def letters() -> Letters:
    return Letters()


@pytest.fixture
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def trusted(authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a company's own authority is trusted: by the variable that OpenSSL reads."""
    path = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(path)
    monkeypatch.setenv("SSL_CERT_FILE", str(path))


def served_by(authority: trustme.CA, name: str = "localhost") -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert(name).configure_cert(context)
    return context


class _Waking(Controller):
    def _trigger_server(self) -> None:
        """A first caller, whom its own context could not be where it is one of a server."""
        anybody = ssl._create_unverified_context() if self.ssl_context else None
        with socket.create_connection((self.hostname, self.port), 5) as plain:
            line = anybody.wrap_socket(plain) if anybody else plain
            line.recv(1024)
            line.close()


@contextmanager
def mail_server(
    letters: Letters, *, starttls: ssl.SSLContext | None = None, tls: ssl.SSLContext | None = None
) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = _Waking(
        letters, hostname="127.0.0.1", port=port, ssl_context=tls, tls_context=starttls,
        authenticator=letters.login, auth_require_tls=False,
    )  # fmt: skip
    server.start()
    try:
        yield f"localhost:{port}"
    finally:
        server.stop()


def settings(server: str, how: str = "starttls", **more: str) -> Settings:
    return Settings(mail_server=server, mail_from=FROM, mail_tls=how, **more)


def sent(by: Settings, to: str = TO) -> bool:
    return mail.send(by, to, "Your invitation", f"This link works once.\n\n{LINK}\n")


@pytest.mark.usefixtures("trusted")
def test_mail_goes_by_starttls_and_the_password_after_it(
    authority: trustme.CA, letters: Letters
) -> None:
    with mail_server(letters, starttls=served_by(authority)) as server:
        assert sent(settings(server, mail_user=USER, mail_password=PASSWORD))
    ((to, text, encrypted),) = letters.found
    assert (to, encrypted) == ([TO], True)
    assert LINK in text
    assert letters.logins == [(PASSWORD.encode(), True)]


@pytest.mark.usefixtures("trusted")
def test_mail_goes_by_tls_from_the_first_byte(authority: trustme.CA, letters: Letters) -> None:
    with mail_server(letters, tls=served_by(authority)) as server:
        assert sent(settings(server, "tls"))
        assert not sent(settings(server, "none"))  # it speaks nothing else
    assert [to for to, _, _ in letters.found] == [[TO]]


@pytest.mark.parametrize("how", ["starttls", "tls"])
def test_a_certificate_that_nobody_vouches_for_gets_nothing(
    authority: trustme.CA, letters: Letters, how: str
) -> None:
    with mail_server(letters, **{how: served_by(authority)}) as server:
        assert not sent(settings(server, how, mail_user=USER, mail_password=PASSWORD))
    assert not letters.found
    assert not letters.logins


@pytest.mark.usefixtures("trusted")
@pytest.mark.parametrize("how", ["starttls", "tls"])
def test_a_certificate_of_another_name_gets_nothing(
    authority: trustme.CA, letters: Letters, how: str
) -> None:
    with mail_server(letters, **{how: served_by(authority, "stranger.example")}) as server:
        assert not sent(settings(server, how, mail_user=USER, mail_password=PASSWORD))
    assert not letters.found
    assert not letters.logins


def test_a_server_that_offers_no_encryption_gets_neither_mail_nor_password(
    letters: Letters,
) -> None:
    with mail_server(letters) as server:
        assert not sent(settings(server, mail_user=USER, mail_password=PASSWORD))
        assert not letters.found
        assert not letters.logins
        assert sent(settings(server, "none"))  # only where a setting says so


@pytest.mark.parametrize(
    "to",
    [
        f"{TO}\r\nBcc: eve@people.invalid",
        f"{TO}\nSubject: something else",
        f"{TO},eve@people.invalid",
        "eve,ida@people.invalid",
        f"{TO}>\r\nRCPT TO:<eve@people.invalid",
        "",
        '"@people.invalid',
        "(@people.invalid",
        "ida@people.invalid(",
    ],
)
def test_nothing_slips_into_a_mail(letters: Letters, to: str) -> None:
    with mail_server(letters) as server:
        assert not sent(settings(server, "none"), to)
    assert not letters.found


# The provider of OpenID Connect


class _Describes(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        issuer = f"https://localhost:{self.server.server_port}"
        body = json.dumps({"issuer": issuer, "authorization_endpoint": f"{issuer}/in"}).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Says nothing."""


class _Quiet(HTTPServer):
    def handle_error(self, *_: object) -> None:
        """Whoever does not trust the certificate breaks off: that is meant."""


@contextmanager
def provider(context: ssl.SSLContext) -> Iterator[Settings]:
    with _Quiet(("127.0.0.1", 0), _Describes) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            issuer = f"https://localhost:{server.server_port}"
            yield Settings(openid_issuer=issuer, openid_client_id="tests")
        finally:
            server.shutdown()
            thread.join()


def asked(by: Settings, monkeypatch: pytest.MonkeyPatch) -> str:
    # Later Pythons read what is trusted when the opener is made.
    monkeypatch.setattr(openid, "_OPENER", build_opener(openid._NoRedirect))
    return openid.address_of(
        by, Begun("state", "nonce", "v" * 43), "https://register.example", False
    )


@pytest.mark.usefixtures("trusted")
def test_a_provider_is_asked_whose_certificate_is_vouched_for(
    authority: trustme.CA, monkeypatch: pytest.MonkeyPatch
) -> None:
    with provider(served_by(authority)) as by:
        assert asked(by, monkeypatch).startswith(f"{by.openid_issuer}/in?")


def test_a_provider_whose_certificate_nobody_vouches_for_is_not_believed(
    authority: trustme.CA, monkeypatch: pytest.MonkeyPatch
) -> None:
    with provider(served_by(authority)) as by, pytest.raises(Refused, match="does not answer"):
        asked(by, monkeypatch)


@pytest.mark.usefixtures("trusted")
def test_a_provider_with_the_certificate_of_another_name_is_not_believed(
    authority: trustme.CA, monkeypatch: pytest.MonkeyPatch
) -> None:
    stranger = served_by(authority, "stranger.example")
    with provider(stranger) as by, pytest.raises(Refused, match="does not answer"):
        asked(by, monkeypatch)
