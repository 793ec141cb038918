"""What the load is put on: the program on a store that may be hurt, what is killed of it, and what it used."""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from bench import processes
from tests.faults.program import ROOT, Program, Server, healthy, wait_for
from tests.faults.stores import Cluster, cluster
from tests.fixtures.server import load_demo

WORKERS = 4
# What is killed, after which share of the time.
WHEN = (("worker", 0.2), ("long-work", 0.35), ("store", 0.5), ("worker", 0.7), ("worker", 0.8))
# A request that was under way when something was killed, or came before it was there again, may fail.
SECONDS_AFTER_A_FAULT = 3.0


@dataclass
class Fault:
    """Something killed, at a share of the whole time; `over` once it is there again."""

    what: str
    at: float
    do: Callable[[], None]
    began: float = 0.0
    over: float | None = None

    def excuses(self, sent: float, ended: float) -> bool:
        until = ended if self.over is None else self.over + SECONDS_AFTER_A_FAULT
        return bool(self.began) and ended >= self.began and sent <= until


class Served:
    """The program on a store, as several processes at one address."""

    def __init__(self, program: Program, ours: Cluster | None, dice: random.Random) -> None:
        self.program, self.cluster, self.dice = program, ours, dice
        self.server: Server = program.serve()

    @property
    def url(self) -> str:
        return self.server.url

    def children(self, long_work: bool) -> list[int]:
        listed = Path(f"/proc/{self.server.process.pid}/task").glob("*/children")
        found = [int(each) for path in listed for each in path.read_text().split()]
        return [pid for pid in found if ("app.jobs" in _command(pid)) == long_work]

    def kill_a_worker(self) -> None:
        victim = self.dice.choice(self.children(long_work=False))
        os.kill(victim, signal.SIGKILL)

        def replaced() -> bool:
            there = self.children(long_work=False)
            return victim not in there and len(there) == WORKERS

        wait_for(replaced, "another worker")

    def kill_long_work(self) -> None:
        before = self.children(long_work=True)
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        wait_for(lambda: set(self.children(long_work=True)) - set(before), "another for long work")

    def kill_the_store(self) -> None:
        """The database as a power cut would; an SQLite file has none beside the program that serves it."""
        if self.cluster:
            self.cluster.stop("immediate")
            time.sleep(1)
            self.cluster.start()
        else:
            self.server.kill()
            self.server = self.program.serve()
        wait_for(lambda: healthy(self.url), "the register to be well again")

    def faults(self, seconds: float, kills: Sequence[str]) -> list[Fault]:
        """What will be killed in these seconds."""
        store = "the database" if self.cluster else "the whole program"
        every = {
            "worker": ("a worker", self.kill_a_worker),
            "long-work": ("the worker for long work", self.kill_long_work),
            "store": (store, self.kill_the_store),
        }
        return [
            Fault(every[kind][0], share * seconds, every[kind][1])
            for kind, share in WHEN
            if kind in kills
        ]

    def close(self) -> None:
        with self.server:
            pass

    def processor(self) -> float:
        """The seconds that the processes that serve have used so far."""
        return sum(map(processes.processor, self.children(long_work=False)))

    def memory(self) -> list[dict[str, float]]:
        """Of each process that serves."""
        return [processes.shares(pid) for pid in self.children(long_work=False)]


def _command(pid: int) -> str:
    with suppress(OSError):
        return Path(f"/proc/{pid}/cmdline").read_text()
    return "app.jobs gone"


@contextmanager
def store(given: argparse.Namespace, folder: Path) -> Iterator[tuple[str, Cluster | None]]:
    """The demo fleet, or that of a file, on a new store that may be hurt."""
    with ExitStack() as opened:
        ours = opened.enter_context(cluster()) if given.engine == "postgresql" else None
        url = ours.new_store() if ours else f"sqlite:///{folder / 'store.db'}"
        if given.fleet and ours:
            command_on(f"sqlite:///{given.fleet}", "move-to", url).check_returncode()
        elif given.fleet:
            shutil.copyfile(given.fleet, folder / "store.db")
        else:
            load_demo(url)
        yield url, ours


def command_on(url: str, *command: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "app", *command],
        cwd=ROOT, env=os.environ | {"DATABASE_URL": url}, check=False, stdout=subprocess.DEVNULL,
    )  # fmt: skip
