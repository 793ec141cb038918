"""The day on which a finding of an audit was mended, and how many cars a directive could not ask about.

Of what was recorded before neither is known.

Locks: `audit_finding_step` ACCESS EXCLUSIVE and `directive` ACCESS EXCLUSIVE, a moment.
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
    op.add_column(
        "directive",
        sa.Column(
            "unrecorded",
            sa.Integer(),
            nullable=True,
            comment="cars with nothing on record of what it is about, on the day; none: not counted",
        ),
    )
