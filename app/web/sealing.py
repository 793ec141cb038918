"""Secrets that the program itself must read again, kept so that a copy of the store alone gives none away."""

from __future__ import annotations

import base64
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from sqlalchemy import make_url

from app.errors import Refused
from app.settings import KEY_FILE, Settings

NO_KEY = (
    "Codes cannot be set up: the program has no key to seal their secrets with. Whoever looks after "
    "it sets SECRET_KEY. Passkeys need none."
)


@dataclass(frozen=True, slots=True)
class Sealing:
    """Encrypts and authenticates with one key (Fernet: AES-128-CBC with HMAC-SHA-256)."""

    fernet: Fernet | None

    def close(self, secret: str) -> str:
        if self.fernet is None:
            raise Refused(NO_KEY)
        return self.fernet.encrypt(secret.encode()).decode()

    def open(self, sealed: str) -> str | None:
        """None when it was closed with another key, or there is none."""
        try:
            return self.fernet.decrypt(sealed.encode()).decode() if self.fernet else None
        except InvalidToken:
            return None


def sealing(settings: Settings) -> Sealing:
    """By SECRET_KEY, else by a key in a file beside the SQLite database, made at first use."""
    given = settings.secret_key.get_secret_value()
    secret = given.encode() if given else _of_file(settings.database_url)
    return Sealing(Fernet(_derived(secret)) if secret else None)


def _derived(secret: bytes) -> bytes:
    made = HKDF(SHA256(), length=32, salt=None, info=b"secrets of codes").derive(secret)
    return base64.urlsafe_b64encode(made)


def _of_file(database_url: str) -> bytes | None:
    address = make_url(database_url)
    if address.get_backend_name() != "sqlite" or not address.database:
        return None
    path = Path(address.database).with_name(KEY_FILE)
    try:
        if not path.exists():
            _make(path)
        return path.read_bytes().strip() or None
    except OSError:
        return None  # a folder that cannot be written has no key to be made


def _make(path: Path) -> None:
    """A new key under its name at once and whole, since other processes look for it; the first one made stays."""
    with NamedTemporaryFile(dir=path.parent, prefix=f"{KEY_FILE}.") as made:
        made.write(base64.b64encode(os.urandom(32)))
        made.flush()
        os.fsync(made.fileno())
        with suppress(FileExistsError):
            os.link(made.name, path)
