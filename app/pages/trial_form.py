"""The form of a trial: what can be tried, how it is read from the address, and what is tried in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Any

from fastapi import Request
from sqlalchemy.orm import Session

from app import web
from app.core.facts import (
    STENCILED_ITEMS,
    Approval,
    LadingPressures,
    Service,
    StencilMarks,
)
from app.core.trial import Change, LiningWork
from app.core.words import label
from app.files import cells, days
from app.pages import fields, forms
from app.pages.fields import YES_NO, optional, same
from app.pages.forms import Choice, Entries, Field, one_of
from app.store import ladings
from app.store.tables import Lading

WORK: tuple[Choice, ...] = (("applied", "Applied"), ("removed", "Removed"))
PRECISIONS: tuple[Choice, ...] = (
    ("day", "The day itself"), ("month_end", "The end of its month"), ("year_end", "The end of its year"),
)  # fmt: skip
YEARS: tuple[Choice, ...] = (("start", "Its first day"), ("end", "Its last day"))


@dataclass(frozen=True, slots=True)
class TrialGroup:
    """Fields that try one thing; their names in the address begin with `prefix`."""

    prefix: str
    legend: str
    hint: str
    fields: tuple[Field, ...]

    @property
    def names(self) -> list[str]:
        """Of its fields, as they stand in the address."""
        return [self.prefix + each.name for each in self.fields]


def _months(name: str, label_: str, hint: str) -> Field:
    return replace(
        next(each for each in fields.FITTED if each.name == "service_equipment_interval_months"),
        name=name, label=label_, hint=hint,
    )  # fmt: skip


SEEN_ON = Field("on", "Seen on", days.day, "Left empty: today", "day")
CHOOSE = Field(
    "choose", "From the list of ladings", cells.text, "Or name another below", "suggest", same(())
)
LADING = optional(
    tuple(each for each in fields.LADING if each.name in Service.__dataclass_fields__)
)
GROUPS = (
    TrialGroup(
        "lading.",
        "Lading",
        "With another lading named, everything else about it is as given here. Without one, what is "
        "given here is stated of the lading the car has.",
        (CHOOSE, *LADING),
    ),
    TrialGroup(
        "lining.",
        "Lining",
        "",
        (
            Field("what", "Applied or removed", one_of(WORK), "", "choice", WORK),
            Field("on", "On", days.day, "At the latest the day the trial is seen on", "day"),
            Field(
                "inspected", "What it asks for passed that day", cells.yes_or_no,
                "Thickness; after a removal the visual inspection too", "choice", YES_NO,
            ),
        ),
    ),
    TrialGroup(
        "stencil.",
        "Stencil",
        "A new stencil takes the place of the whole old one: give every date that it would show.",
        fields.STENCIL,
    ),
    TrialGroup(
        "approval.",
        "Approved other interval",
        "It changes a date only once it is on the stencil (49 CFR 180.509(l), 180.515).",
        tuple(
            replace(each, hint="") if each.name == "interval_months" else each
            for each in optional(fields.APPROVAL)
        ),
    ),
    TrialGroup(
        "owner.",
        "The owner’s intervals, months",
        "A longer one than the rule’s changes nothing.",
        (
            _months("service_equipment", "Service equipment", ""),
            _months("relief_device", "Relief device", "Of every relief device on the car"),
            _months("lining", "Lining", "Where the tank is lined"),
        ),
    ),
    TrialGroup(
        "read.",
        "How dates are read",
        "The rule text rounds no date and does not say how a year on a stencil is read.",
        (
            Field("due_precision", "A due date counts to", one_of(PRECISIONS), "", "choice", PRECISIONS),
            Field("stencil_year", "A year on the stencil is", one_of(YEARS), "", "choice", YEARS),
        ),
    ),
)  # fmt: skip
NAMES = frozenset(["on", *(group.prefix + each.name for group in GROUPS for each in group.fields)])


@dataclass(frozen=True, slots=True)
class Tried:
    """A trial as its address has it: the day it is seen on, the change, the form, what it is in words."""

    on: date
    change: Change
    entries: Entries
    in_words: tuple[str, ...]

    @property
    def asked(self) -> Mapping[str, str]:
        """The fields of the address that make the trial."""
        return {name: self.entries.text(name) for name in self.entries.typed}

    @property
    def ready(self) -> bool:
        return not self.change.nothing and not self.entries.problems

    @property
    def labels(self) -> dict[str, str]:
        named = {"on": SEEN_ON.label}
        for group in GROUPS:
            for name, said in forms.labels(group.fields, group.prefix).items():
                named[name] = f"{group.legend}: {said}"
        return named


def tidy(request: Request) -> str | None:
    """The address without what was left empty, when something was; a link should be short."""
    asked = request.query_params.multi_items()
    given = [(name, value) for name, value in asked if value.strip()]
    if len(given) == len(asked):
        return None
    return request.url.path + web.rendering.query(dict(given))


def read(request: Request, db: Session, today: date) -> Tried:
    """The trial in the address. What cannot be read is noted at its field, and nothing is tried."""
    asked = request.query_params
    entries = Entries({name: [asked[name]] for name in asked if name in NAMES})
    values: dict[str, dict[str, Any]] = {}
    for prefix, of in [("", (SEEN_ON,)), *((group.prefix, group.fields) for group in GROUPS)]:
        values[prefix], entries = _group(of, entries, prefix)
    on = values[""].get("on") or today
    chosen = _chosen(db, values["lading."].get("choose"))
    entries = entries.wrong({**dict(_wrong(values, on)), **_unlisted(values["lading."], chosen)})
    if entries.problems:
        return Tried(on, Change(), entries, ())
    change = _change(values, chosen)
    return Tried(on, change, entries, tuple(in_words(change)))


def _group(of: Iterable[Field], entries: Entries, prefix: str) -> tuple[dict[str, Any], Entries]:
    values, read_ = forms.read(of, entries.typed, prefix)
    given = {name: value for name, value in values.items() if value is not None}
    return given, entries.wrong(read_.problems)


def _chosen(db: Session, name: str | None) -> Lading | None:
    return ladings.by_name(db, name) if name else None


def _unlisted(lading: Mapping[str, Any], chosen: Lading | None) -> dict[str, str]:
    name = lading.get("choose")
    if not name or chosen:
        return {}
    return {"lading.choose": f"{name!r} is not on the list. Name it below instead."}


def _wrong(values: Mapping[str, Mapping[str, Any]], on: date) -> Iterator[tuple[str, str]]:
    """What does not go together."""
    lining, stencil, approval = values["lining."], values["stencil."], values["approval."]
    if lining and "what" not in lining:
        yield "lining.what", "Was it applied or removed?"
    if lining and "on" not in lining:
        yield "lining.on", "On which day? It is needed for the dates that follow."
    for name, day in (
        ("lining.on", lining.get("on")),
        ("stencil.marked_on", stencil.get("marked_on")),
    ):
        if day and day > on:
            yield (
                name,
                f"{day} is later than {on}, the day the trial is seen on. Set that day later too.",
            )
    if set(stencil) == {"marked_on"}:
        yield "stencil.marked_on", "Give at least one date that the new stencil would show."
    if approval and "item" not in approval:
        yield "approval.item", "For which item?"
    if approval and "interval_months" not in approval:
        yield "approval.interval_months", "How many months?"


# What is tried ----------------------------------------------------------------------------------------------------


def _change(values: Mapping[str, dict[str, Any]], chosen: Lading | None) -> Change:
    service, stated = _lading(values["lading."], chosen)
    lining, approval, owner = values["lining."], values["approval."], values["owner."]
    return Change(
        service=service,
        stated=stated,
        lining=LiningWork(**lining) if lining else None,
        stencil=_stencil(values["stencil."]),
        approval=Approval(**approval) if approval else None,
        service_equipment_months=owner.get("service_equipment"),
        relief_device_months=owner.get("relief_device"),
        lining_months=owner.get("lining"),
        **values["read."],
    )


def _lading(
    given: Mapping[str, Any], chosen: Lading | None
) -> tuple[Service | None, tuple[tuple[str, Any], ...]]:
    """Another lading, whole; or what is stated of the one that the car has."""
    stated = {name: _exact(value) for name, value in given.items() if name != "choose"}
    if chosen is None and "commodity" not in stated:
        return None, tuple(stated.items())
    listed = {each.name: _exact(getattr(chosen, each.name, None)) for each in LADING}
    listed |= {"commodity": chosen.name} if chosen else {}
    known = {name: value for name, value in (listed | stated).items() if value is not None}
    pressures = ladings.pressures_listed(chosen) if chosen else LadingPressures()
    return Service(**known, pressures=pressures), ()


def _exact(value: Any) -> Any:
    """Decimals of forms and tables as the fractions of the calculator."""
    return Fraction(value) if hasattr(value, "as_tuple") else value


def _stencil(given: Mapping[str, Any]) -> StencilMarks | None:
    if not given:
        return None
    painted = ((item, given[item]) for item in STENCILED_ITEMS if item in given)
    return StencilMarks(given.get("marked_on"), tuple(painted))


# In words ---------------------------------------------------------------------------------------------------------


def in_words(change: Change) -> Iterator[str]:
    """What is tried, one phrase a thing."""
    if change.service:
        yield f"lading {_told(change.service)}"
    for name, value in change.stated:
        yield f"{_STATED[name].lower()}: {_value(value)}"
    if change.lining:
        also = ", and what that asks for passed" if change.lining.inspected else ""
        yield f"lining {change.lining.what} on {change.lining.on}{also}"
    if change.stencil:
        shown = ", ".join(f"{label(item)} {text}" for item, text in change.stencil.due)
        marked = f" marked on {change.stencil.marked_on}" if change.stencil.marked_on else ""
        yield f"a stencil{marked} showing {shown}"
    if change.approval:
        one = change.approval
        yield (
            f"an approval of {one.interval_months} months for {label(one.item)}, "
            f"{'on the stencil' if one.stenciled else 'not on the stencil'}"
        )
    yield from _intervals_and_settings(change)


def _intervals_and_settings(change: Change) -> Iterator[str]:
    for what, months in (
        ("service equipment", change.service_equipment_months),
        ("relief device", change.relief_device_months),
        ("lining", change.lining_months),
    ):
        if months is not None:
            yield f"the owner’s interval for {what} {months} months"
    if change.due_precision:
        yield f"a due date counts to {dict(PRECISIONS)[change.due_precision].lower()}"
    if change.stencil_year:
        yield f"a year on the stencil is {dict(YEARS)[change.stencil_year].lower()}"


_STATED = {each.name: each.label for each in LADING}


def _told(service: Service) -> str:
    rate = service.corrosion_rate_mil_per_year
    parts = (
        service.commodity or "not named",
        service.un,
        service.hazard_class and f"class {service.hazard_class}",
        service.packing_group and f"packing group {service.packing_group}",
        _yes_or_no(service.poison_by_inhalation, "poisonous by inhalation"),
        _yes_or_no(service.corrosive_or_reactive, "corrosive"),
        None if rate is None else f"{_value(rate)} mil a year",
        _yes_or_no(service.fluorinated_hydrocarbon_only or None, "fluorinated hydrocarbons only"),
        None if service.hazardous else "not hazardous",
    )
    return ", ".join(part for part in parts if part)


def _yes_or_no(stated: bool | None, what: str) -> str | None:
    return None if stated is None else what if stated else f"not {what}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{float(value):g}" if isinstance(value, Fraction) else str(value)
