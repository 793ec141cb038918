"""Memory of a running register: of the server once it answered every page, of its worker once it did jobs.

The pages are found as a reader finds them, from link to link, beginning at home; lists taken away as files, drawings
and packets are among them. Of addresses that differ in numbers alone some few are asked for.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter, deque
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import urljoin

import httpx
from sqlalchemy import select

from app.actions import packets
from app.actions.evidence import View
from app.jobs.queue import ask
from app.store import jobs
from app.store.asked import Standpoint
from app.store.db import make_engine, read_session, sessions, write_session
from app.store.tables import Car
from bench import stores
from bench.processes import mebibytes
from bench.program import sign_in
from bench.rows import Row, Size
from tests.faults.program import Program, Server, wait_for

MOST_MIB = 300
FEW = 3
LINK = re.compile(r'href="(/[^"#]*)')
# What any server of pages here has loaded before it does anything.
BARE = "import fastapi, jinja2, sqlalchemy.orm, uvicorn"
AGAINST = "a process that loaded FastAPI, Jinja, SQLAlchemy and uvicorn and did nothing"
PATIENCE = 600.0
Read = set[str]


def rows(size: Size, folder: Path) -> Iterator[Row]:
    url = stores.demo(folder) if size == "small" else stores.on_sqlite(size, folder)
    what = "the demo" if size == "small" else f"{stores.CARS[size]:,} cars"
    bare = _bare()
    with Program(url, folder).serve() as server:
        read = _read_all(server.url, sign_in(url))
        name = f"a server of {what} after {len(read)} pages and files"
        yield Row(name, mebibytes(server.process.pid), bare, "MiB", AGAINST, most=MOST_MIB)
        _do_jobs(url)
        yield Row(
            f"its worker after all due dates and a packet of {packets.AT_ONCE} cars",
            mebibytes(_worker(server)), bare, "MiB", AGAINST, most=MOST_MIB,
        )  # fmt: skip


def _bare() -> float:
    held = subprocess.Popen(
        [sys.executable, "-c", f"{BARE}; print(flush=True); input()"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    with held:
        assert held.stdout
        held.stdout.readline()
        found = mebibytes(held.pid)
        held.kill()
    return found


def _worker(server: Server) -> int:
    found = server.worker()
    assert found is not None
    return found


def _read_all(address: str, key: str) -> Read:
    """Follow every link; gives the addresses that answered well."""
    seen, asked, waiting = Counter[str](), Read(), deque(["/"])
    read = Read()
    with httpx.Client(base_url=address, cookies={"session": key}, timeout=PATIENCE) as client:
        while waiting:
            path = waiting.popleft()
            kind = re.sub(r"\d+|=[^&]*", "", path)
            if path in asked or seen[kind] >= FEW:
                continue
            asked.add(path)
            seen[kind] += 1
            answer = client.get(path)
            if answer.status_code == 200:
                read.add(path)
            if answer.status_code == 200 and "html" in answer.headers["content-type"]:
                found = (unescape(each) for each in LINK.findall(answer.text))
                waiting.extend(urljoin(path, each) for each in found if each[:8] != "/static/")
    return read


def _do_jobs(url: str) -> None:
    """All due dates anew, and a packet."""
    engine = make_engine(url)
    factory = sessions(engine)
    with write_session(factory) as db:
        cars = db.scalars(select(Car.id).order_by(Car.id).limit(packets.AT_ONCE)).all()
        view = View(Standpoint(stores.TODAY), 180)
        done = [
            ask(db, "refresh-due", {}, "bench"),
            ask(db, "evidence", packets.payload(cars, view), "bench"),
        ]

    def over() -> bool:
        with read_session(factory) as db:
            states = {jobs.get(db, job_id).state for job_id in done}
        if "failed" in states:
            raise RuntimeError("a job failed")
        return states == {"done"}

    wait_for(over, "two jobs", PATIENCE)
    engine.dispose()
