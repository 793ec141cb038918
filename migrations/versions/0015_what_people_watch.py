"""What people watch: what items were before they moved, saved lists, lines seen, mails and calendars.

Locks: `person` SHARE ROW EXCLUSIVE, `car` SHARE ROW EXCLUSIVE and `party` SHARE ROW EXCLUSIVE, a moment.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "notice_sent",
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("tries", sa.SmallInteger(), nullable=False),
        sa.Column(
            "at", sa.DateTime(timezone=True), nullable=False, comment="when it came to this state"
        ),
        sa.CheckConstraint("kind IN ('daily', 'weekly')", name=op.f("ck_notice_sent_kind")),
        sa.CheckConstraint(
            "state IN ('sending', 'sent', 'failed', 'nothing')", name=op.f("ck_notice_sent_state")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_notice_sent_person_id_person")
        ),
        sa.PrimaryKeyConstraint("person_id", "kind", "day", name=op.f("pk_notice_sent")),
    )
    op.create_table(
        "saved_list",
        sa.Column("id", KEY, nullable=False),
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False, comment="who saved it"),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("asked", sa.JSON(), nullable=False, comment="filters by their names"),
        sa.Column("shared", sa.Boolean(), nullable=False, comment="everybody in the party sees it"),
        sa.Column("answers_id", KEY, nullable=True, comment="who answers for what is on it"),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["answers_id"], ["person.id"], name=op.f("fk_saved_list_answers_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_saved_list_party_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_saved_list_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_saved_list")),
    )
    op.create_index(op.f("ix_saved_list_answers_id"), "saved_list", ["answers_id"])
    op.create_index(op.f("ix_saved_list_party_id"), "saved_list", ["party_id"])
    op.create_index(op.f("ix_saved_list_person_id"), "saved_list", ["person_id"])
    op.create_table(
        "due_before",
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column(
            "item_no",
            sa.SmallInteger(),
            nullable=False,
            comment="place in core.facts.ITEMS; -1: the car had none",
        ),
        sa.Column("state", sa.String(length=12), nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("listed", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_due_before_car_id_car")),
        sa.PrimaryKeyConstraint("car_id", "day", "item_no", name=op.f("pk_due_before")),
    )
    op.create_index("ix_due_before_day", "due_before", ["day", "car_id"])
    op.create_table(
        "due_seen",
        sa.Column("id", KEY, nullable=False),
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("item", sa.String(length=30), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("past", sa.Boolean(), nullable=False, comment="its day had passed"),
        sa.Column(
            "until_on", sa.Date(), nullable=True, comment="comes back on this day; none: taken back"
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.CheckConstraint(
            "state IN ('owed', 'dated', 'by_event', 'unknown', 'not_required')",
            name=op.f("ck_due_seen_state"),
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_due_seen_car_id_car")),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_due_seen_party_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_due_seen_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due_seen")),
    )
    op.create_index("ix_due_seen_car", "due_seen", ["car_id", "item", "party_id", "id"])
    op.create_table(
        "feed",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("list_id", KEY, nullable=True, comment="none: all that the person reaches"),
        sa.Column("key_sha256", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["list_id"], ["saved_list.id"], name=op.f("fk_feed_list_id_saved_list")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_feed_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_feed")),
        sa.UniqueConstraint("key_sha256", name=op.f("uq_feed_key_sha256")),
    )
    op.create_index(op.f("ix_feed_list_id"), "feed", ["list_id"])
    op.create_index(op.f("ix_feed_person_id"), "feed", ["person_id"])
    op.create_table(
        "notice_wish",
        sa.Column("person_id", KEY, nullable=False),
        sa.Column(
            "daily", sa.Boolean(), nullable=False, comment="on days on which something changed"
        ),
        sa.Column(
            "weekday",
            sa.SmallInteger(),
            nullable=True,
            comment="of a summary: 0 is Monday; none: no summary",
        ),
        sa.Column("list_id", KEY, nullable=True, comment="none: all that the person reaches"),
        sa.Column(
            "since", sa.Date(), nullable=False, comment="the first day for which a mail is due"
        ),
        sa.ForeignKeyConstraint(
            ["list_id"], ["saved_list.id"], name=op.f("fk_notice_wish_list_id_saved_list")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_notice_wish_person_id_person")
        ),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_notice_wish")),
    )
    op.create_index(op.f("ix_notice_wish_list_id"), "notice_wish", ["list_id"])
    columns = sa.inspect(op.get_bind()).get_columns("due_seen")
    guard("due_seen", [column["name"] for column in columns], stamp=False)
