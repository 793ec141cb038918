"""The real program as processes: served, or one command, killed when somebody says so."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import httpx

from tests.fixtures.processes import tied_to_us

T = TypeVar("T")
ROOT = Path(__file__).parents[2]
PATIENCE = 60.0  # seconds; a busy machine
ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+")
# Nobody types as fast as these tests do.
UNLIMITED = {"REQUESTS_PER_MINUTE_ADDRESS": "0", "REQUESTS_PER_MINUTE_PERSON": "0"}


@dataclass
class Program:
    """`python -m app ...` on one store; `front` comes before each command line (another user, a mount)."""

    database_url: str
    folder: Path  # of this machine, for what the processes print
    front: Sequence[str] = ()
    settings: Mapping[str, str] = field(default_factory=dict)
    token: str = ""  # of the one person who works with the store
    served: int = 0

    def command(self, *args: str) -> subprocess.Popen[bytes]:
        """One command, begun; what it prints is kept in a file of the folder."""
        with (self.folder / "commands.log").open("ab") as log:
            return self._start(log, args)

    def run(self, *args: str) -> tuple[int, str]:
        """One command from begin to end: its exit status and all that it printed."""
        begun = self._start(subprocess.PIPE, args)
        printed, _ = begun.communicate(timeout=PATIENCE)
        return begun.returncode, printed.decode()

    def serve(self) -> Server:
        """Serve the store on a free port; gives the server when it answers."""
        self.served += 1
        printed = self.folder / f"server-{self.served}.log"
        with printed.open("wb") as log:
            process = self._start(log, ["serve"])
        url = _address(process, printed)
        return Server(url, process, printed)

    def _start(self, printed: object, args: Sequence[str]) -> subprocess.Popen[bytes]:
        surroundings = os.environ | UNLIMITED | dict(self.settings)
        surroundings |= {"DATABASE_URL": self.database_url, "HOST": "127.0.0.1", "PORT": "0"}
        return subprocess.Popen(
            [*tied_to_us(), *self.front, sys.executable, "-m", "app", *args],
            cwd=ROOT, env=surroundings, stdout=printed, stderr=subprocess.STDOUT,
        )  # fmt: skip


@dataclass
class Server:
    """A program that serves: where, its process, and the file with what it printed."""

    url: str
    process: subprocess.Popen[bytes]
    printed: Path

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def worker(self) -> int | None:
        """The process that does its long work, if one is there just now."""
        listed = [each.read_text() for each in self._tasks()]
        children = [int(child) for child in " ".join(listed).split()]
        return children[0] if children else None

    def _tasks(self) -> Iterator[Path]:
        return Path(f"/proc/{self.process.pid}/task").glob("*/children")

    def __enter__(self) -> Server:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.kill()


def _address(process: subprocess.Popen[bytes], printed: Path) -> str:
    def found() -> str | None:
        if process.poll() is not None:
            raise RuntimeError(f"the server did not start; it printed:\n{printed.read_text()}")
        told = ADDRESS.search(printed.read_text())
        return told[0] if told else None

    return wait_for(found, "the server to start")


def wait_for(look: Callable[[], T | None], what: str, patience: float = PATIENCE) -> T:
    """What `look` gives as soon as it gives anything but None or False."""
    deadline = time.monotonic() + patience
    while not (found := look()):
        if time.monotonic() > deadline:
            raise TimeoutError(f"waited {patience:.0f} s in vain for {what}")
        time.sleep(0.05)
    return found


def healthy(url: str) -> bool:
    """Whether the server at this address says that it and its store are well."""
    try:
        return httpx.get(f"{url}/ready", timeout=10).status_code == 200
    except httpx.TransportError:
        return False
