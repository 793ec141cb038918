"""Triggers that keep the record: rows are added, stamped once as superseded, never changed or deleted.

A later migration that adds a column to a guarded table calls `guard` again with all its columns, or `guard_added`.
"""

from collections.abc import Sequence

from alembic import op

REFUSAL = "the record is kept: a {table} row is never changed or deleted, only superseded"


def guard(table: str, columns: Sequence[str], *, stamp: bool = True) -> None:
    """Refuse deleting and changing rows, but for setting `superseded_at` once where `stamp`."""
    if op.get_context().dialect.name == "sqlite":
        _guard_sqlite(table, columns, stamp)
    else:
        _guard_postgresql(table, stamp)


def guard_added(table: str, column: str) -> None:
    """Refuse changing a column that was added to a guarded table; PostgreSQL's triggers look at the whole row."""
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER {table}_{column}_unchanged BEFORE UPDATE OF {column} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL.format(table=table)}'); END"
        )


def let_reports_go(details: Sequence[str], columns: Sequence[str]) -> None:
    """Guard `event` and `reading` again, but let go what a row of `removal_permit` names.

    Of an event its details may then be emptied, and its readings deleted; nothing else.
    """
    if op.get_context().dialect.name == "sqlite":
        _let_go_sqlite(details, columns)
    else:
        _let_go_postgresql(details)


def _let_go_sqlite(details: Sequence[str], columns: Sequence[str]) -> None:
    event, reading = (
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL.format(table=each)}'); END"
        for each in ("event", "reading")
    )
    permitted = "EXISTS (SELECT 1 FROM removal_permit WHERE event_id = OLD.{key})"
    fixed = [column for column in columns if column not in ("superseded_at", *details)]
    emptied = " AND ".join(f"NEW.{name} = ''" for name in details)
    for name in ("event_unchanged", "reading_kept"):
        op.execute(f"DROP TRIGGER {name}")
    op.execute(
        f"CREATE TRIGGER event_unchanged BEFORE UPDATE OF {', '.join(fixed)} ON event {event}"
    )
    op.execute(
        f"CREATE TRIGGER event_details_unchanged BEFORE UPDATE OF {', '.join(details)} ON event "
        f"WHEN NOT ({permitted.format(key='id')} AND {emptied}) {event}"
    )
    op.execute(
        f"CREATE TRIGGER reading_kept BEFORE DELETE ON reading "
        f"WHEN NOT {permitted.format(key='event_id')} {reading}"
    )


def _let_go_postgresql(details: Sequence[str]) -> None:
    names = ", ".join(f"'{name}'" for name in details)
    emptied = " AND ".join(f"NEW.{name} = ''" for name in details)
    permit = """
    IF TG_OP = '{act}' AND EXISTS (SELECT 1 FROM removal_permit WHERE event_id = OLD.{key}){more} THEN
        RETURN {row};
    END IF;
"""
    more = f" AND to_jsonb(NEW) - ARRAY[{names}] = to_jsonb(OLD) - ARRAY[{names}] AND {emptied}"
    may_empty = permit.format(act="UPDATE", key="id", more=more, row="NEW")
    may_delete = permit.format(act="DELETE", key="event_id", more="", row="OLD")
    for table, name, allowed in (
        ("event", "refuse_change_but_letting_go", STAMP_ALONE + may_empty),
        ("reading", "refuse_change_but_permitted", may_delete),
    ):
        op.execute(_function(name, allowed + _refuse_row()))
        op.execute(f"DROP TRIGGER {table}_kept ON {table}")
        op.execute(
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {name}()"
        )


def refuse_future(table: str, column: str, moment: str = "recorded_at") -> None:
    """Refuse a day after the one on which it is recorded, wherever on Earth that is."""
    sentence = f"{table}.{column} lies after the day it is recorded"
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER {table}_{column}_not_in_future BEFORE INSERT ON {table} "
            f"WHEN NEW.{column} > date(NEW.{moment}, '+1 day') "
            f"OR (NEW.{column} IS NOT NULL AND date(NEW.{column}) IS NULL) "
            f"BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
        )
    else:
        op.create_check_constraint(
            f"{column}_not_in_future", table, f"{column} <= ({moment} AT TIME ZONE 'UTC')::date + 1"
        )


def month_on_its_first(table: str, flag: str, column: str) -> None:
    """Refuse a month without its day that is not written as the first of the month."""
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER {table}_{flag} BEFORE INSERT ON {table} "
            f"WHEN NEW.{flag} AND NEW.{column} IS NOT date(NEW.{column}, 'start of month') "
            f"BEGIN SELECT RAISE(ABORT, '{table}.{column} is not the first of its month'); END"
        )
    else:
        op.create_check_constraint(
            f"{flag}_on_its_first", table, f"NOT {flag} OR extract(day FROM {column}) = 1"
        )


def _guard_sqlite(table: str, columns: Sequence[str], stamp: bool) -> None:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL.format(table=table)}'); END"
    fixed = [column for column in columns if not (stamp and column == "superseded_at")]
    for name in (f"{table}_kept", f"{table}_unchanged", f"{table}_stamped_once"):
        op.execute(f"DROP TRIGGER IF EXISTS {name}")
    op.execute(f"CREATE TRIGGER {table}_kept BEFORE DELETE ON {table} {refuse}")
    op.execute(
        f"CREATE TRIGGER {table}_unchanged BEFORE UPDATE OF {', '.join(fixed)} ON {table} {refuse}"
    )
    if stamp:
        op.execute(
            f"CREATE TRIGGER {table}_stamped_once BEFORE UPDATE OF superseded_at ON {table} "
            f"WHEN OLD.superseded_at IS NOT NULL OR NEW.superseded_at IS NULL {refuse}"
        )


def _guard_postgresql(table: str, stamp: bool) -> None:
    function = "refuse_change_but_stamp" if stamp else "refuse_change"
    op.execute(f"DROP TRIGGER IF EXISTS {table}_kept ON {table}")
    op.execute(f"DROP TRIGGER IF EXISTS {table}_not_emptied ON {table}")
    op.execute(
        f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {function}()"
    )
    op.execute(
        f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
    )


def create_functions() -> None:
    """What the triggers call on PostgreSQL; SQLite's hold their text themselves."""
    if op.get_context().dialect.name == "postgresql":
        op.execute(_function("refuse_change", _refuse_row()))
        op.execute(_function("refuse_change_but_stamp", STAMP_ALONE + _refuse_row()))


STAMP_ALONE = """
    IF TG_OP = 'UPDATE' AND OLD.superseded_at IS NULL AND NEW.superseded_at IS NOT NULL
        AND to_jsonb(NEW) - 'superseded_at' = to_jsonb(OLD) - 'superseded_at' THEN
        RETURN NEW;
    END IF;
"""


def _refuse_row() -> str:
    sentence = REFUSAL.format(table="%")
    return (
        f"RAISE EXCEPTION '{sentence}', TG_TABLE_NAME "
        f"USING ERRCODE = 'integrity_constraint_violation';"
    )


def _function(name: str, body: str) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN {body} END $$"
    )
