"""Photographs of cars, and whether an owner's keep where they were taken.

Locks: `party` ACCESS EXCLUSIVE, `event` SHARE ROW EXCLUSIVE, `report` SHARE ROW EXCLUSIVE, `person` SHARE ROW
EXCLUSIVE and `car` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.add_column(
        "party",
        sa.Column(
            "keeps_photo_place", sa.Boolean(), server_default=sa.false(), nullable=False,
            comment="photographs of its cars keep where they were taken",
        ),
    )  # fmt: skip
    _photographs()
    columns = sa.inspect(op.get_bind()).get_columns("photograph")
    guard("photograph", [column["name"] for column in columns], stamp=False)


def _photographs() -> None:
    op.create_table(
        "photograph",
        sa.Column("id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("report_id", KEY, nullable=True),
        sa.Column(
            "event_id", KEY, nullable=True, comment="the event to which it was added at a desk"
        ),
        sa.Column(
            "sent_sha256", sa.String(length=64), nullable=False,
            comment="of the bytes as they were sent",
        ),
        sa.Column("sent_bytes", sa.Integer(), nullable=False),
        sa.Column(
            "sha256", sa.String(length=64), nullable=False,
            comment="of what is kept, and its name among the attachments",
        ),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False, comment="pixels, as it is looked at"),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("type", sa.String(length=10), nullable=False, comment="told by decoding it"),
        sa.Column(
            "taken_at", sa.String(length=25), nullable=True,
            comment="by the camera's clock, ISO 8601; without an offset unless it told one",
        ),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "type IN ('image/jpeg', 'image/png', 'image/webp')", name=op.f("ck_photograph_type")
        ),
        sa.CheckConstraint("bytes > 0", name=op.f("ck_photograph_bytes_above_zero")),
        sa.CheckConstraint("width > 0 AND height > 0", name=op.f("ck_photograph_size")),
        sa.CheckConstraint(
            "length(sha256) = 64 AND length(sent_sha256) = 64", name=op.f("ck_photograph_sums")
        ),
        sa.CheckConstraint(
            "report_id IS NULL OR event_id IS NULL", name=op.f("ck_photograph_of_one")
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_photograph_car_id_car")),
        sa.ForeignKeyConstraint(["event_id"], ["event.id"], name=op.f("fk_photograph_event_id_event")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_photograph_person_id_person")),
        sa.ForeignKeyConstraint(["report_id"], ["report.id"], name=op.f("fk_photograph_report_id_report")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photograph")),
    )  # fmt: skip
    op.create_index("ix_photograph_car_id", "photograph", ["car_id"])
    op.create_index("ix_photograph_sha256", "photograph", ["sha256"])
    op.create_index("ix_photograph_sent_sha256", "photograph", ["sent_sha256"])
    op.create_index(
        "uq_photograph_of_report", "photograph", ["report_id", "sent_sha256"], unique=True
    )
    op.create_index(
        "uq_photograph_of_event", "photograph", ["event_id", "sent_sha256"], unique=True
    )
