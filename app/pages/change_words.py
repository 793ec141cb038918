"""An entry of the record of change in words: what was done, to what, and what is otherwise than before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from app.core.words import capitalized, label
from app.pages.change_values import BEGINNING, Names, column, company, is_moment, is_party, value
from app.store import change_list
from app.store.change_list import Listed
from app.store.change_log import canonical
from app.store.kept import Values
from app.web.rendering import counted

# What somebody did, to follow their name.
DEEDS: Mapping[str, str] = {
    "audit.answered": "answered points of an audit",
    "audit.drawn": "drew a sample of cars for an audit",
    "audit.finding_closed": "closed a finding of an audit",
    "audit.finding_reopened": "opened a finding of an audit again",
    "audit.found": "recorded a finding of an audit",
    "car.added": "added a car",
    "car.handed_over": "handed a car over to another register",
    "told_order.answered": "decided about a directive that came with a car",
    "car.taken_over": "took a car over from another register",
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
    "due.brought_back": "brought a line back into the morning list",
    "due.set_aside": "set a line of the morning list aside as seen",
    "directive.closed": "recorded that a directive was seen to",
    "directive.closing_taken_back": "took back that a directive was seen to",
    "directive.ordered": "froze the cars of a directive",
    "directive.term_changed": "changed the due day of a directive",
    "directive.withdrawn": "withdrew a directive",
    "edition.ended": "took an edition of the rules out of force",
    "edition.loaded": "loaded an edition of the rules",
    "edition.put_in_force": "put an edition of the rules in force",
    "email.changed": "changed an address of mail",
    "event.brought_back": "brought back an inspection or change that was withdrawn",
    "event.corrected": "corrected an inspection or change",
    "event.recorded": "recorded an inspection or change",
    "event.withdrawn": "withdrew an inspection or change",
    "facility.brought_back": "brought back a facility that was withdrawn",
    "facility.corrected": "corrected a facility",
    "facility.recorded": "recorded a facility",
    "facility.withdrawn": "withdrew a facility",
    "fact.brought_back": "brought back a fact that was withdrawn",
    "fact.corrected": "corrected a fact",
    "fact.recorded": "recorded a fact",
    "fact.withdrawn": "withdrew a fact",
    "feed.made": "made a calendar of what falls due",
    "feed.revoked": "revoked a calendar of what falls due",
    "import.stored": "brought in a file",
    "import.taken_back": "took back a file that was brought in",
    "instruction.brought_back": "brought back an owner’s steps that were withdrawn",
    "instruction.corrected": "corrected an owner’s steps for an item",
    "instruction.recorded": "recorded an owner’s steps for an item",
    "instruction.withdrawn": "withdrew an owner’s steps for an item",
    "invitation.taken_back": "took back an invitation",
    "lading.added": "added to the list of ladings",
    "lading.changed": "changed the list of ladings",
    "list.answered_for": "said who answers for a saved list",
    "list.ended": "removed a saved list",
    "list.saved": "saved a list",
    "membership.added": "gave somebody a role",
    "membership.ended": "ended somebody’s role",
    "notices.chosen": "chose mails about what falls due",
    "party.added": "added a company",
    "party.photo_place": "chose whether photographs keep where they were taken",
    "party.stands_alone": "let a company stand for itself",
    "passkey.added": "added a passkey",
    "passkey.removed": "removed a passkey",
    "password.changed": "changed a password",
    "password.link_made": "made a link for a new password",
    "person.ended": "ended somebody’s access",
    "person.gave_first_secret": "began to sign in",
    "person.invited": "invited somebody",
    "person.joined": "joined",
    "person.preferred": "chose units and how dates are written",
    "person.renamed": "changed a person’s name",
    "person.signed_in": "signed in",
    "person.signed_out": "signed out",
    "provider.linked": "linked a sign-in provider",
    "provider.unlinked": "unlinked a sign-in provider",
    "qualification.brought_back": "brought back a qualification that was withdrawn",
    "qualification.recorded": "recorded what somebody is qualified for",
    "qualification.withdrawn": "withdrew a qualification",
    "record.began": "began the record of change",
    "plan.accepted": "accepted a version of a plan",
    "plan.changed": "changed a plan by hand",
    "plan.made": "began a plan",
    "plan.solved": "had a plan worked out",
    "plan.standards_kept": "kept standards for planning",
    "photograph.kept": "kept a photograph",
    "recovery.made": "made new codes on paper",
    "register.set_up": "set the register up",
    "removal.withdrawn": "undid taking a component off",
    "report.recorded": "recorded field work at a car",
    "report.signed": "signed a report of field work",
    "report.removed": "let the details of reports go that need be kept no longer",
    "second.taken_away": "took codes and passkeys of somebody away",
    "set_up.link_made": "made a link for the first account",
    "sign_in.ended": "signed a browser out",
    "sign_in.ended_everywhere": "ended every sign-in of an account",
    "token.made": "made a token",
    "token.revoked": "revoked a token",
    "visit.arrived": "recorded that a car came to a shop",
    "visit.cancelled": "cancelled a planned visit to a shop",
    "visit.planned": "planned a visit to a shop",
    "visit.released": "recorded that a shop released a car",
    "visit.sent": "sent a car to a shop",
    "visit.work_added": "added work to a planned visit to a shop",
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
    "audit_answer": "answer",
    "audit_car": "car of a sample",
    "audit_finding": "finding",
    "audit_finding_step": "finding",
    "car_name": "mark and number",
    "due_seen": "line set aside",
    "feed": "calendar",
    "notice_wish": "mails",
    "saved_list": "saved list",
    "construction": "specification and tank",
    "directive_closing": "closing of a directive",
    "directive_match": "car of a directive",
    "directive_term": "due day of a directive",
    "fitting": "equipment and sheeting",
    "hand_over": "hand-over",
    "import_run": "file",
    "origin": "recorded before",
    "instruction": "owner’s steps",
    "instruction_step": "step",
    "membership": "role",
    "ownership": "owner and region",
    "field_entry": "entry of a field report",
    "report": "field report",
    "report_event": "event of a field report",
    "rulebook_edition": "rulebook edition",
    "rulebook_in_force": "rules in force",
    "service": "lading",
    "sign_in": "sign-in",
    "visit_plan": "planned visit",
    "visit_step": "visit",
    "visit_work": "planned work",
}
# What a row says of its being recorded, and keys: no news in a sentence.
BESIDE = frozenset((
    "id", "car_id", "recorded_at", "recorded_by", "import_id", "superseded_at", "corrects",
    "form_key", "original_id", "component_id", "installation_id", "event_id", "visit_id",
    "person_id", "row_id", "table_name", "place", "key", "instruction_id",
    "audit_id", "audit_car_id", "finding_id", "selection", "checklist",
))  # fmt: skip

# What a report of field work holds is told where it is shown, not line by line.
TOLD_ELSEWHERE = frozenset(("field_entry", "report_event", "audit_car", "origin"))


@dataclass(frozen=True, slots=True)
class Told:
    """One row of an entry: what it is, what happened to it, and each column before and after, as stored."""

    what: str
    key: str
    happened: str
    columns: Sequence[tuple[str, str, str]]


@dataclass(frozen=True, slots=True)
class InWords:
    """An entry: who did what to which cars, in short sentences, and its rows for whoever wants them.

    `without` says why there are no rows.
    """

    entry: Listed
    did: str
    cars: Sequence[tuple[int, str]]
    details: Sequence[str]
    rows: Sequence[Told]
    without: str


@dataclass(frozen=True, slots=True)
class Wording:
    """What rows are put in words with: rows that were replaced, names, the zone of moments."""

    replaced: Mapping[tuple[str, int], Values]
    names: Names
    zone: tzinfo


def in_words(db: Session, entries: Iterable[Listed], zone: tzinfo = UTC) -> list[InWords]:
    """Entries in words, moments in this zone."""
    found = list(entries)
    rows = [row for entry in found for row in entry.body["rows"]]
    replaced = change_list.rows_now(db, _replaced(rows))
    cars = {car_id for entry in found for car_id in entry.cars}
    names = change_list.names(db, cars, _parties(rows, replaced.values()))
    wording = Wording(replaced, names, zone)
    return [_entry(entry, wording) for entry in found]


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
        for name, held in each.items():
            if is_party(name) and held is not None:
                yield held


def _entry(entry: Listed, wording: Wording) -> InWords:
    rows = entry.body["rows"]
    said = [each for row in rows if (each := _sentence(row, wording))]
    without = _without(entry)
    if entry.withheld and rows:
        said.append(without)
    cars = [(car_id, wording.names.get(("car", str(car_id)), str(car_id))) for car_id in entry.cars]
    return InWords(
        entry, _did(entry), cars, [*_beside(entry.body), *said],
        [_told(row, wording.names) for row in rows], without,
    )  # fmt: skip


def _without(entry: Listed) -> str:
    """Why rows of an entry are not shown."""
    if entry.withheld and not entry.body["rows"]:
        return "What it changed is about what you do not reach, or reach no longer."
    if entry.withheld:
        more = counted(entry.withheld, "more row")
        verb = "is" if entry.withheld == 1 else "are"
        return f"{more} {verb} about what you do not reach"
    if entry.deed.startswith("import."):
        return "What came with a file is told by its digest, not row by row."
    return "No rows are told one by one."


def _beside(body: Mapping[str, Any]) -> Iterable[str]:
    """What an action said beside its rows."""
    for told in body.get("bulk", ()):
        for name, table in told.get("brought", {}).items():
            yield f"{label(TABLES.get(name, name))}: {table['rows']:,} rows"
    if reason := body.get("reason"):
        yield f"reason: {reason}"


def _sentence(row: Mapping[str, Any], wording: Wording) -> str:
    """What a row is news of; of one that was only stamped as replaced nothing."""
    table, after, before = row["table"], row["after"], row["before"]
    what = _called(table)
    if table in TOLD_ELSEWHERE:
        return ""
    if after is None:
        return f"{what} was removed"
    if before is not None:
        secret = [f"{label(name)} changed" for name in row.get("secret", ())]
        moved = _moved(table, before, after, wording)
        return f"{what}: {'; '.join([*moved, *secret])}" if moved or secret else ""
    old = wording.replaced.get((table, after.get("corrects") or 0))
    if old:
        moved = _moved(table, old, after, wording)
        return f"{what}{_day(old)}: {'; '.join(moved) if moved else 'the same again'}"
    said = [
        f"{column(table, name)} {value(table, name, held, wording.names, wording.zone)}"
        for name, held in after.items()
        if _is_news(table, name) and held not in (None, "", False, []) and held != BEGINNING
    ]
    return f"{what}: {'; '.join(said)}" if said else ""


def _is_news(table: str, name: str) -> bool:
    """An installation says itself when the thing was put on, as it is known."""
    return name not in BESIDE and (table, name) != ("installation", "from_on")


def _called(table: str) -> str:
    return capitalized(TABLES.get(table) or label(table))


def _day(values: Values) -> str:
    day = values.get("happened_on")
    return f" of {day}" if day else ""


def _moved(
    table: str, before: Mapping[str, Any], after: Mapping[str, Any], wording: Wording
) -> list[str]:
    names, zone = wording.names, wording.zone
    moved = []
    for name, held in after.items():
        if _is_news(table, name) and name in before and before[name] != held:
            was, now = (value(table, name, each, names, zone) for each in (before[name], held))
            happened = before[name] is None and is_moment(held)
            called = column(table, name)
            moved.append(f"{called} {now}" if happened else f"{called}: {was} → {now}")
    return moved


def _told(row: Mapping[str, Any], names: Names) -> Told:
    before, after = row["before"] or {}, row["after"] or {}
    happened = "new" if row["before"] is None else "removed" if row["after"] is None else "changed"
    columns = [
        (name, _stored(name, before, names), _stored(name, after, names))
        for name in dict.fromkeys((*before, *after))
    ]
    columns += [(name, "not told", "not told") for name in row.get("secret", ())]
    return Told(_called(row["table"]), str(row["key"]), happened, columns)


def _stored(name: str, values: Mapping[str, Any], names: Names) -> str:
    """As it stands in the entry; but a company by its name, as not every one may be known of."""
    held = values.get(name)
    if held is None:
        return ""
    if is_party(name):
        return company(held, names)
    return held if isinstance(held, str) else canonical(held)
