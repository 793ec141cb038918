"""An entry of the record of change in words: what was done, to what, and what is otherwise than before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.core.words import capitalized, label
from app.store import change_list
from app.store.change_list import Listed
from app.store.kept import Values

# What somebody did, to follow their name.
DEEDS: Mapping[str, str] = {
    "car.added": "added a car",
    "codes.turned_off": "turned codes of an app off",
    "codes.turned_on": "turned codes of an app on",
    "component.brought_back": "brought back a component that was withdrawn",
    "component.corrected": "corrected a component",
    "component.installed": "put a component on",
    "component.moved_to_its_car": "moved a component to the car that it was put on",
    "component.removed": "took a component off",
    "component.swapped": "swapped a component",
    "component.withdrawn": "withdrew a component",
    "demo.loaded": "loaded the demo fleet",
    "edition.ended": "took an edition of the rules out of force",
    "edition.loaded": "loaded an edition of the rules",
    "edition.put_in_force": "put an edition of the rules in force",
    "email.changed": "changed an address of mail",
    "event.brought_back": "brought back an inspection or change that was withdrawn",
    "event.corrected": "corrected an inspection or change",
    "event.recorded": "recorded an inspection or change",
    "event.withdrawn": "withdrew an inspection or change",
    "fact.brought_back": "brought back a fact that was withdrawn",
    "fact.corrected": "corrected a fact",
    "fact.recorded": "recorded a fact",
    "fact.withdrawn": "withdrew a fact",
    "import.stored": "brought in a file",
    "import.taken_back": "took back a file that was brought in",
    "invitation.taken_back": "took back an invitation",
    "lading.added": "added to the list of ladings",
    "lading.changed": "changed the list of ladings",
    "membership.added": "gave somebody a role",
    "membership.ended": "ended somebody’s role",
    "party.added": "added a company",
    "party.stands_alone": "let a company stand for itself",
    "passkey.added": "added a passkey",
    "passkey.removed": "removed a passkey",
    "password.changed": "changed a password",
    "password.link_made": "made a link for a new password",
    "person.ended": "ended somebody’s access",
    "person.gave_first_secret": "began to sign in",
    "person.invited": "invited somebody",
    "person.joined": "joined",
    "person.renamed": "changed a person’s name",
    "person.signed_in": "signed in",
    "person.signed_out": "signed out",
    "provider.linked": "linked a sign-in provider",
    "provider.unlinked": "unlinked a sign-in provider",
    "record.began": "began the record of change",
    "recovery.made": "made new codes on paper",
    "register.set_up": "set the register up",
    "removal.withdrawn": "undid taking a component off",
    "report.removed": "let the details of reports go that need be kept no longer",
    "second.taken_away": "took codes and passkeys of somebody away",
    "set_up.link_made": "made a link for the first account",
    "sign_in.ended": "signed a browser out",
    "sign_in.ended_everywhere": "ended every sign-in of an account",
    "token.made": "made a token",
    "token.revoked": "revoked a token",
    "visit.arrived": "recorded that a car came to a shop",
    "visit.released": "recorded that a shop released a car",
    "visit.sent": "sent a car to a shop",
    "visit.undone": "undid a step of a visit to a shop",
    "changed": "changed something",
}
# By what somebody signed in, to follow the deed.
HOW: Mapping[str, str] = {
    "password": "with a password",
    "passkey": "with a passkey",
    "openid": "by the provider",
}
SECOND: Mapping[str, str] = {
    "code": " and a code",
    "recovery": " and a code on paper",
    "passkey": " and a passkey",
    "provider": " with two secrets",
}
SIGNING_IN = frozenset(("person.signed_in", "person.gave_first_secret"))
TABLES: Mapping[str, str] = {
    "approval": "approved other interval",
    "car_name": "mark and number",
    "construction": "specification and tank",
    "fitting": "equipment and sheeting",
    "import_run": "file",
    "membership": "role",
    "ownership": "owner and region",
    "rulebook_edition": "rulebook edition",
    "rulebook_in_force": "rules in force",
    "service": "lading",
    "sign_in": "sign-in",
    "visit_step": "visit",
}
# What a row says of its being recorded, and keys: no news in a sentence.
BESIDE = frozenset((
    "id", "car_id", "recorded_at", "recorded_by", "import_id", "superseded_at", "corrects",
    "form_key", "original_id", "component_id", "installation_id", "event_id", "visit_id",
    "person_id", "row_id", "table_name", "place",
))  # fmt: skip
BEGINNING = "0001-01-01"
LONG = 120
DETAILS = 8


@dataclass(frozen=True, slots=True)
class Told:
    """One row of an entry: what it is, what happened to it, and each column before and after."""

    what: str
    key: str
    happened: str
    columns: Sequence[tuple[str, str, str]]


@dataclass(frozen=True, slots=True)
class InWords:
    """An entry: who did what to which cars, in short sentences, and its rows for whoever wants them."""

    entry: Listed
    did: str
    cars: Sequence[tuple[int, str]]
    details: Sequence[str]
    rows: Sequence[Told]


def in_words(db: Session, entries: Iterable[Listed]) -> list[InWords]:
    found = list(entries)
    rows = [row for entry in found for row in entry.body["rows"]]
    replaced = change_list.rows_now(db, _replaced(rows))
    cars = {car_id for entry in found for car_id in entry.cars}
    names = change_list.names(db, cars, _parties(rows, replaced.values()))
    return [_entry(entry, replaced, names) for entry in found]


def did(deed: str) -> str:
    """What was done, in words; of a deed without any its own name."""
    return DEEDS.get(deed) or f"did: {deed.replace('.', ', ').replace('_', ' ')}"


def _did(entry: Listed) -> str:
    """The same of an entry, which of a sign-in tells how and from where."""
    said = did(entry.deed)
    if entry.deed not in SIGNING_IN:
        return said
    how, second = entry.body.get("how", ""), entry.body.get("second", "")
    by = HOW.get(how, "") + (SECOND.get(second, "") if how != second else "")
    return " ".join(filter(None, (said, by, entry.address and f"from {entry.address}")))


def _replaced(rows: Iterable[Mapping[str, Any]]) -> Iterable[tuple[str, int]]:
    for row in rows:
        corrects = (row["after"] or {}).get("corrects")
        if corrects is not None:
            yield row["table"], corrects


def _parties(
    rows: Iterable[Mapping[str, Any]], replaced: Iterable[Values]
) -> Iterable[int]:  # fmt: skip
    values = [value for row in rows for value in (row["before"], row["after"]) if value]
    for each in (*values, *replaced):
        for name, value in each.items():
            if _is_party(name) and value is not None:
                yield value


def _is_party(column: str) -> bool:
    return column in ("owner_id", "shop_id", "party_id", "kept_by") or column.endswith("_owner_id")


def _entry(
    entry: Listed, replaced: Mapping[tuple[str, int], Values], names: Mapping[tuple[str, str], str]
) -> InWords:
    rows = entry.body["rows"]
    said = [each for row in rows if (each := _sentence(row, replaced, names))]
    if entry.withheld:
        said.append(f"{entry.withheld} more rows are about what you do not reach")
    cars = [(car_id, names.get(("car", str(car_id)), str(car_id))) for car_id in entry.cars]
    return InWords(
        entry, _did(entry), cars, [*_beside(entry.body), *said],
        [_told(row, names) for row in rows],
    )  # fmt: skip


def _beside(body: Mapping[str, Any]) -> Iterable[str]:
    """What an action said beside its rows."""
    for told in body.get("bulk", ()):
        for name, table in told.get("brought", {}).items():
            yield f"{label(TABLES.get(name, name))}: {table['rows']:,} rows"
    if reason := body.get("reason"):
        yield f"reason: {reason}"


def _sentence(
    row: Mapping[str, Any], replaced: Mapping[tuple[str, int], Values],
    names: Mapping[tuple[str, str], str],
) -> str:  # fmt: skip
    """What a row is news of; of one that was only stamped as replaced nothing."""
    after, before = row["after"], row["before"]
    what = _called(row["table"])
    if after is None:
        return f"{what} was removed"
    if before is not None:
        secret = [f"{label(name)} changed" for name in row.get("secret", ())]
        moved = _moved(before, after, names)
        return f"{what}: {'; '.join([*moved, *secret])}" if moved or secret else ""
    old = replaced.get((row["table"], after.get("corrects") or 0))
    if old:
        moved = _moved(old, after, names)
        return f"{what}{_day(old)}: {'; '.join(moved) if moved else 'the same again'}"
    said = [
        f"{_column(name)} {_value(name, value, names)}"
        for name, value in after.items()
        if name not in BESIDE and value not in (None, "", False) and value != BEGINNING
    ]
    return f"{what}: {'; '.join(said)}" if said else ""


def _called(table: str) -> str:
    return capitalized(TABLES.get(table) or label(table))


def _column(name: str) -> str:
    return label(name.removesuffix("_id"))


def _day(values: Values) -> str:
    day = values.get("happened_on")
    return f" of {day}" if day else ""


def _moved(
    before: Mapping[str, Any], after: Mapping[str, Any], names: Mapping[tuple[str, str], str]
) -> list[str]:
    return [
        f"{_column(name)}: {_value(name, before[name], names)} → {_value(name, value, names)}"
        for name, value in after.items()
        if name not in BESIDE and name in before and before[name] != value
    ]


def _value(name: str, value: Any, names: Mapping[tuple[str, str], str]) -> str:
    if value is None or value == "":
        return "nothing"
    if _is_party(name):
        return names.get(("party", str(value)), "another company")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value == BEGINNING:
        return "the beginning"
    if name in ("items", "opens", "item"):
        return ", ".join(label(item) for item in str(value).split(";"))
    text = str(value)
    return text if len(text) <= LONG else f"{text[:LONG]}…"


def _told(row: Mapping[str, Any], names: Mapping[tuple[str, str], str]) -> Told:
    before, after = row["before"] or {}, row["after"] or {}
    happened = "new" if row["before"] is None else "removed" if row["after"] is None else "changed"
    columns = [
        (
            _column(name),
            _value(name, before[name], names) if name in before else "",
            _value(name, after[name], names) if name in after else "",
        )
        for name in dict.fromkeys((*before, *after))
    ]
    columns += [(label(name), "not told", "not told") for name in row.get("secret", ())]
    return Told(_called(row["table"]), str(row["key"]), happened, columns)
