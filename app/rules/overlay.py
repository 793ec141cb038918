"""An edition laid over a rulebook: what of it does not fit there, the rulebook that results, and what differs.

An owner's programme may only be stricter: it shortens intervals, and says how open questions are read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from typing import Any

from app.core.rule import Rulebook
from app.rules.edition import BadEdition, Edition, Wrong, read_edition
from app.rules.reader import Document, built_in, rulebook_of

WORDING = frozenset({"text", "citation", "edition", "confidence", "note", "name"})
# Where both apply to cars of one kind, the second must not be the longer one.
NOT_LONGER = (
    ("thickness", "thickness_thin"),
    ("relief_device_fluorinated", "relief_device_ton_tank"),
)
# Tables of rows, and what tells one row from another.
KEYS: Mapping[str, tuple[str, ...]] = {
    "allowances": ("from_psig",),
    "flammable_bans": ("name",),
    "rows": ("class", "pressure", "delimiters", "material", "suffix"),
}
NAMED = ("rules", "changes", "materials")
# What laying an owner's programme over a rule adds to it: the citation of what it was laid over.
STRICTER = "stricter_than"
NEEDED = (
    "is required where more than words change, so that reasons say what holds and where it stands"
)
UNSTATED = {"pressure": None, "delimiters": "", "material": "", "suffix": ""}


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """A rulebook with the document it comes from, and how it reads the open questions."""

    rulebook: Rulebook
    document: Document
    settings: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that one rulebook states otherwise than another; None where one does not state it."""

    place: str
    before: str | None
    after: str | None


def own() -> Laid:
    """The built-in rulebook, with the strict readings."""
    return laid(())


@lru_cache(maxsize=64)
def laid(sources: tuple[str, ...]) -> Laid:
    """The built-in rulebook with these editions laid over it, one after the other.

    An owner's programme among them shortens intervals and never lengthens one. Raises BadEdition
    for one that names what there is not, as one kept from an older version may.
    """
    document = built_in()
    settings: dict[str, str] = {}
    for source in sources:
        edition = read_edition(source)
        strange = [*_unknown(edition, document), *_rule_faults(edition, document)]
        if strange:
            raise BadEdition(strange)
        document = lay(edition, document)
        settings = {**settings, **edition.settings}
    return Laid(rulebook_of(document), document, settings)


def lay(edition: Edition, base: Document) -> Document:
    """`base` with all that the edition states in the place of what it says there."""
    merged = {**base, "id": edition.id, "edition": edition.edition}
    for table, stated in edition.differs.items():
        if table in KEYS:
            merged[table] = _rows_joined(table, base[table], stated)
        elif table in NAMED:
            merged[table] = {**base[table], **_entries_joined(edition, table, base[table], stated)}
        else:
            merged[table] = {**base[table], **stated}
    return merged


def _entries_joined(
    edition: Edition, table: str, base: Mapping[str, Any], stated: Mapping[str, Any]
) -> dict[str, Any]:
    joined: dict[str, Any] = {}
    for name, entry in stated.items():
        if table == "rules" and edition.owner and not _shortens(entry, base[name]):
            continue
        joined[name] = _joined(base[name], entry)
        if table == "rules" and _says_more_than_words(entry) and "edition" not in entry:
            joined[name]["edition"] = edition.edition
        if table == "rules" and edition.owner:
            joined[name][STRICTER] = base[name]["citation"]
    return joined


def _joined(base: Mapping[str, Any], stated: Mapping[str, Any]) -> dict[str, Any]:
    joined = {**base, **stated}
    if "limits" in stated:
        joined["limits"] = {**base["limits"], **stated["limits"]}
    if "confidence" in base and "confidence" not in stated and _says_more_than_words(stated):
        # Doubt goes to the safe side: a number nobody vouches for counts as not verified.
        joined["confidence"] = "memory"
    if "confidence" in stated or _says_more_than_words(stated):
        # Who states it anew knows it from elsewhere.
        joined.pop("known_from", None)
    return joined


def _says_more_than_words(stated: Mapping[str, Any]) -> bool:
    return not stated.keys() <= WORDING


def _shortens(stated: Mapping[str, Any], base: Mapping[str, Any]) -> bool:
    """A programme loaded over an older rulebook must not lengthen what a newer one has shortened."""
    months = stated.get("interval_months")
    return months is None or months <= base["interval_months"]


def _key(table: str, row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row.get(name, UNSTATED.get(name)) for name in KEYS[table])


def _rows_joined(
    table: str, base: Sequence[Mapping[str, Any]], stated: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    changed = {_key(table, row): row for row in stated}
    return [_joined(row, changed.get(_key(table, row), {})) for row in base]


# What does not fit ------------------------------------------------------------------------------------------------


def faults_over(edition: Edition, base: Document) -> list[Wrong]:
    """What of the edition does not fit the rulebook that it is to be laid over."""
    found = [*_unknown(edition, base), *_rule_faults(edition, base), *_uncited(edition)]
    if edition.owner:
        found += _not_stricter(edition, base)
    return found or [*_at_odds(edition, base), *_allowances_too_large(edition)]


def _unknown(edition: Edition, base: Document) -> Iterator[Wrong]:
    for table in NAMED:
        for name in edition.differs.get(table, {}):
            if name not in base[table]:
                yield Wrong(
                    f"{table}.{name}",
                    f"{base['id']} has none of this name{_like(name, base[table])}",
                )
    for table in KEYS:
        known, seen = {_key(table, row) for row in base[table]}, set()
        for place, row in enumerate(edition.differs.get(table, ())):
            key = _key(table, row)
            if key not in known:
                named = ", ".join(f"{k} {v}" for k, v in zip(KEYS[table], key, strict=True) if v)
                yield Wrong(f"{table}.{place}", f"{base['id']} has no such row: {named}")
            elif key in seen:
                yield Wrong(f"{table}.{place}", "this row stands twice")
            seen.add(key)


def _like(name: str, known: Mapping[str, Any]) -> str:
    close = get_close_matches(name, known, n=1)
    return f"; did you mean {close[0]}?" if close else ""


def _rule_faults(edition: Edition, base: Document) -> Iterator[Wrong]:
    for name, stated in edition.differs.get("rules", {}).items():
        rule, place = base["rules"].get(name), f"rules.{name}"
        if rule is None:
            continue
        for field in ("interval_months", "day"):
            if field in stated and field not in rule:
                yield Wrong(f"{place}.{field}", "the rule has none that could be changed")
        for limit in stated.get("limits", {}):
            if limit not in rule.get("limits", {}):
                yield Wrong(
                    f"{place}.limits.{limit}",
                    f"the rule has no such number{_like(limit, rule.get('limits', {}))}",
                )
        if _says_more_than_words(stated):
            yield from (
                Wrong(f"{place}.{field}", NEEDED)
                for field in ("text", "citation")
                if field not in stated
            )


def _uncited(edition: Edition) -> Iterator[Wrong]:
    """Entries of other tables that change a number without saying where it stands."""
    for table, stated in edition.differs.items():
        if table in ("changes", "materials"):
            entries = stated.items()
        else:
            entries = enumerate(stated) if table in ("flammable_bans", "rows") else ()
        for name, entry in entries:
            if _says_more_than_words(entry) and "citation" not in entry:
                yield Wrong(f"{table}.{name}.citation", NEEDED)


def _not_stricter(edition: Edition, base: Document) -> Iterator[Wrong]:
    """An owner's programme shortens intervals; of other changes nobody can tell which way is stricter."""
    whose = f"the programme of {edition.owner}"
    for name, value in edition.settings.items():
        if value != STRICTEST[name]:
            told = f"{whose} may only be stricter: {STRICTEST[name]!r}, got {value!r}"
            yield Wrong(f"settings.{name}", told)
    for table in edition.differs:
        if table != "rules":
            yield Wrong(
                table,
                f"{whose} may only shorten intervals of rules and choose settings, so it has no {table}",
            )
    for name, stated in edition.differs.get("rules", {}).items():
        rule = base["rules"].get(name, {})
        for field in ("limits", "day"):
            if field in stated:
                yield Wrong(
                    f"rules.{name}.{field}",
                    f"{whose} may only shorten intervals, so it has no {field}",
                )
        months, most = stated.get("interval_months"), rule.get("interval_months")
        if months is None:
            yield Wrong(
                f"rules.{name}.interval_months", f"is required: {whose} may only shorten intervals"
            )
        elif most is not None and months > most:
            yield Wrong(
                f"rules.{name}.interval_months",
                f"{whose} may only be stricter: at most {most} months as in {base['id']}, got {months}",
            )


def _at_odds(edition: Edition, base: Document) -> list[Wrong]:
    """Intervals that would be the wrong way round, once all fields fit by themselves."""
    rules = lay(edition, base)["rules"]
    return [
        Wrong(
            f"rules.{shorter}.interval_months",
            f"is {rules[shorter]['interval_months']} months and must not be more than the "
            f"{rules[longer]['interval_months']} of {longer}; state both",
        )
        for longer, shorter in NOT_LONGER
        if rules[shorter]["interval_months"] > rules[longer]["interval_months"]
    ]


# Below the thinnest plate of the tables by which tanks in service are judged (7/16 in), with room to spare.
MOST_ALLOWED = Fraction(1, 4)


def _allowances_too_large(edition: Edition) -> Iterator[Wrong]:
    """An allowance that leaves nothing of a plate would condemn no tank."""
    for place, row in enumerate(edition.differs.get("allowances", ())):
        for field in ("top_and_heads_in", "bottom_in"):
            if field in row and not 0 <= Fraction(row[field]) <= MOST_ALLOWED:
                told = f"must be between 0 and {MOST_ALLOWED} in, got {row[field]}"
                yield Wrong(f"allowances.{place}.{field}", told)


# What differs -----------------------------------------------------------------------------------------------------


def differences(before: Laid, after: Laid) -> list[Difference]:
    """Field by field, what `after` states otherwise than `before`."""
    found = list(_differing("settings", _read(before.settings), _read(after.settings)))
    for table in (*NAMED, *KEYS, "corrosive"):
        one, other = before.document[table], after.document[table]
        if table in KEYS:
            one, other = _by_key(table, one), _by_key(table, other)
        found += _differing(table, one, other)
    return found


# The reading of each open question that gives the earliest date.
STRICTEST = {"due_precision": "day", "stencil_year": "start"}


def _read(settings: Mapping[str, str]) -> dict[str, str]:
    """The readings with those that nobody chose, which are the strict ones."""
    return {**STRICTEST, **settings}


def _by_key(table: str, rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    return {" ".join(str(part) for part in _key(table, row) if part): row for row in rows}


def _differing(place: str, one: Any, other: Any) -> Iterator[Difference]:
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        for name in dict.fromkeys((*one, *other)):
            if name == STRICTER:
                continue
            yield from _differing(f"{place}.{name}", one.get(name), other.get(name))
    elif isinstance(one, list) and isinstance(other, list):
        gone, come = (
            [each for each in one if each not in other],
            [each for each in other if each not in one],
        )
        yield from (Difference(place, str(each), None) for each in gone)
        yield from (Difference(place, None, str(each)) for each in come)
    elif one != other:
        yield Difference(place, _told(one), _told(other))


def _told(value: Any) -> str | None:
    return None if value is None else str(value)
