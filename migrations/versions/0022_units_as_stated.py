"""How a person wants units and dates written, and readings and pressures as they were stated in another unit.

Whoever had an account keeps inches, psi and ISO dates; what was recorded before was stated in the units of its columns.

Locks: `person` ACCESS EXCLUSIVE, `reading` ACCESS EXCLUSIVE and `installation` ACCESS EXCLUSIVE, a moment; none is
rewritten.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard_added

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

CHOICES = (
    ("length_unit", 4, ("in", "mm")),
    ("pressure_unit", 4, ("psi", "kPa")),
    ("day_style", 12, ("iso", "day_first", "month_first")),
)


def upgrade() -> None:
    for name, length, choices in CHOICES:
        add_choice("person", name, length, choices)
    for table in ("reading", "installation"):
        op.add_column(
            table,
            sa.Column(
                "stated",
                sa.String(length=200),
                nullable=True,
                comment="the measures stated in another unit than their columns', such as inches=11.1 mm",
            ),
        )
    guard_added("reading", "stated")
    guard_added("installation", "stated")


def add_choice(table: str, name: str, length: int, choices: tuple[str, ...]) -> None:
    """One of some words, the first until somebody chooses. Adding a check later, SQLite would rewrite the table."""
    listed = ", ".join(f"'{each}'" for each in choices)
    op.execute(
        f"ALTER TABLE {table} ADD COLUMN {name} VARCHAR({length}) DEFAULT '{choices[0]}' NOT NULL "
        f"CONSTRAINT ck_{table}_{name} CHECK ({name} IN ({listed}))"
    )
