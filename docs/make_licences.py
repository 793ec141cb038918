"""Writes the table of docs/dependencies.md: every library that runs with Stencilbook, and its licence.

    .venv/bin/python docs/make_licences.py

What each says is read from its own installed description.
"""

from __future__ import annotations

import importlib.metadata
import re
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "dependencies.md"
BEGIN, END = "<!-- table -->", "<!-- end of table -->"
# Packages whose description says it in words or not at all; read from the licence file they carry.
READ_BY_HAND = {"huey": "MIT", "pyasn1-modules": "BSD-2-Clause"}
OF_WORDS = {
    "BSD License": "BSD-3-Clause",
    "BSD 3-Clause License": "BSD-3-Clause",
    "MIT License": "MIT",
    "Apache Software License": "Apache-2.0",
    "Apache License, Version 2.0": "Apache-2.0",
    "ISC License (ISCL)": "ISC",
    "Python Software Foundation License": "PSF-2.0",
    "GNU Lesser General Public License v3 (LGPLv3)": "LGPL-3.0-only",
    "GNU Lesser General Public License v3 or later (LGPLv3+)": "LGPL-3.0-or-later",
    "GNU LGPL v3+": "LGPL-3.0-or-later",
    "GNU Library or Lesser General Public License (LGPL)": "LGPL",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
}


def locked(name: str = "requirements.lock") -> dict[str, str]:
    """Each package of a lock file that this Python installs, with its version."""
    lines = (ROOT / name).read_text().replace("\\\n", " ").splitlines()
    wanted = [
        Requirement(line.split("--hash=")[0].strip())
        for line in lines
        if line and not line.startswith("#")
    ]
    return {
        each.name: next(iter(each.specifier)).version
        for each in wanted
        if each.marker is None or each.marker.evaluate()
    }


def licence(package: str) -> str:
    """As an SPDX expression where the package says so, else in its own words."""
    told = importlib.metadata.metadata(package)
    classified = [
        OF_WORDS.get(name, name)
        for each in told.get_all("Classifier", [])
        if each.startswith("License ::") and (name := each.rpartition(" :: ")[2]) != "OSI Approved"
    ]
    said = (told.get("License") or "").strip().splitlines()
    return (
        told.get("License-Expression")
        or READ_BY_HAND.get(package)
        or (OF_WORDS.get(said[0], said[0]) if said and len(said[0]) < 60 else "")
        or " AND ".join(classified)
        or "not said"
    )


def table() -> str:
    rows = [f"| {name} | {licence(name)} |" for name in sorted(locked())]
    return "\n".join(["| library | licence |", "| --- | --- |", *rows])


def main() -> None:
    text = PAGE.read_text()
    made = f"{BEGIN}\n{table()}\n{END}"
    PAGE.write_text(re.sub(f"{BEGIN}.*{END}", lambda _: made, text, flags=re.DOTALL))


if __name__ == "__main__":
    main()
