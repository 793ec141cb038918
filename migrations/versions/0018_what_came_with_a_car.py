"""The file of a hand-over among what may wait for a yes; directives that came with a car, and the answers to them.

Locks: `upload` ACCESS EXCLUSIVE while it is looked through for its check, it is small; `import_run` SHARE ROW
EXCLUSIVE and `car` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
KINDS = "kind IN ('cars', 'components', 'events', 'ladings', 'visits', 'hand_over')"


def upgrade() -> None:
    with op.batch_alter_table("upload") as upload:
        upload.drop_constraint(op.f("ck_upload_kind"), type_="check")
        upload.create_check_constraint(op.f("ck_upload_kind"), KINDS)
    _told_orders()
    _answers()
    for table in ("told_order", "told_order_answer"):
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=False)


def _told_orders() -> None:
    _table(
        "told_order",
        sa.Column("import_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        _words("company", "which had issued it to its cars"),
        sa.Column(
            "ordered_by", sa.String(10), nullable=False, comment="what they are who ordered it"
        ),
        _words("orderer", "their name"),
        _words("number"),
        _words("title"),
        sa.Column("what", sa.Text(), nullable=False, comment="what is to be done"),
        sa.Column("caution", sa.Text(), nullable=False),
        sa.Column("ordered_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("forbids_loading", sa.Boolean(), nullable=False, comment="once it is overdue"),
        sa.Column(
            "about", sa.Text(), nullable=False, comment="the component in words; empty: the car"
        ),
        sa.Column(
            "by_hand", sa.Boolean(), nullable=False,
            comment="whether the car is one could not be told there",
        ),
        sa.Column("closed_on", sa.Date(), nullable=True, comment="null: it was open"),
        sa.Column("outcome", sa.String(16), nullable=False),
        _words("reference", "of the event or the report that shows it"),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column(
            "said", sa.Text(), nullable=False, comment="what was answered where it was told before"
        ),
        _points("told_order", "import_id", "import_run"),
        _points("told_order", "car_id", "car"),
    )  # fmt: skip
    op.create_index("ix_told_order_import_id", "told_order", ["import_id"])
    op.create_index("ix_told_order_car_id", "told_order", ["car_id"])


def _answers() -> None:
    _table(
        "told_order_answer",
        sa.Column("told_order_id", KEY, nullable=False),
        sa.Column("answer", sa.String(16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "answer IN ('issued', 'seen_to', 'not_needed', 'undecided')",
            name=op.f("ck_told_order_answer_answer"),
        ),
        _points("told_order_answer", "told_order_id", "told_order"),
    )
    op.create_index("ix_told_order_answer_told_order_id", "told_order_answer", ["told_order_id"])


def _table(name: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        name,
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        *parts,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    )


def _words(name: str, comment: str | None = None) -> sa.Column[str]:
    return sa.Column(name, sa.String(200), nullable=False, comment=comment)


def _points(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name)
