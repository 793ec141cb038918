"""Pieces of a picture in any order, more than once, by several workers, broken off anywhere."""

import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.pictures import Arriving, Attachments
from app.pictures.arriving import drop_abandoned

CONTENT = bytes(range(1, 41))
ENDS = st.integers(0, len(CONTENT))
PIECES = st.lists(st.tuples(ENDS, ENDS).map(sorted), max_size=12)
count = iter(range(10**9))


@given(pieces=PIECES)
def test_whatever_was_sent_going_on_from_what_is_told_brings_it_whole(pieces: list) -> None:
    place = MEMORY
    sender = str(next(count))
    for at, end in pieces:
        there = Arriving(place, sender, "d").received()
        # Any worker goes by what lies there, and never has less than it told before.
        now = Arriving(place, sender, "d").take(at, CONTENT[at:end])
        assert now == (max(there, end) if at <= there else there)
        assert Arriving(place, sender, "d").joined() == CONTENT[:now]
    there = Arriving(place, sender, "d").received()
    while there < len(CONTENT):
        there = Arriving(place, sender, "d").take(there, CONTENT[there : there + 7])
    assert Arriving(place, sender, "d").joined() == CONTENT
    Arriving(place, sender, "d").drop()
    assert Arriving(place, sender, "d").received() == 0


MEMORY = Attachments("memory:///")


@pytest.mark.parametrize("cut", range(0, 41, 8))
def test_a_piece_that_broke_off_is_gone_on_from_its_end(place: Attachments, cut: int) -> None:
    first = Arriving(place, "1", "d")
    first.take(0, CONTENT[:cut])
    assert first.received() == cut
    assert first.take(0, CONTENT[:16]) == max(cut, 16)
    assert first.take(first.received(), CONTENT[first.received() :]) == 40
    assert first.joined() == CONTENT


def test_workers_that_take_overlapping_pieces_at_once_keep_each_byte_once(
    place: Attachments,
) -> None:
    together = threading.Barrier(4)

    def send(size: int) -> None:
        together.wait()
        there = 0
        while there < len(CONTENT):
            there = Arriving(place, "1", "d").take(there, CONTENT[there : there + size])

    threads = [threading.Thread(target=send, args=(size,)) for size in (5, 7, 11, 13)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert Arriving(place, "1", "d").joined() == CONTENT


def test_nobody_adds_to_what_another_sends(place: Attachments) -> None:
    Arriving(place, "1", "d").take(0, b"mine")
    assert Arriving(place, "2", "d").received() == 0
    assert Arriving(place, "11", "d").received() == 0


def test_pieces_that_nobody_went_on_from_are_forgotten_and_no_others(
    place: Attachments, tmp_path: Path
) -> None:
    Arriving(place, "1", "d").take(0, b"piece")
    place.put("kept/ab/one", b"kept")
    now = datetime.now(UTC)
    assert drop_abandoned(place, now - timedelta(hours=1)) == 0
    assert Arriving(place, "1", "d").received() == 5
    assert drop_abandoned(place, now + timedelta(hours=1)) == 1
    assert [each.name for each in place.files()] == ["kept/ab/one"]
