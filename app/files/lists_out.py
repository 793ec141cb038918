"""The lists that can be taken away, and what each of their columns says; files and their document go by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.files.tables_out import Column, Kind

MARK = Column("mark", "the mark that the car bears")
NUMBER = Column("number", "the number that the car bears", "number")
OWNER = Column("owner", "the company that owns the car")
REGION = Column("region", "where its owner has it looked after")
ITEM = Column("item", "the due item, by its name in files and answers")


@dataclass(frozen=True, slots=True)
class ListOut:
    """A list: what it is called, where it is taken away (without its ending), and its columns."""

    title: str
    address: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(each.name for each in self.columns)


def _day(name: str, says: str) -> Column:
    return Column(name, says, "day")


def _number(name: str, says: str, *, added: bool = False) -> Column:
    return Column(name, says, "number", "sum" if added else "")


def _yes_no(name: str, says: str) -> Column:
    return Column(name, says, "yes or no")


# From where a list was seen, where that is not today as it is known now.
SEEN_FROM = (
    _day("as_of", "the day as of which the list was asked for"),
    Column("known_at", "the moment as known at which it was asked for; empty: now", "moment"),
)
_DUE = (
    MARK,
    NUMBER,
    ITEM,
    Column("status", "how it stands on the day of the list: due_now, overdue, soon, in_date, by_event, unknown, "
           "not_required", total="each"),
    Column("due_on", "the day on which it falls due; of what is due now, the day since which it is owed", "day",
           note="reasons"),
    _number("days_left", "days from the day of the list to due_on; below zero: past"),
    _day("basis_on", "the day from which it is counted"),
    _number("interval_months", "whole months that are added to basis_on"),
    _day("calculated_due_on", "basis_on and interval_months, to the end of the month or year where the setting "
         "says so; in a workbook a formula over these two cells. due_on differs where a stencil, an approval or "
         "what is owed decides"),
    Column("citation", "the section of the rule that governs it"),
    Column("confidence", "verified: against the rule text; memory: not verified, go by the rule in force"),
    OWNER,
    REGION,
    Column("reasons", "why it falls due on that day, as sentences with their sections"),
)  # fmt: skip
DUE = ListOut("Due", "/due", _DUE)
OVERDUE = ListOut("Overdue", "/overdue", _DUE)
MORNING = ListOut(
    "Morning list",
    "/morning",
    (
        Column("part", "the part of the morning list: passed (became overdue since the day asked for), nearing (came "
               "within the days looked ahead since then), moved (moved by what was recorded since then), overdue, "
               "within, due_now, unknown", total="each"),
        *_DUE,
        Column("was", "of what moved, how it stood when the day asked for began; empty: it was not there, or its car "
               "not in service"),
        _day("was_due_on", "of what moved, its day then"),
    ),
)  # fmt: skip
FLEET = ListOut(
    "Fleet",
    "/fleet",
    (
        MARK,
        NUMBER,
        OWNER,
        REGION,
        Column("standing", "in_service, out_of_service, stored, sold, scrapped", total="each"),
        Column("specification", "as stenciled"),
        Column("lading", "what it carries now"),
        _day("built_on", "the day of original construction"),
        Column("next_item", "the due item that comes first"),
        Column("next_status", "how that stands today", total="each"),
        _day("next_due_on", "the day on which that falls due"),
    ),
)
VISITS = ListOut(
    "Visits",
    "/visits",
    (
        Column("state", "planned, sent, in_shop, released", total="each"),
        _yes_no(
            "late", "its month is past and it was not sent, or it is away for longer than planned"
        ),
        MARK,
        NUMBER,
        OWNER,
        Column("shop", "where it goes or is"),
        Column("month", "for which month it was planned, as YYYY-MM"),
        _yes_no(
            "planned_after_due", "its month lies after the day on which some of its work falls due"
        ),
        _day("sent_on", "the day on which it was sent"),
        _day("arrived_on", "the day on which the shop had it"),
        _day("released_on", "the day on which the shop let it go"),
        _number("days_out_planned", "days from sent to released, as planned", added=True),
        _number("days_out", "days since it was sent, or from sent to released", added=True),
        Column("work", "due items that it is planned for, with a semicolon between"),
        Column("work_left", "those of them that are not done"),
        Column("instructions", "what is to be done, as the owner wrote it"),
    ),
)
PLAN = ListOut(
    "Visits of a plan",
    "/plans/versions/…",
    (
        Column("car", "mark and number"),
        Column("shop", "where it goes; empty: left without a visit", total="each"),
        Column("month", "as YYYY-MM"),
        Column("work", "due items to be done, with a semicolon between"),
        _number("days", "days of the shop that the work takes", added=True),
        Column("latest_month", "the month after which some of the work would be late"),
        _number("months_late", "months by which the visit is late", added=True),
        _yes_no("locked", "a search leaves this visit where it is"),
        _number("visit_cost", "what the visit costs by the standards: work, cleaning, days away", added=True),
        _number("move_cost", "what getting there and back costs", added=True),
        _number("early_cost", "what is lost since the work is done before it falls due", added=True),
        _number("late_cost", "what being late costs by the standards", added=True),
    ),
)  # fmt: skip
CHANGES = ListOut(
    "Record of change",
    "/changes",
    (
        _number("entry", "the number of the entry"),
        Column("at", "the moment, in UTC", "moment"),
        Column("by", "who did it"),
        Column("deed", "what was done, by its name"),
        Column("did", "what was done, in words", total=""),
        Column("cars", "the cars that it is about, or how many"),
        Column("told", "what is otherwise than before"),
        Column("origin", "page, api, job or command"),
        Column("address", "the network address that it came from"),
        Column("request", "the number of the request or of the job"),
        Column("hash", "the entry’s link in the chain of entries"),
    ),
)
TRIAL = ListOut(
    "Trial",
    "/fleet/trial",
    (
        MARK,
        NUMBER,
        OWNER,
        ITEM,
        _yes_no("moves", "whether the trial moves its day or its state"),
        _number("days", "days by which it moves; below zero: sooner"),
        Column("what_changes", "in words"),
        Column("status_before", "how it stands without the change", total="each"),
        _day("due_before", "its day without the change"),
        Column("status_after", "how it would stand with it", total="each"),
        _day("due_after", "its day with it", ),
        Column("loading_before", "may_load, check or may_not_load without the change"),
        Column("loading_after", "the same with it"),
        Column("reasons_after", "why it would fall due on that day"),
    ),
)  # fmt: skip
EFFECT = ListOut(
    "Effect of an edition",
    "/rulebook/effect",
    (
        MARK,
        NUMBER,
        OWNER,
        ITEM,
        Column("state", "owed, dated, by_event, unknown or not_required, by the rules in force"),
        _day("due_on", "its day by these"),
        Column("new_state", "its state by the edition", total="each"),
        _day("new_due_on", "its day by the edition"),
        _number("days", "days by which it would move; below zero: sooner"),
        _yes_no("newly_past", "it would be past or owed, and is not now"),
        _yes_no("no_longer_loadable", "its car could be loaded no longer"),
    ),
)
LISTS: Sequence[ListOut] = (
    FLEET, DUE, OVERDUE, MORNING, VISITS, PLAN, CHANGES, TRIAL, EFFECT,
)  # fmt: skip
KINDS: Mapping[Kind, tuple[str, str, str]] = {
    "text": ("text", "text", "text"),
    "number": ("digits", "a number", "a number; exact decimals as text"),
    "day": ("YYYY-MM-DD", "a date", "YYYY-MM-DD"),
    "yes or no": ("yes or no", "yes or no", "true or false"),
    "moment": ("YYYY-MM-DDTHH:MM:SSZ", "text", "text"),
}
