"""The entries of field work as a tablet sends them: what each kind may say, and the faults of one that cannot be read.

Measures are decimals written as text, in inches or psig, or with mm or kPa behind them; days YYYY-MM-DD; moments
with their zone. What may be left out stands as null, false or empty text in what is kept.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Annotated, Any, Generic, Literal, NamedTuple, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic import WithJsonSchema as Schema

from app.answers.faults import faults_of, shown
from app.answers.request import FIRST_YEAR, LAST_YEAR, OpenedItem, Zone
from app.core.field.entries import KINDS, Entry
from app.core.measure import kept, read
from app.errors import Fault

MOST_AT_ONCE = 200
MOST_STROKES, MOST_POINTS = 200, 6_000
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")
KEY, DIGEST = "[0-9a-f]{32}", "[0-9a-f]{64}"
NO_MOMENT = datetime.min.replace(tzinfo=UTC)
MEASURE = r"\d{1,7}(\.\d{1,6})?"
# A measure can be stated in another unit than its field's: "11.1 mm".
UNITS = {"mm": "'0.438' or '11.1 mm'", "kPa": "'75' or '517 kPa'"}


def _plain(text: str) -> str:
    if UNSTORABLE.search(text):
        raise ValueError("holds a character that cannot be kept")
    return text.strip()


def _key(text: str) -> str:
    if not re.fullmatch(KEY, text):
        raise ValueError(f"must be 32 hexadecimal digits, got {shown(text)}")
    return text


def _digest(text: str) -> str:
    if not re.fullmatch(DIGEST, text):
        raise ValueError(f"must be 64 hexadecimal digits, got {shown(text)}")
    return text


def _day(text: str) -> str:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if not FIRST_YEAR <= day.year <= LAST_YEAR or len(text) != 10:
        raise ValueError(f"must be a day YYYY-MM-DD, got {shown(text)}")
    return text


def _moment(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = NO_MOMENT
    if moment.tzinfo is None or not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise ValueError(f"must be a moment with its zone, got {shown(text)}")
    return text


def _measure(text: str) -> str:
    if not re.fullmatch(MEASURE, text, re.ASCII):
        raise ValueError(f"must be a number written as text, such as '0.438', got {shown(text)}")
    return text


def _in_unit(text: str, unit: str) -> str:
    if not re.fullmatch(rf"{MEASURE}( {unit})?", text, re.ASCII):
        raise ValueError(
            f"must be a number written as text, such as {UNITS[unit]}, got {shown(text)}"
        )
    return text


def _length(text: str) -> str:
    return _in_unit(text, "mm")


def _pressure(text: str) -> str:
    return _in_unit(text, "kPa")


def _thickness(text: str) -> str:
    if kept(read(_length(text))) == 0:
        raise ValueError(f"must be above 0, got {shown(text)}")
    return text


def _share(value: object) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float | Decimal)
        or not 0 <= value <= 1
    ):
        raise ValueError(f"must be a number from 0 to 1, got {shown(value)}")
    return round(float(value), 4)


Key = Annotated[str, AfterValidator(_key), Schema({"type": "string", "pattern": f"^{KEY}$"})]
Digest = Annotated[
    str, AfterValidator(_digest), Schema({"type": "string", "pattern": f"^{DIGEST}$"})
]
Word = Annotated[str, Field(max_length=200), AfterValidator(_plain)]
Words = Annotated[str, Field(max_length=2_000), AfterValidator(_plain)]
Day = Annotated[str, AfterValidator(_day)]
Moment = Annotated[str, Field(max_length=40), AfterValidator(_moment)]
Measure = Annotated[str, AfterValidator(_measure)]
Length = Annotated[str, AfterValidator(_length)]
Pressure = Annotated[str, AfterValidator(_pressure)]
Thickness = Annotated[str, AfterValidator(_thickness)]
Row = Annotated[int, Field(ge=1, le=2**53)]
Share = Annotated[
    float, BeforeValidator(_share), Schema({"type": "number", "minimum": 0, "maximum": 1})
]
Point = Annotated[list[Share], Field(min_length=2, max_length=2)]
Stroke = Annotated[list[Point], Field(min_length=1, max_length=MOST_POINTS)]
PassOrFail = Literal["pass", "fail"]
K = TypeVar("K", bound=str)
S = TypeVar("S", bound=BaseModel)


class _Says(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Begun(_Says):
    """The first entry of a report, and any that puts right what it said.

    `confirmed` that the work was done before the car was taken along, which a wrong clock says as well.
    """

    car_id: Row
    happened_on: Day
    facility: Word = ""
    facility_address: Word = ""
    station_code: Word = ""
    visit_id: Row | None = None
    items: list[OpenedItem] = Field([], max_length=20)  # due items meant
    taken_at: Moment | None = None
    confirmed: bool = False


class Caution(_Says):
    """A caution that was acknowledged, with the words that were shown."""

    caution: Word
    job: Word = ""
    words: Words = ""


class GaugeCheck(_Says):
    """A thickness gauge read on a standard of known thickness (180.509(f)(1))."""

    gauge: Word
    standard_in: Thickness
    read_in: Thickness
    valid_until: Day | None = None


class Reading(_Says):
    """A thickness; `confirmed` says that somebody looked again at an unlikely one."""

    zone: Zone
    ring: Annotated[int, Field(ge=0, le=999)] | None = None
    spot: Word = ""
    inches: Thickness
    extent: Literal["general", "local"] = "general"
    span_in: Length | None = None
    apart_in: Length | None = None
    confirmed: bool = False


class Step(_Says):
    """A step of the instructions of an item."""

    item: OpenedItem
    step: Word
    outcome: Literal["ok", "not_ok", "not_done"]
    words: Words = ""
    value: Word | None = None


class BenchTest(_Says):
    """The test of a relief device that is on the car, as found and as left."""

    installation_id: Row
    found_psig: Pressure | None = None
    left_psig: Pressure | None = None
    vapor_tight_psig: Pressure | None = None
    outcome: PassOrFail
    confirmed: bool = False
    words: Words = ""


class Lining(_Says):
    """The lining or coating in one area."""

    area: Word
    condition: Literal["sound", "worn", "blistered", "cracked", "loose", "bare"]
    spark_volts: Measure | None = None
    holidays: Annotated[int, Field(ge=0, le=100_000)] | None = None
    words: Words = ""


class LeakTest(_Says):
    what: Word
    medium: Word = ""
    psig: Pressure | None = None
    minutes: Measure | None = None
    outcome: PassOrFail
    words: Words = ""


class Defect(_Says):
    """`x` and `y` are shares of the drawing of `view`, from its left and its top.

    Tablets of before say `side` and tell left and right by the words of the place alone.
    """

    defect: Literal[
        "corrosion", "pitting", "crack", "dent", "gouge", "weld", "leak", "missing", "other"
    ]
    place: Word = ""
    view: Literal["left", "right", "top", "end_a", "end_b", "side"] | None = None
    x: Share | None = None
    y: Share | None = None
    length_in: Length | None = None
    depth_in: Length | None = None
    item: OpenedItem | None = None
    repaired: bool = False
    how_repaired: Words = ""


class Photograph(_Says):
    """A photograph whose bytes are sent apart, under the same digest."""

    digest: Digest
    bytes: Annotated[int, Field(ge=1, le=50_000_000)]
    type: Literal["image/jpeg", "image/png", "image/webp"]
    taken_at: Moment | None = None
    about: Key | None = None
    words: Words = ""


class PutOn(_Says):
    """What was put on; bench values where it was tested before it went on."""

    kind: Annotated[str, Field(min_length=1, max_length=40), AfterValidator(_plain)]
    maker: Word = ""
    model: Word = ""
    lot: Word = ""
    serial: Word = ""
    tested_on: Day | None = None
    set_psig: Pressure | None = None
    protected_in_storage: bool | None = None
    found_psig: Pressure | None = None
    left_psig: Pressure | None = None
    vapor_tight_psig: Pressure | None = None


class Swap(_Says):
    """One off, one on, or both; `confirmed` that a pressure or a place asked about is right."""

    off_installation_id: Row | None = None
    position: Annotated[str, Field(max_length=60), AfterValidator(_plain)] = ""
    on: PutOn | None = None
    confirmed: bool = False


class Outcome(_Says):
    item: OpenedItem
    outcome: Literal["pass", "fail", "not_done"]
    words: Words = ""


class Withdrawn(_Says):
    entry: Key
    why: Words = ""


class Resolved(_Says):
    """Whose work counts where another recorded the same item meanwhile."""

    item: OpenedItem
    other: Row
    keep: Literal["both", "theirs"]


class Signed(_Says):
    """The last entry. `strokes` are shares of the field signed in; a code is looked at and not kept.

    `confirmed` that what passed did so although something measured speaks against it.
    """

    name: Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_plain)]
    method: Literal["drawn", "typed"]
    strokes: Annotated[list[Stroke], Field(max_length=MOST_STROKES)] | None = None
    code: Annotated[str, Field(max_length=40)] | None = None
    confirmed: bool = False


class EntryIn(BaseModel, Generic[K, S]):
    """An entry of one kind; one that corrects another of the same kind names it in `replaces`."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    key: Key
    report: Key
    place: Annotated[int, Field(ge=1, le=100_000)]
    made_at: Moment
    replaces: Key | None = None
    kind: K
    says: S


AnyEntry = Annotated[
    EntryIn[Literal["begun"], Begun]
    | EntryIn[Literal["caution"], Caution]
    | EntryIn[Literal["gauge_check"], GaugeCheck]
    | EntryIn[Literal["reading"], Reading]
    | EntryIn[Literal["step"], Step]
    | EntryIn[Literal["bench_test"], BenchTest]
    | EntryIn[Literal["lining"], Lining]
    | EntryIn[Literal["leak_test"], LeakTest]
    | EntryIn[Literal["defect"], Defect]
    | EntryIn[Literal["photograph"], Photograph]
    | EntryIn[Literal["swap"], Swap]
    | EntryIn[Literal["outcome"], Outcome]
    | EntryIn[Literal["withdrawn"], Withdrawn]
    | EntryIn[Literal["resolved"], Resolved]
    | EntryIn[Literal["signed"], Signed],
    Field(discriminator="kind"),
]


class _One(BaseModel):
    entry: AnyEntry


class Given(NamedTuple):
    """An entry as it was sent: whole in `entry`, or with its faults and as much of where it belongs as was read."""

    key: str
    report: str | None
    place: int | None
    entry: Entry | None
    faults: tuple[Fault, ...]


def read_entry(given: Any) -> Given:
    """One entry out of what was sent; never raises."""
    try:
        read = _One.model_validate({"entry": given}).entry
    except ValidationError as wrong:
        kind = given.get("kind") if isinstance(given, Mapping) else KINDS[0]
        unknown = Fault("kind", f"must be one of {', '.join(KINDS)}, got {shown(kind)}")
        told = tuple(_told(each) for each in faults_of(wrong))
        return _unread(given, told if kind in KINDS else (unknown,))
    entry = Entry(
        read.key, read.report, read.place, read.kind, datetime.fromisoformat(read.made_at),
        read.replaces, read.says.model_dump(mode="json"),
    )  # fmt: skip
    faults = tuple(_beyond(entry))
    return Given(read.key, read.report, read.place, entry, faults)


def _unread(given: Any, faults: tuple[Fault, ...]) -> Given:
    held = given if isinstance(given, Mapping) else {}
    key, report, place = held.get("key"), held.get("report"), held.get("place")
    well = isinstance(report, str) and re.fullmatch(KEY, report)
    counted = isinstance(place, int) and not isinstance(place, bool) and place > 0
    shown_key = key if isinstance(key, str) and re.fullmatch(KEY, key) else ""
    return Given(shown_key, report if well else None, place if counted else None, None, faults)


def _told(fault: Fault) -> Fault:
    """Without the words that Pydantic adds for the list, the union and its member."""
    parts = fault.path.split(".")[1:]
    named = parts[1:] if parts and parts[0] in KINDS else parts
    return Fault(".".join(named) or "entry", fault.problem)


def _beyond(entry: Entry) -> list[Fault]:
    """What the fields of an entry ask of one another."""
    says, faults = entry.says, []
    if entry.kind == "swap" and says["off_installation_id"] is None and says["on"] is None:
        faults.append(Fault("says", "say what was taken off, what was put on, or both"))
    if entry.kind == "signed" and says["method"] == "drawn" and not says["strokes"]:
        faults.append(Fault("says.strokes", "sign in the field"))
    if entry.kind == "signed" and says["method"] == "typed" and not says["code"]:
        faults.append(Fault("says.code", "type the code of this moment"))
    if sum(map(len, says.get("strokes") or ())) > MOST_POINTS:
        faults.append(Fault("says.strokes", f"must have at most {MOST_POINTS} points"))
    if entry.kind == "begun" and (entry.place == 1) == (entry.replaces is not None):
        faults.append(Fault("place", "a report begins with one entry, at its place 1"))
    return faults
