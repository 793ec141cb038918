"""What a list that can be taken away is, and the columns that many of them have."""

from __future__ import annotations

from dataclasses import dataclass

from app.files.tables_out import Column

MARK = Column("mark", "the mark that the car bears")
NUMBER = Column("number", "the number that the car bears", "number")
OWNER = Column("owner", "the company that owns the car")
REGION = Column("region", "where its owner has it looked after")
ITEM = Column("item", "the due item, by its name in files and answers")


@dataclass(frozen=True, slots=True)
class ListOut:
    """A list: what it is called, where it is taken away (without its ending), and its columns."""

    title: str
    address: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(each.name for each in self.columns)


def day(name: str, says: str) -> Column:
    return Column(name, says, "day")


def number(name: str, says: str, *, added: bool = False) -> Column:
    return Column(name, says, "number", "sum" if added else "")


def yes_no(name: str, says: str) -> Column:
    return Column(name, says, "yes or no")
