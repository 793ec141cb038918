"""One kill after the other on one store: work, signal 9 at a random moment, a start anew, and a look at everything."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import func, select

from app.store.db import make_engine
from app.store.derived import DueRow
from app.store.tables import Car
from tests.faults import checks
from tests.faults.files import File
from tests.faults.program import PATIENCE, Program, Server, healthy, wait_for
from tests.faults.recording import Notes, confirm_file, people, send_again, signed_in
from tests.faults.stores import Cluster, with_a_person

CARS_AT_FIRST, CARS_A_FILE = 40, 250
# A store that has grown is looked through more slowly.
KILLS_A_STORE = 20
# Work may end before its killer comes, now and then; a victim that always escapes is not there.
ESCAPES = 10
# A first guess at how long the work of a victim takes; each that ends unhurt corrects it.
TAKES = {
    "server": 2.0, "worker": 2.0, "import": 4.0, "refresh-due": 3.0, "backup": 3.0,
    "connection": 2.0, "database": 2.0,
}  # fmt: skip
ON_BOTH = ("server", "worker", "import", "refresh-due", "backup")
ON_POSTGRESQL = ("connection", "database")


@dataclass
class Tally:
    """What was done to stores, and what was wrong afterwards."""

    kills: Counter[str] = field(default_factory=Counter)
    acknowledged: int = 0
    unanswered: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return self.kills.total()


class Campaign:
    """A store with a server, people at work, and files to bring in; `hurt` kills something once."""

    def __init__(self, store: Program, dice: random.Random, cluster: Cluster | None = None) -> None:
        self.store, self.dice, self.cluster = store, dice, cluster
        self.notes, self.tally = Notes(), Tally()
        self.takes = dict(TAKES)
        self.next_number, self.cars_without_events = 1, list[File]()
        self.victims: Sequence[str] = ON_BOTH + (ON_POSTGRESQL if cluster else ())
        self._at_work: Server | None = None

    def __enter__(self) -> Campaign:
        with_a_person(self.store)
        first = self._file(CARS_AT_FIRST)
        status, printed = self._command_import(first)
        assert status == 0, printed
        self.server = self.store.serve()
        return self

    def __exit__(self, *_: object) -> None:
        with self.server:
            pass

    def hurt(self, victim: str) -> None:
        """Work, kill, start anew, check; what is wrong is in the tally."""
        begun = len(self.notes.wrong)
        killed = {
            "server": self._server, "worker": self._worker, "import": self._import,
            "refresh-due": self._refresh, "backup": self._backup,
            "connection": self._connection, "database": self._database,
        }[victim]()  # fmt: skip
        self.tally.kills[victim] += killed
        unanswered = [each for each in self.notes.sent if each.answer is None]
        self.tally.unanswered += len(unanswered)
        self._look(victim)
        send_again(self.server.url, self.store, self.notes)
        if unanswered:
            self._look(f"{victim}, sent again")
        self.tally.wrong += checks.own_check(self.store)
        self.tally.wrong += self.notes.wrong[begun:]
        self.tally.acknowledged = self.notes.acknowledged
        self.tally.statuses = self.notes.statuses

    def _look(self, after: str) -> None:
        wait_for(lambda: healthy(self.server.url), "the server to be well again")
        checks.wait_until_idle(self.store.database_url)
        found = checks.everything(self.store, self.notes)
        self.tally.wrong += [f"after {after}: {each}" for each in found]

    def _server(self) -> int:
        with ExitStack() as meanwhile:
            meanwhile.enter_context(self._people())
            if self.dice.random() < 0.5:
                self._hand_in()
            self._wait("server")
            self.server.kill()
        self.server = self.store.serve()
        return 1

    def _worker(self) -> int:
        with self._people():
            self._hand_in()
            self._wait("worker")
            worker = self.server.worker()
            if worker:
                os.kill(worker, signal.SIGKILL)
        return int(worker is not None)

    def _import(self) -> int:
        file = self._file(CARS_A_FILE)
        path = self._written(file)
        with self._people():
            command = self.store.command("import", file.kind, str(path), "--by", "A. Planner")
            killed = self._killed("import", command)
        self._brought(file, said=command.returncode == 0)
        return killed

    def _refresh(self) -> int:
        """Of stored due items that are all gone, recomputing puts back every one or none."""
        self._forget_due()
        killed = self._killed("refresh-due", self.store.command("refresh-due"))
        without = self._cars_without_due()
        if any(without) and not all(without):
            self.tally.wrong.append(
                f"recomputing reached {without.count(False)} of {len(without)} cars"
            )
        status, printed = self.store.run("refresh-due")
        if status:
            self.tally.wrong.append(f"refresh-due gave {status}: {printed}")
        return killed

    def _backup(self) -> int:
        """A copy has its name only when it is whole; every third is let be, so that some are."""
        path = self.store.folder / f"copy-{self.notes.serial()}.zip"
        before = Notes(sent=[each for each in self.notes.sent if each.answer is not None])
        with self._people():
            command, killed = self.store.command("backup", str(path)), 0
            if self.dice.random() < 1 / 3:
                command.wait(PATIENCE)
            else:
                killed = self._killed("backup", command)
        if path.exists():
            empty = Program(f"sqlite:///{path.with_suffix('.db')}", self.store.folder)
            self.tally.wrong += checks.copy(path, before, empty)
        elif not killed:
            self.tally.wrong.append(
                f"backup ended with {command.returncode} and left no {path.name}"
            )
        return killed

    def _connection(self) -> int:
        assert self.cluster
        sign = self.dice.choice([signal.SIGTERM, signal.SIGKILL])
        with self._people():
            self._hand_in()
            self._wait("connection")
            killed = self.cluster.kill_connection(
                self.store.database_url, sign, self.dice.randrange(20)
            )
            wait_for(self.cluster.answers, "PostgreSQL to recover")
            self._wait("connection")
        return int(killed)

    def _database(self) -> int:
        assert self.cluster
        with self._people():
            self._hand_in()
            self._wait("database")
            self.cluster.stop("immediate")
            time.sleep(self.dice.uniform(0, 1))
            self.cluster.start()
            self._wait("database")
        return 1

    def _people(self) -> AbstractContextManager[None]:
        return people(self.server.url, self.store, self.notes, self.dice)

    def _wait(self, victim: str) -> None:
        time.sleep(self.dice.uniform(0, self.takes[victim]))

    def _killed(self, victim: str, command: subprocess.Popen[bytes]) -> int:
        """Kill a command at a random moment; 0 when it had ended before."""
        began = time.monotonic()
        try:
            command.wait(self.dice.uniform(0.2, 1.0) * self.takes[victim])
        except subprocess.TimeoutExpired:
            command.kill()
            command.wait()
        else:
            self.takes[victim] = time.monotonic() - began
        return int(command.returncode == -signal.SIGKILL)

    def _hand_in(self) -> None:
        with signed_in(self.server.url, self.store) as client:
            confirm_file(client, self.notes, self._file(CARS_A_FILE))

    def _file(self, cars: int) -> File:
        """The next file: cars, or the events of cars that came with a file before."""
        if self.cars_without_events:
            of = self.cars_without_events.pop()
            return File("events", of.first, of.count)
        file = File("cars", self.next_number, cars)
        self.next_number += cars
        return file

    def _command_import(self, file: File) -> tuple[int, str]:
        status, printed = self.store.run("import", file.kind, str(self._written(file)))
        self._brought(file, said=status == 0)
        return status, printed

    def _brought(self, file: File, *, said: bool) -> None:
        self.notes.by_command.append((file, said))
        if said and file.kind == "cars":
            self.cars_without_events.append(file)

    def _written(self, file: File) -> Path:
        path = self.store.folder / file.name
        path.write_bytes(file.content)
        return path

    def _forget_due(self) -> None:
        engine = make_engine(self.store.database_url)
        with engine.execution_options(writes=True).begin() as connection:
            connection.execute(DueRow.__table__.delete())
        engine.dispose()

    def _cars_without_due(self) -> list[bool]:
        counted = (
            select(func.count(DueRow.item_no) == 0)
            .select_from(Car)
            .outerjoin(DueRow, DueRow.car_id == Car.id)
            .group_by(Car.id)
        )
        with checks.looking(self.store.database_url) as db:
            return [bool(none) for (none,) in db.execute(counted)]


def campaign(
    new_store: Callable[[], Program], kills: int, seed: int, cluster: Cluster | None = None,
    victims: Sequence[str] = (), tell: Callable[[str], None] = lambda _: None,
) -> Tally:  # fmt: skip
    """`kills` kills, each victim in turn, on a new store after so many; the same seed casts the same dice."""
    dice, whole = random.Random(seed), Tally()
    while whole.total < kills:
        with Campaign(new_store(), dice, cluster) as ours:
            ours.victims = victims or ours.victims
            _hurt_often(ours, min(KILLS_A_STORE, kills - whole.total), tell)
        whole.kills += ours.tally.kills
        whole.statuses += ours.tally.statuses
        whole.acknowledged += ours.tally.acknowledged
        whole.unanswered += ours.tally.unanswered
        whole.wrong += ours.tally.wrong
        if whole.wrong:
            break
    return whole


def _hurt_often(ours: Campaign, kills: int, tell: Callable[[str], None]) -> None:
    escaped: Counter[str] = Counter()
    while ours.tally.total < kills and not ours.tally.wrong:
        victim, before = ours.dice.choice(_least_hurt(ours)), ours.tally.total
        ours.hurt(victim)
        escaped[victim] = 0 if ours.tally.total > before else escaped[victim] + 1
        assert escaped[victim] < ESCAPES, f"there was no {victim} to kill"
        tell(f"{ours.tally.total}/{kills} {victim}; {ours.tally.acknowledged} acknowledged")


def _least_hurt(ours: Campaign) -> Sequence[str]:
    least = min(ours.tally.kills[each] for each in ours.victims)
    return [each for each in ours.victims if ours.tally.kills[each] == least]
