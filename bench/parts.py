"""The one list of what is measured for the table: each part's name, what it is about, and where its rows come from."""

from __future__ import annotations

from bench import due_dates, import_fleet, loading, memory, packet, plan, queries, responses
from bench.rows import Part

PARTS = {
    "pages": Part("pages and API beside an empty page, list pages beside bare SQL", responses.rows),
    "queries": Part("list queries beside the same by hand on the bare driver", queries.rows),
    "import": Part(
        "files brought in beside bare SQL, and what they take on disk", import_fleet.rows
    ),
    "due": Part("due dates beside dateutil, SQL and a sheet", due_dates.rows),
    "plan": Part("shop plans beside their bound and soonest due first", plan.rows),
    "plan-50000": Part("the same of 50,000 cars", plan.rows_of(50_000), ("full",)),
    "plan-450000": Part("the same of 450,000 cars", plan.rows_of(450_000), ("full",)),
    "packet": Part("evidence packets beside typesetting alone", packet.rows),
    "loading": Part("may a car be loaded, beside saying alive", loading.rows),
    "memory": Part("memory of the server and of its worker for jobs", memory.rows),
}
