"""Editions of the rulebook, which of them was in force when, and the rule that governs each due item.

Locks: `due` ACCESS EXCLUSIVE while `ix_due_rule` is built over all of it; `party` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _editions()
    _in_force()
    for table in ("rulebook_edition", "rulebook_in_force"):
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=False)
    # Empty until the due dates are worked out anew, as happens every night.
    op.add_column(
        "due",
        sa.Column(
            "rule", sa.String(length=40), server_default="", nullable=False,
            comment="id of the rule that governs it",
        ),
    )  # fmt: skip
    columns = ["rule", "due_on", "mark", "number", "item_no", "listed", "state", "car_id"]
    op.create_index("ix_due_rule", "due", columns)


def _editions() -> None:
    op.create_table(
        "rulebook_edition",
        sa.Column("id", KEY, nullable=False),
        sa.Column("code", sa.String(length=60), nullable=False, comment="its own `id`"),
        sa.Column("edition", sa.String(length=200), nullable=False),
        sa.Column(
            "base", sa.String(length=60), nullable=False, comment="the rulebook it was laid over"
        ),
        sa.Column("owner_id", KEY, nullable=True, comment="whose programme it is"),
        sa.Column("source", sa.Text(), nullable=False, comment="the document, word for word"),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["party.id"], name="fk_rulebook_edition_owner_id_party"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_rulebook_edition"),
        sa.UniqueConstraint("code", name="uq_rulebook_edition_code"),
    )


def _in_force() -> None:
    op.create_table(
        "rulebook_in_force",
        sa.Column("id", KEY, nullable=False),
        sa.Column(
            "edition_id", KEY, nullable=True, comment="none: back to what held without one"
        ),
        sa.Column("owner_id", KEY, nullable=True, comment="none: for all"),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["edition_id"], ["rulebook_edition.id"],
            name="fk_rulebook_in_force_edition_id_rulebook_edition",
        ),
        sa.ForeignKeyConstraint(["owner_id"], ["party.id"], name="fk_rulebook_in_force_owner_id_party"),
        sa.PrimaryKeyConstraint("id", name="pk_rulebook_in_force"),
    )  # fmt: skip
    op.create_index("ix_rulebook_in_force_owner", "rulebook_in_force", ["owner_id", "id"])
