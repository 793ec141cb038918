"""A photograph that comes piece by piece: each a small file named by where it begins.

Nothing else is remembered, so any worker can take the next piece. Of two who take the same place only one keeps
its piece, and what is already there is passed over: a piece sent twice adds nothing. Kept apart by sender, so
that nobody can spoil what another sends.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256

from app.pictures.attachments import Attachments, File

FOLDER = "arriving"
# A piece is taken in memory, and a connection that breaks loses no more than one.
LARGEST_PIECE = 256 * 1024


class Arriving:
    """The pieces of one picture from one sender; `sender` and `digest` are plain words."""

    def __init__(self, attachments: Attachments, sender: str, digest: str) -> None:
        self._attachments = attachments
        self._folder = f"{FOLDER}/{sender}/{digest}"

    def received(self) -> int:
        """How many bytes have come without a gap from the first."""
        return sum(each.bytes for each in self._in_order())

    def take(self, at: int, piece: bytes) -> int:
        """Keep what of a piece is new; how many bytes there are now.

        A piece that begins beyond what has come is not kept: the sender goes on from what is told.
        """
        there = self.received()
        new = piece[there - at :] if at <= there else b""
        if new and self._attachments.put_new(f"{self._folder}/{there:012d}", new):
            return there + len(new)
        return self.received() if new else there

    def joined(self) -> bytes:
        """All that has come. Raises FileNotFoundError when another worker is done with it meanwhile."""
        return b"".join(self._attachments.read(each.name) for each in self._in_order())

    def drop(self) -> None:
        """Forget the pieces, the first of them last, so that one that is cut short loses no more than its end."""
        names = sorted((each.name for each in self._attachments.files(self._folder)), reverse=True)
        self._attachments.drop(names)

    def _in_order(self) -> Iterator[File]:
        there = 0
        for each in sorted(self._attachments.files(self._folder), key=lambda file: file.name):
            if int(each.name.rpartition("/")[2]) != there:
                return
            yield each
            there += each.bytes


def drop_abandoned(attachments: Attachments, before: datetime) -> int:
    """Forget pictures of which no piece came since `before`; how many files that were."""
    newest: dict[str, datetime] = {}
    names: dict[str, list[str]] = {}
    for each in attachments.files(FOLDER):
        folder = each.name.rpartition("/")[0]
        newest[folder] = max(each.written_at, newest.get(folder, each.written_at))
        names.setdefault(folder, []).append(each.name)
    left = [name for folder, at in newest.items() if at < before for name in names[folder]]
    attachments.drop(sorted(left, reverse=True))
    return len(left)


def sum_of(content: bytes) -> str:
    """The SHA-256 of some bytes, by which a picture is named."""
    return sha256(content).hexdigest()
