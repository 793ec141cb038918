"""Audits of a sample of cars with their findings; cars handed over to another register, and taken over from one.

Locks: `report` ACCESS EXCLUSIVE, `standing` SHARE ROW EXCLUSIVE, `ownership` SHARE ROW EXCLUSIVE, `import_run` SHARE
ROW EXCLUSIVE, `car` SHARE ROW EXCLUSIVE and `party` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
ANSWERS = ("conforms", "does_not", "not_applicable", "not_looked_at")
TABLES = (
    "audit", "audit_car", "audit_answer", "audit_finding", "audit_finding_step", "hand_over", "origin",
    "report",
)  # fmt: skip


def upgrade() -> None:
    _sample()
    _findings()
    _hand_overs()
    for table in TABLES:
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=False)


def _sample() -> None:
    _table(
        "audit",
        *_made(),
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column(
            "selection", sa.JSON(), nullable=False,
            comment="which list, and its filter as an address holds it",
        ),
        sa.Column("in_words", sa.Text(), nullable=False, comment="the selection, for people"),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("known_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("population", sa.Integer(), nullable=False),
        sa.Column(
            "names", sa.LargeBinary(), nullable=False,
            comment="mark and number of each car drawn from: lines, zlib",
        ),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("seed", sa.String(length=60), nullable=False),
        sa.Column("checklist", sa.JSON(), nullable=False, comment="core.audit.points.Point"),
        sa.CheckConstraint("size > 0", name=op.f("ck_audit_size_above_zero")),
        sa.CheckConstraint("size <= population", name=op.f("ck_audit_size")),
        _points("audit", "party_id", "party"),
    )  # fmt: skip
    op.create_index("ix_audit_party_id", "audit", ["party_id"])
    _table(
        "audit_car",
        sa.Column("audit_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column(
            "place", sa.Integer(), nullable=False, comment="in the order of the draw, from 1"
        ),
        sa.Column("mark", sa.String(length=4), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        _points("audit_car", "audit_id", "audit"),
        _points("audit_car", "car_id", "car"),
        sa.UniqueConstraint("audit_id", "place", name=op.f("uq_audit_car_audit_id_place")),
    )
    op.create_index("ix_audit_car_car_id", "audit_car", ["car_id"])
    _table(
        "audit_answer",
        *_made(),
        sa.Column("audit_car_id", KEY, nullable=False),
        sa.Column("point", sa.String(length=60), nullable=False, comment="its id in the checklist"),
        sa.Column("answer", sa.String(length=20), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        _one_of("audit_answer", "answer", ANSWERS),
        _points("audit_answer", "audit_car_id", "audit_car"),
    )
    op.create_index("ix_audit_answer_audit_car_id", "audit_answer", ["audit_car_id"])


def _findings() -> None:
    _table(
        "audit_finding",
        *_made(),
        sa.Column("audit_id", KEY, nullable=False),
        sa.Column("audit_car_id", KEY, nullable=True),
        sa.Column("point", sa.String(length=60), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("severity", sa.String(length=10), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("responsible", sa.String(length=200), nullable=False),
        _one_of("audit_finding", "severity", ("stop", "mend", "remark")),
        sa.CheckConstraint(
            "severity = 'remark' OR due_on IS NOT NULL", name=op.f("ck_audit_finding_due")
        ),
        _points("audit_finding", "audit_id", "audit"),
        _points("audit_finding", "audit_car_id", "audit_car"),
    )
    op.create_index("ix_audit_finding_audit_id", "audit_finding", ["audit_id"])
    op.create_index("ix_audit_finding_audit_car_id", "audit_finding", ["audit_car_id"])
    _table(
        "audit_finding_step",
        *_made(),
        sa.Column("finding_id", KEY, nullable=False),
        sa.Column("step", sa.String(length=10), nullable=False),
        sa.Column(
            "said", sa.Text(), nullable=False, comment="what was done, or why it is open again"
        ),
        sa.Column("evidence", sa.Text(), nullable=False, comment="where the proof of it is"),
        _one_of("audit_finding_step", "step", ("closed", "reopened")),
        _points("audit_finding_step", "finding_id", "audit_finding"),
    )
    op.create_index("ix_audit_finding_step_finding_id", "audit_finding_step", ["finding_id"])


def _hand_overs() -> None:
    _table(
        "hand_over",
        *_made(),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("from_id", KEY, nullable=False, comment="whose the car was"),
        sa.Column("to_id", KEY, nullable=False, comment="whose it is since"),
        sa.Column("handed_on", sa.Date(), nullable=False),
        sa.Column("ownership_id", KEY, nullable=False, comment="the row that says so"),
        sa.Column("standing_id", KEY, nullable=False, comment="the row by which it left"),
        _points("hand_over", "car_id", "car"),
        _points("hand_over", "from_id", "party"),
        _points("hand_over", "to_id", "party"),
        _points("hand_over", "ownership_id", "ownership"),
        _points("hand_over", "standing_id", "standing"),
    )
    op.create_index("ix_hand_over_car_id", "hand_over", ["car_id"])
    _table(
        "origin",
        *_made(),
        sa.Column("import_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("table_name", sa.String(length=30), nullable=False),
        sa.Column("row_id", KEY, nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=True),
        _points("origin", "import_id", "import_run"),
        _points("origin", "car_id", "car"),
        sa.UniqueConstraint("table_name", "row_id", name=op.f("uq_origin_table_name_row_id")),
    )
    op.create_index("ix_origin_import_id", "origin", ["import_id"])
    op.create_index("ix_origin_car_id", "origin", ["car_id"])
    # A report that came with a car was begun by somebody who is nobody here.
    with op.batch_alter_table("report") as report:
        report.alter_column(
            "person_id", existing_type=KEY, nullable=True,
            comment="who began it; null: somebody of another register", existing_comment="who began it",
        )  # fmt: skip


def _made() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
    )


def _table(name: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        name,
        sa.Column("id", KEY, nullable=False),
        *parts,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    )


def _points(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name)


def _one_of(table: str, column: str, values: tuple[str, ...]) -> sa.CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=op.f(f"ck_{table}_{column}"))
