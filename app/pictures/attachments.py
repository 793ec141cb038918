"""Where attachments lie: a local folder or an object store, by one set of calls.

A file appears under its name whole or not at all. What an object store wants to know beside its address
(keys, region, endpoint) it reads from the usual variables of the environment, `AWS_ACCESS_KEY_ID` and so on.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import obstore
from obstore.exceptions import AlreadyExistsError, BaseError
from obstore.store import LocalStore, S3Store, from_url

from app.errors import Away, Refused

if TYPE_CHECKING:
    from obstore.store import ClientConfig, ObjectStore, RetryConfig

Where = Path | str
SCHEMES = ("s3://", "gs://", "az://", "memory://")
BLOCK = 1024 * 1024
# The folder of evidence packets: they are made from the record and no part of it.
PACKETS = "packets"
# Whoever sends waits meanwhile, and tries again later by itself.
PATIENCE: ClientConfig = {"connect_timeout": timedelta(seconds=5), "timeout": timedelta(seconds=60)}
TRIES: RetryConfig = {"max_retries": 3, "retry_timeout": timedelta(seconds=20)}
AWAY = (
    "The place where photographs are kept cannot be used just now, so nothing was kept. "
    "Try again in a moment."
)


@dataclass(frozen=True, slots=True)
class File:
    """`name` has its folders in it, parted by `/`; `written_at` is when it was put there."""

    name: str
    bytes: int
    written_at: datetime


class Attachments:
    """Files by name. Every call raises Away when the place cannot be used."""

    def __init__(self, where: Where) -> None:
        """`where` is a folder, which is made when something is put there, or an address such as s3://bucket/path.

        Raises Refused when the address is none.
        """
        self.folder = None if is_address(where) else Path(where)
        self.where = str(where)
        self._store: ObjectStore | None = None
        if self.folder is None:
            try:
                self._store = _object_store(self.where)
            except (BaseError, ValueError, TypeError) as wrong:
                raise Refused(f"Attachments cannot be kept at {where}: {wrong}") from None

    def put(self, name: str, content: bytes) -> None:
        """Keep a file, on the disk when this ends; what had the name before is replaced."""
        self._put(name, content)

    def put_new(self, name: str, content: bytes) -> bool:
        """Keep a file unless one has the name; whether it was kept. One of several callers wins."""
        try:
            self._put(name, content, "create")
        except AlreadyExistsError:
            return False
        return True

    def put_blocks(self, name: str, blocks: Iterable[bytes]) -> None:
        """Keep a file that may be large."""
        self._put(name, blocks)

    def read(self, name: str) -> bytes:
        """Raises FileNotFoundError when there is none."""
        return b"".join(self.blocks(name))

    def blocks(self, name: str) -> Iterator[bytes]:
        """What a file holds, some of it at a time; raises FileNotFoundError when there is none."""
        if not self._there():
            raise FileNotFoundError(name)
        with _reached():
            for block in obstore.get(self._opened(), name).stream(min_chunk_size=BLOCK):
                yield bytes(block)

    def files(self, under: str = "") -> Iterator[File]:
        """All files, or those under a folder of names, in no order."""
        if not self._there():
            return
        with _reached():
            for some in obstore.list(self._opened(), prefix=under or None):
                for each in some:
                    yield File(each["path"], each["size"], each["last_modified"])

    def drop(self, names: Iterable[str]) -> None:
        """Forget files; one that is not there is none to forget."""
        for name in names:
            with _reached():
                try:
                    obstore.delete(self._opened(), name)
                except FileNotFoundError:
                    continue

    def _put(
        self,
        name: str,
        content: bytes | Iterable[bytes],
        mode: Literal["create", "overwrite"] = "overwrite",
    ) -> None:
        try:
            with _reached():
                obstore.put(self._opened(make=True), name, content, mode=mode)
                self._settle(name)
        except FileNotFoundError as wrong:  # the bucket itself is not there
            raise Away(AWAY) from wrong

    def _there(self) -> bool:
        return self.folder is None or self.folder.is_dir()

    def _opened(self, make: bool = False) -> ObjectStore:
        """The store; that of a folder once there is one, so that looking makes nothing."""
        if self._store is None:
            assert self.folder
            with _reached():
                self._store = LocalStore(self.folder, mkdir=make)
        return self._store

    def _settle(self, name: str) -> None:
        """Wait until a file and its name would survive a power cut; an object store answers only then."""
        if self.folder is None:
            return
        path = self.folder / name
        for each in (path, *path.relative_to(self.folder).parents):
            place = each if each.is_absolute() else self.folder / each
            descriptor = os.open(place, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)


def _object_store(address: str) -> ObjectStore:
    if not address.startswith("s3://"):
        return from_url(address)
    # Options given here take the place of those that the library reads from the environment.
    plain = os.environ.get("AWS_ALLOW_HTTP", "").lower() == "true"
    # Files are forgotten one by one, and not every store knows of another way.
    return S3Store.from_url(
        address,
        config={"disable_bulk_delete": True},
        client_options={**PATIENCE, "allow_http": plain},
        retry_config=TRIES,
    )


@contextmanager
def _reached() -> Iterator[None]:
    try:
        yield
    except (AlreadyExistsError, FileNotFoundError):
        raise
    except (BaseError, OSError) as wrong:
        raise Away(AWAY) from wrong


def is_address(where: Where) -> bool:
    """Whether attachments lie in an object store."""
    return str(where).startswith(SCHEMES)
