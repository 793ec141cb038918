"""Several processes that serve at one address, forked from this one: one that dies is replaced, all end with it.

The supervisor that comes with uvicorn starts each of its processes as a program anew, so that none shares memory,
and leaves them behind when it is itself killed.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from types import FrameType

from app.cli.status import tell

SECONDS_BETWEEN_LOOKS = 0.1
# One that dies at once must not be started without end.
SECONDS_BEFORE_ANOTHER = 1.0
STOPPING = (signal.SIGTERM, signal.SIGINT)


class Crew:
    """`number` processes, each of which does `serve` until it is told to stop by SIGTERM."""

    def __init__(self, number: int, serve: Callable[[], None]) -> None:
        self._number, self._serve = number, serve
        self._over = False
        # By the moment at which it was started.
        self._at_work: dict[int, float] = {}
        # The far end closes with this process, however that ends.
        self._line, self._held = os.pipe()

    def start(self) -> None:
        for each in STOPPING:
            signal.signal(each, self._stop)
        self._fill()

    def keep(self, meanwhile: Callable[[], None]) -> None:
        """Replace those that die until a signal says to stop; `meanwhile` is done between two looks."""
        while not self._over:
            self._replace()
            meanwhile()
            time.sleep(SECONDS_BETWEEN_LOOKS)

    def end(self, seconds: float) -> None:
        """Let each finish what it is answering, for so long at most."""
        for pid in self._at_work:
            os.kill(pid, signal.SIGTERM)
        until = time.monotonic() + seconds
        while self._at_work and time.monotonic() < until:
            self._ended()
            time.sleep(SECONDS_BETWEEN_LOOKS)
        for pid in self._at_work:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)

    def _stop(self, signum: int, frame: FrameType | None) -> None:
        self._over = True

    def _replace(self) -> None:
        for pid, status, lived in self._ended():
            tell(
                f"A process that serves ({pid}) ended by itself (status {status}); starting another."
            )
            time.sleep(max(0.0, SECONDS_BEFORE_ANOTHER - lived))
        self._fill()

    def _fill(self) -> None:
        while len(self._at_work) < self._number and not self._over:
            self._at_work[self._fork()] = time.monotonic()

    def _ended(self) -> list[tuple[int, int, float]]:
        """Those that ended since the last look: which, how, after how many seconds."""
        found = []
        for pid in tuple(self._at_work):
            ended, status = os.waitpid(pid, os.WNOHANG)
            if ended:
                lived = time.monotonic() - self._at_work.pop(pid)
                found.append((pid, os.waitstatus_to_exitcode(status), lived))
        return found

    def _fork(self) -> int:
        # A signal between the fork and the child's own handlers would be lost.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, STOPPING)
        pid = os.fork()
        if pid == 0:
            self._be_one(before)
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        return pid

    def _be_one(self, mask: set[int | signal.Signals]) -> None:
        """The life of a forked process, which never gets back to where it was forked."""
        status = 1
        try:
            os.close(self._held)
            threading.Thread(target=self._end_with_parent, daemon=True).start()
            signal.signal(signal.SIGTERM, _leave)
            signal.signal(signal.SIGINT, _leave)
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
            with suppress(KeyboardInterrupt, SystemExit):
                self._serve()
            status = 0
        finally:
            os._exit(status)

    def _end_with_parent(self) -> None:
        os.read(self._line, 1)
        os.kill(os.getpid(), signal.SIGTERM)


def _leave(signum: int, frame: FrameType | None) -> None:
    raise SystemExit
