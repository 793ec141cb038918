"""A copy of the register as one ZIP file: its members, their sums, and the manifest that names them.

Knows nothing of a database. What is written streams, and so does what is read; a file has its final
name only when it is whole and on the disk.
"""

from __future__ import annotations

import json
import os
import tempfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import Annotated, ClassVar, Generic, TypeVar
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

from pydantic import AwareDatetime, BaseModel, ConfigDict, StringConstraints, ValidationError

from app.errors import Refused

# Raised when an older program could not read what a newer one writes.
FORMAT = 1
MANIFEST = "manifest.json"
TABLES, ATTACHMENTS = "tables/", "attachments/"
BLOCK = 1024 * 1024
LARGEST_MANIFEST = 64 * 1024 * 1024
DAMAGE = (BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, RuntimeError)
Sum = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
# Called with the step, how much of it is done, and of how much.
Tell = Callable[[str, int, int], None]


class Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Member(Strict):
    """One member: its name in the ZIP file, its size in bytes and its SHA-256, both unpacked."""

    member: str
    bytes: int
    sha256: Sum


class TableMember(Member):
    """The rows of a table, one JSON list a line; `columns` are name and kind, in the order of a list."""

    table: str
    rows: int
    columns: tuple[tuple[str, str], ...]


class Head(Strict):
    """The latest entry of the record of change."""

    id: int
    hash: str


class About(Strict):
    """What a copy is of: `engine` is where it was taken, not where it may go."""

    program: str = "Stencilbook"
    program_version: str
    schema_revision: str
    engine: str
    taken_at: AwareDatetime
    change_head: Head | None = None


class Manifest(About):
    called: ClassVar[str] = "copy of a register"
    format: int = FORMAT
    tables: tuple[TableMember, ...]
    attachments: tuple[Member, ...] = ()

    @property
    def members(self) -> tuple[Member, ...]:
        return (*self.tables, *self.attachments)

    @property
    def rows(self) -> int:
        return sum(each.rows for each in self.tables)


M = TypeVar("M", bound=Manifest)


class Making:
    """A copy being written."""

    def __init__(self, zipped: ZipFile) -> None:
        self._zip = zipped
        self._tables: list[TableMember] = []
        self._attachments: list[Member] = []

    def add_table(
        self, table: str, columns: Iterable[tuple[str, str]], pieces: Iterable[bytes]
    ) -> None:
        """`pieces` are whole lines, one a row, any number of them at a time."""
        rows = 0

        def counted() -> Iterator[bytes]:
            nonlocal rows
            for piece in pieces:
                rows += piece.count(b"\n")
                yield piece

        written = self._write(f"{TABLES}{table}.jsonl", counted())
        self._tables.append(
            TableMember(**written.model_dump(), table=table, rows=rows, columns=tuple(columns))
        )

    def add_attachment(self, name: str, pieces: Iterable[bytes]) -> None:
        self._attachments.append(self._write(f"{ATTACHMENTS}{name}", pieces))

    def _write(self, name: str, pieces: Iterable[bytes]) -> Member:
        digest, size = sha256(), 0
        with self._zip.open(name, "w", force_zip64=True) as out:
            for piece in pieces:
                digest.update(piece)
                size += len(piece)
                out.write(piece)
        return Member(member=name, bytes=size, sha256=digest.hexdigest())

    def finish(self, about: About) -> Manifest:
        return self.finish_as(Manifest(**about.model_dump(), **self.held()))

    def held(self) -> dict[str, tuple[Member, ...]]:
        """What was added, as a manifest names it."""
        return {"tables": tuple(self._tables), "attachments": tuple(self._attachments)}

    def finish_as(self, made: M) -> M:
        """Write the manifest, which names all that was added."""
        self._zip.writestr(MANIFEST, made.model_dump_json(indent=1))
        return made


@contextmanager
def making(path: Path) -> Iterator[Making]:
    """Write a copy that appears at `path` when the block ends without a fault.

    Only its owner may read it: it holds what the register holds. Raises Refused when something is
    at `path` already, OSError when it cannot be written.
    """
    _must_be_free(path)
    descriptor, name = tempfile.mkstemp(prefix=f"{path.name}.", suffix=".part", dir=path.parent)
    part = Path(name)
    try:
        with os.fdopen(descriptor, "wb") as out:
            with ZipFile(out, "w", ZIP_DEFLATED) as zipped:
                yield Making(zipped)
            out.flush()
            os.fsync(out.fileno())
        _must_be_free(path)
        part.replace(path)
        on_disk(path.parent)
    finally:
        part.unlink(missing_ok=True)


def _must_be_free(path: Path) -> None:
    if path.exists():
        raise Refused(f"{path} is there already, and a copy overwrites nothing. Name another file.")


def on_disk(folder: Path) -> None:
    """Wait until the names in `folder` would survive a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class Copied(Generic[M]):
    """A copy being read."""

    def __init__(self, zipped: ZipFile, name: str, manifest: M) -> None:
        self._zip, self._name, self.manifest = zipped, name, manifest

    def prove(self, tell: Tell) -> None:
        """Read every member to its end; raises Refused naming the first that is not as it was written."""
        strange = set(self._zip.namelist()) - {each.member for each in self.manifest.members}
        if strange != {MANIFEST} or len(self._zip.namelist()) != len(self.manifest.members) + 1:
            raise self._damaged(min(strange - {MANIFEST}, default=MANIFEST), "is not expected")
        for done, each in enumerate(self.manifest.members):
            tell("Checking the copy", done, len(self.manifest.members))
            for _ in self.blocks(each):
                pass

    def blocks(self, member: Member) -> Iterator[bytes]:
        """What a member holds, some of it at a time; raises Refused where it proves to be damaged."""
        digest, left = sha256(), member.bytes
        try:
            with self._zip.open(member.member) as source:
                while block := source.read(BLOCK):
                    digest.update(block)
                    left -= len(block)
                    if left < 0:
                        break
                    yield block
        except DAMAGE:
            raise self._damaged(member.member, "cannot be read") from None
        if left or digest.hexdigest() != member.sha256:
            raise self._damaged(member.member, "is not what was written")

    def lines(self, member: TableMember) -> Iterator[bytes]:
        """One row at a time, as it was written."""
        rest, rows = b"", 0
        for block in self.blocks(member):
            *whole, rest = (rest + block).split(b"\n")
            rows += len(whole)
            yield from whole
        if rest or rows != member.rows:
            raise self._damaged(member.member, f"has {rows} rows, not {member.rows}")

    def _damaged(self, member: str, how: str) -> Refused:
        return Refused(f"{self._name} is damaged: its member {member} {how}. Nothing was changed.")


Copy = Copied[Manifest]


@contextmanager
def opened(path: Path) -> Iterator[Copy]:
    """Raises Refused when it is no copy, or one of a newer version; OSError when it cannot be read."""
    with opened_as(Manifest, path) as copy:
        yield copy


@contextmanager
def opened_as(kind: type[M], path: Path) -> Iterator[Copied[M]]:
    """The same of a file whose manifest is of this kind."""
    try:
        zipped = ZipFile(path)
    except BadZipFile:
        raise Refused(
            f"{path.name} is no {kind.called}, or it is damaged: its list of members cannot be read."
        ) from None
    with zipped:
        yield Copied(zipped, path.name, _manifest(kind, zipped, path.name))


def _manifest(kind: type[M], zipped: ZipFile, name: str) -> M:
    try:
        with zipped.open(MANIFEST) as source:
            told = json.loads(source.read(LARGEST_MANIFEST))
        newer = told["format"] > FORMAT
    except (*DAMAGE, ValueError, TypeError):
        raise Refused(f"{name} is no {kind.called}, or its {MANIFEST} is damaged.") from None
    if newer:
        raise Refused(
            f"{name} was made by a newer version of Stencilbook ({told.get('program_version')}). "
            f"Bring it back with that version."
        )
    try:
        read = kind.model_validate_json(json.dumps(told))
    except ValidationError as wrong:
        raise Refused(f"{name}: its {MANIFEST} is damaged: {wrong.errors()[0]['msg']}.") from None
    if not all(_inside(each.member) for each in read.members):
        raise Refused(f"{name}: its {MANIFEST} names a file outside of the copy.")
    return read


def _inside(member: str) -> bool:
    """Whether unpacking it could not write elsewhere."""
    parts = PurePosixPath(member).parts
    plain = not {"..", "/", "."} & set(parts) and not any(bad in member for bad in "\\:\0")
    return plain and "/".join(parts) == member and member.startswith((TABLES, ATTACHMENTS))
