"""The child process for work that lasts: ends with the server, is started again when it dies."""

from __future__ import annotations

import subprocess
import sys
import threading
from types import TracebackType

from app.cli.status import tell

SECONDS_TO_STOP = 15
# One that dies at once must not be started without end.
SECONDS_BEFORE_ANOTHER = 5.0
COMMAND = (sys.executable, "-m", "app.jobs")


class Worker:
    """One worker from entering the block to leaving it."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._child = self._start()
        self._watch = threading.Thread(target=self._keep_one, daemon=True)

    def __enter__(self) -> Worker:
        self._watch.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        wrong: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._child.terminate()
        self._watch.join(SECONDS_TO_STOP)
        if self._child.poll() is None:
            self._child.kill()

    def _start(self) -> subprocess.Popen[bytes]:
        # Its own session, so that Ctrl+C reaches the server alone, which then stops the worker. Its
        # stdin closes when the server dies by whatever cause; the worker stops at that.
        return subprocess.Popen(COMMAND, stdin=subprocess.PIPE, start_new_session=True)

    def _keep_one(self) -> None:
        while True:
            status = self._child.wait()
            if self._over.is_set():
                return
            tell(f"The worker for long work ended by itself (status {status}); starting another.")
            if self._over.wait(SECONDS_BEFORE_ANOTHER):
                return
            self._child = self._start()
