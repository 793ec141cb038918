"""Directives: what was ordered, the cars and components it is about, what was closed of it; and who built a car.

Locks: `construction` ACCESS EXCLUSIVE, `component` SHARE ROW EXCLUSIVE, `import_run` SHARE ROW EXCLUSIVE, `car` SHARE
ROW EXCLUSIVE and `party` SHARE ROW EXCLUSIVE, a moment.
"""

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard, refuse_future

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
COUNTS = sa.text("superseded_at IS NULL")


def upgrade() -> None:
    for column in ("builder", "design"):
        op.execute(f"ALTER TABLE construction ADD COLUMN {column} VARCHAR(200)")
    if op.get_context().dialect.name == "postgresql":
        op.execute(f"COMMENT ON COLUMN construction.design IS '{DESIGN}'")
    _again("construction")
    _directives()
    _terms()
    _matches()
    _closings()
    for table in ("directive", "directive_term", "directive_match", "directive_closing"):
        op.create_index(op.f(f"ix_{table}_import_id"), table, ["import_id"])
        _again(table)
    refuse_future("directive", "ordered_on")
    refuse_future("directive", "as_of")
    refuse_future("directive_match", "from_on")
    refuse_future("directive_closing", "done_on")


DESIGN = "the drawing or approval that it was built by"


def _again(table: str) -> None:
    columns = sa.inspect(op.get_bind()).get_columns(table)
    guard(table, [column["name"] for column in columns])


def _directives() -> None:
    op.create_table(
        "directive",
        sa.Column(
            "party_id", KEY, nullable=False, comment="whose cars, with those it keeps"
        ),
        sa.Column(
            "ordered_by", sa.String(10), nullable=False, comment="what they are who ordered it"
        ),
        sa.Column("orderer", sa.String(50), nullable=False, comment="their name"),
        sa.Column("number", sa.String(29), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("what", sa.Text(), nullable=False, comment="what is to be done"),
        sa.Column("caution", sa.Text(), nullable=False),
        sa.Column("ordered_on", sa.Date(), nullable=False),
        sa.Column("condition", sa.JSON(), nullable=False, comment="core.directive.Condition"),
        sa.Column(
            "as_of", sa.Date(), nullable=False,
            comment="frozen are the cars that matched on this day",
        ),
        sa.Column(
            "frozen_on", sa.Date(), nullable=False, comment="the day on which that was asked"
        ),
        sa.Column(
            "takes_later", sa.Boolean(), nullable=False,
            comment="cars that come to match afterwards are added",
        ),
        sa.Column(
            "takes_by_hand", sa.Boolean(), nullable=False,
            comment="so are those of which it cannot be told",
        ),
        sa.CheckConstraint(
            "ordered_by IN ('authority', 'maker', 'owner')", name=op.f("ck_directive_ordered_by")
        ),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_directive_party_id_party")
        ),
        *_recorded("directive"),
    )  # fmt: skip
    op.create_index(op.f("ix_directive_party_id"), "directive", ["party_id"])


def _terms() -> None:
    op.create_table(
        "directive_term",
        sa.Column("directive_id", KEY, nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column(
            "due_days", sa.SmallInteger(), nullable=True, comment="days after the car was found"
        ),
        sa.Column("forbids_loading", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(due_on IS NULL) <> (due_days IS NULL)", name=op.f("ck_directive_term_due")
        ),
        sa.CheckConstraint("due_days >= 0", name=op.f("ck_directive_term_due_days")),
        _to("directive_term", "directive_id", "directive"),
        *_recorded("directive_term"),
    )
    _one_counts("uq_directive_term_counts", "directive_term", "directive_id")


def _matches() -> None:
    op.create_table(
        "directive_match",
        sa.Column("directive_id", KEY, nullable=False),
        sa.Column(
            "component_id", KEY, nullable=True, comment="what is to be checked; null: the car"
        ),
        sa.Column("found", sa.String(16), nullable=False),
        sa.Column("found_on", sa.Date(), nullable=False, comment="from which days are counted"),
        sa.Column(
            "by_hand", sa.Boolean(), nullable=False,
            comment="whether it is one cannot be told from the record",
        ),
        sa.Column("why", sa.JSON(), nullable=False, comment="the facts that matched, by name"),
        sa.Column("about", sa.Text(), nullable=False, comment="the component in words"),
        sa.Column(
            "thing", sa.Text(), nullable=False,
            comment="what tells the component from others on the car",
        ),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.CheckConstraint(
            "found IN ('frozen', 'recorded_later', 'later', 'followed')",
            name=op.f("ck_directive_match_found"),
        ),
        _to("directive_match", "directive_id", "directive"),
        _to("directive_match", "component_id", "component"),
        _to("directive_match", "car_id", "car"),
        *_recorded("directive_match"),
    )  # fmt: skip
    op.create_index("ix_directive_match_by_car", "directive_match", ["car_id", "from_on", "id"])
    op.create_index("ix_directive_match_directive", "directive_match", ["directive_id", "car_id"])
    op.create_index(op.f("ix_directive_match_component_id"), "directive_match", ["component_id"])


def _closings() -> None:
    op.create_table(
        "directive_closing",
        sa.Column("match_id", KEY, nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(16), nullable=False),
        sa.Column(
            "reference", sa.String(200), nullable=False, comment="of the event or the report"
        ),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "outcome IN ('nothing_found', 'mended', 'not_concerned', 'gone')",
            name=op.f("ck_directive_closing_outcome"),
        ),
        _to("directive_closing", "match_id", "directive_match"),
        *_recorded("directive_closing"),
    )
    _one_counts("uq_directive_closing_match", "directive_closing", "match_id")


def _to(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        [column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}_{other}")
    )


def _one_counts(name: str, table: str, column: str) -> None:
    op.create_index(
        name, table, [column], unique=True, sqlite_where=COUNTS, postgresql_where=COUNTS
    )


def _recorded(table: str) -> Sequence[sa.schema.SchemaItem]:
    """What every recorded row has."""
    return (
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(200), nullable=False),
        sa.Column("import_id", KEY, nullable=True, comment="the file that brought it"),
        sa.Column(
            "superseded_at", sa.DateTime(timezone=True), nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects", KEY, nullable=True, comment="the row of this table that this one replaces"
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f(f"fk_{table}_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("corrects", name=op.f(f"uq_{table}_corrects")),
    )  # fmt: skip
