"""What a file is told to be by decoding it, and what is kept of it."""

import pytest
from PIL import ExifTags, Image, JpegImagePlugin

from app.errors import Refused
from app.pictures import decoded
from tests.pictures.shots import PLACE, camera, file, halves, noise, opened, png_head

PIXELS = 1_000_000
SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!doctype html><script>alert(1)</script>"
HEIC = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 200
MOVING = {"save_all": True, "append_images": [Image.new("RGB", (60, 40), "green")], "duration": 50}


@pytest.mark.parametrize(
    ("content", "type_"),
    [
        (file("JPEG"), "image/jpeg"),
        (file("JPEG", progressive=True), "image/jpeg"),
        (file("JPEG", halves().convert("L")), "image/jpeg"),
        (file("JPEG", halves().convert("CMYK")), "image/jpeg"),  # as from a press
        (file("MPO", save_all=True, append_images=[halves()]), "image/jpeg"),  # two in one, as some telephones
        (file("PNG"), "image/png"),
        (file("PNG", halves().convert("P")), "image/png"),
        (file("PNG", halves().convert("RGBA")), "image/png"),
        (file("PNG", halves().convert("I;16")), "image/png"),
        (file("WEBP"), "image/webp"),
        (file("WEBP", lossless=True), "image/webp"),
    ],
)  # fmt: skip
def test_a_picture_is_kept_as_what_it_is(content: bytes, type_: str) -> None:
    kept = decoded(content, PIXELS)
    assert (kept.type, kept.width, kept.height) == (type_, 60, 40)
    again = opened(kept.content)
    assert Image.MIME[again.format or ""] == type_
    assert again.size == (60, 40)
    assert (opened(kept.small).format, opened(kept.small).size) == ("JPEG", (60, 40))
    red, _, blue = again.convert("RGB").getpixel((10, 20))
    assert red > blue or type_ == "image/png" or again.mode == "L"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "a JPEG, PNG or WebP is wanted"),
        (HTML, "a JPEG, PNG or WebP is wanted"),
        (SVG, "a JPEG, PNG or WebP is wanted"),
        (file("GIF"), "a JPEG, PNG or WebP is wanted"),
        (file("TIFF"), "a JPEG, PNG or WebP is wanted"),
        (HEIC, "HEIC.*Have the camera take JPEG"),
        (file("WEBP", **MOVING), "moves"),
        (file("PNG", **MOVING), "moves"),
        (file("JPEG", noise())[:-2000], "damaged or was cut off"),
        (file("PNG", noise())[:-2000], "damaged or was cut off"),
        (file("WEBP", noise())[:-2000], "damaged or was cut off"),
        (file("JPEG")[:30], "damaged or was cut off|is wanted"),
        (png_head(60, 40), "damaged or was cut off"),
        (png_head(30_000, 30_000), "30000 by 30000 pixels"),  # 900 million in some hundred bytes
        (png_head(2**31 - 1, 2**31 - 1), "pixels"),
        (file("JPEG", Image.new("L", (1001, 1000))), "1001 by 1000 pixels.*at most 1 million"),
    ],
)
def test_what_is_no_picture_or_too_large_a_one_is_refused_with_the_reason(
    content: bytes, told: str
) -> None:
    with pytest.raises(Refused, match=told):
        decoded(content, PIXELS)


def test_a_picture_of_just_as_many_pixels_as_may_be_is_taken() -> None:
    assert decoded(file("JPEG", Image.new("L", (1000, 1000))), PIXELS).width == 1000


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_place_is_left_behind_and_the_few_useful_words_are_kept(kind: str) -> None:
    """EXIF 2.32: the GPS tags; and what else may tell the place: maker's notes, XMP, comments."""
    sent = camera(kind)
    assert b"invented place" in sent
    kept = decoded(sent, PIXELS)
    exif = opened(kept.content).getexif()
    assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
    assert ExifTags.Base.Artist not in exif
    for secret in (b"invented place", b"Somebody", b"xmpmeta"):
        assert secret not in kept.content
        assert secret not in kept.small
    assert exif[ExifTags.Base.Make] == "Invented Cameras"
    assert kept.taken_at == "2026-11-20T10:11:12-06:00"
    assert not opened(kept.small).getexif()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_place_is_kept_where_the_owner_wants_it_and_nothing_else(kind: str) -> None:
    kept = decoded(camera(kind), PIXELS, keep_place=True)
    assert dict(opened(kept.content).getexif().get_ifd(ExifTags.IFD.GPSInfo)) == PLACE
    assert b"invented place" not in kept.content


def test_a_picture_without_tags_has_no_moment_and_no_place() -> None:
    kept = decoded(file("JPEG"), PIXELS, keep_place=True)
    assert kept.taken_at is None
    assert not opened(kept.content).getexif().get_ifd(ExifTags.IFD.GPSInfo)


# How each orientation of EXIF stores the picture whose left half is red: size, and where red lies.
STORED = {
    1: ((60, 40), None), 2: ((60, 40), Image.Transpose.FLIP_LEFT_RIGHT),
    3: ((60, 40), Image.Transpose.ROTATE_180), 4: ((60, 40), Image.Transpose.FLIP_TOP_BOTTOM),
    5: ((40, 60), Image.Transpose.TRANSPOSE), 6: ((40, 60), Image.Transpose.ROTATE_90),
    7: ((40, 60), Image.Transpose.TRANSVERSE), 8: ((40, 60), Image.Transpose.ROTATE_270),
}  # fmt: skip


@pytest.mark.parametrize("orientation", STORED)
def test_a_picture_stays_the_right_way_up(orientation: int) -> None:
    size, turned = STORED[orientation]
    stored = halves() if turned is None else halves().transpose(turned)
    assert stored.size == size
    kept = decoded(camera(orientation=orientation, image=stored), PIXELS)
    assert (kept.width, kept.height) == (60, 40)
    assert opened(kept.content).getexif()[ExifTags.Base.Orientation] == orientation
    small = opened(kept.small)
    assert small.size == (60, 40)
    left, right = small.getpixel((8, 20)), small.getpixel((52, 20))
    assert left[0] > 200 > 60 > left[2]
    assert right[2] > 200 > 60 > right[0]


@pytest.mark.parametrize("orientation", [0, 9, 255])
def test_an_orientation_that_is_none_turns_nothing(orientation: int) -> None:
    assert decoded(camera(orientation=orientation), PIXELS).width == 60


def test_a_jpeg_is_kept_as_sharp_as_it_came() -> None:
    sent = file("JPEG", noise(), quality=71, subsampling=2)
    again = opened(decoded(sent, PIXELS).content)
    assert isinstance(again, JpegImagePlugin.JpegImageFile)
    assert again.quantization == opened(sent).quantization
    assert JpegImagePlugin.get_sampling(again) == 2


def test_what_is_hidden_behind_a_picture_is_not_kept() -> None:
    for kind in ("JPEG", "PNG", "WEBP"):
        assert HTML not in decoded(file(kind) + HTML, PIXELS).content


def test_a_small_one_has_480_pixels_on_its_longer_side_and_white_where_one_sees_through() -> None:
    seen_through = Image.new("RGBA", (1000, 500), (255, 0, 0, 0))
    small = opened(decoded(file("PNG", seen_through), PIXELS).small)
    assert small.size == (480, 240)
    assert min(small.getpixel((100, 100))) > 250
