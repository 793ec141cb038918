"""How many due items end with their car's last service day, kept with them, so that a forecast reads no fleet.

Counted here from what is stored. The first last service days of cars are told by owner and no longer by region. SQLite
keeps numbers so kept in the order of their key, once instead of twice.

Locks: `due` SHARE while it is counted: reading goes on, recording waits. The program before it counts nothing of
this, so that stops first.
"""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER = {
    "sqlite": "(CAST(strftime('%Y', {0}) AS INTEGER) * 12 + CAST(strftime('%m', {0}) AS INTEGER) - 1)",
    "postgresql": "CAST(EXTRACT(year FROM {0}) * 12 + EXTRACT(month FROM {0}) - 1 AS INTEGER)",
}
DAY = {
    "sqlite": "CAST(strftime('%d', {0}) AS INTEGER)",
    "postgresql": "EXTRACT(day FROM {0})",
}
# By cut what else it tells apart.
CUTS = (("month", ""), ("owner", "owner_id"), ("region", "region"))


def upgrade() -> None:
    op.create_table(
        "due_ending",
        sa.Column("cut", sa.String(length=6), nullable=False),
        sa.Column("owner_id", KEY, autoincrement=False, nullable=False),
        sa.Column("region", sa.String(length=200), nullable=False),
        sa.Column(
            "month",
            sa.Integer(),
            autoincrement=False,
            nullable=False,
            comment="counted from year 0",
        ),
        sa.Column("item_no", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column(
            "interval_months",
            sa.SmallInteger(),
            autoincrement=False,
            nullable=False,
            comment="0: none",
        ),
        sa.Column(
            "ends",
            sa.Integer(),
            autoincrement=False,
            nullable=False,
            comment="the month from which on it falls due no more; 0: it never does",
        ),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint(
            "cut",
            "owner_id",
            "region",
            "month",
            "item_no",
            "interval_months",
            "ends",
            name=op.f("pk_due_ending"),
        ),
        sqlite_with_rowid=False,
    )
    connection = op.get_bind()
    if connection.dialect.name == "postgresql":
        # What is recorded meanwhile would be counted by nobody.
        connection.exec_driver_sql("LOCK TABLE due IN SHARE MODE")
    _count(connection)
    _by_owner_alone(connection)
    if connection.dialect.name == "sqlite":
        for table in ("due_rolled", "car_rolled"):
            _by_its_key(connection, table)


def _count(connection: sa.Connection) -> None:
    """Items that a last service day may end in the ten years of a forecast (items 12 and 13 end, 10 comes sooner)."""
    engine = connection.dialect.name
    number, day = NUMBER[engine], DAY[engine]
    last, due = number.format("last.due_on"), number.format("due.due_on")
    sooner = f"CASE WHEN {day.format('due.due_on')} < {day.format('last.due_on')} THEN 1 ELSE 0 END"
    rows = f"""
        SELECT due.owner_id, due.region, {due} AS month, due.item_no,
            coalesce(due.interval_months, 0) AS interval_months,
            CASE WHEN due.due_on >= last.due_on THEN 0 ELSE {last} + {sooner} END AS ends
        FROM due AS last JOIN due ON due.car_id = last.car_id
        WHERE last.item_no IN (12, 13) AND last.due_on IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM due AS other
            WHERE other.car_id = last.car_id AND other.item_no IN (12, 13)
            AND (other.due_on, other.item_no) < (last.due_on, last.item_no)
        )
        AND due.listed AND due.item_no NOT IN (12, 13) AND (
            due.due_on >= last.due_on
            OR due.interval_months > 0 AND (due.interval_months < 120 OR due.item_no = 10) AND {last} - {due} <= 180
        )
    """  # noqa: S608  fixed words
    for cut, told in CUTS:
        owner = told if told == "owner_id" else "0"
        region = told if told == "region" else "''"
        by = ", ".join(filter(None, (told, "month, item_no, interval_months, ends")))
        connection.exec_driver_sql(
            "INSERT INTO due_ending (cut, owner_id, region, month, item_no, interval_months, ends, number) "  # noqa: S608  fixed words
            f"SELECT '{cut}', {owner}, {region}, month, item_no, interval_months, ends, count(*) "
            f"FROM ({rows}) AS counted GROUP BY {by}"
        )


def _by_owner_alone(connection: sa.Connection) -> None:
    told = "owner_id, '', listed, state, day, item_no, rule, interval_months"
    connection.exec_driver_sql(
        "INSERT INTO due_rolled (cut, owner_id, region, listed, state, day, item_no, rule, interval_months, number) "  # noqa: S608  fixed words
        f"SELECT 'anew', {told}, sum(number) FROM due_rolled WHERE cut = 'last' GROUP BY "
        "owner_id, listed, state, day, item_no, rule, interval_months"
    )
    connection.exec_driver_sql("DELETE FROM due_rolled WHERE cut = 'last'")
    connection.exec_driver_sql("UPDATE due_rolled SET cut = 'last' WHERE cut = 'anew'")


def _by_its_key(connection: sa.Connection, table: str) -> None:
    made = connection.exec_driver_sql(
        f"SELECT sql FROM sqlite_master WHERE name = '{table}'"  # noqa: S608  fixed words
    ).scalar_one()
    connection.exec_driver_sql(f"ALTER TABLE {table} RENAME TO was")
    connection.exec_driver_sql(f"{made} WITHOUT ROWID")
    connection.exec_driver_sql(f"INSERT INTO {table} SELECT * FROM was")  # noqa: S608  fixed words
    connection.exec_driver_sql("DROP TABLE was")
