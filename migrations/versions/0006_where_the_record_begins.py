"""Say in the record of change what was there before it began; permits for what may be removed.

Locks: `event` ACCESS EXCLUSIVE and `reading` ACCESS EXCLUSIVE, a moment.
"""

import json
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from app.store.change_log import NOTHING_BEFORE, Entry
from migrations.append_only import guard, let_reports_go

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

RECORDED = (
    "car_name", "ownership", "standing", "construction", "service", "lining", "fitting", "stencil",
    "approval", "component", "installation", "removal", "event", "visit", "visit_step",
)  # fmt: skip


KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _permits()
    _begin()


def _permits() -> None:
    op.create_table(
        "removal_permit",
        sa.Column("id", KEY, nullable=False),
        sa.Column("event_id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("citation", sa.String(length=80), nullable=False),
        sa.ForeignKeyConstraint(
            ["event_id"], ["event.id"], name=op.f("fk_removal_permit_event_id_event")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_removal_permit")),
        sa.UniqueConstraint("event_id", name=op.f("uq_removal_permit_event_id")),
    )
    op.create_index("ix_removal_permit_recorded", "removal_permit", ["recorded_at"])
    columns = {
        table: [column["name"] for column in sa.inspect(op.get_bind()).get_columns(table)]
        for table in ("removal_permit", "event")
    }
    guard("removal_permit", columns["removal_permit"], stamp=False)
    let_reports_go(("inspector", "reference", "notes"), columns["event"])


def _begin() -> None:
    """The first entry: by table the highest key so far. Of rows above it every one has to be told."""
    db = op.get_bind()
    if db.execute(sa.text("SELECT count(*) FROM change")).scalar():
        return
    highest = sa.select(sa.func.max(sa.column("id")))
    keys = {table: db.execute(highest.select_from(sa.table(table))).scalar() for table in RECORDED}
    body = {"rows": [], "older": {table: key for table, key in keys.items() if key}}
    entry = Entry(
        id=1, at=datetime.now(UTC), by="the program", person_id=None, origin="command", address="",
        request="", deed="record.began", body=json.dumps(body), about=(), previous=NOTHING_BEFORE,
    )  # fmt: skip
    change = sa.table(
        "change", *(sa.column(name) for name in Entry.__slots__ if name not in ("about", "at")),
        sa.column("at", sa.DateTime(timezone=True)), sa.column("hash"),
    )  # fmt: skip
    values = {name: getattr(entry, name) for name in Entry.__slots__ if name != "about"}
    op.execute(sa.insert(change).values(values | {"hash": entry.hash()}))
