"""Reports of field work, their entries, and the events that came of them.

Locks: `visit` SHARE ROW EXCLUSIVE, `event` SHARE ROW EXCLUSIVE, `person` SHARE ROW EXCLUSIVE and `car` SHARE ROW
EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _reports()
    _entries()
    _events()
    for table in ("report", "field_entry", "report_event"):
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=False)


def _reports() -> None:
    op.create_table(
        "report",
        sa.Column("id", KEY, nullable=False),
        sa.Column(
            "key", sa.String(length=32), nullable=False,
            comment="given by the tablet, 32 hexadecimal digits",
        ),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False, comment="who began it"),
        sa.Column("visit_id", KEY, nullable=True),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.CheckConstraint("length(key) = 32", name=op.f("ck_report_key")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_report_car_id_car")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_report_person_id_person")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_report_visit_id_visit")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report")),
        sa.UniqueConstraint("key", name=op.f("uq_report_key")),
    )  # fmt: skip
    op.create_index("ix_report_by_car", "report", ["car_id", "happened_on", "id"])
    op.create_index("ix_report_person", "report", ["person_id", "id"])


def _entries() -> None:
    op.create_table(
        "field_entry",
        sa.Column("id", KEY, nullable=False),
        sa.Column(
            "key", sa.String(length=32), nullable=False,
            comment="given by the tablet: an entry sent twice is one",
        ),
        sa.Column("report_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column(
            "made_at", sa.DateTime(timezone=True), nullable=False,
            comment="by the tablet's own clock",
        ),
        sa.Column(
            "replaces", sa.String(length=32), nullable=True,
            comment="key of the entry of this report that it corrects",
        ),
        sa.Column(
            "digest", sa.String(length=64), nullable=True,
            comment="of the bytes of a photograph, SHA-256",
        ),
        sa.Column(
            "says", sa.Text(), nullable=False, comment="JSON, as the kind has it; without any code"
        ),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.CheckConstraint("length(key) = 32", name=op.f("ck_field_entry_key")),
        sa.CheckConstraint("place >= 1", name=op.f("ck_field_entry_place")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_field_entry_car_id_car")),
        sa.ForeignKeyConstraint(["report_id"], ["report.id"], name=op.f("fk_field_entry_report_id_report")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_field_entry")),
        sa.UniqueConstraint("key", name=op.f("uq_field_entry_key")),
    )  # fmt: skip
    op.create_index("ix_field_entry_car_id", "field_entry", ["car_id"])
    op.create_index("ix_field_entry_digest", "field_entry", ["digest"])
    op.create_index("uq_field_entry_place", "field_entry", ["report_id", "place"], unique=True)


def _events() -> None:
    op.create_table(
        "report_event",
        sa.Column("report_id", KEY, nullable=False),
        sa.Column("event_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_report_event_car_id_car")),
        sa.ForeignKeyConstraint(["event_id"], ["event.id"], name=op.f("fk_report_event_event_id_event")),
        sa.ForeignKeyConstraint(["report_id"], ["report.id"], name=op.f("fk_report_event_report_id_report")),
        sa.PrimaryKeyConstraint("report_id", "event_id", name=op.f("pk_report_event")),
    )  # fmt: skip
    op.create_index("ix_report_event_car_id", "report_event", ["car_id"])
    op.create_index("ix_report_event_event_id", "report_event", ["event_id"])
