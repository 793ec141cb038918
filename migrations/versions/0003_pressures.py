"""What is known of the pressures of a lading in a car, and at which pressure a valve was vapor tight.

Locks: `service` ACCESS EXCLUSIVE, `lading` ACCESS EXCLUSIVE and `installation` ACCESS EXCLUSIVE while each is looked
through for its checks.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

PRESSURES = (
    "vapor_pressure_psig_115f", "vapor_pressure_psig_105f", "static_head_psig", "gas_pad_psig",
    "loading_pressure_psig",
)  # fmt: skip


def upgrade() -> None:
    for table in ("service", "lading"):
        for column in PRESSURES:
            add_number(table, column, f"{column}_zero_or_more", ">= 0")
    add_number("installation", "vapor_tight_psig", "vapor_tight_psig_above_zero", "> 0")
    for table in ("service", "installation"):
        guard(table, columns_of(table))


def add_number(table: str, column: str, name: str, holds: str) -> None:
    """An exact decimal with its check. Both engines take it so; adding a check later, SQLite would not."""
    op.execute(
        f"ALTER TABLE {table} ADD COLUMN {column} BIGINT "
        f"CONSTRAINT ck_{table}_{name} CHECK ({column} {holds})"
    )


def columns_of(table: str) -> list[str]:
    return [column["name"] for column in sa.inspect(op.get_bind()).get_columns(table)]
