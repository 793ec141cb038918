"""How many connections a PostgreSQL takes from its user in this database."""

from __future__ import annotations

from sqlalchemy import Engine, text

# Its own limit without what is kept for its administrators, and those of the user and of the database (-1: none).
ASKED = text(
    """
    SELECT least(
        current_setting('max_connections')::int
            - current_setting('superuser_reserved_connections')::int
            - coalesce(current_setting('reserved_connections', true)::int, 0),
        (SELECT nullif(rolconnlimit, -1) FROM pg_roles WHERE rolname = current_user),
        (SELECT nullif(datconnlimit, -1) FROM pg_database WHERE datname = current_database())
    )
    """
)


def room_of(engine: Engine) -> int:
    """The least of these limits; what other programs have open is not counted."""
    with engine.connect() as connection:
        return int(connection.scalar(ASKED) or 0)
