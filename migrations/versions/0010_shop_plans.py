"""Shop plans with their versions and changes by hand, and the visits that come of them.

Locks: `job` ACCESS EXCLUSIVE, `visit` SHARE ROW EXCLUSIVE, `car` SHARE ROW EXCLUSIVE and `party` SHARE ROW EXCLUSIVE,
a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
CHANGES = ("move", "place", "take_out", "lock", "unlock", "forbid", "allow", "note", "undo")
TABLES = (
    "planning_basis", "plan", "plan_version", "plan_change", "plan_accepted", "visit_plan", "visit_work",
)  # fmt: skip


def upgrade() -> None:
    op.add_column(
        "job",
        sa.Column(
            "stop_at", sa.DateTime(timezone=True), nullable=True,
            comment="somebody asked to end it with the best so far",
        ),
    )  # fmt: skip
    _plans()
    _versions()
    _visits()
    for table in TABLES:
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=False)


def _table(name: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        name,
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        *parts,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    )


def _points(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))


def _plans() -> None:
    _table(
        "planning_basis",
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("content", sa.JSON(), nullable=False, comment="core.plan.basis.Basis"),
        _points("planning_basis", "party_id", "party"),
    )
    op.create_index("ix_planning_basis_party_id", "planning_basis", ["party_id"])
    _table(
        "plan",
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("selection", sa.JSON(), nullable=False, comment="core.plan.demand.Selection"),
        _points("plan", "party_id", "party"),
    )
    op.create_index("ix_plan_party_id", "plan", ["party_id"])


def _versions() -> None:
    _table(
        "plan_version",
        sa.Column("plan_id", KEY, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column(
            "parent_id", KEY, nullable=True, comment="the version it was solved again around"
        ),
        sa.Column(
            "content", sa.LargeBinary(), nullable=False,
            comment="basis, problem, cars' keys, visits, bound, prices: JSON, zlib",
        ),
        _points("plan_version", "plan_id", "plan"),
        _points("plan_version", "parent_id", "plan_version"),
    )  # fmt: skip
    op.create_index("ix_plan_version_plan_id", "plan_version", ["plan_id"])
    _table(
        "plan_change",
        sa.Column("version_id", KEY, nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False, comment="core.plan.revise.Change"),
        sa.CheckConstraint(
            f"kind IN ({', '.join(repr(each) for each in CHANGES)})",
            name=op.f("ck_plan_change_kind"),
        ),
        _points("plan_change", "version_id", "plan_version"),
    )
    op.create_index("ix_plan_change_version_id", "plan_change", ["version_id"])
    _table(
        "plan_accepted",
        sa.Column("plan_id", KEY, nullable=False),
        sa.Column("version_id", KEY, nullable=False),
        _points("plan_accepted", "plan_id", "plan"),
        _points("plan_accepted", "version_id", "plan_version"),
    )
    op.create_index("ix_plan_accepted_plan_id", "plan_accepted", ["plan_id"])
    op.create_index("ix_plan_accepted_version_id", "plan_accepted", ["version_id"])


def _visits() -> None:
    _table(
        "visit_plan",
        sa.Column("visit_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("version_id", KEY, nullable=True),
        sa.Column("month", sa.Date(), nullable=False, comment="its first day"),
        sa.Column(
            "days_out", sa.Integer(), nullable=False,
            comment="days from sent to released, as planned",
        ),
        _points("visit_plan", "visit_id", "visit"),
        _points("visit_plan", "car_id", "car"),
        _points("visit_plan", "version_id", "plan_version"),
        sa.UniqueConstraint("visit_id", name=op.f("uq_visit_plan_visit_id")),
    )  # fmt: skip
    op.create_index("ix_visit_plan_version_id", "visit_plan", ["version_id"])
    op.create_index("ix_visit_plan_month", "visit_plan", ["month"])
    op.create_index("ix_visit_plan_car", "visit_plan", ["car_id"])
    _table(
        "visit_work",
        sa.Column("visit_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("item", sa.String(length=30), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True, comment="as known when it was planned"),
        _points("visit_work", "visit_id", "visit"),
        _points("visit_work", "car_id", "car"),
    )
    op.create_index("ix_visit_work_visit_id", "visit_work", ["visit_id"])
    op.create_index("ix_visit_work_car_id", "visit_work", ["car_id"])
