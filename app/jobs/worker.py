"""The process that does the jobs of one store, one after the other."""

from __future__ import annotations

import fcntl
import logging
import os
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from huey import crontab
from huey.consumer import Consumer
from sqlalchemy import URL, Engine

from app import logs
from app.actions import packets, pictures
from app.actions.copies import attachments_of
from app.errors import Away
from app.jobs import notices
from app.jobs.doing import Doer
from app.jobs.queue import beside
from app.settings import Settings
from app.store import due_before, locks, migrate
from app.store.db import make_engine, write_session

SECONDS_BETWEEN_LOOKS = 1.0


log = logging.getLogger(__name__)


def run(settings: Settings) -> None:
    """Do jobs until told to stop by a signal, or by the end of the process at the other end of stdin."""
    logs.set_up(settings.log_format, settings.log_level)
    _end_with_parent()
    engine = make_engine(settings.database_url)
    try:
        migrate.check(engine)
        with _the_only_one(engine.url), _doer(engine, settings) as doer:
            _consume(doer, settings)
    finally:
        engine.dispose()


def _doer(engine: Engine, settings: Settings) -> Doer:
    attachments = attachments_of(settings.database_url, settings.attachments)
    return Doer(engine, settings.time_zone, attachments)


def _consume(doer: Doer, settings: Settings) -> None:
    huey = doer.queue.huey
    at_night = crontab(hour="3", minute="0")
    huey.periodic_task(at_night, name="clear_up")(lambda: clear_up(settings))
    huey.periodic_task(at_night, name="forget")(lambda: forget(doer))
    clear_up(settings)
    huey.periodic_task(crontab(minute="*/10"), name="send_notices")(
        lambda: send_notices(doer, settings)
    )
    # Also finds what another program asked for and then could not call for.
    huey.periodic_task(crontab(minute="*"), name="look_round")(doer.look_round)
    doer.look_round()
    consumer = Consumer(huey, workers=1, worker_type="thread", max_delay=1.0)
    consumer.run()
    _end_at_once()


def clear_up(settings: Settings) -> None:
    """Forget pieces of photographs of which the rest never came, and old packets; where they lie may be away."""
    kept = attachments_of(settings.database_url, settings.attachments)
    try:
        pictures.clear_up(kept, datetime.now(UTC))
        packets.clear_up(kept, datetime.now(UTC))
    except Away:
        log.warning("attachments cannot be reached, so nothing was cleared up")


def forget(doer: Doer) -> None:
    """Forget how due items stood weeks ago."""
    with write_session(doer.factory) as db:
        due_before.clear_up(db, datetime.now(UTC).date())


def send_notices(doer: Doer, settings: Settings) -> None:
    """Send the mails that are to go, unless another worker of the store is at it."""
    if doer.engine.dialect.name == "sqlite":
        notices.send_due(settings, doer.factory, datetime.now(UTC))
        return
    with locks.held(doer.engine, "notices") as mine:
        if mine:
            notices.send_due(settings, doer.factory, datetime.now(UTC))


def _end_at_once() -> None:
    """What is half done is not waited for: it stored nothing yet, and is done again from its start."""
    logging.shutdown()
    os._exit(0)


def _end_with_parent() -> None:
    """End when stdin is a pipe and its other end is closed, however the parent ended."""
    if not stat.S_ISFIFO(os.fstat(0).st_mode):
        return

    def watch() -> None:
        while os.read(0, 1024):
            pass
        _end_at_once()

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _the_only_one(url: URL) -> Iterator[None]:
    """On SQLite, wait until no other worker does the jobs of this store."""
    if url.get_backend_name() != "sqlite":
        yield
        return
    with beside(url, ".queue.lock").open("w") as held:
        while not _locked(held.fileno()):
            time.sleep(SECONDS_BETWEEN_LOOKS)
        yield


def _locked(file: int) -> bool:
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
