"""The standards by which a party plans: work, shops, moves and what differs for a car, as one form."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isfinite, nan

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app import web
from app.actions import plans
from app.core.plan.basis import Basis, CarFacts, Move, PlanShop, Standard
from app.core.plan.stated import Place, differing
from app.errors import Refused
from app.pages import forms
from app.pages.basis_words import (
    AREAS,
    FIGURES,
    ITEM_CHOICES,
    ITEMS,
    SHOP_FIELDS,
    STANDARD_FIELDS,
    text_of,
    told,
)
from app.pages.changing import MEANWHILE, Looking
from app.pages.forms import Entries
from app.store import facilities, planning

router = APIRouter()

EMPTY_ROWS = 2
# A comma parts thousands; where it stands for a decimal point the number is not taken for ten times as much.
THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?")
# Of the years that a plan can be about, so that no month after one is out of reach of the calendar.
MONTH = re.compile(r"^(19|20|21)[0-9]{2}-(0[1-9]|1[0-2])$")


@router.get("/plans/standards")
@web.may("plan")
def standards(request: Request, db: web.Db) -> Response:
    saved = request.query_params.get("saved") == "yes"
    return _form(request, db, Entries(_as_typed(plans.basis_of(db))), saved=saved)


@router.post("/plans/standards")
@web.may("plan")
def keep(request: Request, posted: web.Posted, db: web.Db, looking: Looking) -> Response:
    typed = forms.typed(posted)
    reading = _Reading(Entries(typed))
    basis = reading.basis()
    if reading.problems:
        return _form(request, db, reading.entries.wrong(reading.problems), status=422)
    try:
        party = planning_party(db, posted)
        plans.keep_basis(db, party, basis, looking.stamp, looking.known)
    except plans.KeptMeanwhile as kept:
        problems = _meanwhile(reading.entries, kept)
        return _form(request, db, reading.entries.wrong(problems), status=409)
    except Refused as refused:
        problems = {
            reading.place(fault.path): forms.as_sentence(fault.problem) for fault in refused.faults
        }
        return _form(request, db, reading.entries.wrong(problems), status=422)
    return web.see_other("/plans/standards?saved=yes")


def _meanwhile(entries: Entries, kept: plans.KeptMeanwhile) -> dict[str, str]:
    """What somebody else changed since the form was opened: at each field its part, the rest above the form."""
    found = differing(kept.before, kept.now)
    at_field: dict[str, list[str]] = defaultdict(list)
    for differs, each in zip(found, told(found), strict=True):
        field_ = _field_of(entries, differs.place)
        own = field_ and field_ not in AREAS
        sentence = f"{each.after}; it was {each.before}" if own else each.sentence
        at_field[field_ or MEANWHILE].append(sentence)
    rest = "".join(f" {each}." for each in at_field.pop(MEANWHILE, ()))
    return {
        MEANWHILE: (
            f"since you opened this form {kept.row.recorded_by} kept other standards, "
            f"{kept.row.recorded_at:%Y-%m-%d %H:%M} UTC; what they have otherwise stands at its field.{rest} "
            "What you typed is kept. Change it if need be, and tick below to keep it all the same."
        ),
        **{name: f"Kept meanwhile: {'; '.join(parts)}." for name, parts in at_field.items()},
    }


def _field_of(entries: Entries, place: Place) -> str:
    """The field of the form as it was typed that states what stands at a place; empty where none does."""
    match place:
        case ("moves" | "cars", *_):
            return place[0]
        case ("shops", code, *name):
            rows = (f"shops.{at}" for at in entries.rows("shops"))
            row = next((row for row in rows if entries.text(f"{row}.code").strip() == code), "")
            return ".".join((row, *(name or ["code"]))) if row else ""
    return ".".join(place)


def planning_party(db: Session, posted: web.Sent) -> int:
    """For whom a form says that it is, else for whom the person usually plans."""
    stated = forms.whole(posted.one("party"))
    return planning.usual_party(db) if stated is None else stated


def _form(
    request: Request, db: Session, entries: Entries, status: int = 200, saved: bool = False
) -> Response:
    rows, kept = range(entries.rows("shops").stop + EMPTY_ROWS), plans.basis_of(db)
    nowhere = planning.without_cars(db, (move.region for move in kept.moves))
    return web.page(
        request, "plans/standards.html", status, form=entries, items=ITEM_CHOICES, figures=FIGURES,
        standard_fields=STANDARD_FIELDS, shop_fields=SHOP_FIELDS, labels=_labels(entries, rows),
        rows=rows, saved=saved, kept=planning.basis_row(db),
        leaving_is_cheap=kept.leaving_is_cheap,
        nowhere=[f"“{region}”" for region in nowhere],
        parties=facilities.own_parties(db), usual=planning.usual_party(db),
    )  # fmt: skip


def _labels(entries: Entries, rows: range) -> dict[str, str]:
    """What each field is called where its heads are not beside it: with its item, or its shop as it was typed."""
    found = {name: label_ for name, label_, _ in FIGURES} | AREAS
    for item, called in ITEM_CHOICES:
        found |= {f"{item}.{name}": f"{called}: {head}" for name, head in STANDARD_FIELDS.items()}
    for at in rows:
        place = f"Shop {at + 1}"
        shop = entries.text(f"shops.{at}.code").strip() or place
        found |= {f"shops.{at}.{name}": f"{shop}: {head}" for name, head in SHOP_FIELDS.items()}
        found[f"shops.{at}.code"] = place
    return found


def _as_typed(basis: Basis) -> dict[str, list[str]]:
    found = {name: [text_of(getattr(basis, name))] for name, _, _ in FIGURES}
    for item, standard in basis.standards.items():
        for name in STANDARD_FIELDS:
            found[f"{item}.{name}"] = [text_of(getattr(standard, name))]
    for at, shop in enumerate(basis.shops):
        found[f"shops.{at}.code"] = [shop.code]
        found[f"shops.{at}.does"] = [text_of(shop.does)]
        found[f"shops.{at}.days"] = [text_of(shop.days)]
        found[f"shops.{at}.months"] = [text_of(shop.months)]
        found[f"shops.{at}.move_cost"] = [text_of(shop.move_cost)]
    found["moves"] = [
        "\n".join(f"{it.region}; {it.shop}; {text_of(it.cost)}" for it in basis.moves)
    ]
    found["cars"] = [
        "\n".join(
            f"{it.car}; {text_of(it.earning_per_day)}; {it.earliest or ''}" for it in basis.cars
        )
    ]
    return found


@dataclass
class _Reading:
    """What was typed as a basis; what cannot be read is noted by field."""

    entries: Entries
    problems: dict[str, str] = field(default_factory=dict)
    # Of each shop of the basis the row of the form that states it: empty rows state none.
    shop_rows: list[int] = field(default_factory=list)

    def place(self, path: str) -> str:
        """The field of the form that states what stands at `path` of the basis."""
        kind, _, rest = path.partition(".")
        if kind != "shops":
            return path
        at, _, name = rest.partition(".")
        return f"shops.{self.shop_rows[int(at)]}.{name}"

    def basis(self) -> Basis:
        standards = {item: self._standard(item) for item in ITEMS if self._stated(item)}
        return Basis(
            standards=standards,
            shops=tuple(self._shops()),
            moves=tuple(self._moves()),
            cars=tuple(self._cars()),
            cleaning_cost=self._number("cleaning_cost"),
            days_away=self._whole("days_away"),
            earning_per_day=self._number("earning_per_day"),
            unplaced_cost=self._number("unplaced_cost"),
        )

    def _stated(self, item: str) -> bool:
        return any(self.entries.text(f"{item}.{name}").strip() for name in STANDARD_FIELDS)

    def _standard(self, item: str) -> Standard:
        late = f"{item}.late_cost"
        return Standard(
            self._line(f"{item}.skill"), self._number(f"{item}.days"), self._number(f"{item}.cost"),
            self._number(late) if self._line(late) else None,
        )  # fmt: skip

    def _shops(self) -> Iterator[PlanShop]:
        for at in self.entries.rows("shops"):
            prefix = f"shops.{at}."
            if not any(self._line(prefix + name) for name in SHOP_FIELDS):
                continue
            self.shop_rows.append(at)
            code = self._line(prefix + "code")
            if not code:
                self.problems[prefix + "code"] = "Want the name of the shop."
            does = tuple(
                part.strip() for part in self._line(prefix + "does").split(",") if part.strip()
            )
            if not does:
                self.problems[prefix + "does"] = "Want the skills it has, with commas between."
            move = prefix + "move_cost"
            yield PlanShop(
                code, does, self._number(prefix + "days"), dict(self._months(prefix + "months")),
                self._number(move) if self._line(move) else None,
            )  # fmt: skip

    def _months(self, name: str) -> Iterator[tuple[str, float]]:
        seen: set[object] = set()
        for part in filter(None, (each.strip() for each in self._line(name).split(","))):
            month, _, days = part.partition(" ")
            if not MONTH.fullmatch(month):
                self.problems[name] = f"“{part}”: want a month and its days, such as 2027-07 0."
                continue
            self._once(name, part, month, seen)
            yield month, self._read(name, days or "0")

    def _moves(self) -> Iterator[Move]:
        seen: set[object] = set()
        for line, (region, shop, cost) in self._lines("moves", 3, least=3):
            self._once("moves", line, (region.casefold(), shop.casefold()), seen)
            yield Move(region, shop, self._read("moves", cost, line))

    def _cars(self) -> Iterator[CarFacts]:
        seen: set[object] = set()
        for line, (car, earning, earliest) in self._lines("cars", 3):
            self._once("cars", line, car.upper(), seen)
            if earliest and not MONTH.fullmatch(earliest):
                self.problems["cars"] = f"“{line}”: want a month such as 2027-03 at the end."
            stated = self._read("cars", earning, line) if earning else None
            yield CarFacts(car.upper(), stated, earliest or None)

    def _lines(self, name: str, many: int, least: int = 1) -> Iterator[tuple[str, list[str]]]:
        for line in filter(str.strip, self.entries.text(name).splitlines()):
            parts = [part.strip() for part in line.split(";")]
            if not least <= len(parts) <= many or not parts[0]:
                self.problems[name] = f"“{line}”: want {many} parts with semicolons between."
                continue
            yield line, [*parts, *[""] * (many - len(parts))]

    def _line(self, name: str) -> str:
        return self.entries.text(name).strip()

    def _number(self, name: str) -> float:
        return self._read(name, self._line(name))

    def _whole(self, name: str) -> int:
        number = self._number(name)
        if not number.is_integer():
            self.problems[name] = f"“{self._line(name)}” is no whole number of days."
        return int(number)

    def _once(self, name: str, line: str, key: object, seen: set[object]) -> None:
        """Of two lines about the same, neither is known to be meant."""
        if key in seen:
            self.problems[name] = f"“{line}”: it is there twice; keep one."
        seen.add(key)

    def _read(self, name: str, text: str, within: str = "") -> float:
        try:
            number = float(text.replace(",", "") if THOUSANDS.fullmatch(text) else text)
        except ValueError:
            number = nan
        if isfinite(number):
            return number
        told = f"“{within}”: " if within else ""
        found = (
            f"“{text}” is not a number; want one such as 1.5"
            if text
            else "nothing was entered; want a number"
        )
        self.problems[name] = forms.as_sentence(told + found)
        return 0.0
