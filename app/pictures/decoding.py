"""What a sent file is, told by decoding it and by nothing else; and the picture made of it that is kept.

A picture is written anew from its pixels, so that what is kept and shown holds nothing that was not decoded:
no second file hidden behind the first, no comments, no place. The quantization of a JPEG is taken over, which
keeps it as sharp as it came.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from threading import BoundedSemaphore
from typing import Any

from PIL import Image, JpegImagePlugin, UnidentifiedImageError

from app.errors import Refused
from app.pictures import tags
from app.pictures.tags import Tags

# Ours is asked before any pixel is decoded, and is lower than the library's, which only warns.
Image.MAX_IMAGE_PIXELS = None
# A JPEG with a second picture behind it, as some telephones write, is read as MPO; its first picture is kept.
TYPES = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
SMALL = 480  # pixels of the longer side
SMALL_TYPE = "image/jpeg"
# Pictures decoded at once in one process: each takes some hundred megabytes at the most.
_TURNS = BoundedSemaphore(2)
ON_ITS_SIDE = (5, 6, 7, 8)
# EXIF 2.32, tag Orientation: what turns the picture as it is stored into the one to be looked at.
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
NOT_A_PICTURE = "This is no picture that can be kept here: a JPEG, PNG or WebP is wanted."
HEIC = (
    "This is a HEIC picture, which few browsers show. Have the camera take JPEG (on many telephones: "
    "the most compatible format), or send it as JPEG."
)
MOVES = "This picture moves. Send a still one."
BROKEN = "This picture is damaged or was cut off: it cannot be decoded to its end."
LARGEST_PROFILE = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """The most that a picture may be, in bytes as sent and in pixels."""

    bytes: int
    pixels: int


@dataclass(frozen=True, slots=True)
class Picture:
    """`content` is what is kept, `small` a JPEG for lists; width and height are of the picture as looked at.

    `taken_at` is by the camera's clock, ISO 8601, with an offset when the camera told one.
    """

    type: str
    content: bytes
    small: bytes
    width: int
    height: int
    taken_at: str | None


def decoded(content: bytes, most_pixels: int, keep_place: bool = False) -> Picture:
    """The picture in some bytes, decoded to its end. Raises Refused with a sentence on what is wrong."""
    with _TURNS:
        try:
            with Image.open(BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as image:
                _fits(image, most_pixels)
                image.load()
                return _made(image, content, keep_place)
        except Refused:
            raise
        except UnidentifiedImageError:
            raise Refused(_what_else(content)) from None
        except Exception:  # a decoder meets what is damaged with errors of every kind
            raise Refused(BROKEN) from None


def _fits(image: Image.Image, most_pixels: int) -> None:
    """Look at what the head of the file says before anything is unpacked."""
    if image.width * image.height > most_pixels:
        raise Refused(
            f"This picture is {image.width} by {image.height} pixels, and at most "
            f"{most_pixels // 1_000_000} million are taken. Send it smaller."
        )
    if image.format in ("PNG", "WEBP") and getattr(image, "n_frames", 1) > 1:
        raise Refused(MOVES)


def _made(image: Image.Image, content: bytes, keep_place: bool) -> Picture:
    told = tags.read(image)
    width, height = image.size
    if told.orientation in ON_ITS_SIDE:
        width, height = height, width
    return Picture(
        TYPES[str(image.format)],
        _anew(image, content, told, keep_place),
        _small(image, told.orientation),
        width,
        height,
        told.taken_at,
    )


def _anew(image: Image.Image, content: bytes, told: Tags, keep_place: bool) -> bytes:
    profile = image.info.get("icc_profile") or b""
    how: dict[str, Any] = {"exif": tags.written(told, keep_place)}
    if len(profile) <= LARGEST_PROFILE:
        how["icc_profile"] = profile
    # What the library would take over by itself: comments, XMP, tags as they were.
    see_through = image.info.get("transparency")
    image.info = {} if see_through is None else {"transparency": see_through}
    out = BytesIO()
    if TYPES[str(image.format)] == "image/jpeg":
        _jpeg(image, out, how)
    elif image.format == "PNG":
        image.save(out, "PNG", **how)
    else:
        image.save(out, "WEBP", quality=90, lossless=b"VP8L" in content[:64], **how)
    return out.getvalue()


def _jpeg(image: Image.Image, out: BytesIO, how: dict[str, Any]) -> None:
    if not isinstance(image, JpegImagePlugin.JpegImageFile) or image.mode not in ("L", "RGB"):
        image.convert("RGB").save(out, "JPEG", quality=92, exif=how["exif"])
        return
    sampling = JpegImagePlugin.get_sampling(image)
    if sampling >= 0:
        how["subsampling"] = sampling
    image.save(out, "JPEG", qtables=image.quantization, **how)


def _small(image: Image.Image, orientation: int) -> bytes:
    scale = min(1.0, SMALL / max(image.size))
    size = max(1, round(image.width * scale)), max(1, round(image.height * scale))
    plain = image if image.mode in ("L", "RGB") else image.convert("RGBA")
    small = plain.resize(size, Image.Resampling.BICUBIC, reducing_gap=3.0)
    if small.mode == "RGBA":
        white = Image.new("RGBA", size, "white")
        small = Image.alpha_composite(white, small).convert("RGB")
    if orientation in UPRIGHT:
        small = small.transpose(UPRIGHT[orientation])
    out = BytesIO()
    small.save(out, "JPEG", quality=80)
    return out.getvalue()


def _what_else(content: bytes) -> str:
    """What to tell of a file that is none of the kinds taken."""
    heic = content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS
    return HEIC if heic else NOT_A_PICTURE
