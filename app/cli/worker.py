"""The child process for work that lasts: ends with the server, is started again when it dies."""

from __future__ import annotations

import subprocess
import sys
import time
from types import TracebackType

from app.cli.status import tell

SECONDS_TO_STOP = 15
# One that dies at once must not be started without end.
SECONDS_BEFORE_ANOTHER = 5.0
COMMAND = (sys.executable, "-m", "app.jobs")


class Worker:
    """One worker from entering the block to leaving it, as long as somebody calls `keep` now and then.

    No thread watches it: processes that serve are forked beside it, which threads do not outlive.
    """

    def __init__(self) -> None:
        self._child = self._start()
        self._another_at: float | None = None

    def __enter__(self) -> Worker:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        wrong: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._child.terminate()
        try:
            self._child.wait(SECONDS_TO_STOP)
        except subprocess.TimeoutExpired:
            self._child.kill()

    def keep(self) -> None:
        """Start another where this one ended by itself."""
        status = self._child.poll()
        if status is None:
            return
        if self._another_at is None:
            tell(f"The worker for long work ended by itself (status {status}); starting another.")
            self._another_at = time.monotonic() + SECONDS_BEFORE_ANOTHER
        elif time.monotonic() >= self._another_at:
            self._child, self._another_at = self._start(), None

    def let_go(self) -> None:
        """In a process that was forked: what holds the worker is then its parent alone."""
        if self._child.stdin:
            self._child.stdin.close()

    def _start(self) -> subprocess.Popen[bytes]:
        # Its own session, so that Ctrl+C reaches the server alone, which then stops the worker. Its
        # stdin closes when the server dies by whatever cause; the worker stops at that.
        return subprocess.Popen(COMMAND, stdin=subprocess.PIPE, start_new_session=True)
