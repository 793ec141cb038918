"""Connections to PostgreSQL that have a statement read once, not each time that it is sent.

The driver has a statement prepared that comes again, but forgets all of them with each rollback, lest one be about a
table that was made in what is undone. Every reading ends by one, so every statement was read anew. The program makes
no tables while it serves, and a server reads anew by itself what others alter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import psycopg
from psycopg.pq import TransactionStatus
from sqlalchemy import URL

# How often a statement is sent before it is prepared, and how many a connection keeps: more than the program has.
AFTER, MOST = 1, 500
# A plan made once for whatever a statement is asked with looks no index up by a list of values: counting on Home took
# five times as long by one. So what is prepared is planned by what it is asked with.
PLANNED = "-c plan_cache_mode=force_custom_plan"


class Connection(psycopg.Connection[Any]):
    """One that forgets its statements only where one of them failed."""

    def rollback(self) -> None:
        with self.lock:
            if self.pgconn.transaction_status == TransactionStatus.INTRANS:
                self.pgconn.exec_(b"ROLLBACK")
        # Does nothing more, unless that failed.
        super().rollback()


def opening(address: URL, named: Mapping[str, Any]) -> Callable[[], Connection]:
    """Opens a connection to this address with what is said besides, as an engine asks for one."""
    given, written = address.get_dialect()().create_connect_args(address)
    told = {"prepare_threshold": AFTER, **written, **named}
    told["options"] = f"{PLANNED} {told.get('options', '')}".strip()

    def opened() -> Connection:
        connection = Connection.connect(*given, **told)
        connection.prepared_max = MOST
        return connection

    return opened
