"""Holds: somebody stops a car from being loaded, and lets it go again, each time with a reason.

Locks: `import_run` SHARE ROW EXCLUSIVE and `car` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard, refuse_future

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "hold",
        sa.Column("held", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("import_id", KEY, nullable=True, comment="the file that brought it"),
        sa.Column(
            "superseded_at", sa.DateTime(timezone=True), nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects", KEY, nullable=True, comment="the row of this table that this one replaces"
        ),
        sa.CheckConstraint("length(reason) > 0", name=op.f("ck_hold_reason")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_hold_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_hold_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
        sa.UniqueConstraint("corrects", name=op.f("uq_hold_corrects")),
    )  # fmt: skip
    op.create_index("ix_hold_by_car", "hold", ["car_id", "from_on", "id"])
    op.create_index(op.f("ix_hold_import_id"), "hold", ["import_id"])
    columns = sa.inspect(op.get_bind()).get_columns("hold")
    guard("hold", [column["name"] for column in columns])
    refuse_future("hold", "from_on")
