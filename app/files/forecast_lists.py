"""The tables of the forecast as lists that can be taken away."""

from __future__ import annotations

from app.files.list_out import MARK, NUMBER, OWNER, ListOut, day, number
from app.files.tables_out import Column

_OVER = "the month, as YYYY-MM; what is due already stands in the first"
GROUPS = ListOut(
    "Forecast by group",
    "/forecast/due",
    (
        Column("month", _OVER),
        Column("group", "the item, owner or region; as the forecast was asked for", total="each"),
        number(
            "items",
            "items of the group that fall due in the month, with the planned visits where the forecast was asked so",
            added=True,
        ),
    ),
)
MONTHS = ListOut(
    "Forecast by month",
    "/forecast/days",
    (
        Column("month", _OVER),
        number("days_needed", "shop days that the work takes, by the standards", added=True),
        number("days_with_visits", "the same with the planned visits", added=True),
        number("days_there_are", "days that the shops of the standards have", added=True),
        number("items", "items that fall due", added=True),
        number("items_with_visits", "the same with the planned visits", added=True),
    ),
)
YEARS = ListOut(
    "Forecast by year",
    "/forecast/cost",
    (
        number("year", "the calendar year; the first and the last are parts of one"),
        number("items", "items that fall due", added=True),
        number("items_with_visits", "the same with the planned visits", added=True),
        number(
            "cost",
            "of their work, by the standards, in today’s costs; no moving, no cleaning",
            added=True,
        ),
        number("cost_with_visits", "the same with the planned visits", added=True),
        number(
            "last_service_days",
            "cars that come to the first of their last service days; what is past stands in the first year",
            added=True,
        ),
        number(
            "left_out",
            "items that would fall due on the last service day of their car or after it: no column counts them",
            added=True,
        ),
    ),
)
LAST_DAYS = ListOut(
    "Last service days",
    "/forecast/last-days",
    (
        MARK,
        NUMBER,
        OWNER,
        Column("item", "what ends its service", total="each"),
        day("last_day", "its last service day by that"),
    ),
)
TABLES = (GROUPS, MONTHS, YEARS, LAST_DAYS)
