"""On which day a finding of an audit was mended; of those closed before only the moment of recording is known.

Locks `audit_finding_step` while the column is added, without rewriting it.
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "audit_finding_step",
        sa.Column(
            "done_on",
            sa.Date(),
            nullable=True,
            comment="the day on which it was mended; none: it was opened again, or is not known",
        ),
    )
