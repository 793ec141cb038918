"""The program that a tablet keeps: one set of files, named by the sum of all, so that a set always fits together."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from hashlib import sha256

from app.web.rendering import ROOT, STATIC, TEMPLATES

ADDRESS = "/field/app"
# The page is part of the set: an old page would ask for new modules.
SHELL = "shell.html"
TYPES = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
VENDORED = ("idb.js", "lit-html.js", "qr/decode.js", "qr/index.js")
# Served at an address of its own, since a worker's place is always the same.
WORKER = "worker.js"
SHORT = 16


@dataclass(frozen=True)
class Program:
    """The files by their names below the address of the set, and the set's version."""

    files: Mapping[str, bytes]
    version: str

    def address(self, name: str) -> str:
        """Where a file of this set is asked for."""
        return f"{ADDRESS}/{self.version}/{name}"


@cache
def program() -> Program:
    """The set as it is on this machine, read once a process."""
    return made_of(_files())


def made_of(files: Mapping[str, bytes]) -> Program:
    """These files as a set, with the page that starts them."""
    total = sha256()
    page = (ROOT / "templates" / "field" / SHELL, ROOT / "templates" / "field" / "_shell.html")
    for name, content in [
        *sorted(files.items()),
        *((each.name, each.read_bytes()) for each in page),
    ]:
        total.update(f"{name}\0{len(content)}\0".encode() + content)
    return Program(files, total.hexdigest()[:SHORT])


def shell() -> str:
    """The page that starts the set: the same for everybody, so that it tells nobody anything."""
    return TEMPLATES.get_template(f"field/{SHELL}").render()


def worker(found: Program, sends: bool) -> str:
    """The worker that keeps this set and serves it; one that `sends` is a module and needs the set itself."""
    names = sorted(found.files.keys() - {WORKER} | {SHELL})
    kept = {
        "version": found.version,
        "shell": found.address(SHELL),
        "files": [found.address(name) for name in names],
    }
    sending = f'import {{ sendKept }} from "{found.address("sending.js")}";\n' if sends else ""
    telling = "const sends = sendKept;\n" if sends else "const sends = null;\n"
    return f"{sending}{telling}const kept = {json.dumps(kept)};\n{found.files[WORKER].decode()}"


def address(name: str) -> str:
    """Where a file of the set in use is asked for; templates know this as `program`."""
    return program().address(name)


TEMPLATES.globals["program"] = address


def _files() -> dict[str, bytes]:
    own = STATIC / "field"
    found = {
        path.relative_to(own).as_posix(): path.read_bytes()
        for path in sorted(own.rglob("*"))
        if path.is_file() and path.suffix in TYPES
    }
    beside = {f"vendor/{name}": STATIC / "vendor" / name for name in VENDORED}
    beside |= {name: STATIC / name for name in ("icon.svg", "dark.css")}
    return found | {name: path.read_bytes() for name, path in beside.items()}
