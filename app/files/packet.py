"""An evidence packet as a file: PDF for the archive (PDF/A-2a, tagged to PDF/UA-1), the same for programs, and sums.

The same data gives the same bytes: no clock is asked, and members of the ZIP file bear no moment of their own. What
the data says reaches the typesetting library as JSON beside its template, so nothing of it is read as markup; the
library finds no file but these, no font but its own, and no network.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, BinaryIO
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

import typst

from app.files.packet_letters import all_shown
from app.files.tables_out import Value, csv_bytes

Told = dict[str, Any]
# The picture that lies under a sum, and the small one; None where it cannot be read.
Reads = Callable[[str, bool], bytes | None]
TEMPLATE = Path(__file__).with_suffix(".typ")
STANDARDS: list[typst.PDFStandard] = ["a-2a", "ua-1"]
# Cars in one PDF: some two hundred pages, which people still leaf through.
IN_A_VOLUME = 25
# After so many other typesettings the library forgets one; a test holds it to that.
KEPT_FOR = 12
ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
# The first moment that a ZIP file can say; what a packet is of stands inside.
NO_MOMENT = (1980, 1, 1, 0, 0, 0)
SUMS = "SHA256SUMS"


@dataclass(frozen=True, slots=True)
class Front:
    """What a packet says of itself: from where it looks (`View.told`), the head of the record, what made it."""

    view: Mapping[str, Any]
    head: Mapping[str, Any] | None
    aid: str
    version: str

    @property
    def made_at(self) -> datetime:
        """The moment of the record's head stands for that of the making, which would differ each time."""
        return datetime.fromisoformat(
            self.head["at"] if self.head else f"{self.view['as_of']}T00:00:00+00:00"
        )


# PDF ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Volume:
    """Which cars of how many are in one PDF."""

    number: int
    of: int
    cars: Sequence[Told]
    all_cars: int


def typeset(front: Front, volume: Volume, reads: Reads) -> bytes:
    """One PDF of these cars."""
    with TemporaryDirectory(prefix="packet-") as folder:
        root = Path(folder)
        told = _laid_out(front, volume, reads, root)
        (root / "data.json").write_text(json.dumps(told))
        (root / TEMPLATE.name).write_bytes(TEMPLATE.read_bytes())
        compiler = typst.Compiler(
            root / TEMPLATE.name, root=root, font_paths=_fonts(), ignore_system_fonts=True
        )
        made = compiler.compile(
            format="pdf", pdf_standards=STANDARDS, timestamp=int(front.made_at.timestamp())
        )
        _forget(root)
    assert isinstance(made, bytes)
    return made


def _forget(root: Path) -> None:
    """Let go of what the library keeps to be faster next time: half a megabyte a page, for ten typesettings more."""
    (root / "nothing.typ").touch()
    compiler = typst.Compiler(
        root / "nothing.typ", root=root, font_paths=_fonts(), ignore_system_fonts=True
    )
    for _ in range(KEPT_FOR):
        compiler.compile(format="pdf")


@cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)


def _laid_out(front: Front, volume: Volume, reads: Reads, root: Path) -> Told:
    """All that the template asks for; the pictures are put beside it."""
    cars = [_with_pictures(each, reads, root) for each in volume.cars]
    about = cars[0]["car"]["name"] if volume.all_cars == 1 else f"{volume.all_cars} cars"
    told = {
        **front.view,
        "about": about,
        "title": f"Evidence packet: {about}",
        "description": f"{_seen(front)}. {front.aid}",
        "seen": _seen(front),
        "head": front.head,
        "aid": front.aid,
        "version": front.version,
        "volume": volume.number,
        "volumes": volume.of,
        "all_cars": volume.all_cars,
        "rulebooks": _rulebooks(cars),
        "cars": cars,
    }
    shown: Told = all_shown(told)
    return shown | {"replaced": "[U+" in json.dumps(shown)}


def _seen(front: Front) -> str:
    known = front.view["known_in_words"]
    return f"As of {front.view['as_of']}, as known {known if known == 'now' else f'at {known}'}"


def _rulebooks(cars: Iterable[Told]) -> list[str]:
    found = (each["rulebook"] for each in cars)
    return list(dict.fromkeys(f"{each['id']}: {each['edition']}" for each in found))


def _with_pictures(told: Told, reads: Reads, root: Path) -> Told:
    return {**told, "photographs": [_picture(each, reads, root) for each in told["photographs"]]}


def _picture(photograph: Told, reads: Reads, root: Path) -> Told:
    """The small one goes onto the page; the one that is kept lies beside the PDF under its sum."""
    content = reads(photograph["sha256"], True)
    if content is None:
        return {**photograph, "file": None}
    name = f"{photograph['sha256']}.jpg"
    (root / name).write_bytes(content)
    return {**photograph, "file": name}


# ZIP ------------------------------------------------------------------------------------------------------------


@dataclass
class _Making:
    """A packet being written; each member is summed as it goes."""

    zipped: ZipFile
    sums: dict[str, str] = field(default_factory=dict)

    def add(self, name: str, content: bytes, packed: bool = True) -> None:
        member = ZipInfo(name, NO_MOMENT)
        member.compress_type = ZIP_DEFLATED if packed else ZIP_STORED
        # Read by everybody, written by its owner.
        member.external_attr = 0o644 << 16
        self.zipped.writestr(member, content)
        self.sums[name] = sha256(content).hexdigest()

    def finish(self) -> None:
        lines = (f"{digest}  {name}\n" for name, digest in sorted(self.sums.items()))
        self.add(SUMS, "".join(lines).encode())


@dataclass
class Tables:
    """Rows of every car for the CSV files, in the order of the cars."""

    rows: dict[str, list[Sequence[Value]]] = field(
        default_factory=lambda: {name: [] for name in COLUMNS}
    )

    def add(self, told: Told) -> None:
        car = told["car"]
        begins = (car["key"], car["mark"], car["number"])
        for name, found in _told_rows(told).items():
            self.rows[name] += (
                (*begins, *(_cell(row, each) for each in COLUMNS[name])) for row in found
            )


def write(
    out: BinaryIO,
    front: Front,
    count: int,
    cars: Iterable[Told],
    reads: Reads,
    tell: Callable[[int, int], None] = lambda done, total: None,
) -> None:
    """A packet of `count` cars as a ZIP file; `tell` hears how many are in it."""
    volumes = -(-count // IN_A_VOLUME)
    tables, waiting = Tables(), iter(cars)
    with ZipFile(out, "w") as zipped:
        made = _Making(zipped)
        for number in range(1, volumes + 1):
            some = []
            for told in _next(waiting):
                some.append(_taken(made, tables, told, reads))
                tell((number - 1) * IN_A_VOLUME + len(some), count)
            volume = Volume(number, volumes, some, count)
            made.add(_named(volume), typeset(front, volume, reads), packed=False)
        for name, rows in tables.rows.items():
            header = ("car", "mark", "number", *COLUMNS[name])
            made.add(f"{name}.csv", b"".join(csv_bytes(header, rows)))
        made.add("packet.json", _json({**_about(front), "cars": count, "volumes": volumes}))
        if front.head is not None:
            made.add("head.json", json.dumps(front.head).encode() + b"\n")
        made.finish()


def _next(waiting: Iterator[Told]) -> Iterator[Told]:
    for _, told in zip(range(IN_A_VOLUME), waiting, strict=False):
        yield told


def _taken(made: _Making, tables: Tables, told: Told, reads: Reads) -> Told:
    """Put what programs read of a car into the packet."""
    car = told["car"]
    made.add(f"cars/{car['mark']}-{car['number']}-{car['key']}.json", _json(told))
    for each in told["photographs"]:
        name = f"photographs/{each['sha256']}.{ENDINGS[each['type']]}"
        content = None if name in made.sums else reads(each["sha256"], False)
        if content is not None:
            made.add(name, content, packed=False)
    tables.add(told)
    return told


def _named(volume: Volume) -> str:
    if volume.of == 1:
        return "packet.pdf"
    digits = len(str(volume.of))
    return f"packet-{volume.number:0{digits}}-of-{volume.of}.pdf"


def _about(front: Front) -> Told:
    return {
        "aid": front.aid,
        "program": f"Stencilbook {front.version}",
        **front.view,
        "head": front.head,
    }


def _json(data: Any) -> bytes:
    return json.dumps(data, indent=1, ensure_ascii=False).encode() + b"\n"


# Tables ---------------------------------------------------------------------------------------------------------

_ROW = ("row", "recorded_at", "recorded_by", "corrects", "superseded_at", "withdrawn_by", "reason")
COLUMNS: Mapping[str, Sequence[str]] = {
    "cars": ("specification", "standing", "lading", "owner", "lining_owner", "equipment_owner", "region", "formerly"),
    "due": (
        "item", "status", "state", "due_on", "days_left", "basis_on", "interval_months", "calculated_due_on", "rule",
        "confidence", "reasons",
    ),
    "devices": (
        "label", "first_due", "tested_on", "installed_on", "status", "state", "due_on", "days_left", "reasons",
    ),
    "directives": (
        "directive", "name", "ordered_by", "title", "what", "caution", "ordered_on", "forbids_loading", "about",
        "found_on", "found", "by_hand", "why", "due_on", "days_left", "state", "withdrawn_at", "withdrawn_by", "reason",
        "match", "recorded_at", "recorded_by",
    ),
    "directive_terms": ("directive", "name", "due_on", "due_days", "forbids_loading", "because", "in_force", *_ROW),
    "directive_closings": (
        "directive", "name", "match", "about", "done_on", "outcome", "reference", "finding", "in_force", *_ROW,
    ),
    "facts": ("kind", "says", "from_on", "in_force", *_ROW),
    "events": (
        "happened_on", "items", "outcome", "opens", "facility", "inspector", "reference", "notes", "in_force",
        "corrected_by", *_ROW,
    ),
    "readings": (
        "event", "happened_on", "counts", "place", "zone", "inches", "extent", "span_in", "apart_in",
        "stated",
    ),
    "reports": ("name", "happened_on", "signed", "field", "title", "told"),
    "components": (
        "on_car", "kind", "maker", "model", "lot", "serial", "position", "installed_on", "removed_on", "tested_on",
        "set_psig", "found_psig", "left_psig", "vapor_tight_psig", "in_force", *_ROW, "stated",
    ),
    "photographs": (
        "sha256", "sent_sha256", "type", "bytes", "width", "height", "taken_at", "happened_on", "report", "event",
        "recorded_at", "recorded_by",
    ),
    "corrections": ("what", "said", "recorded_at", "recorded_by", "superseded_at", "withdrawn_by", "reason"),
}  # fmt: skip


def _told_rows(told: Told) -> dict[str, Iterable[Told]]:
    whole: dict[str, Iterable[Told]] = {name: told[name] for name in COLUMNS if name in told}
    return {
        **whole,
        "cars": [told["car"]],
        "facts": [
            {**row, "kind": kind["kind"], "says": "; ".join(f"{name}: {value}" for name, value in row["lines"])}
            for kind in told["facts"]
            for row in kind["rows"]
        ],
        "reports": [
            {**each, **one} for each in told["inspections"] for one in each["eight"]
        ],
        "directives": [_match(order, match) for order in told["directives"] for match in order["matches"]],
        "directive_terms": [
            {**order, **term} for order in told["directives"] for term in order["terms"]
        ],
        "directive_closings": [
            {**_match(order, match), **closing}
            for order in told["directives"] for match in order["matches"] for closing in match["closings"]
        ],
    }  # fmt: skip


def _match(order: Told, match: Told) -> Told:
    """What a directive is about, with the directive; that it counts no longer is said of the directive alone."""
    said = {
        "withdrawn_at": order["superseded_at"],
        "withdrawn_by": order["withdrawn_by"],
        "reason": order["reason"],
    }
    return {**order, **match, **said, "match": match["row"]}


def _cell(row: Told, column: str) -> Value:
    value = row.get(column)
    if column == "reasons":
        return " ".join(_spoken(each) for each in row["reasons"])
    if isinstance(value, list):
        return "; ".join(map(str, value))
    found: Value = value
    return found


def _spoken(reason: Told) -> str:
    return (
        f"{reason['text']} ({reason['citation']})." if reason["citation"] else f"{reason['text']}."
    )
