"""Questions of loading racks with their answers, kept word for word.

Locks: `person` SHARE ROW EXCLUSIVE and `car` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "loading_question",
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("list_key", sa.String(length=32), nullable=False, comment="of the questions asked in one go"),
        sa.Column("asked", sa.String(length=200), nullable=False, comment="the car as it was written"),
        sa.Column(
            "lading", sa.String(length=200), nullable=False,
            comment="about to be loaded, as it was written; empty: the recorded one",
        ),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("within_days", sa.Integer(), nullable=False),
        sa.Column("car_id", KEY, nullable=True),
        sa.Column("verdict", sa.String(length=20), nullable=True),
        sa.Column("through", sa.Date(), nullable=True, comment="the last day on which no date is past"),
        sa.Column("told", sa.JSON(), nullable=False, comment="the answer: actions.may_load"),
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "verdict IN ('may_load', 'check', 'may_not_load')", name=op.f("ck_loading_question_verdict")
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_loading_question_car_id_car")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_loading_question_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loading_question")),
    )  # fmt: skip
    op.create_index("ix_loading_question_car", "loading_question", ["car_id", "id"])
    op.create_index("ix_loading_question_person", "loading_question", ["person_id", "id"])
    op.create_index("ix_loading_question_list", "loading_question", ["list_key"])
    columns = sa.inspect(op.get_bind()).get_columns("loading_question")
    guard("loading_question", [column["name"] for column in columns], stamp=False)
