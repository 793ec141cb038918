"""Column habits named once: exact decimals, moments in UTC, and the mixins of a recorded and of a dated row."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Date,
    DateTime,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

from app.core import measure

# A first fact about a car whose beginning nobody stated holds from here.
BEGINNING = date(1, 1, 1)


class Exact(TypeDecorator[Decimal]):
    """A decimal of at most six places, kept as whole millionths so that both engines are exact."""

    impl = BigInteger
    cache_ok = True
    SCALE = 1_000_000

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> int | None:
        if value is None:
            return None
        scaled = value * self.SCALE
        if scaled != scaled.to_integral_value():
            raise ValueError(f"{value} has more than six decimals")
        return int(scaled)

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        return None if value is None else (Decimal(value) / self.SCALE).normalize()


class Moment(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no zone, so it is put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


# SQLite numbers rows by itself only for a plain INTEGER key; PostgreSQL gets the wide one.
Key = BigInteger().with_variant(Integer, "sqlite")
Id = Annotated[int, mapped_column(Key, primary_key=True)]
Words = Annotated[str, mapped_column(String(200))]


def table_of(mapped: type[Any]) -> Table:
    """The table behind a mapped class."""
    table = mapped.__table__
    assert isinstance(table, Table)
    return table


def table_named(name: str) -> Table:
    return Base.metadata.tables[name]


def one_of(column: str, values: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


def above_zero(column: str) -> CheckConstraint:
    return CheckConstraint(f"{column} > 0", name=f"{column}_above_zero")


def zero_or_more(column: str) -> CheckConstraint:
    return CheckConstraint(f"{column} >= 0", name=f"{column}_zero_or_more")


def named(name: str, *extra: CheckConstraint | Index) -> tuple[CheckConstraint | Index, ...]:
    """The constraints of a mark and number wherever a table holds them."""
    return (
        CheckConstraint("length(mark) BETWEEN 2 AND 4 AND mark = upper(mark)", name="mark"),
        CheckConstraint("number BETWEEN 1 AND 999999", name="number"),
        *extra,
    )


def by_car(table: str) -> Index:
    """What reading a car's facts asks for: its rows by day."""
    return Index(f"ix_{table}_by_car", "car_id", "from_on", "id")


class Made:
    """A row that somebody made and nobody changes."""

    id: Mapped[Id]
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]


class Recorded:
    """A row that was recorded at a moment by somebody, and counts until it is superseded (then stamped once)."""

    id: Mapped[Id]
    recorded_at: Mapped[datetime] = mapped_column(Moment)
    recorded_by: Mapped[Words]
    import_id: Mapped[int | None] = mapped_column(
        Key, ForeignKey("import_run.id"), index=True, comment="the file that brought it"
    )
    superseded_at: Mapped[datetime | None] = mapped_column(
        Moment, comment="corrected, or its import taken back, at this moment"
    )
    corrects: Mapped[int | None] = mapped_column(
        Key, comment="the row of this table that this one replaces", unique=True
    )


class Measures:
    """A row of which measures can have been stated in another unit; in their columns they are rounded down."""

    stated: Mapped[str | None] = mapped_column(
        String(200),
        comment="the measures stated in another unit than their columns', such as inches=11.1 mm",
    )

    def as_stated(self, name: str) -> measure.Amount | None:
        """The measure of a column as it was said."""
        return measure.as_stated(name, getattr(self, name), self.stated)

    def exactly(self, name: str) -> Fraction | None:
        """The measure of a column, exactly, in the unit of the column."""
        return measure.exact_or_none(self.as_stated(name))


class CarFact(Recorded):
    """A fact of a car in force from a day on."""

    car_id: Mapped[int] = mapped_column(Key, ForeignKey("car.id"))
    from_on: Mapped[date] = mapped_column(Date)
