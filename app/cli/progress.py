"""How far long work is, on stderr, when somebody watches it there."""

from __future__ import annotations

import sys
import time
from types import TracebackType

SECONDS_BETWEEN = 0.2


class Progress:
    """Called with the step, how much of it is done, and of how much (0 when that is not known)."""

    def __init__(self) -> None:
        self._watched = sys.stderr.isatty()
        self._told_at = 0.0

    def __call__(self, step: str, done: int = 0, total: int = 0) -> None:
        """Tell, but not so often that telling becomes the work."""
        now = time.monotonic()
        if not self._watched or (now - self._told_at < SECONDS_BETWEEN and done < total):
            return
        self._told_at = now
        far = f" {done:,} of {total:,}" if total else f" {done:,}" if done else ""
        # Over the line before, whose rest is wiped.
        sys.stderr.write(f"\r{step}{far}\x1b[K")
        sys.stderr.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        wrong: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._watched and self._told_at:
            sys.stderr.write("\r\x1b[K")
