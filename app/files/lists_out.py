"""The lists that can be taken away, and what each of their columns says; files and their document go by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from app.files import forecast_lists
from app.files.list_out import ITEM, MARK, NUMBER, OWNER, REGION, ListOut, day, number, yes_no
from app.files.tables_out import Column, Kind

# From where a list was seen, where that is not today as it is known now.
SEEN_FROM = (
    day("as_of", "the day as of which the list was asked for"),
    Column(
        "known_at",
        "the moment as known at which it was asked for, to be asked for again; empty: now",
    ),
)
_DUE = (
    MARK,
    NUMBER,
    ITEM,
    Column("status", "how it stands on the day of the list: due_now, overdue, soon, in_date, by_event, unknown, "
           "not_required", total="each"),
    Column("due_on", "the day on which it falls due; of what is due now, the day since which it is owed", "day",
           note="reasons"),
    number("days_left", "days from the day of the list to due_on; below zero: past"),
    day("basis_on", "the day from which it is counted"),
    number("interval_months", "whole months that are added to basis_on"),
    day("calculated_due_on", "basis_on and interval_months, to the end of the month or year where the setting "
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
        # An item that moved stands in another part as well; a total over all would count it twice.
        *(replace(each, total="") if each.name == "status" else each for each in _DUE),
        Column("was", "of what moved, how it stood when the day asked for began; empty: it was not there, or its car "
               "not in service"),
        day("was_due_on", "of what moved, its day then"),
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
        day("built_on", "the day of original construction"),
        Column("next_item", "the due item that comes first"),
        Column("next_status", "how that stands today", total="each"),
        day("next_due_on", "the day on which that falls due"),
    ),
)
VISITS = ListOut(
    "Visits",
    "/visits",
    (
        Column("state", "planned, sent, in_shop, released", total="each"),
        yes_no(
            "late", "its month is past and it was not sent, or it is away for longer than planned"
        ),
        MARK,
        NUMBER,
        OWNER,
        Column("shop", "where it goes or is"),
        Column("month", "for which month it was planned, as YYYY-MM"),
        yes_no(
            "planned_after_due", "its month lies after the day on which some of its work falls due"
        ),
        day("sent_on", "the day on which it was sent"),
        day("arrived_on", "the day on which the shop had it"),
        day("released_on", "the day on which the shop let it go"),
        number("days_out_planned", "days from sent to released, as planned", added=True),
        number("days_out", "days since it was sent, or from sent to released", added=True),
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
        number("days", "days of the shop that the work takes", added=True),
        Column("latest_month", "the month after which some of the work would be late"),
        number("months_late", "months by which the visit is late", added=True),
        yes_no("locked", "a search leaves this visit where it is"),
        number("visit_cost", "what the visit costs by the standards: work, cleaning, days away", added=True),
        number("move_cost", "what getting there and back costs", added=True),
        number("early_cost", "what is lost since the work is done before it falls due", added=True),
        number("late_cost", "what being late costs by the standards", added=True),
    ),
)  # fmt: skip
CHANGES = ListOut(
    "Record of change",
    "/changes",
    (
        number("entry", "the number of the entry"),
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
        yes_no("moves", "whether the trial moves its day or its state"),
        number("days", "days by which it moves; below zero: sooner"),
        Column("what_changes", "in words"),
        Column("status_before", "how it stands without the change", total="each"),
        day("due_before", "its day without the change"),
        Column("status_after", "how it would stand with it", total="each"),
        day("due_after", "its day with it", ),
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
        day("due_on", "its day by these"),
        Column("new_state", "its state by the edition", total="each"),
        day("new_due_on", "its day by the edition"),
        number("days", "days by which it would move; below zero: sooner"),
        yes_no("newly_past", "it would be past or owed, and is not now"),
        yes_no("no_longer_loadable", "its car could be loaded no longer"),
    ),
)
EVENTS = ListOut(
    "Inspections and changes",
    "/fleet/events",
    (
        MARK,
        NUMBER,
        day(
            "happened_on", "the day of the report; the first of its month where only that is known"
        ),
        yes_no("month_only", "only the month is known"),
        Column(
            "items",
            "what was inspected or done, by the names of files in, with a semicolon between",
        ),
        Column("outcome", "pass or fail", total="each"),
        Column("opens", "what a change opened"),
        Column("facility", "where"),
        Column("inspector", "by whom"),
        Column("reference", "number of the report"),
        Column("notes", "what was noted"),
        Column("recorded_at", "the moment at which it was recorded", "moment"),
        Column("recorded_by", "who recorded it"),
        number("event", "its number in the register"),
    ),
)
COMPONENTS = ListOut(
    "Components",
    "/fleet/components",
    (
        MARK,
        NUMBER,
        Column("kind", "what it is", total="each"),
        Column("position", "where on the car; left and right as seen from the B end"),
        Column("maker", "who made it"),
        Column("model", "its model"),
        Column("lot", "its lot"),
        Column("serial", "its serial number"),
        day("installed_on", "the day on which it was put on; empty: not known"),
        yes_no("installed_month_only", "only the month is known"),
        day("tested_on", "of a relief device, the day of its last test before that"),
        number("set_psig", "of a relief device, its start-to-discharge pressure"),
        number("interval_months", "the owner’s interval, where it is shorter than the rule’s"),
        Column("owner", "whose it is"),
    ),
)
LADINGS = ListOut(
    "Ladings",
    "/ladings",
    (
        Column("name", "the shipping name"),
        Column("un", "the identification number"),
        yes_no("hazardous", "a hazardous material"),
        Column("hazard_class", "such as 8 or 2.3"),
        Column("packing_group", "I, II or III"),
        yes_no("poison_by_inhalation", "poisonous by inhalation"),
        yes_no(
            "corrosive_or_reactive",
            "stated as corrosive or reactive to the tank; empty: not stated",
        ),
        number("corrosion_rate_mil_per_year", "on steel, mil a year"),
        number("vapor_pressure_psig_115f", "vapor pressure at 115 F, psig"),
        number("vapor_pressure_psig_105f", "vapor pressure at 105 F, psig"),
        yes_no("counts_as_corrosive", "how the rules take it: not stated counts as yes"),
    ),
)
FACILITIES = ListOut(
    "Facilities",
    "/facilities",
    (
        Column("party", "whose it is"),
        Column("name", "as reports name it"),
        Column("address", "where it is"),
        Column("station_code", "its code, where it has one"),
    ),
)
INSTRUCTIONS = ListOut(
    "Owners’ steps",
    "/instructions",
    (
        OWNER,
        ITEM,
        day("from_on", "the first day on which the steps hold"),
        yes_no(
            "in_place_of_built_in",
            "they are done in the place of the built-in steps, not after them",
        ),
        number("step", "its place among them"),
        Column("look_at", "what is looked at"),
        Column("where", "where on the car"),
        Column("measure", "what is done there"),
        Column("unit", "of what is measured"),
        Column("acceptance", "what is accepted"),
        Column("caution", "what to mind"),
        Column("source", "what it rests on, as the owner says"),
    ),
)
RETENTION = ListOut(
    "What need be kept no longer",
    "/retention",
    (
        Column(
            "what", "report: of an inspection in the register; papers: outside of it", total="each"
        ),
        Column("car", "mark and number"),
        number("event", "the number of the event in the register"),
        day("since", "the day from which it need be kept no longer"),
        Column("reason", "why"),
        Column("citation", "the section that asks for keeping it until then"),
    ),
)
IMPORTS = ListOut(
    "Files in",
    "/imports",
    (
        number("import", "its number"),
        Column("kind", "cars, components, events, ladings or visits", total="each"),
        Column("file_name", "what the file was called"),
        number("rows", "rows of the file", added=True),
        number("added", "rows that added something", added=True),
        number("changed", "rows that changed something", added=True),
        number("repeated", "rows that said what was known", added=True),
        Column("recorded_at", "the moment at which it was brought in", "moment"),
        Column("recorded_by", "who brought it in"),
        Column(
            "taken_back_at", "the moment at which it was taken back; empty: it counts", "moment"
        ),
        Column("sha256", "the digest of the file"),
    ),
)
HOLDS = ListOut(
    "Cars on hold",
    "/loading/held",
    (
        MARK,
        NUMBER,
        OWNER,
        REGION,
        day("since", "the day since which the car is on hold; empty: always"),
        Column("reason", "why"),
        Column("recorded_at", "the moment at which it was recorded", "moment"),
        Column("recorded_by", "who recorded it"),
    ),
)
LOADING = ListOut(
    "May they be loaded",
    "/loading/lists/… and /loading/asked",
    (
        Column("car", "the car as it was written"),
        Column("answered_for", "the car of the register that was answered for"),
        Column("lading", "the lading that was answered for"),
        Column("answer", "whether it may be loaded, in words", total="each"),
        Column("reasons", "why, as sentences with their sections"),
        Column("warnings", "what else is to be known, such as which of several ladings was meant"),
        day("in_date_through", "the last day on which no date of the car is past"),
        Column("falls_due_soon", "what falls due within the days asked for"),
        Column(
            "moving",
            "what the rule leaves open where the car is loaded already or goes to a shop; never a yes",
        ),
        day("on", "the day that was asked about"),
        number("within_days", "how many days ahead what falls due was asked for"),
        Column("asked_at", "the moment at which it was asked and answered", "moment"),
        Column("asked_by", "who asked"),
    ),
)
DIRECTIVE = ListOut(
    "Cars of a directive",
    "/directives/…/matches",
    (
        Column("directive", "who ordered it, and its number"),
        MARK,
        NUMBER,
        OWNER,
        Column("component", "what it is about on the car; empty: the car itself"),
        Column("came_by", "how the car came to be on the list"),
        yes_no("by_hand", "whether it cannot be told and has to be looked at"),
        Column("facts", "the facts by which it matched"),
        day("due_on", "the day by which it is to be seen to"),
        Column("status", "closed, or how it stands on the day of the list", total="each"),
        Column("component_is_now_on", "the car on which the component is today"),
        day("done_on", "the day on which it was seen to"),
        Column("outcome", "what came of it"),
        Column("reference", "the report or event that it refers to"),
        Column("note", "what was found"),
        Column("closed_by", "who recorded it"),
    ),
)
DRAWN_FROM = ListOut(
    "Cars that a sample was drawn from",
    "/audits/…/population",
    (
        number("place", "the place when they are sorted"),
        MARK,
        NUMBER,
        Column("sorted_by", "SHA-256 of seed, colon, mark, space and number"),
        yes_no("drawn", "whether it is in the sample"),
    ),
)
PEOPLE = ListOut(
    "People",
    "/people",
    (
        Column("party", "the company; empty of who has no role any longer"),
        Column(
            "state",
            "member; invited, whose invitation was not used yet; former, who has no role any longer",
            total="each",
        ),
        Column("name", "who it is"),
        Column("email", "the address of mail by which they sign in"),
        Column("roles", "what they are within the party, with a semicolon between"),
        Column(
            "last_seen_at",
            "of a member, the moment at which they were last there; empty: never, or long ago",
            "moment",
        ),
        Column("invited_by", "of who is invited, by whom"),
        Column("good_until", "the moment until which that invitation can be used", "moment"),
    ),
)
LISTS: Sequence[ListOut] = (
    FLEET, DUE, OVERDUE, MORNING, EVENTS, COMPONENTS, VISITS, PLAN, LADINGS, CHANGES, TRIAL, EFFECT,
    FACILITIES, INSTRUCTIONS, RETENTION, IMPORTS, LOADING, HOLDS, DIRECTIVE, DRAWN_FROM, PEOPLE,
    *forecast_lists.TABLES,
)  # fmt: skip
KINDS: Mapping[Kind, tuple[str, str, str]] = {
    "text": ("text", "text", "text"),
    "number": ("digits", "a number", "a number; exact decimals as text"),
    "day": ("YYYY-MM-DD", "a date", "YYYY-MM-DD"),
    "yes or no": ("yes or no", "yes or no", "true or false"),
    "moment": ("YYYY-MM-DDTHH:MM:SSZ", "a date with its time, in UTC", "YYYY-MM-DDTHH:MM:SSZ"),
}
