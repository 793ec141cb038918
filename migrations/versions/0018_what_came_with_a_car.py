"""The file of a hand-over among what may wait for a yes."""

from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

KINDS = "kind IN ('cars', 'components', 'events', 'ladings', 'visits', 'hand_over')"


def upgrade() -> None:
    with op.batch_alter_table("upload") as upload:
        upload.drop_constraint(op.f("ck_upload_kind"), type_="check")
        upload.create_check_constraint(op.f("ck_upload_kind"), KINDS)
