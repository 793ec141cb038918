"""Stores to be hurt: an SQLite file, or a database of a PostgreSQL that can be stopped and killed."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import psycopg
from sqlalchemy import make_url

from app.actions import people, tokens
from app.store import migrate
from app.store.db import make_engine, sessions, write_session
from app.store.tables import Party
from tests.faults.files import OWNER
from tests.faults.program import Program, wait_for
from tests.fixtures.postgres import DEBIAN, binaries
from tests.fixtures.processes import tied_to_us

serials = count(1)


def with_a_person(program: Program) -> Program:
    """The same, once its store knows a person who may do all that is done here, and their token."""
    engine, now = make_engine(program.database_url), datetime.now(UTC)
    with write_session(sessions(engine)) as db:
        party = Party(name=OWNER, keeps_register=True)
        db.add(party)
        db.flush()
        person = people.new_person(db, "Pat Example", "pat@people.invalid", now)
        people.add_memberships(db, person, party.id, ("planner", "compliance"), "the test", now)
        last_day = (now + timedelta(days=2)).date()
        scopes = ("read", "record")
        _, program.token = tokens.add(db, person, "faults", scopes, last_day, "UTC", now)
    engine.dispose()
    return program


def sqlite_store(folder: Path) -> str:
    """The address of a new, empty store in a file of `folder`."""
    url = f"sqlite:///{folder / f'store-{next(serials)}.db'}"
    migrate.upgrade(url)
    return url


class Cluster:
    """A PostgreSQL of our own that keeps what it says it keeps: no setting for haste is used."""

    def __init__(self, home: Path, made_of: Cluster | None = None) -> None:
        self.home, self.programs = home, binaries(DEBIAN)
        self.as_owner = tied_to_us()
        if os.geteuid() == 0:  # PostgreSQL refuses to run as root
            shutil.chown(home, "postgres", "postgres")
            self.as_owner = tied_to_us("--reuid=postgres", "--regid=postgres", "--init-groups")
        if made_of is None:
            self._run("initdb", "-U", "postgres", "--auth=trust", "--encoding=UTF8", "--no-sync")
            return
        from_where = ["-h", made_of.home, "-U", "postgres", "--checkpoint=fast", "--no-sync"]
        self._run("pg_basebackup", *map(str, from_where), "--write-recovery-conf")

    def replica(self, home: Path) -> Cluster:
        """A second server in a folder of this one's, which follows it once it is started."""
        home.mkdir()
        return Cluster(home, self)

    def address_of(self, url: str) -> str:
        """The address of the same database on this server."""
        held = make_url(url).update_query_dict({"host": str(self.home)})
        return held.render_as_string(hide_password=False)

    def start(self) -> None:
        # A socket in our own folder and no port: nothing to collide with, nothing to reach.
        command = [self.programs / "postgres", "-D", self.home / "data", "-k", self.home]
        with (self.home / "log").open("ab") as log:
            self.server = subprocess.Popen(
                [*self.as_owner, *command, "-c", "listen_addresses="],
                cwd=self.home, stdout=log, stderr=log,
            )  # fmt: skip
        wait_for(self.answers, "PostgreSQL to start")

    def stop(self, mode: str = "immediate") -> None:
        """`fast` ends every connection; `immediate` leaves it to recovery, as a power cut would."""
        self._run("pg_ctl", "-m", mode, "stop")
        self.server.wait()

    def answers(self) -> bool:
        asked = [self.programs / "pg_isready", "-q", "-h", self.home]
        return subprocess.run(asked, check=False).returncode == 0

    def new_store(self) -> str:
        """The address of a new, empty store."""
        name = f"faults_{next(serials)}"
        with self.connected() as connection:
            connection.execute(f"CREATE DATABASE {name}".encode())
        url = f"postgresql+psycopg://postgres@/{name}?host={self.home}"
        migrate.upgrade(url)
        return url

    def kill_connection(self, url: str, sign: signal.Signals, place: int) -> bool:
        """End a connection of the program; by SIGKILL, PostgreSQL ends all others and recovers."""
        name = make_url(url).database
        with self.connected() as connection:
            found = connection.execute(
                "SELECT pid FROM pg_stat_activity WHERE datname = %s ORDER BY pid", [name]
            ).fetchall()
        if found:
            with suppress(ProcessLookupError):
                os.kill(found[place % len(found)][0], sign)
        return bool(found)

    def connected(self) -> psycopg.Connection:
        return psycopg.connect(f"host={self.home} user=postgres dbname=postgres", autocommit=True)

    def _run(self, program: str, *args: str) -> None:
        subprocess.run(
            [*self.as_owner, self.programs / program, "-D", self.home / "data", *args],
            cwd=self.home, check=True, stdout=subprocess.DEVNULL,
        )  # fmt: skip


@contextmanager
def cluster() -> Iterator[Cluster]:
    """A running cluster, gone with the block."""
    home = Path(tempfile.mkdtemp(prefix="stencilbook-faults-"))
    try:
        ours = Cluster(home)
        ours.start()
        try:
            yield ours
        finally:
            if ours.server.poll() is None:
                ours.stop()
    finally:
        shutil.rmtree(home, ignore_errors=True)
