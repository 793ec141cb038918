"""Owners' own steps, facilities of a party, and what people are qualified for.

Locks: `person` SHARE ROW EXCLUSIVE, `import_run` SHARE ROW EXCLUSIVE and `party` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.schema import SchemaItem

from migrations.append_only import guard

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
EVENT_ITEMS = (
    "visual", "structural_integrity", "safety_systems", "thickness", "lining",
    "service_equipment", "relief_device", "rupture_disc", "tank_retest", "leakage",
    "air_brake", "reflective_sheeting",
)  # fmt: skip
MEASURES = ("look", "reading", "bench", "lining", "leak", "number", "photograph")
COUNTS = sa.text("superseded_at IS NULL")


def upgrade() -> None:
    _instructions()
    _recorded(
        "facility",
        [
            sa.Column("party_id", KEY, nullable=False),
            sa.Column("name", sa.String(length=200), nullable=False),
            sa.Column("address", sa.String(length=200), nullable=False),
            sa.Column("station_code", sa.String(length=20), nullable=False),
        ],
        {"party_id": "party"},
        ("uq_facility_name", ["party_id", "name"]),
    )
    _recorded(
        "qualification",
        [
            sa.Column("person_id", KEY, nullable=False),
            sa.Column("method", sa.String(length=12), nullable=False),
            sa.Column("level", sa.String(length=12), nullable=False),
            sa.Column(
                "valid_until", sa.Date(), nullable=False, comment="the last day on which it holds"
            ),
        ],
        {"person_id": "person"},
        ("uq_qualification_method", ["person_id", "method"]),
    )
    for table in ("instruction", "instruction_step", "facility", "qualification"):
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=table != "instruction_step")


def _instructions() -> None:
    _recorded(
        "instruction",
        [
            sa.Column("owner_id", KEY, nullable=False),
            sa.Column("item", sa.String(length=30), nullable=False),
            sa.Column("from_on", sa.Date(), nullable=False),
            sa.Column(
                "edition", sa.String(length=200), nullable=False,
                comment="what the owner calls the document",
            ),
            sa.Column("in_place_of_built_in", sa.Boolean(), nullable=False),
            _one_of("instruction", "item", EVENT_ITEMS),
        ],
        {"owner_id": "party"},
        ("uq_instruction_day", ["owner_id", "item", "from_on"]),
    )  # fmt: skip
    op.create_table(
        "instruction_step",
        sa.Column("instruction_id", KEY, nullable=False),
        sa.Column(
            "place", sa.SmallInteger(), nullable=False, comment="its place in the instruction"
        ),
        sa.Column("look_at", sa.String(length=200), nullable=False),
        sa.Column("spot", sa.String(length=200), nullable=False, comment="where on the car"),
        sa.Column("measure", sa.String(length=12), nullable=False),
        sa.Column("unit", sa.String(length=20), nullable=False),
        sa.Column("acceptance", sa.Text(), nullable=False),
        sa.Column("caution", sa.Text(), nullable=False),
        sa.Column(
            "source", sa.String(length=200), nullable=False,
            comment="what it rests on, as the owner says",
        ),
        _one_of("instruction_step", "measure", MEASURES),
        sa.ForeignKeyConstraint(
            ["instruction_id"], ["instruction.id"],
            name=op.f("fk_instruction_step_instruction_id_instruction"),
        ),
        sa.PrimaryKeyConstraint("instruction_id", "place", name=op.f("pk_instruction_step")),
    )  # fmt: skip


def _recorded(
    table: str,
    columns: list[SchemaItem],
    refers: dict[str, str],
    unique: tuple[str, list[str]],
) -> None:
    """A table whose rows are recorded and superseded, one of a kind counting at a time."""
    op.create_table(
        table,
        *columns,
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("import_id", KEY, nullable=True, comment="the file that brought it"),
        sa.Column(
            "superseded_at", sa.DateTime(timezone=True), nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects", KEY, nullable=True,
            comment="the row of this table that this one replaces",
        ),
        *(
            sa.ForeignKeyConstraint(
                [column], [f"{other}.id"], name=op.f(f"fk_{table}_{column}_{other}")
            )
            for column, other in (refers | {"import_id": "import_run"}).items()
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("corrects", name=op.f(f"uq_{table}_corrects")),
    )  # fmt: skip
    op.create_index(op.f(f"ix_{table}_import_id"), table, ["import_id"])
    name, among = unique
    op.create_index(name, table, among, unique=True, sqlite_where=COUNTS, postgresql_where=COUNTS)


def _one_of(table: str, column: str, values: tuple[str, ...]) -> sa.CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=op.f(f"ck_{table}_{column}"))
