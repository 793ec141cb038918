"""What a camera writes beside its pixels (EXIF): read for its few useful words, and written anew with these alone.

The place, the maker's notes, XMP and whatever else a picture brings are left behind.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import ExifTags, Image

# Whose picture it is and how it is to be seen: EXIF 2.32, 4.6.
MAKE, MODEL, ORIENTATION = ExifTags.Base.Make, ExifTags.Base.Model, ExifTags.Base.Orientation
TAKEN, OFFSET = ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal
LONGEST_WORDS = 60
# Latitude to horizontal error; all that a place consists of.
PLACE = range(32)


@dataclass(frozen=True, slots=True)
class Tags:
    """`orientation` is 1 (upright) to 8; `taken` and `offset` as the camera wrote them, when they can be read."""

    orientation: int = 1
    make: str = ""
    model: str = ""
    taken: str = ""
    offset: str = ""
    place: Mapping[int, Any] | None = None

    @property
    def taken_at(self) -> str | None:
        """By the camera's clock, ISO 8601."""
        try:
            moment = datetime.strptime(self.taken, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007  the camera tells no zone
        except ValueError:
            return None
        return moment.isoformat() + self.offset


def read(image: Image.Image) -> Tags:
    """What a picture's tags say; damaged tags say nothing."""
    try:
        found = image.getexif()
        taken = found.get_ifd(ExifTags.IFD.Exif)
        place = dict(found.get_ifd(ExifTags.IFD.GPSInfo))
    except Exception:  # whatever a damaged file makes the reader stumble over
        return Tags()
    turned = found.get(ORIENTATION)
    offset = _words(taken.get(OFFSET))
    return Tags(
        turned if isinstance(turned, int) and 1 <= turned <= 8 else 1,
        _words(found.get(MAKE)),
        _words(found.get(MODEL)),
        _words(taken.get(TAKEN)),
        offset if re.fullmatch(r"[+-]\d\d:\d\d", offset, re.ASCII) else "",
        {tag: value for tag, value in place.items() if tag in PLACE},
    )


def _words(value: Any) -> str:
    if not isinstance(value, str):
        return ""
    return re.sub(r"[^\x20-\x7e]", "", value).strip()[:LONGEST_WORDS]


def written(told: Tags, keep_place: bool) -> bytes:
    """The tags of the picture that is kept."""
    if keep_place and told.place:
        try:
            return _as_exif(told, told.place)
        except Exception:  # a place in a form that cannot be written is none
            return _as_exif(told, {})
    return _as_exif(told, {})


def _as_exif(told: Tags, place: Mapping[int, Any]) -> bytes:
    exif = Image.Exif()
    plain = {MAKE: told.make, MODEL: told.model, ORIENTATION: told.orientation}
    for tag, value in plain.items():
        if value:
            exif[tag] = value
    taken = {TAKEN: told.taken, OFFSET: told.offset} if told.taken_at else {}
    exif.get_ifd(ExifTags.IFD.Exif).update({tag: value for tag, value in taken.items() if value})
    if place:
        exif.get_ifd(ExifTags.IFD.GPSInfo).update(place)
    return exif.tobytes()
