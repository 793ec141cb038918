"""Small disks of memory, to be filled or made read-only; each ends with the process that holds it."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.faults.program import ROOT
from tests.fixtures.lacking import lacking
from tests.fixtures.processes import tied_to_us

# Where the disk is for those who see it, and it is a place that any user can reach.
MOUNTED_AT = Path("/mnt")
NOBODY = 65534
# The program starts another of its kind.
AGAIN = "import subprocess, sys, sqlalchemy; subprocess.run([sys.executable, '-c', ''], check=True)"


@dataclass
class Disk:
    """`front` comes before the command line of a process that is to see it; `seen` is its folder from here."""

    holder: int
    enter: tuple[str, ...]
    as_user: tuple[str, ...]
    user: int

    @property
    def front(self) -> list[str]:
        return [*self.enter, *self.as_user]

    @property
    def seen(self) -> Path:
        return Path(f"/proc/{self.holder}/root{MOUNTED_AT}")

    def take(self, file: Path) -> None:
        """A copy of the file on the disk, belonging to the user of its processes."""
        shutil.copyfile(file, self.seen / file.name)
        self.give(self.seen / file.name)

    def give(self, path: Path) -> None:
        if os.geteuid() == 0:
            os.chown(path, self.user, self.user)

    def fill(self) -> Path:
        """A file that leaves no room for any other byte."""
        path = self.seen / "filler"
        with path.open("wb", buffering=0) as filler:
            try:
                while filler.write(b"\0" * 4096):
                    pass
            except OSError as wrong:
                if wrong.errno != errno.ENOSPC:
                    raise
        return path

    def make_read_only(self) -> None:
        subprocess.run([*self.enter, "mount", "-o", "remount,ro", str(MOUNTED_AT)], check=True)


@contextmanager
def small_disk(kilobytes: int) -> Iterator[Disk]:
    """A disk of this size for the processes of a user who is not root; skips where none can be had."""
    spaces = ["--mount"] if os.geteuid() == 0 else ["--user", "--map-root-user", "--mount"]
    held = f"mount -t tmpfs -o size={kilobytes}k,mode=1777 tmpfs {MOUNTED_AT} && echo ready && exec sleep 600"
    with subprocess.Popen(
        [*tied_to_us(), "unshare", *spaces, "sh", "-c", held],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as holder:  # fmt: skip
        assert holder.stdout is not None
        assert holder.stderr is not None
        try:
            if holder.stdout.readline() != "ready\n":
                why = holder.stderr.read().strip()
                lacking(
                    f"a small disk ({why})",
                    "let the tests mount: run them as root, or allow user namespaces",
                )
            front, user = another_user()
            flags = () if os.geteuid() == 0 else ("--user", "--preserve-credentials")
            enter = ("nsenter", "--target", str(holder.pid), "--mount", "--wd", *flags, "--")
            yield Disk(holder.pid, enter, tuple(front), user)
        finally:
            holder.kill()


def another_user() -> tuple[list[str], int]:
    """The front of a command line for a user who is not root, and which.

    Root without its powers where the interpreter is nobody else's to run.
    """
    if os.geteuid() != 0:
        return [], os.geteuid()
    groups = ("--regid", str(NOBODY), "--clear-groups")
    nobody = tied_to_us("--reuid", str(NOBODY), *groups)
    tried = subprocess.run(
        [*nobody, sys.executable, "-c", AGAIN],
        cwd=ROOT,
        check=False,
        capture_output=True,
    )
    if tried.returncode == 0:
        return nobody, NOBODY
    return tied_to_us("--bounding-set=-all", "--inh-caps=-all"), 0
