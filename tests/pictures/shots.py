"""Invented pictures as cameras write them, and files that only say they are pictures."""

from hashlib import sha256
from io import BytesIO
from zlib import compress, crc32

from PIL import ExifTags, Image

PLACE = {1: "N", 2: (41.0, 52.0, 30.0), 3: "W", 4: (87.0, 37.0, 1.0)}
TAKEN = "2026:11:20 10:11:12"
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/">invented place</x:xmpmeta>'


def tags(orientation: int = 1, place: bool = True) -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Invented Cameras"
    exif[ExifTags.Base.Artist] = "Somebody Invented"
    taken = exif.get_ifd(ExifTags.IFD.Exif)
    taken[ExifTags.Base.DateTimeOriginal] = TAKEN
    taken[ExifTags.Base.OffsetTimeOriginal] = "-06:00"
    taken[ExifTags.Base.MakerNote] = b"invented place"
    if place:
        exif.get_ifd(ExifTags.IFD.GPSInfo).update(PLACE)
    return exif


def halves(size: tuple[int, int] = (60, 40)) -> Image.Image:
    """Red on the left and blue on the right."""
    image = Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    return image


def noise(size: tuple[int, int] = (400, 300)) -> Image.Image:
    """What hardly packs, so that it comes in several pieces."""
    return Image.effect_noise(size, 90).convert("RGB")


def file(kind: str = "JPEG", image: Image.Image | None = None, **how: object) -> bytes:
    out = BytesIO()
    (image or halves()).save(out, kind, **how)
    return out.getvalue()


def camera(kind: str = "JPEG", orientation: int = 1, image: Image.Image | None = None) -> bytes:
    """With everything that a camera writes, and the place twice more."""
    more = {"comment": b"invented place"} if kind == "JPEG" else {}
    if kind != "PNG":
        more["xmp"] = XMP
    return file(kind, image, exif=tags(orientation), **more)


def png_head(width: int, height: int) -> bytes:
    """A PNG that says how large it is, and has next to nothing in it."""
    size = width.to_bytes(4) + height.to_bytes(4) + b"\x08\x00\x00\x00\x00"
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        len(body).to_bytes(4) + name + body + crc32(name + body).to_bytes(4)
        for name, body in ((b"IHDR", size), (b"IDAT", compress(b"\0" * 1000)), (b"IEND", b""))
    )


def opened(content: bytes) -> Image.Image:
    return Image.open(BytesIO(content))


def sum_of(content: bytes) -> str:
    return sha256(content).hexdigest()
