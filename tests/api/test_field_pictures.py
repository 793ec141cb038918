"""Photographs by the API and their pages: piece after piece, sent again, spoilt, handed out with care."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi import FastAPI
from PIL import Image

from app.pictures.arriving import LARGEST_PIECE
from app.store.tables import Party
from tests.field.entries import Tablet
from tests.field.places import placed
from tests.fixtures.people import beforehand, let_in
from tests.fixtures.web import TestClient, asking
from tests.pictures import shots

PICTURE = shots.camera(image=shots.noise((500, 400)))
DIGEST = shots.sum_of(PICTURE)
HALF = len(PICTURE) // 2
PNG_THAT_IS_NONE = shots.png_head(60, 40)


@dataclass(frozen=True)
class Sender:
    """A tablet that has begun a report of a car."""

    client: TestClient
    report: str

    def piece(
        self,
        at: int,
        content: bytes,
        digest: str = DIGEST,
        of: int = len(PICTURE),
        report: str = "",
    ) -> tuple[int, dict[str, Any]]:
        asked = {"at": at, "bytes": of, "report": report or self.report}
        answer = self.client.put(
            f"/api/v1/field/photographs/{digest}", params=asked, content=content
        )
        return answer.status_code, answer.json()

    def whole(self, content: bytes) -> str:
        """Send all of a picture; the sum under which it was sent."""
        digest = shots.sum_of(content)
        status, told = self.piece(0, content, digest, len(content))
        assert (status, told["whole"]) == (200, True), told
        return digest

    def state(self, digest: str = DIGEST) -> tuple[int, bool]:
        told = self.client.get(f"/api/v1/field/photographs/{digest}").json()
        return told["received"], told["whole"]


@pytest.fixture
def sender(web_app: FastAPI) -> Iterator[Sender]:
    with beforehand(web_app.state.sessions) as db:
        place = placed(db)
        let_in(db)
        car_id = place.car_id
    tablet = Tablet(car_id).begin("visual")
    with asking(web_app) as client:
        person = client.get("/api/v1/field/who").json()["person"]
        body = {"person": person, "entries": tablet.entries}
        assert client.post("/api/v1/field/entries", json=body).status_code == 200
        yield Sender(client, tablet.report)


def test_a_photograph_comes_in_pieces_and_says_how_far_it_is(sender: Sender) -> None:
    assert sender.state() == (0, False)
    assert sender.piece(0, PICTURE[:HALF])[1]["received"] == HALF
    assert sender.state() == (HALF, False)
    assert sender.piece(HALF, PICTURE[HALF:])[1] == {
        "digest": DIGEST, "received": len(PICTURE), "whole": True,
    }  # fmt: skip
    assert sender.state() == (len(PICTURE), True)


def test_a_piece_sent_again_or_after_a_gap_adds_nothing(sender: Sender) -> None:
    sender.piece(0, PICTURE[:HALF])
    assert sender.piece(0, PICTURE[:HALF])[1]["received"] == HALF
    assert sender.piece(HALF + 1, PICTURE[HALF + 1 :])[1]["received"] == HALF
    assert sender.piece(HALF, PICTURE[HALF:])[1]["whole"]
    assert sender.piece(0, PICTURE)[1]["whole"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no picture at all", "is wanted"),
        (PNG_THAT_IS_NONE, "damaged"),
        (shots.file("GIF"), "is wanted"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>', "is wanted"),
    ],
)
def test_what_is_no_picture_is_refused_by_its_content_and_nothing_of_it_is_left(
    sender: Sender, content: bytes, said: str
) -> None:
    digest = shots.sum_of(content)
    status, told = sender.piece(0, content, digest, len(content))
    assert status == 422
    assert said in told["error"]["message"]
    assert sender.state(digest) == (0, False)
    assert sender.client.get(f"/photographs/{digest}").status_code == 404


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ({"at": 5}, 422),  # it ends beyond what was announced
        ({"of": 10**9}, 422),
        ({"digest": "0" * 63}, 422),
        ({"report": "0" * 32}, 404),
        ({"report": "x"}, 422),
        ({"content": bytes(LARGEST_PIECE + 1), "of": LARGEST_PIECE + 1}, 413),
    ],
)
def test_a_piece_that_cannot_be_is_refused(
    sender: Sender, asked: dict[str, Any], status: int
) -> None:
    given: dict[str, Any] = {"at": 0, "content": PICTURE} | asked
    assert sender.piece(**given)[0] == status


def test_what_is_not_what_was_announced_is_refused_and_begins_anew(sender: Sender) -> None:
    status, told = sender.piece(0, shots.file(), DIGEST, len(shots.file()))
    assert status == 422
    assert "not what was announced" in told["error"]["message"]
    assert sender.state() == (0, False)
    assert sender.whole(PICTURE) == DIGEST


@pytest.mark.parametrize("place", ["", "/small"])
def test_a_photograph_is_handed_out_as_a_picture_and_can_do_nothing_else(
    sender: Sender, place: str
) -> None:
    sender.whole(PICTURE)
    answer = sender.client.get(f"/photographs/{DIGEST}{place}")
    headers = answer.headers
    assert headers["content-type"].startswith("image/")
    assert headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in headers["content-security-policy"]
    assert headers["cache-control"] == "private, no-cache"
    assert headers["content-disposition"].startswith('inline; filename="photograph-')
    shots.opened(answer.content).verify()
    again = sender.client.get(
        f"/photographs/{DIGEST}{place}", headers={"If-None-Match": headers["etag"]}
    )
    assert (again.status_code, again.content) == (304, b"")


def has_place(content: bytes) -> bool:
    image: Image.Image = shots.opened(content)
    return bool(image.getexif().get_ifd(0x8825)) or b"invented place" in content


@pytest.mark.parametrize("wanted", [False, True])
def test_where_it_was_taken_is_kept_only_where_the_owner_wants_it(
    sender: Sender, web_app: FastAPI, wanted: bool
) -> None:
    with beforehand(web_app.state.sessions) as db:
        parties = [party.id for party in db.query(Party)]
    for party in parties if wanted else ():
        answer = sender.client.post(
            f"/facilities/photograph-place/{party}", data={"keep": "yes"}, follow_redirects=False
        )
        assert answer.headers["location"] == "/facilities?saved=place"
    sender.whole(PICTURE)
    kept = sender.client.get(f"/photographs/{DIGEST}").content
    assert bool(shots.opened(kept).getexif().get_ifd(0x8825)) == wanted
    if not wanted:
        assert not has_place(kept)


def test_the_choice_about_the_place_is_shown_recorded_and_only_for_ones_own(sender: Sender) -> None:
    assert "do not keep their place" in sender.client.get("/facilities").text
    sender.client.post("/facilities/photograph-place/1", data={"keep": "yes"})
    assert "Take it out from now on" in sender.client.get("/facilities?saved=place").text
    told = sender.client.get("/changes").text
    assert "chose whether photographs keep where they were taken" in told
    assert (
        sender.client.post("/facilities/photograph-place/99", data={"keep": "yes"}).status_code
        == 404
    )
