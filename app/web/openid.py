"""Sign-in by a provider of OpenID Connect: the code flow with PKCE, state and nonce (OpenID Connect Core 1.0, 3.1).

Asks only the issuer that the settings name, and the addresses that it gives under that name.
"""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, cast
from urllib.error import HTTPError
from urllib.parse import urlencode, urlsplit

from authlib.common.errors import AuthlibBaseError  # type: ignore[import-untyped]
from authlib.oauth2.client import OAuth2Client  # type: ignore[import-untyped]
from authlib.oidc.core import CodeIDToken  # type: ignore[import-untyped]
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet

from app.errors import Refused
from app.settings import Settings

SECONDS = 10
LARGEST = 1_000_000
LEEWAY = 60  # seconds by which two clocks may differ
SCOPE = "openid email profile"
# Signatures by a published key alone: none, and none by a secret that both sides know.
ALGORITHMS = ["RS256", "PS256", "ES256", "RS384", "RS512", "ES384", "EdDSA", "Ed25519"]
SEVERAL = "mfa"  # among the ways in which somebody signed in there (RFC 8176, 2)
AWAY = "The provider does not answer as it should. Try again later, or sign in otherwise."
NOT_ACCEPTED = "The provider’s answer was not accepted. Start again."
# OSError and ArithmeticError are of moments that no calendar has.
UNREADABLE = (
    AuthlibBaseError, JoseError, LookupError, ValueError, TypeError, OSError, ArithmeticError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Identity:
    """Who somebody is at the provider; `proved_at` is when they gave a secret there, where it says so.

    `two` when it says that it asked for several secrets; what it does not say counts as one.
    """

    issuer: str
    subject: str
    email: str
    email_verified: bool
    name: str
    proved_at: datetime | None
    two: bool


@dataclass(frozen=True, slots=True)
class Begun:
    """What was sent along with somebody, and has to come back or be shown."""

    state: str
    nonce: str
    verifier: str


def address_of(settings: Settings, begun: Begun, back_to: str, anew: bool) -> str:
    """Where to send the browser; `anew` asks the provider for a secret even of who is signed in there."""
    client = _client(settings, back_to)
    more = {"prompt": "login"} if anew else {"max_age": str(_most(settings))}
    address, _ = client.create_authorization_url(
        _address(_described(settings), "authorization_endpoint"),
        state=begun.state,
        code_verifier=begun.verifier,
        nonce=begun.nonce,
        **more,
    )
    return str(address)


def identity(settings: Settings, begun: Begun, code: str, back_to: str, now: datetime) -> Identity:
    """Who came back with this code. Raises Refused."""
    described = _described(settings)
    try:
        answer = _client(settings, back_to).fetch_token(
            _address(described, "token_endpoint"),
            grant_type="authorization_code",
            code=code,
            code_verifier=begun.verifier,
        )
        keys = KeySet.import_key_set(cast("Any", _fetched(_address(described, "jwks_uri"))))
        claims = _claims(settings, begun, str(answer["id_token"]), keys, now)
        return _identity(settings, claims)
    except UNREADABLE as wrong:
        raise Refused(NOT_ACCEPTED) from wrong


def _claims(
    settings: Settings, begun: Begun, token: str, keys: KeySet, now: datetime
) -> Mapping[str, Any]:
    """What an ID token says that was made now, by this issuer, for this client and this sign-in.

    Raises JoseError or ValueError. The audience is this client alone: one meant for others besides is
    refused. A token of another type says so in its header (RFC 9068, 2.1).
    """
    read = jwt.decode(token, keys, algorithms=ALGORITHMS)
    if read.header.get("typ", "JWT") != "JWT":
        raise ValueError("no ID token")
    if read.claims.get("aud") not in (settings.openid_client_id, [settings.openid_client_id]):
        raise ValueError("for somebody else")
    claims = CodeIDToken(
        read.claims,
        read.header,
        {"iss": {"essential": True, "value": settings.openid_issuer}},
        {"nonce": begun.nonce, "client_id": settings.openid_client_id},
    )
    claims.validate(int(now.timestamp()), LEEWAY)
    proved = claims.get("auth_time")
    if isinstance(proved, int) and proved + _most(settings) + LEEWAY < now.timestamp():
        raise ValueError("signed in there too long ago")
    return cast("Mapping[str, Any]", claims)


def _most(settings: Settings) -> int:
    """How many seconds a secret given at the provider counts: as long as a sign-in here."""
    return settings.sign_in_days * 24 * 3600


def _identity(settings: Settings, claims: Mapping[str, Any]) -> Identity:
    proved = claims.get("auth_time")
    return Identity(
        settings.openid_issuer,
        str(claims["sub"])[:255],
        str(claims.get("email", "")).strip().lower(),
        claims.get("email_verified") is True,
        str(claims.get("name", "")).strip()[:200],
        datetime.fromtimestamp(proved, UTC) if isinstance(proved, int) else None,
        SEVERAL in (claims.get("amr") or ()),
    )


def _client(settings: Settings, back_to: str) -> OAuth2Client:
    secret = settings.openid_client_secret.get_secret_value()
    return OAuth2Client(
        _Session(),
        settings.openid_client_id,
        secret or None,
        token_endpoint_auth_method="client_secret_basic" if secret else "none",
        scope=SCOPE,
        redirect_uri=back_to,
        code_challenge_method="S256",
    )


def _described(settings: Settings) -> Mapping[str, Any]:
    """What the issuer says of itself (OpenID Connect Discovery 1.0, 4)."""
    base = settings.openid_issuer.rstrip("/")
    found = _fetched(f"{base}/.well-known/openid-configuration")
    if found.get("issuer") != settings.openid_issuer:  # to the letter (4.3)
        raise Refused(AWAY)
    return found


def _address(described: Mapping[str, Any], name: str) -> str:
    """An endpoint; without HTTPS only on this very machine."""
    found = str(described.get(name, ""))
    parts = urlsplit(found)
    here = parts.scheme == "http" and parts.hostname in ("127.0.0.1", "localhost")
    if parts.scheme != "https" and not here:
        raise Refused(AWAY)
    return found


def _fetched(address: str) -> dict[str, Any]:
    answer = _answer(urllib.request.Request(address))
    try:
        found = answer.json()
    except ValueError as wrong:
        raise Refused(AWAY) from wrong
    if answer.status_code != 200 or not isinstance(found, dict):
        raise Refused(AWAY)
    return found


@dataclass(frozen=True, slots=True)
class _Answer:
    status_code: int
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)

    def raise_for_status(self) -> None:
        raise Refused(AWAY)


class _Session:
    """The little of an HTTP client that Authlib's client asks for."""

    def post(self, url: str, data: Any, headers: Any, auth: Any, **_: Any) -> _Answer:
        body = urlencode(data) if isinstance(data, dict) else data
        address, sent, body = auth.prepare("POST", url, dict(headers), body)
        return _answer(urllib.request.Request(address, body.encode(), sent, method="POST"))


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect could lead the program to an address inside."""

    def redirect_request(self, *_: Any) -> None:
        return None


_OPENER = urllib.request.build_opener(_NoRedirect)


def _answer(asked: urllib.request.Request) -> _Answer:
    try:
        with _OPENER.open(asked, timeout=SECONDS) as found:
            return _Answer(found.status, found.read(LARGEST))
    except HTTPError as wrong:
        with wrong:
            return _Answer(wrong.code, wrong.read(LARGEST))
    except (OSError, ValueError) as wrong:
        raise Refused(AWAY) from wrong
