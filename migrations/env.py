"""How Alembic reaches the store: through a connection handed to it, or by the settings' address."""

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection

from app.settings import read_settings
from app.store import (  # noqa: F401  every table has to be known
    audits,
    changes,
    derived,
    directives,
    field,
    field_data,
    handing_over,
    loading,
    people,
    pictures,
    plans,
    retention,
    tables,
    told_orders,
    visits,
    watch,
)
from app.store.columns import Base, Exact, Moment
from app.store.db import for_migrating, writing

config = context.config


def render_item(kind: str, item: object, autogen: AutogenContext) -> str | bool:
    """Write our column types into migrations as what they are in the database."""
    if kind == "type" and isinstance(item, Exact):
        return "sa.BigInteger()"
    if kind == "type" and isinstance(item, Moment):
        return "sa.DateTime(timezone=True)"
    return False


def run(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_item=render_item,
        compare_type=True,
        # SQLite can do it too once the driver leaves transactions to us.
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


def run_by_settings() -> None:
    engine = for_migrating(read_settings().database_url)
    with writing(engine).begin() as connection:
        run(connection)
    engine.dispose()


if context.is_offline_mode():
    raise SystemExit("Migrations read the database as they go; they cannot be written out as SQL.")
given = config.attributes.get("connection")
if given is None:
    run_by_settings()
else:
    run(given)
