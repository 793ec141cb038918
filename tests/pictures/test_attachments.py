"""Files in a folder and in an object store behave alike."""

import os
import threading
from pathlib import Path

import pytest

from app.errors import Away, Refused
from app.pictures import Attachments


def names(place: Attachments, under: str = "") -> list[str]:
    return sorted(each.name for each in place.files(under))


def test_a_file_is_read_as_it_was_put_and_listed_with_its_size(place: Attachments) -> None:
    assert names(place) == []
    place.put("kept/ab/one", b"one")
    place.put("kept/ab/one", b"once more")
    place.put("small/ab/one", b"two")
    assert place.read("kept/ab/one") == b"once more"
    assert names(place, "kept") == ["kept/ab/one"]
    assert [(each.name, each.bytes) for each in place.files("small")] == [("small/ab/one", 3)]


def test_a_large_file_comes_in_blocks(place: Attachments) -> None:
    place.put_blocks("large", (bytes([number]) * 1_000_000 for number in range(7)))
    blocks = list(place.blocks("large"))
    assert len(blocks) > 1
    assert b"".join(blocks) == b"".join(bytes([number]) * 1_000_000 for number in range(7))


def test_what_is_not_there_is_told(place: Attachments) -> None:
    for _ in range(2):
        with pytest.raises(FileNotFoundError):
            place.read("kept/nothing")
        place.put("something", b"else")


def test_what_breaks_off_leaves_no_file(place: Attachments) -> None:
    def broken():
        yield b"x" * 10
        raise Refused("it is damaged")

    with pytest.raises(Refused, match="it is damaged"):
        place.put_blocks("half", broken())
    assert names(place) == []


def test_of_many_who_put_a_new_file_at_once_one_wins(place: Attachments) -> None:
    together, won = threading.Barrier(6), []

    def put(content: bytes) -> None:
        together.wait()
        if place.put_new("arriving/1", content):
            won.append(content)

    threads = [threading.Thread(target=put, args=(b"%d" % each,)) for each in range(6)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert [place.read("arriving/1")] == won


def test_dropping_twice_is_no_fault(place: Attachments) -> None:
    place.put("one", b"1")
    place.put("two", b"2")
    place.drop(["one", "nothing"])
    place.drop(["one"])
    assert names(place) == ["two"]


def test_looking_makes_no_folder(tmp_path: Path) -> None:
    place = Attachments(tmp_path / "none")
    with pytest.raises(FileNotFoundError):
        place.read("one")
    assert list(place.files()) == []
    assert not (tmp_path / "none").exists()


def test_a_file_in_a_folder_is_on_the_disk_with_its_folders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A power cut must not take what a tablet was told is kept, and has forgotten."""
    synced: list[str] = []
    sync = os.fsync

    def noted(descriptor: int) -> None:
        synced.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
        sync(descriptor)

    monkeypatch.setattr("os.fsync", noted)
    Attachments(tmp_path / "a").put("kept/ab/one", b"one")
    assert [str(Path(each).relative_to(tmp_path)) for each in synced] == [
        "a/kept/ab/one", "a/kept/ab", "a/kept", "a",
    ]  # fmt: skip


def test_a_place_that_cannot_be_used_is_told_as_away(
    tmp_path: Path, bucket: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(Away, match="nothing was kept"):
        Attachments(tmp_path / "file" / "folder").put("one", b"1")
    gone = bucket.replace("invented-bucket", "another-bucket")
    with pytest.raises(Away, match="nothing was kept"):
        Attachments(gone).put("one", b"1")


def test_an_address_that_is_none_is_refused() -> None:
    with pytest.raises(Refused, match="cannot be kept at s3://"):
        Attachments("s3://")
