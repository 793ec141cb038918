"""An evidence packet of plain data: nothing of it is read as markup, and the same data gives the same bytes."""

import csv
import io
import json
import re
import resource
from hashlib import sha256
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
import typst

from app.files import packet
from app.files.packet import Front, Volume
from app.files.packet_letters import HELD, shown
from tests.files.packet_reading import Pdf, in_order, squashed
from tests.pictures import shots

HASH = "0123456789abcdef" * 4
HEAD = {"entry": 7, "at": "2026-11-25T14:00:00+00:00", "hash": HASH, "entries": 7}
VIEW = {
    "as_of": "2026-11-25", "known_at": None, "known_in_words": "now", "soon_days": 180,
}  # fmt: skip
FRONT = Front(VIEW, HEAD, "Due dates are an aid.", "0.0.0")


def reason(text: str) -> dict[str, str]:
    return {"text": text, "citation": "49 CFR 180.509(d)", "part": "asks", "known_from": ""}


def told(number: int = 104512, text: str = "Nothing odd", **more: Any) -> dict[str, Any]:
    """What is said of a car, with `text` wherever people write words of their own."""
    row = {
        "row": 1, "recorded_at": "2026-11-20 09:30:00 UTC", "recorded_by": text, "corrects": None,
        "superseded_at": None, "withdrawn_by": "", "reason": "",
    }  # fmt: skip
    return {
        "car": {
            "key": number, "mark": "ZQKX", "number": number, "name": f"ZQKX {number}", "specification": text,
            "standing": "in service", "lading": text, "owner": text, "lining_owner": "", "equipment_owner": "",
            "region": text, "formerly": [],
        },
        "rulebook": {"id": "us-49cfr", "edition": "of the tests"},
        "loading": {"verdict": "check", "word": "Check before loading", "reasons": [reason(text)], "caution": text},
        "warnings": [],
        "due": [{
            "item": "visual", "title": "Visual inspection", "mechanical": False, "state": "dated", "status": "overdue",
            "status_word": "overdue", "due_on": "2026-05-01", "days_left": -208, "basis_on": "2016-05-01",
            "interval_months": 120, "calculated_due_on": "2026-05-01", "rule": "visual", "confidence": "verified",
            "reasons": [reason(text)],
        }],
        "devices": [],
        "directives": [],
        "specification": [["Class", text]],
        "facts": [{"kind": "services", "title": "Lading", "rows": [
            {"lines": [["Lading", text]], "from_on": None, "in_force": True, **row}]},
            {"kind": "approvals", "title": "Approvals", "rows": []}],
        "thickness": {"zones": [], "trend": []},
        "test_pressure": None,
        "relief": [],
        "inspections": [],
        "events": [{
            "happened_on": "2016-05-01", "items": ["visual"], "title": "Visual inspection", "outcome": "pass",
            "outcome_word": "passed", "inspected": ["visual"], "opens": [], "asks_for": "", "facility": text,
            "inspector": text, "reference": text, "notes": text, "in_force": True, "corrected_by": None,
            "readings": "", **row,
        }],
        "readings": [],
        "components": [],
        "photographs": [],
        "corrections": [],
        **more,
    }  # fmt: skip


def ordered(text: str = "Nothing odd") -> dict[str, Any]:
    """A directive about two valves: of one it was closed, taken back and closed again; the other is open."""
    row = told(text=text)["events"][0] | {"superseded_at": None}
    row = {name: row[name] for name in (
        "row", "recorded_at", "recorded_by", "corrects", "superseded_at", "withdrawn_by", "reason",
    )}  # fmt: skip
    gone = row | {"superseded_at": "2026-11-22 08:00:00 UTC", "withdrawn_by": text, "reason": text}
    closing = {
        "done_on": "2026-11-21", "outcome": "mended", "outcome_word": "Found and mended", "reference": "Report 9",
        "finding": text, "in_force": True, **row,
    }  # fmt: skip
    match = {
        "about": "Relief valve, lot L12, serial A1", "component": 3, "by_hand": False, "found": "frozen",
        "found_word": "on the frozen day", "found_on": "2026-11-02", "why": "relief valve, lot L12",
        "due_on": "2026-12-25", "days_left": 1, "state": "closed", "status": "closed", "state_word": "closed", **row,
        "closings": [closing | gone | {"reference": "Report 8", "in_force": False}, closing],
    }  # fmt: skip
    other = match | {
        "about": "Relief valve, no serial", "by_hand": True, "state": "open", "status": "soon",
        "state_word": "open, soon", "closings": [],
    }  # fmt: skip
    return {
        "directive": 5, "name": "Invented Authority 7", "ordered_by": "An authority", "orderer": "Invented Authority",
        "number": "7", "title": "Valves of one lot", "what": text, "caution": text, "ordered_on": "2026-11-01",
        "forbids_loading": True, "in_force": True, "matches": [match, other], **row,
        "terms": [{
            "due_on": "2026-12-25", "due_days": None, "forbids_loading": True, "because": text, "in_force": True, **row,
        }],
    }  # fmt: skip


def nothing(digest: str, small: bool) -> bytes | None:
    return None


def pdf(*cars: dict[str, Any], reads: packet.Reads = nothing) -> Pdf:
    return Pdf(packet.typeset(FRONT, Volume(1, 1, cars, len(cars)), reads))


def zipped(*cars: dict[str, Any], reads: packet.Reads = nothing) -> ZipFile:
    out = io.BytesIO()
    packet.write(out, FRONT, len(cars), cars, reads)
    return ZipFile(out)


@pytest.mark.parametrize(
    "text",
    [
        '#panic("found")', "*bold* _thin_ `code`", "= A heading", "$ x^2 $", "@nobody <label>", "#{1+1} #let x = 2",
        "// a comment", "/* open", "back\\slash \\u{41}", '"quotes" [brackets] {braces}', "- a list",
        '#read("/etc/passwd")', "--- ... ~", "=SUM(A1)", "<b>&amp;</b>", "https://example.invalid/#x",
    ],
)  # fmt: skip
def test_what_people_write_stays_what_they_wrote(text: str) -> None:
    made = pdf(told(text=text, directives=[ordered(text)]))
    # In reasons, facts, events, the head of the car and by whom it was recorded; and of a directive.
    assert made.words.count(squashed(text)) >= 20
    assert made.elements("H1")[-1] is not None
    assert len(made.elements("H1")) == 2


def test_every_character_that_is_held_has_a_letter() -> None:
    every = [chr(code) for first, last in HELD for code in range(first, last + 1)]
    lines = [" ".join(every[at : at + 60]) for at in range(0, len(every), 60)]
    made = pdf(told(warnings=[reason(each) for each in lines]))
    assert "�" not in made.words
    assert "[U+" not in made.words


@pytest.mark.parametrize(
    ("text", "told_as"),
    [
        ("Müller, Łódź", "Müller, Łódź"),
        ("日本", "[U+65E5][U+672C]"),  # in none of the fonts
        ("a\x00b\x7f", "a[U+0000]b[U+007F]"),
        ("\u202etxt.exe", "[U+202E]txt.exe"),  # would turn the direction of what follows
        ("e\u0301", "é"),
        ("☃🚂", "[U+2603][U+1F682]"),
    ],
)
def test_what_has_no_letter_stands_as_its_number(text: str, told_as: str) -> None:
    assert shown(text) == told_as
    made = pdf(told(text=text))
    assert squashed(told_as) in made.words
    assert (squashed("stand as their number") in made.words) is ("[U+" in told_as)


def test_without_that_a_letter_that_is_not_there_would_spoil_the_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(packet, "all_shown", lambda data: data)
    with pytest.raises(typst.TypstError, match="could not be displayed"):
        pdf(told(text="日本"))


def test_the_same_data_gives_the_same_bytes_and_the_sums_are_of_them() -> None:
    one, two = io.BytesIO(), io.BytesIO()
    for out in (one, two):
        packet.write(out, FRONT, 2, [told(1), told(2)], nothing)
    assert one.getvalue() == two.getvalue()
    with ZipFile(one) as held_in:
        # Members bear no moment of the making.
        assert {each.date_time for each in held_in.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        sums = held_in.read("SHA256SUMS").decode().splitlines()
        found = {line[66:]: line[:64] for line in sums}
        assert found == {
            name: sha256(held_in.read(name)).hexdigest()
            for name in held_in.namelist()
            if name != "SHA256SUMS"
        }
        assert json.loads(held_in.read("head.json")) == HEAD
        assert json.loads(held_in.read("cars/ZQKX-1-1.json")) == told(1)


def test_many_cars_are_parted_into_volumes_and_each_is_in_one() -> None:
    many = [told(number) for number in range(1, packet.IN_A_VOLUME + 3)]
    far: list[tuple[int, int]] = []
    out = io.BytesIO()
    packet.write(
        out, FRONT, len(many), many, nothing, lambda done, total: far.append((done, total))
    )
    with ZipFile(out) as made:
        volumes = [name for name in made.namelist() if name.endswith(".pdf")]
        texts = [Pdf(made.read(name)).words for name in volumes]
        rows = made.read("cars.csv").decode().splitlines()
    assert volumes == ["packet-1-of-2.pdf", "packet-2-of-2.pdf"]
    assert far == [(each, len(many)) for each in range(1, len(many) + 1)]
    assert len(rows) == 1 + len(many)
    found = [
        set(re.findall(r"ZQKX(\d+?)SpecificationN", text.replace("CarAsknown", "")))
        for text in texts
    ]
    assert found[0] | found[1] == {str(each["car"]["number"]) for each in many}
    assert not found[0] & found[1]
    assert squashed("Volume 2 of 2, 2 of 27 cars") in texts[1]


def test_a_photograph_is_on_the_page_and_lies_beside_it_as_it_was_kept() -> None:
    kept = shots.camera()
    digest = shots.sum_of(kept)
    photograph = {
        "sha256": digest, "sent_sha256": digest, "type": "image/jpeg", "bytes": len(kept), "width": 40, "height": 30,
        "taken_at": "2026-11-20T10:00", "happened_on": "2026-11-20", "report": 3, "event": None,
        "recorded_at": "2026-11-20 10:01:00 UTC", "recorded_by": "I. Nobody",
    }  # fmt: skip
    lost = photograph | {"sha256": "f" * 64}

    def reads(asked: str, small: bool) -> bytes | None:
        return kept if asked == digest else None

    made = pdf(told(photographs=[photograph, lost]), reads=reads)
    [figure] = made.elements("Figure")
    assert figure["/Alt"] == "Photograph, of ZQKX 104512"
    assert [each for page in made.reader.pages for each in page.images]
    assert digest in made.words
    assert squashed("Its file cannot be read.") in made.words
    with zipped(told(photographs=[photograph, lost]), reads=reads) as packed:
        assert packed.read(f"photographs/{digest}.jpg") == kept
        assert not [name for name in packed.namelist() if "ffff" in name]
        assert "photographs.csv" in packed.namelist()


def test_a_directive_is_told_in_the_order_in_which_it_is_read() -> None:
    made = pdf(told(directives=[ordered()]))
    pieces = [each.piece for each in made.tagged]
    assert pieces == sorted(pieces)
    assert set(pieces) == set(made.pieces)
    assert len(made.elements("THead")) == len(made.elements("Table"))
    in_order(
        [
            "Why these dates", "Directives", "Invented Authority 7: Valves of one lot", "To be done", "Caution",
            "2026-11-01, by Invented Authority (an authority)", "Due", "2026-12-25", "Once overdue it forbids loading",
            "Of what", "serial A1", "2026-11-02", "closed", "no serial, to be looked at by hand", "in 1 day",
            "open, soon", "Seen to", "serial A1", "no longer counts", "2026-11-21", "Found and mended", "Report 8",
            "no longer counts since 2026-11-22 08:00:00 UTC, withdrawn by Nothing odd", "Report 9", "Facts",
        ],
        made.words,
    )  # fmt: skip
    assert squashed("No directive is known to be about this car.") not in made.words
    assert squashed("No directive is known to be about this car.") in pdf(told()).words


@pytest.mark.parametrize(
    ("left", "said"),
    [(-2, "2 days past"), (-1, "1 day past"), (0, "today"), (1, "in 1 day"), (2, "in 2 days")],
)
def test_days_left_are_counted_in_words(left: int, said: str) -> None:
    due = told()["due"][0] | {"days_left": left}
    assert squashed(f"2026-05-01 ({said})") in pdf(told(due=[due])).words


def test_the_tables_hold_what_directives_are_about_their_terms_and_closings() -> None:
    with zipped(told(directives=[ordered()])) as packed:
        rows = {
            name: list(csv.DictReader(io.StringIO(packed.read(f"{name}.csv").decode("utf-8-sig"))))
            for name in ("directives", "directive_terms", "directive_closings")
        }
    assert [(row["name"], row["about"][-9:], row["state"]) for row in rows["directives"]] == [
        ("Invented Authority 7", "serial A1", "closed"), ("Invented Authority 7", "no serial", "open"),
    ]  # fmt: skip
    [term] = rows["directive_terms"]
    assert (term["due_on"], term["forbids_loading"]) == ("2026-12-25", "yes")
    assert [
        (row["about"][-9:], row["done_on"], row["outcome"], row["reference"], row["in_force"], row["superseded_at"])
        for row in rows["directive_closings"]
    ] == [
        ("serial A1", "2026-11-21", "mended", "Report 8", "no", "2026-11-22 08:00:00 UTC"),
        ("serial A1", "2026-11-21", "mended", "Report 9", "yes", ""),
    ]  # fmt: skip


def test_the_lot_of_a_component_is_on_the_page() -> None:
    component = told()["events"][0] | {
        "on_car": True, "kind": "relief_valve", "title": "Relief valve", "maker": "M", "model": "EX-1", "lot": "L12",
        "serial": "A1", "position": "top", "installed_on": "2020-05-01", "removed_on": None, "tested_on": None,
        "set_psig": None,
        "stated": None,
    }  # fmt: skip
    made = pdf(told(components=[component]))
    in_order(["Components", "Maker and model", "Lot", "Serial", "EX-1", "L12", "A1"], made.words)


def test_a_table_of_a_packet_runs_nothing_in_a_spreadsheet() -> None:
    with zipped(told(text="=HYPERLINK(1)")) as packed:
        assert ",'=HYPERLINK(1)" in packed.read("events.csv").decode()


def test_memory_does_not_grow_with_the_volumes() -> None:
    """The typesetting library keeps what it worked out, here 60 MB a volume, unless it is made to forget."""
    event = told()["events"][0]
    many = [
        told(number, events=[{**event, "notes": f"{number} {place}"} for place in range(60)])
        for number in range(15)
    ]
    held_after = []
    for volume in range(5):
        cars = [{**each, "warnings": [reason(f"Volume {volume}")]} for each in many]
        packet.typeset(FRONT, Volume(1, 1, cars, len(cars)), nothing)
        held_after.append(_resident_mb())
    assert held_after[4] - held_after[1] < 80, held_after


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6
