"""Files of visits to shops among the kinds of files that can be brought in.

Locks: `upload` ACCESS EXCLUSIVE and `import_run` ACCESS EXCLUSIVE while each is looked through for its check; they
are small.
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

KINDS = "kind IN ('cars', 'components', 'events', 'ladings', 'visits')"


def upgrade() -> None:
    for table in ("import_run", "upload"):
        held = sa.inspect(op.get_bind()).get_check_constraints(table)
        with op.batch_alter_table(table) as changed:
            if any(each["name"] == f"ck_{table}_kind" for each in held):
                changed.drop_constraint(op.f(f"ck_{table}_kind"), type_="check")
            changed.create_check_constraint(op.f(f"ck_{table}_kind"), KINDS)
