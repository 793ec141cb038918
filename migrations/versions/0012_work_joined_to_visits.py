"""Work that a plan adds to a visit planned before: by which version, and by how many days it lengthens the visit.

Locks: `visit_work` ACCESS EXCLUSIVE while it is looked through and an index of it is built; `plan_version` SHARE ROW
EXCLUSIVE as long.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    with op.batch_alter_table("visit_work") as changed:
        changed.add_column(
            sa.Column(
                "version_id", KEY, nullable=True,
                comment="the version that added it to a visit planned before",
            )
        )  # fmt: skip
        changed.add_column(
            sa.Column(
                "adds_days", sa.Integer(), nullable=False, server_default="0",
                comment="days by which it lengthens a visit planned before",
            )
        )  # fmt: skip
        changed.create_foreign_key(
            op.f("fk_visit_work_version_id_plan_version"), "plan_version", ["version_id"], ["id"]
        )
        changed.create_index("ix_visit_work_version_id", ["version_id"])
    columns = sa.inspect(op.get_bind()).get_columns("visit_work")
    guard("visit_work", [column["name"] for column in columns], stamp=False)
