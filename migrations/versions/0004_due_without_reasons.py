"""The reasons of stored due items are worked out when they are looked at, and no longer stored.

Locks: `due` ACCESS EXCLUSIVE, a moment. The program before it reads what goes, so that stops first.
"""

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_column("due", "reasons")
