"""Evidence packets as files: made at once for few cars, by a job for many, which keeps its file for some days."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from tempfile import SpooledTemporaryFile
from typing import Any, BinaryIO, cast

from sqlalchemy.orm import Session

from app.actions import evidence, pictures
from app.actions.evidence import View
from app.errors import NotFound
from app.files import packet
from app.files.packet import Reads, Volume
from app.pictures import Attachments
from app.pictures.attachments import PACKETS
from app.store import evidence as asked
from app.store.asked import Standpoint

Tell = Callable[[int, int], None]
# As many are made while a person waits.
AT_ONCE = 10
KEPT = timedelta(days=14)
HELD_IN_MEMORY, BLOCK = 32_000_000, 1 << 20


def write(
    db: Session, out: BinaryIO, car_ids: Sequence[int], view: View, attachments: Attachments,
    tell: Tell = lambda done, total: None,
) -> None:  # fmt: skip
    """A packet of these cars as a ZIP file, in their order. Raises NotFound for a car that is not wholly reached."""
    asked.hold_still(db)
    front = evidence.front(db, view)
    told = (evidence.of_car(db, each, view) for each in car_ids)
    packet.write(out, front, len(car_ids), told, reads(attachments), tell)


def pdf(db: Session, car_id: int, view: View, attachments: Attachments) -> bytes:
    """What a packet of one car holds to be read and printed."""
    front = evidence.front(db, view)
    volume = Volume(1, 1, [evidence.of_car(db, car_id, view)], 1)
    return packet.typeset(front, volume, reads(attachments))


def reads(attachments: Attachments) -> Reads:
    def read(digest: str, small: bool) -> bytes | None:
        try:
            return attachments.read((pictures.small_name if small else pictures.name)(digest))
        except FileNotFoundError:
            return None

    return read


# Of a job -------------------------------------------------------------------------------------------------------


def payload(car_ids: Sequence[int], view: View) -> dict[str, Any]:
    """What a job has to know, as JSON."""
    known_at = view.at.known_at
    return {
        "car_ids": list(car_ids),
        "as_of": view.at.as_of.isoformat(),
        "known_at": known_at.isoformat() if known_at else None,
        "known": view.known,
        "soon_days": view.soon_days,
        "looks_back": view.looks_back,
    }


def keep(
    db: Session, told: Mapping[str, Any], job_id: str, attachments: Attachments, tell: Tell
) -> dict[str, Any]:
    """Make the packet that a payload asks for and keep its file under the job's key."""
    car_ids = told["car_ids"]
    with SpooledTemporaryFile(max_size=HELD_IN_MEMORY) as held:
        out = cast(BinaryIO, held)
        write(db, out, car_ids, _view(told), attachments, tell)
        size = out.tell()
        out.seek(0)
        attachments.put_blocks(_name(job_id), iter(lambda: out.read(BLOCK), b""))
    return {"cars": len(car_ids), "bytes": size, "as_of": told["as_of"], "kept_days": KEPT.days}


def _view(told: Mapping[str, Any]) -> View:
    known_at = datetime.fromisoformat(told["known_at"]) if told["known_at"] else None
    at = Standpoint(date.fromisoformat(told["as_of"]), known_at)
    return View(at, told["soon_days"], told["looks_back"], told["known"])


def kept(
    db: Session, told: Mapping[str, Any], job_id: str, attachments: Attachments
) -> Iterator[bytes]:
    """The file that a job made. NotFound when a car of it is not reached any more, or it is kept no longer."""
    evidence.must_be_reached(db, told["car_ids"])
    blocks = attachments.blocks(_name(job_id))
    try:
        first = next(blocks)
    except FileNotFoundError:
        raise NotFound(
            f"This packet is kept no longer: each is for {KEPT.days} days. Ask for it anew."
        ) from None
    return _all(first, blocks)


def _all(first: bytes, blocks: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from blocks


def clear_up(attachments: Attachments, now: datetime) -> int:
    """Forget packets that were kept long enough; how many."""
    old = [each.name for each in attachments.files(PACKETS) if each.written_at < now - KEPT]
    attachments.drop(old)
    return len(old)


def _name(job_id: str) -> str:
    return f"{PACKETS}/{job_id}.zip"
