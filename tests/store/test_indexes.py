"""Indexes made at the end of much writing: gone meanwhile on SQLite alone, there again whatever happens."""

import pytest
from sqlalchemy import Engine, inspect
from sqlalchemy.orm import Session

from app.store import due
from app.store.db import sessions, write_session
from app.store.indexes import made_afterwards

ALL = {str(index.name) for index in due.TABLE.indexes}


def there(db: Session) -> set[str]:
    """The indexes of the table as the session's own transaction sees them."""
    return {str(each["name"]) for each in inspect(db.connection()).get_indexes("due")}


@pytest.mark.parametrize("when", [True, False])
def test_an_index_is_not_kept_while_most_of_a_table_is_written(
    any_db: Session, engine_kind: str, when: bool
) -> None:
    with made_afterwards(any_db, due.TABLE, when):
        assert there(any_db) == (set() if when and engine_kind == "sqlite" else ALL)
    assert there(any_db) == ALL


def test_indexes_are_made_again_after_a_fault(any_db: Session) -> None:
    with pytest.raises(RuntimeError), made_afterwards(any_db, due.TABLE, True):
        raise RuntimeError
    assert there(any_db) == ALL


def test_others_see_every_index_meanwhile(any_engine: Engine) -> None:
    factory = sessions(any_engine)
    with write_session(factory) as db, made_afterwards(db, due.TABLE, True), factory() as other:
        assert there(other) == ALL
