"""How many due items and cars are alike, kept with them, so that counting them reads no fleet.

Counted here from what is stored, a minute for some millions of due items. With indexes for the due list of one item
and for the loading questions of a day.

Locks: `car` SHARE and `due` SHARE while all of both is counted and indexes are made, `loading_question` SHARE: reading
goes on, recording waits. The program before it counts nothing of what it records, so that stops first.
"""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
MONTH = {
    "sqlite": "date(due_on, 'start of month')",
    "postgresql": "CAST(date_trunc('month', due_on) AS DATE)",
}
# Of a car the item of its first last service day (items 12 and 13).
FIRST_LAST = """
    item_no IN (12, 13) AND NOT EXISTS (
        SELECT 1 FROM due AS other
        WHERE other.car_id = due.car_id AND other.item_no IN (12, 13)
        AND (other.due_on, other.item_no) < (due.due_on, due.item_no)
    )
"""
WORK = "item_no, rule, interval_months"
# By cut its day, what else it tells apart, and what it counts.
CUTS = (
    ("day", "due_on", "item_no, rule", "count(*)"),
    ("month", "{month}", WORK, "count(*)"),
    ("owner", "{month}", f"{WORK}, owner_id", "count(*)"),
    ("region", "{month}", f"{WORK}, region", "count(*)"),
    ("last", f"CASE WHEN {FIRST_LAST} THEN {{month}} END", "owner_id, region", "count(*)"),
    ("rule", "CAST(NULL AS DATE)", "rule, owner_id", "count(DISTINCT car_id)"),
)
UNTOLD = {
    "owner_id": "0",
    "region": "''",
    "listed": "",
    "state": "",
    "day": "",
    "item_no": "0",
    "rule": "''",
    "interval_months": "0",
}


def upgrade() -> None:
    op.create_table(
        "due_rolled",
        sa.Column("cut", sa.String(length=6), nullable=False),
        sa.Column("owner_id", KEY, autoincrement=False, nullable=False),
        sa.Column("region", sa.String(length=200), nullable=False),
        sa.Column("listed", sa.Boolean(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("day", sa.Date(), nullable=False, comment="or the first of its month"),
        sa.Column("item_no", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("rule", sa.String(length=40), nullable=False),
        sa.Column(
            "interval_months",
            sa.SmallInteger(),
            autoincrement=False,
            nullable=False,
            comment="0: none",
        ),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint(
            "cut",
            "owner_id",
            "region",
            "listed",
            "state",
            "day",
            "item_no",
            "rule",
            "interval_months",
            name=op.f("pk_due_rolled"),
        ),
    )
    op.create_table(
        "car_rolled",
        sa.Column(
            "what",
            sa.String(length=20),
            nullable=False,
            comment="a column of car; empty: just cars",
        ),
        sa.Column("owner_id", KEY, autoincrement=False, nullable=False),
        sa.Column("standing", sa.String(length=20), nullable=False),
        sa.Column("value", sa.String(length=200), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint(
            "what", "owner_id", "standing", "value", name=op.f("pk_car_rolled")
        ),
    )
    op.create_index(
        "ix_due_item",
        "due",
        ["item_no", "due_on", "mark", "number", "listed", "region", "state", "owner_id"],
    )
    op.create_index("ix_loading_question_day", "loading_question", ["on_day", "id"])
    _count(op.get_bind())


def _count(connection: sa.Connection) -> None:
    engine = connection.dialect.name
    if engine == "postgresql":
        # What is recorded meanwhile would be counted by nobody.
        connection.exec_driver_sql("LOCK TABLE car, due IN SHARE MODE")
    for cut, day, told, number in CUTS:
        by = f"listed, state, day, {told}"
        key = ", ".join(_value(engine, name, by) for name in UNTOLD)
        dated = f"SELECT due.*, {day.format(month=MONTH[engine])} AS day FROM due"  # noqa: S608  fixed words
        connection.exec_driver_sql(
            f"INSERT INTO due_rolled (cut, {', '.join(UNTOLD)}, number) "  # noqa: S608  fixed words
            f"SELECT '{cut}', {key}, {number} FROM ({dated}) AS dated GROUP BY {by}"
        )
    for what in ("", "region", "specification_class", "commodity"):
        value, by = (what, f", {what}") if what else ("''", "")
        connection.exec_driver_sql(
            "INSERT INTO car_rolled (what, owner_id, standing, value, number) "  # noqa: S608  fixed words
            f"SELECT '{what}', owner_id, standing, {value}, count(*) FROM car GROUP BY owner_id, standing{by}"
        )


def _value(engine: str, name: str, told: str) -> str:
    """What a column of the key is counted under."""
    if name not in told.split(", "):
        return UNTOLD[name]
    if name == "day":
        never = "'0001-01-01'" if engine == "sqlite" else "DATE '0001-01-01'"
        return f"coalesce(day, {never})"
    return "coalesce(interval_months, 0)" if name == "interval_months" else name
