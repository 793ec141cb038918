"""How many due items and cars are alike, kept with them, so that counting them reads no fleet.

Counted here from what is stored, some seconds for a million due items. New tables alone: what reads and writes the
others goes on meanwhile, but on PostgreSQL whatever is recorded while this runs has to wait for its end.
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
NO_DAY = {"sqlite": "'0001-01-01'", "postgresql": "DATE '0001-01-01'"}


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
    _count(op.get_bind())


def _count(connection: sa.Connection) -> None:
    if connection.dialect.name == "postgresql":
        # What is recorded meanwhile would be counted by nobody.
        connection.exec_driver_sql("LOCK TABLE car, due IN SHARE MODE")
    month, no_day = MONTH[connection.dialect.name], NO_DAY[connection.dialect.name]
    work, items = ("item_no", "rule", "interval_months"), "count(*)"
    for cut, day, told, number in (
        ("day", "due_on", ("item_no", "rule"), items),
        ("month", month, work, items),
        ("owner", month, (*work, "owner_id"), items),
        ("region", month, (*work, "region"), items),
        ("rule", "", ("rule", "owner_id"), "count(DISTINCT car_id)"),
    ):
        by = ", ".join(("listed", "state", *told, *([day] if day else [])))
        connection.exec_driver_sql(
            "INSERT INTO due_rolled (cut, owner_id, region, listed, state, day, item_no, rule,"  # noqa: S608  fixed words
            f" interval_months, number) SELECT '{cut}', {_told('owner_id', told, '0')},"
            f""" {_told("region", told, "''")}, listed, state,"""
            f" {f'coalesce({day}, {no_day})' if day else no_day}, {_told('item_no', told, '0')},"
            f" rule, {'coalesce(interval_months, 0)' if 'interval_months' in told else '0'}, {number}"
            f" FROM due GROUP BY {by}"
        )
    for what in ("", "region", "specification_class", "commodity"):
        by = ", ".join(("owner_id", "standing", *([what] if what else [])))
        value = what or "''"
        connection.exec_driver_sql(
            "INSERT INTO car_rolled (what, owner_id, standing, value, number)"  # noqa: S608  fixed words
            f" SELECT '{what}', owner_id, standing, {value}, count(*) FROM car GROUP BY {by}"
        )


def _told(column: str, told: tuple[str, ...], else_: str) -> str:
    return column if column in told else else_
