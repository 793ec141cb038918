"""What the camera gives: code labels read by the vendored decoder, photographs smaller, with their tags or without."""

from __future__ import annotations

import base64
from io import BytesIO

import pytest
import segno
from PIL import ExifTags, Image, ImageFilter
from playwright.sync_api import expect

from tests.browser.field.engine.conftest import Tablet
from tests.browser.field.engine.register import Register
from tests.browser.field.engine.test_sending import in_view
from tests.pictures import shots

SMALLER = """async ([at, bytes, keeps]) => {
  const { smaller } = await import(at);
  const file = new File([Uint8Array.from(atob(bytes), (one) => one.charCodeAt(0))], "camera.jpg",
    { type: "image/jpeg", lastModified: 1_764_000_000_000 });
  const { blob, taken_at } = await smaller(file, keeps);
  const back = new Uint8Array(await blob.arrayBuffer());
  return [btoa(Array.from(back, (byte) => String.fromCharCode(byte)).join("")), blob.type, taken_at];
}"""


def label(says: str, turned: int = 0, blurred: float = 0) -> bytes:
    """A photograph of a code label, as it hangs on a car."""
    code = BytesIO()
    segno.make(says, error="m", micro=False).save(code, kind="png", scale=8, border=4)
    picture = Image.new("RGB", (900, 700), "gray")
    sheet = Image.open(code).convert("RGB").rotate(turned, expand=True, fillcolor="gray")
    picture.paste(sheet, (200, 150))
    if blurred:
        picture = picture.filter(ImageFilter.GaussianBlur(blurred))
    return shots.file("JPEG", picture, quality=80)


def show(tablet: Tablet, picture: bytes) -> None:
    shot = {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": picture}
    tablet.page.locator(".shell-file input").set_input_files(shot)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("says", "how"),
    [
        ("https://register.example/field#/car/102", {}),
        ("https://register.example/cars/102", {"turned": 7}),
        ("ZQAA 102", {"blurred": 1.5}),
        ("zqaa000102", {"turned": 90}),
    ],
)
def test_a_label_opens_its_car(
    tablet: Tablet, register: Register, says: str, how: dict[str, float]
) -> None:
    tablet.open().take_along()
    tablet.open("find")
    tablet.go("scan")
    show(tablet, label(says, **how))  # type: ignore[arg-type]
    expect(tablet.page.get_by_role("heading", level=1)).to_have_text("car 102")


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (shots.file(image=shots.halves((400, 300))), "No label was found"),
        (label("https://register.example/field#/car/999"), "This car is not on this tablet"),
        (label("something else"), "This is not a label of a car"),
    ],
)
def test_what_no_label_of_a_car_here_is_told(
    tablet: Tablet, register: Register, picture: bytes, said: str
) -> None:
    tablet.open().take_along()
    tablet.open("find")
    tablet.go("scan")
    show(tablet, picture)
    in_view(tablet, said)


def made_smaller(tablet: Tablet, picture: bytes, keeps: bool) -> tuple[bytes, str, str]:
    given = [tablet.module("pictures.js"), base64.b64encode(picture).decode(), keeps]
    content, kind, taken_at = tablet.page.evaluate(SMALLER, given)
    return base64.b64decode(content), kind, taken_at


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("keeps", [False, True])
def test_a_photograph_is_smaller_upright_and_tells_its_place_only_where_that_is_wanted(
    tablet: Tablet, orientation: int, keeps: bool
) -> None:
    camera = shots.camera(orientation=orientation, image=shots.halves((3000, 2000)))
    content, kind, taken_at = made_smaller(tablet.open(), camera, keeps)
    assert (kind, taken_at) == ("image/jpeg", "2025-11-24T16:00:00.000Z")
    made = shots.opened(content)
    assert max(made.size) == 2048
    assert (made.width > made.height) == (orientation in (1, 3))
    tags = made.getexif()
    assert bool(tags.get_ifd(ExifTags.IFD.GPSInfo)) == keeps
    assert tags.get(ExifTags.Base.Orientation, 1) == 1


def test_a_picture_without_tags_is_taken_as_it_is(tablet: Tablet) -> None:
    content, kind, _ = made_smaller(tablet.open(), shots.file("PNG"), keeps=True)
    assert kind == "image/jpeg"
    assert shots.opened(content).size == (60, 40)
