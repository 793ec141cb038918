"""Taking over a car that another register handed over: its file checked, looked at with nothing stored, said yes to."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import web
from app.actions import take_over as actions
from app.actions import uploads
from app.actions.reasons import told
from app.actions.take_over import Difference, Taken
from app.core.directive_words import OUTCOMES
from app.errors import Conflict, Problem, Refused
from app.files.hand_overs import StatedDue
from app.pages.changing import Done, Looking, Seen, changed
from app.pages.moves import moves
from app.store import due, imports
from app.store.derived import HAND_OVER, Upload
from app.web.keeping import Kept

router = APIRouter(prefix="/take-over")

MEGABYTE = 1_000_000
# Photographs take as much room unpacked, and the rows of a car are few; what grows more is none of ours.
TIMES_UNPACKED = 2
LONGEST_NAME = 100
# What the preview counts, and of which tables of the file.
COUNTED = (
    ("Names, owners and standings", ("car_name", "ownership", "standing", "hold")),
    ("Facts of the tank, its lading, lining, fittings, stencil and approvals",
     ("construction", "service", "lining", "fitting", "stencil", "approval")),
    ("Components", ("component",)),
    ("Installations and removals", ("installation", "removal")),
    ("Inspections and changes", ("event",)),
    ("Readings", ("reading",)),
    ("Reports of field work", ("report",)),
    ("Withdrawals", ("withdrawal",)),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class FileSeen:
    """A file that waits: what it would bring, or why it cannot be taken over."""

    upload: Upload
    digest: str
    found: Taken | Problem

    @property
    def taken(self) -> Taken | None:
        return None if isinstance(self.found, Problem) else self.found

    def counts(self, taken: Taken) -> Iterator[tuple[str, int]]:
        """Rows by what they are of, and photographs."""
        rows = {each.table: each.rows for each in taken.manifest.tables}
        for label, tables in COUNTED:
            yield label, sum(rows[name] for name in tables)
        yield "Photographs", len(taken.manifest.attachments)

    def items(self, taken: Taken) -> Iterator[tuple[str, StatedDue | None, Difference | None]]:
        """Each due item, as it is stated there, and what is otherwise here."""
        there = {each.item: each for each in taken.manifest.due}
        otherwise = {each.item: each for each in taken.differences}
        for item in dict.fromkeys((*there, *otherwise)):
            yield item, there.get(item), otherwise.get(item)


@router.get("")
@web.may("bring_in")
def ask(request: Request, settings: web.Configured) -> Response:
    return _form(request, settings.upload_limit_mb)


@router.post("")
@web.may("bring_in")
def hand_in(
    request: Request, posted: web.Posted, db: web.Db, looking: Looking, settings: web.Configured
) -> Response:
    """Keep the file when every sum in it is right; nothing of it goes into the record yet."""
    file, wanted, limit_mb = posted.file("file"), posted.one("sum"), settings.upload_limit_mb
    if file is None:
        return _form(request, limit_mb, "Choose a file.", wanted)
    content, name = file.file.read(), file.filename or ""
    most = limit_mb * MEGABYTE * TIMES_UNPACKED
    with _on_disk(name, content) as path:
        try:
            actions.must_be_sound(path, wanted, most)
        except Refused as wrong:
            return _form(request, limit_mb, str(wrong), wanted)
    upload = uploads.keep(db, HAND_OVER, name, content, looking.stamp)
    return web.see_other(f"/take-over/{upload.id}")


@router.get("/{waiting_id}")
@web.may("bring_in")
def waiting(request: Request, waiting_id: str, opening: web.Opening, looking: Looking) -> Response:
    return _waiting(request, _waits(opening, waiting_id), opening, looking)


@router.post("/{waiting_id}/confirm")
@web.may("bring_in")
def confirm(
    request: Request, waiting_id: str, opening: web.Opening, looking: Looking, kept: Kept
) -> Response:
    """Take the car over. Photographs are kept first: looking at them takes long, and others write meanwhile."""
    upload = _waits(opening, waiting_id)
    with _on_disk(upload.file_name, upload.content) as path:
        try:
            actions.bring_pictures(kept, path)
            with opening.writing() as db:
                taken = actions.take_over(db, None, path, looking.stamp)
                uploads.drop(db, waiting_id)
                today = looking.stamp.today
                items = due.for_car(db, taken.car_id, today, looking.soon_days)
                done = Done("Taken over", _sentence(taken), moves([], told(db, items, today)))
                return changed(request, db, taken.car_id, done)
        except (Refused, Conflict):
            return _waiting(request, upload, opening, looking, 422)


@router.post("/{waiting_id}/drop")
@web.may("bring_in")
def drop(waiting_id: str, db: web.Db) -> Response:
    uploads.drop(db, waiting_id)
    return web.see_other("/take-over")


def _form(request: Request, limit_mb: int, problem: str = "", wanted_sum: str = "") -> Response:
    return web.page(
        request, "take_over/form.html", 422 if problem else 200, problem=problem,
        wanted_sum=wanted_sum, limit_mb=limit_mb,
    )  # fmt: skip


def _waits(opening: web.Sessions, waiting_id: str) -> Upload:
    with opening.reading() as db:
        return imports.upload_or_raise(db, waiting_id, (HAND_OVER,))


def _waiting(
    request: Request, upload: Upload, opening: web.Sessions, looking: Seen, status: int = 200
) -> Response:
    with _on_disk(upload.file_name, upload.content) as path:
        seen = FileSeen(upload, actions.sum_of(path), _looked(opening, path, looking))
    return web.page(request, "take_over/waiting.html", status, seen=seen, outcomes=OUTCOMES)


def _looked(opening: web.Sessions, path: Path, looking: Seen) -> Taken | Problem:
    """As taking over would do it, all of which is let go again."""
    try:
        with opening.writing() as db:
            return actions.take_over(db, None, path, looking.stamp, keep=False)
    except (Refused, Conflict) as problem:
        return problem


def _sentence(taken: Taken) -> str:
    told_by = taken.manifest
    return (
        f"{told_by.car} came from {told_by.from_party} with {taken.rows:,} rows and "
        f"{len(told_by.attachments):,} photographs. These are its due items by the rules in force here."
    )


@contextmanager
def _on_disk(name: str, content: bytes) -> Iterator[Path]:
    """The file under a name that is one, for as long as the block lasts."""
    plain = re.sub(r"[^A-Za-z0-9._ -]+", "-", name).strip(". ")[-LONGEST_NAME:]
    with tempfile.TemporaryDirectory(prefix="stencilbook-") as folder:
        path = Path(folder) / (plain or "hand-over.zip")
        path.write_bytes(content)
        yield path
