"""The settings, read from the environment in one place."""

import re
from ipaddress import ip_network
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BeforeValidator, Field, SecretStr, ValidationError
from pydantic_core import ErrorDetails
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from app.errors import Fault, Refused


def _served_database(url: str) -> str:
    if not url.startswith(("sqlite:", "postgresql:", "postgresql+psycopg:")):
        raise ValueError(
            f"found {url.partition(':')[0]!r} before the colon; want an address such as "
            "sqlite:///./data/stencilbook.db or postgresql+psycopg://user@host/name"
        )
    return url


def _replica(url: str) -> str:
    if url and not url.startswith(("postgresql:", "postgresql+psycopg:")):
        raise ValueError(
            "want the address of a replica such as postgresql+psycopg://user@host/name"
        )
    return url


def _known_zone(name: str) -> str:
    try:
        return ZoneInfo(name).key
    except (ValueError, OSError, KeyError) as error:  # a folder, a path, no such name
        wanted = "want a name such as America/Chicago"
        raise ValueError(f"{name!r} is no time zone; {wanted}") from error


def _origin(address: str) -> str:
    """Scheme, name and port as a browser writes them: small letters, a foreign name spelled out."""
    if not address:
        return address
    try:
        parts = urlsplit(address.strip())
        name, port = _host_name(parts.hostname or ""), parts.port
    except ValueError:
        raise ValueError(ORIGIN_WANTED) from None
    extra = parts.path.strip("/") or parts.query or parts.fragment or parts.username
    if parts.scheme not in ("http", "https") or extra:
        raise ValueError(ORIGIN_WANTED)
    usual = {"http": 80, "https": 443}[parts.scheme]
    shown = f"[{name}]" if ":" in name else name
    return f"{parts.scheme}://{shown}" + (f":{port}" if port not in (None, usual) else "")


def _host_name(name: str) -> str:
    """A name or address without port, as it stands in a Host header."""
    name = name.strip().strip("[]").rstrip(".").lower()
    plain = name if name.isascii() else name.encode("idna").decode()
    if not re.fullmatch(r"[a-z0-9]([a-z0-9.:_-]{0,251}[a-z0-9])?", plain) and plain != "::1":
        raise ValueError(f"{name!r} is no name of a host; want names such as register.example")
    return plain


# Beside a SQLite database; seals the secrets of codes where SECRET_KEY does not.
KEY_FILE = "secret.key"


def _long_secret(secret: SecretStr) -> SecretStr:
    if secret and len(secret.get_secret_value()) < SHORTEST_SECRET:
        raise ValueError(f"want at least {SHORTEST_SECRET} characters that nobody can guess")
    return secret


def _server(place: str) -> str:
    name, _, port = place.rpartition(":")
    if place and not (name and port.isdecimal() and 0 < int(port) < 65_536):
        raise ValueError(f"{place!r} is no server; want host and port such as mail.example:587")
    return place


def _issuer(address: str) -> str:
    """By HTTPS, but for a provider on this very machine; with a path where it has one."""
    parts = urlsplit(address)
    here = parts.scheme == "http" and parts.hostname in ("127.0.0.1", "localhost")
    if address and not (parts.hostname and (parts.scheme == "https" or here)):
        raise ValueError("want the provider's address, such as https://login.example")
    return address


def _network(address: str) -> str:
    try:
        return str(ip_network(address, strict=False))
    except ValueError:
        raise ValueError(
            f"{address!r} is no address; want addresses or networks such as 127.0.0.1, 172.18.0.0/16"
        ) from None


def _listed(given: Any) -> Any:
    """One text with commas as its parts."""
    if not isinstance(given, str):
        return given
    return tuple(part.strip() for part in given.split(",") if part.strip())


SHORTEST_SECRET = 32
ORIGIN_WANTED = (
    "want the address that people open, such as https://register.example, without a path"
)
HostName = Annotated[str, AfterValidator(_host_name)]
Network = Annotated[str, AfterValidator(_network)]


class Settings(BaseSettings):
    """Each field is the environment variable of the same name in capitals."""

    model_config = SettingsConfigDict(frozen=True)

    database_url: Annotated[str, AfterValidator(_served_database)] = (
        "sqlite:///./data/stencilbook.db"
    )
    # A streaming replica, from which pages that may lag a little are read; PostgreSQL only, empty: there is none.
    database_url_read: Annotated[str, AfterValidator(_replica)] = ""
    # Of each process that answers; PostgreSQL must take those of all of them, and some for long work.
    database_connections: Annotated[int, Field(ge=2, le=1000)] = 4
    # How long a request waits for one of them to be free, or for a lock of PostgreSQL.
    database_wait_seconds: Annotated[int, Field(ge=1, le=300)] = 5
    # After so long PostgreSQL gives up a statement of a request; 0: never.
    database_statement_seconds: Annotated[int, Field(ge=0, le=3600)] = 60
    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65_535)] = 8000
    # Processes that answer at that address; the one for long work is beside them.
    workers: Annotated[int, Field(ge=1, le=64)] = 1
    upload_limit_mb: Annotated[int, Field(ge=1)] = 64
    # A folder, or an object store such as s3://bucket/path; empty: beside an SQLite file, else data/attachments.
    attachments: str = ""
    photograph_limit_mb: Annotated[int, Field(ge=1, le=64)] = 12
    photograph_megapixels: Annotated[int, Field(ge=1, le=200)] = 50
    time_zone: Annotated[str, AfterValidator(_known_zone)] = "UTC"
    soon_days: Annotated[int, Field(ge=0)] = 180
    log_format: Literal["text", "json"] = "text"
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    # The address that people open; empty when the register serves this machine alone.
    public_url: Annotated[str, AfterValidator(_origin)] = ""
    trusted_proxies: Annotated[tuple[Network, ...], NoDecode, BeforeValidator(_listed)] = ()
    # Names to answer to besides those of PUBLIC_URL, HOST and this machine itself.
    allowed_hosts: Annotated[tuple[HostName, ...], NoDecode, BeforeValidator(_listed)] = ()
    # Seals the secrets of codes in the store; empty: a file secret.key beside a SQLite database.
    secret_key: Annotated[SecretStr, AfterValidator(_long_secret)] = SecretStr("")
    # A sign-in that nobody uses ends after so many hours, any after so many days.
    sign_in_idle_hours: Annotated[int, Field(ge=1, le=24 * 90)] = 12
    sign_in_days: Annotated[int, Field(ge=1, le=90)] = 7
    # Whether a password alone lets somebody in; empty: required where PUBLIC_URL is https.
    second_factor: Literal["required", "offered", ""] = ""
    # Host and port; empty: nothing is mailed, links are handed over.
    mail_server: Annotated[str, AfterValidator(_server)] = ""
    mail_from: str = ""
    mail_user: str = ""
    mail_password: SecretStr = SecretStr("")
    mail_tls: Literal["starttls", "tls", "none"] = "starttls"
    # From this hour on, in the time zone above, mails about what falls due are sent.
    notices_hour: Annotated[int, Field(ge=0, le=23)] = 6
    # Sign-in by a provider of OpenID Connect; empty: there is none.
    openid_issuer: Annotated[str, AfterValidator(_issuer)] = ""
    openid_client_id: str = ""
    openid_client_secret: SecretStr = SecretStr("")
    openid_name: str = "your company’s account"
    # 0 is no limit.
    requests_per_minute_address: Annotated[int, Field(ge=0)] = 1200
    requests_per_minute_person: Annotated[int, Field(ge=0)] = 600

    @property
    def https(self) -> bool:
        """Whether people reach the register by HTTPS alone."""
        return self.public_url.startswith("https:")

    @property
    def second_required(self) -> bool:
        """Whether nobody gets further with a password alone than to setting up a second secret."""
        return self.second_factor == "required" or (self.https and not self.second_factor)


# What is wanted, by what Pydantic misses. Only of these is what was found told: the others may be secret.
_WANTED = {
    "int_parsing": "a whole number",
    "float_parsing": "a number",
    "bool_parsing": "yes or no",
    "greater_than_equal": "at least {ge}",
    "greater_than": "more than {gt}",
    "less_than_equal": "at most {le}",
    "less_than": "less than {lt}",
    "literal_error": "one of {expected}",
}


def _sentence(error: ErrorDetails) -> str:
    wanted = _WANTED.get(error["type"])
    if wanted is None:
        return error["msg"].removeprefix("Value error, ")
    return f"found {str(error['input'])!r}; want {wanted.format(**error.get('ctx', {}))}"


def read_settings() -> Settings:
    """The settings of this process; raises Refused naming every variable that is wrong."""
    try:
        return Settings()
    except ValidationError as wrong:
        raise Refused.because(
            Fault(str(each["loc"][0]).upper(), _sentence(each)) for each in wrong.errors()
        ) from None
