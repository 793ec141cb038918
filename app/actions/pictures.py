"""Photographs of cars: taken in piece by piece, looked at, kept under the sum of what is kept, and handed out.

Decoding takes seconds, so no transaction is open meanwhile: sessions are opened where they are needed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.actions import rows
from app.actions.stamp import Stamp
from app.errors import Away, Conflict, NotFound, Refused
from app.pictures import Arriving, Attachments, Limits, Picture, decoded
from app.pictures.arriving import LARGEST_PIECE, drop_abandoned, sum_of
from app.store import pictures, reach
from app.store.gathering import note
from app.store.pictures import Photograph
from app.store.tables import Car

# A tablet that was not heard of for so long begins a picture anew.
PIECES_KEPT = timedelta(days=14)
SUM = re.compile(r"[0-9a-f]{64}")
Opens = Callable[[], AbstractContextManager[Session]]
Tell = Callable[[str, int, int], None]
OTHER_SUM = (
    "What came is not what was announced: its sum differs. Nothing of it is kept; send it anew."
)


class Spoilt(Refused):
    """All of a picture came and cannot be kept; its pieces are forgotten."""


@dataclass(frozen=True, slots=True)
class Desk:
    """Where pictures are taken in: the place for their files, limits, and sessions of whoever sends."""

    attachments: Attachments
    limits: Limits
    reading: Opens
    writing: Opens


@dataclass(frozen=True, slots=True)
class Piece:
    """Bytes of a picture from `at` on, which in all has `total`; `report` is a report's key."""

    digest: str
    report: str
    at: int
    total: int
    content: bytes


@dataclass(frozen=True, slots=True)
class Received:
    """How much of a picture has come, in bytes without a gap, and whether it is kept."""

    digest: str
    received: int
    whole: bool


def whole(db: Session, report_id: int, digests: Collection[str]) -> set[str]:
    """Of the sums under which a report names photographs, those whose bytes have all come."""
    return pictures.sent_of(db, report_id, digests)


def state(desk: Desk, digest: str, report: str = "") -> Received:
    """What has come of a picture, for this report where one is named. Raises Refused for what is no sum."""
    _must_be_sum(digest)
    with desk.reading() as db:
        there = pictures.that_came(db, digest, report)
        sender = _sender(db)
    if there is not None:
        return Received(digest, there.sent_bytes, True)
    return Received(digest, Arriving(desk.attachments, sender, digest).received(), False)


def receive(desk: Desk, piece: Piece, stamp: Stamp) -> Received:
    """Take a piece in, and with the last one keep the picture; a piece that came before adds nothing.

    Raises NotFound for a report out of reach, Refused for a piece that cannot be, Spoilt when all has come and
    is no picture or not what was announced.
    """
    _must_fit(desk.limits, piece)
    with desk.reading() as db:
        report = pictures.report_or_raise(db, piece.report)
        there = pictures.of_report(db, report.id, piece.digest)
        keep_place = pictures.keeps_place(db, report.car_id)
        sender = _sender(db)
    if there is not None:
        return Received(piece.digest, there.sent_bytes, True)
    arriving = Arriving(desk.attachments, sender, piece.digest)
    received = arriving.take(piece.at, piece.content)
    if received < piece.total:
        return Received(piece.digest, received, False)
    new = Photograph(report_id=report.id, car_id=report.car_id)
    try:
        content = arriving.joined()
    except FileNotFoundError:  # another worker took the last piece as well, and is done
        return state(desk, piece.digest, piece.report)
    try:
        _keep(desk, new, _looked_at(desk, piece.digest, content, keep_place), content, stamp)
    except Spoilt:
        arriving.drop()
        raise
    arriving.drop()
    return Received(piece.digest, received, True)


def shown(
    db: Session, attachments: Attachments, digest: str, small: bool
) -> tuple[Photograph, bytes]:
    """A picture of a car that is reached, and its bytes, or those of its small one; NotFound otherwise."""
    found = pictures.found_or_raise(db, digest)
    try:
        return found, attachments.read((small_name if small else name)(found.sha256))
    except FileNotFoundError:
        raise NotFound("There is no such photograph.") from None


def name(digest: str) -> str:
    """Where the picture with this sum lies among the attachments."""
    return f"kept/{digest[:2]}/{digest}"


def small_name(digest: str) -> str:
    """Where its small one lies, which is made from it and no part of the record."""
    return f"small/{digest[:2]}/{digest}"


def first_astray(db: Session, attachments: Attachments, tell: Tell) -> str | None:
    """The first picture of the record whose file is missing or does not have the recorded bytes, in words."""
    for done, (digest, size, car_id) in enumerate(pictures.every_sum(db)):
        tell("Reading photographs", done, 0)
        if wrong := _astray(attachments, digest, size):
            car = db.get_one(Car, car_id)
            return f"car {car.mark} {car.number} (its key is {car_id}): photograph {digest} {wrong}"
    return None


def _astray(attachments: Attachments, digest: str, size: int) -> str | None:
    try:
        content = attachments.read(name(digest))
    except FileNotFoundError:
        return "is missing"
    except Away:
        return "cannot be read"
    same = len(content) == size and sum_of(content) == digest
    return None if same else "does not have the bytes that were recorded"


def clear_up(attachments: Attachments, now: datetime) -> int:
    """Forget pieces of pictures that nobody sent the rest of; how many."""
    return drop_abandoned(attachments, now - PIECES_KEPT)


def _looked_at(desk: Desk, digest: str, content: bytes, keep_place: bool) -> Picture:
    if sum_of(content) != digest:
        raise Spoilt(OTHER_SUM)
    try:
        return decoded(content, desk.limits.pixels, keep_place)
    except Refused as refused:
        raise Spoilt(str(refused)) from None


def _keep(desk: Desk, new: Photograph, picture: Picture, sent: bytes, stamp: Stamp) -> None:
    """Put the files first: a file that no row names does no harm, a row without its file would."""
    digest = sum_of(picture.content)
    desk.attachments.put(small_name(digest), picture.small)
    desk.attachments.put(name(digest), picture.content)
    new.sent_sha256, new.sent_bytes = sum_of(sent), len(sent)
    new.sha256, new.bytes, new.type = digest, len(picture.content), picture.type
    new.width, new.height, new.taken_at = picture.width, picture.height, picture.taken_at
    new.recorded_at, new.recorded_by = stamp.at, stamp.by
    try:
        with desk.writing() as db:
            note(db, "photograph.kept")
            new.person_id = reach.of(db).person_id
            db.add(new)
            rows.flush(db, "This photograph is kept already.")
    except Conflict:  # another worker was first with the same picture
        return


def _sender(db: Session) -> str:
    """A folder name for whoever sends."""
    return str(reach.of(db).person_id or 0)


def _must_be_sum(digest: str) -> None:
    if not SUM.fullmatch(digest):
        raise Refused("A photograph is named by its SHA-256: 64 of the digits 0 to 9 and a to f.")


def _must_fit(limits: Limits, piece: Piece) -> None:
    _must_be_sum(piece.digest)
    if piece.total > limits.bytes:
        raise Refused(_too_large(limits))
    if len(piece.content) > LARGEST_PIECE:
        raise Refused(f"A piece has at most {LARGEST_PIECE} bytes.")
    if piece.at + len(piece.content) > piece.total:
        raise Refused(f"This piece ends beyond the {piece.total} bytes that were announced.")


def _too_large(limits: Limits) -> str:
    return f"A photograph has at most {limits.bytes // 1_000_000} MB, and this is more. Send it smaller."
