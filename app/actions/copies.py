"""Keeping a copy of the whole register while it is used, and bringing one back into an empty place."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, Table

from app import __version__
from app.errors import Refused
from app.files import archive
from app.files.archive import ATTACHMENTS, About, Copy, Head, Making, Manifest, Member, TableMember
from app.pictures import Attachments
from app.pictures.arriving import FOLDER as ARRIVING
from app.pictures.attachments import PACKETS, Where, is_address
from app.store import migrate
from app.store.copies import loading, reading, rows, soundness
from app.store.db import parsed

Tell = Callable[[str, int, int], None]


# Where a register on another engine has them, unless a setting says otherwise.
USUAL_FOLDER = Path("data/attachments")


@dataclass(frozen=True, slots=True)
class Place:
    """A database and where what is attached to its records lies: a folder, which need not be there, or an address."""

    url: str
    attachments: Where | None


def place_of(url: str, attachments: Where = "") -> Place:
    """A store with the place named; else the folder beside an SQLite file (with `.attachments`), or the usual one."""
    address = parsed(url)
    if attachments:
        named = str(attachments)
        return Place(url, named if is_address(named) else Path(named))
    if address.get_backend_name() == "sqlite" and address.database:
        return Place(url, Path(f"{address.database}.attachments"))
    return Place(url, USUAL_FOLDER)


def attachments_of(url: str, named: Where = "") -> Attachments:
    """What is attached to the records of a store."""
    place = place_of(url, named)
    assert place.attachments
    return Attachments(place.attachments)


def keep(engine: Engine, place: Place, path: Path, at: datetime, tell: Tell) -> Manifest:
    """Write all that the store holds at one moment to `path`; others go on reading and writing.

    A store of an older version is copied as it is. Raises Refused when `path` is taken or the store
    is empty, NewerStore, Busy while it is being migrated, OSError when the file cannot be written.
    """
    with reading.snapshot(engine) as connection:
        revision = migrate.revision_of(connection)
        tables = rows.tables(connection)
        with archive.making(path) as made:
            for done, table in enumerate(tables):
                tell(f"Copying {table.name}", done, len(tables))
                made.add_table(table.name, rows.columns(table), rows.lines(connection, table))
            # After the rows: what they name was there before them.
            _add_attachments(made, place.attachments, tell)
            head = reading.head_of_change(connection, tables)
            return made.finish(
                About(
                    program_version=__version__,
                    schema_revision=revision,
                    engine=engine.dialect.name,
                    taken_at=at,
                    change_head=Head(id=head[0], hash=head[1]) if head else None,
                )
            )


def _add_attachments(made: Making, where: Where | None, tell: Tell) -> None:
    """All but pieces of pictures of which the rest has not come, and packets, which are made anew."""
    if where is None:
        return
    kept = Attachments(where)
    every = (each.name for each in kept.files())
    found = sorted(name for name in every if name.split("/")[0] not in (ARRIVING, PACKETS))
    for done, name in enumerate(found):
        tell("Copying attachments", done, len(found))
        made.add_attachment(name, kept.blocks(name))


def bring_back(place: Place, path: Path, tell: Tell) -> Manifest:
    """Make the register of a copy in an empty place of either engine, in one transaction.

    Raises Refused, with nothing changed, when the place is not empty, or the copy is damaged or of
    a newer version; OSError when a file cannot be read or written.
    """
    with archive.opened(path) as copy:
        told = copy.manifest
        if not migrate.known(told.schema_revision):
            raise Refused(
                f"{path.name} was made by a newer version of Stencilbook (its schema is "
                f"{told.schema_revision}, its version {told.program_version}). Nothing was changed."
            )
        kept = _place_for(copy, place)
        copy.prove(tell)
        with loading.empty_place(place.url) as connection:
            _load(connection, copy, tell)
            with _attachments_put(copy, kept, tell):
                # In here, so that what was put there goes again when the rows cannot be kept.
                connection.commit()
        return told


def _place_for(copy: Copy, place: Place) -> Attachments | None:
    """Where the attachments of a copy go; None when it has none."""
    if not copy.manifest.attachments:
        return None
    if place.attachments is None:
        raise Refused("The copy holds attachments. Say where they go: --attachments PLACE")
    kept = Attachments(place.attachments)
    if not _is_free(kept):
        raise Refused(f"{kept.where} is not empty, and nothing that is there is overwritten.")
    return kept


def _is_free(kept: Attachments) -> bool:
    if kept.folder is None:
        return not any(kept.files())
    return not kept.folder.exists() or (kept.folder.is_dir() and not any(kept.folder.iterdir()))


def _load(connection: Connection, copy: Copy, tell: Tell) -> None:
    made = loading.make_schema(connection, copy.manifest.schema_revision)
    held = {each.table: each for each in copy.manifest.tables}
    if held.keys() != made.keys():
        strange = ", ".join(sorted(held.keys() ^ made.keys()))
        raise Refused(
            f"The copy does not hold the tables of its version; lacking or unknown: {strange}. Take another copy."
        )
    for done, (name, table) in enumerate(made.items()):
        tell(f"Bringing back {name}", done, len(made))
        _load_table(connection, copy, table, held[name])
    stray = soundness.first_orphan(connection, made.values())
    if stray:
        raise Refused(f"The copy does not hold together: {stray}. Nothing was changed.")
    loading.finish(connection, list(made.values()))


def _load_table(connection: Connection, copy: Copy, table: Table, member: TableMember) -> None:
    loading.fill(connection, table, member.columns, copy.lines(member))
    there = rows.count(connection, table)
    if there != member.rows:
        raise Refused(
            f"{table.name} has {there} rows after loading, and {member.rows} in the copy."
        )


@contextmanager
def _attachments_put(copy: Copy, kept: Attachments | None, tell: Tell) -> Iterator[None]:
    """Have them in their place, whole and on the disk; and no longer when the block fails."""
    if kept is None:
        yield
        return
    forget = (
        _put_objects(copy, kept, tell)
        if kept.folder is None
        else _put_folder(copy, kept.folder, tell)
    )
    try:
        if kept.folder is not None:
            archive.on_disk(kept.folder.parent)
        yield
    except BaseException:
        forget()
        raise


def _put_folder(copy: Copy, folder: Path, tell: Tell) -> Callable[[], None]:
    """The folder has its name only when all is in it."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f"{folder.name}.", suffix=".part", dir=folder.parent))
    try:
        _put_all(copy, Attachments(part), tell)
        part.replace(folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return lambda: shutil.rmtree(folder, ignore_errors=True)


def _put_objects(copy: Copy, kept: Attachments, tell: Tell) -> Callable[[], None]:
    def forget() -> None:
        kept.drop(_name(each) for each in copy.manifest.attachments)

    try:
        _put_all(copy, kept, tell)
    except BaseException:
        forget()
        raise
    return forget


def _put_all(copy: Copy, kept: Attachments, tell: Tell) -> None:
    every = copy.manifest.attachments
    for done, member in enumerate(every):
        tell("Bringing back attachments", done, len(every))
        kept.put_blocks(_name(member), copy.blocks(member))


def _name(member: Member) -> str:
    return member.member.removeprefix(ATTACHMENTS)
