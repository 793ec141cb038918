"""Within how many days the dates of a calendar fall due; a calendar made before holds every date, as it did.

Locks: `feed` ACCESS EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "feed",
        sa.Column(
            "within_days",
            sa.SmallInteger(),
            nullable=True,
            comment="holds what falls due within so many days, with what is past; none: every date",
        ),
    )
