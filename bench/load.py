"""Users at work on several workers, in the midst of which workers and the database are killed: `python -m bench.load`.

Thirty requests a second by a schedule that waits for nobody, so that a slow answer makes later ones no rarer; each
latency counts from the moment at which its request was to be sent. At the end everything that was acknowledged is
looked up in the tables themselves.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import os
import platform
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import func, select

from app.store import migrate
from app.store.db import make_engine, read_session, sessions, write_session
from app.store.field import FieldEntry, Report, ReportEvent
from app.store.loading import LoadingQuestion
from app.store.tables import EventRow
from bench.load_users import (
    OK,
    PASSWORD,
    SHARES,
    Acknowledged,
    Ask,
    Cast,
    Compliance,
    Planner,
    Rack,
    TabletUser,
    User,
    settle,
)
from tests.faults.program import ROOT, Program, Server, healthy, wait_for
from tests.faults.stores import Cluster, cluster

RATE, SECONDS, WORKERS = 30.0, 600.0, 4
P99_READING_MS = 300
# What is killed, after which share of the time.
WHEN = (("worker", 0.2), ("long-work", 0.35), ("store", 0.5), ("worker", 0.7), ("worker", 0.8))
# A request that was under way when something was killed, or came before it was there again, may fail.
SECONDS_AFTER_A_FAULT = 3.0
SIGN_INS_AT_ONCE = 8
# A server closes an idle connection after five; one that it closes just then would look like a fault.
SECONDS_KEPT_ALIVE = 3.0
LONGEST = 60.0
AT_ONCE = 5_000


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


@dataclass
class Tally:
    latencies: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    reading: list[float] = field(default_factory=list)
    calm: list[float] = field(default_factory=list)
    excused: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    late: float = 0.0  # by how many seconds the schedule itself was ever behind


class Load:
    """The program on a store, its users, and what comes of it all."""

    def __init__(self, program: Program, ours: Cluster | None, seed: int) -> None:
        self.program, self.cluster, self.dice = program, ours, random.Random(seed)
        self.told, self.tally, self.faults = Acknowledged(), Tally(), list[Fault]()
        self.server: Server | None = None
        # What this thread starts ends with it, so it has to last longer than the run.
        self.hands = ThreadPoolExecutor(1)

    @property
    def url(self) -> str:
        assert self.server
        return self.server.url

    def serve(self) -> None:
        self.server = self.program.serve()

    # What is killed.

    def children(self, long_work: bool) -> list[int]:
        assert self.server
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
            assert self.server
            self.server.kill()
            self.serve()
        wait_for(lambda: healthy(self.url), "the register to be well again")

    def plan_faults(self, seconds: float, kills: Sequence[str]) -> None:
        store = "the database" if self.cluster else "the whole program"
        every = {
            "worker": ("a worker", self.kill_a_worker),
            "long-work": ("the worker for long work", self.kill_long_work),
            "store": (store, self.kill_the_store),
        }
        self.faults = [
            Fault(every[kind][0], share * seconds, every[kind][1])
            for kind, share in WHEN
            if kind in kills
        ]

    # The run.

    async def run(self, users: dict[str, list[User]], seconds: float, rate: float) -> float:
        """Everything by its schedule; gives how many requests came a second in the end."""
        limits = httpx.Limits(max_connections=None, keepalive_expiry=SECONDS_KEPT_ALIVE)
        began, under_way = time.monotonic(), set[asyncio.Task[None]]()
        turns = {kind: itertools.cycle(each) for kind, each in users.items()}
        async with httpx.AsyncClient(timeout=LONGEST, limits=limits) as client:
            harm = asyncio.create_task(self._harm(began))
            for at in range(int(seconds * rate)):
                due = began + at / rate
                await asyncio.sleep(max(0.0, due - time.monotonic()))
                self.tally.late = max(self.tally.late, time.monotonic() - due)
                user = self._free(turns, users)
                task = asyncio.create_task(self._one(client, user, due, began))
                under_way.add(task)
                task.add_done_callback(under_way.discard)
            await asyncio.gather(*under_way, harm)
        return int(seconds * rate) / (time.monotonic() - began)

    def _free(self, turns: dict[str, Any], users: dict[str, list[User]]) -> User:
        (kind,) = self.dice.choices(list(SHARES), list(SHARES.values()))
        for _ in users[kind]:
            user: User = next(turns[kind])
            if not user.busy:
                return user
        return user

    async def _one(self, client: httpx.AsyncClient, user: User, due: float, began: float) -> None:
        user.busy = True
        asked, answer, failed = user.next(), None, ""
        given = dict(asked.given)
        headers = {"Origin": self.url} | user.headers | given.pop("headers", {})
        try:
            answer = await client.request(
                asked.method, self.url + asked.path, headers=headers, **given
            )
        except httpx.HTTPError as broken:
            failed = type(broken).__name__
        ended = time.monotonic()
        user.busy = False
        if answer is not None and answer.status_code in OK:
            asked.then(answer)
            self._timed(asked, due - began, ended - began)
            return
        if answer is not None:
            failed = str(answer.status_code)
            if failed != "503":
                failed += f" {' '.join(answer.text.split())[:160]}"
        self._failed(f"{asked.kind}: {failed}", due - began, ended - began)

    def _timed(self, asked: Ask, sent: float, ended: float) -> None:
        milliseconds = (ended - sent) * 1000
        self.tally.latencies[asked.kind].append(milliseconds)
        if asked.method == "GET":
            self.tally.reading.append(milliseconds)
            if not self._excused(sent, ended):
                self.tally.calm.append(milliseconds)

    def _failed(self, what: str, sent: float, ended: float) -> None:
        counted = self.tally.excused if self._excused(sent, ended) else self.tally.wrong
        counted[what] += 1

    def _excused(self, sent: float, ended: float) -> bool:
        return any(fault.excuses(sent, ended) for fault in self.faults)

    async def _harm(self, began: float) -> None:
        """One after the other, each once the one before is over."""
        for fault in self.faults:
            await asyncio.sleep(max(0.0, began + fault.at - time.monotonic()))
            fault.began = time.monotonic() - began
            print(f"{fault.began:6.1f} s: {fault.what} is killed", flush=True)
            await asyncio.get_running_loop().run_in_executor(self.hands, fault.do)
            fault.over = time.monotonic() - began
            print(f"{fault.over:6.1f} s: {fault.what} is there again", flush=True)

    # Getting in.

    def users(self, cast: Cast) -> dict[str, list[User]]:
        """Each signed in on the page of it, but for the racks, which bear tokens."""

        def seed() -> random.Random:
            return random.Random(self.dice.random())

        people = [*cast.planners, *cast.compliance, *(email for email, _ in cast.tablets)]
        keys = dict(zip(people, asyncio.run(_signed_in(self.url, people)), strict=True))
        common = {"cars": cast.cars, "told": self.told}
        # Where two record the same of a car a person has to decide, which these cannot.
        planned, measured = cast.cars[::2], cast.cars[1::2]
        apart = [measured[at :: len(cast.tablets)] for at in range(len(cast.tablets))]
        return {
            "rack": [
                Rack({"Authorization": f"Bearer {token}"}, seed(), **common) for token in cast.racks
            ],
            "planner": [Planner(keys[each], seed(), planned, self.told) for each in cast.planners],
            "compliance": [Compliance(keys[each], seed(), **common) for each in cast.compliance],
            "tablet": [
                TabletUser(keys[email], seed(), **common, own=own, person=person)
                for (email, person), own in zip(cast.tablets, apart, strict=True)
            ],
        }

    def processor(self) -> dict[int, float]:
        """The seconds that each process that serves has used so far."""
        used = {}
        for pid in self.children(long_work=False):
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
            used[pid] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
        return used

    def memory(self) -> list[dict[str, float]]:
        """Of each process that serves, in MiB: all that it sees, its share of what is shared, its own alone."""
        told = []
        for pid in self.children(long_work=False):
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]
            kib = {name.strip(":"): int(size) for name, size, *_ in map(str.split, lines)}
            own = kib["Private_Clean"] + kib["Private_Dirty"]
            told.append(
                {"rss": _mib(kib["Rss"]), "proportional": _mib(kib["Pss"]), "own": _mib(own)}
            )
        return told


def _mib(kib: int) -> float:
    return round(kib / 1024, 1)


def _command(pid: int) -> str:
    with suppress(OSError):
        return Path(f"/proc/{pid}/cmdline").read_text()
    return "app.jobs gone"


async def _signed_in(url: str, emails: Sequence[str]) -> list[dict[str, str]]:
    at_once = asyncio.Semaphore(SIGN_INS_AT_ONCE)

    async def one(email: str) -> dict[str, str]:
        async with (
            at_once,
            httpx.AsyncClient(base_url=url, timeout=LONGEST, headers={"Origin": url}) as client,
        ):
            answer = await client.post("/sign-in", data={"email": email, "password": PASSWORD})
            assert answer.status_code == 303, answer.text
            return {"Cookie": f"session={client.cookies['session']}"}

    return await asyncio.gather(*map(one, emails))


# What was acknowledged, looked up.


def lost_and_doubled(url: str, told: Acknowledged, questions_before: int) -> tuple[int, int]:
    """How many acknowledged things are not there, and how many are there more than once."""
    signed = (
        select(Report.key, func.count(ReportEvent.event_id))
        .join(ReportEvent, ReportEvent.report_id == Report.id)
        .join(EventRow, EventRow.id == ReportEvent.event_id)
    )
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        found = {
            "entries": _counted(
                db, select(FieldEntry.key, func.count()), FieldEntry.key, told.entries
            ),
            "reports": _counted(db, signed, Report.key, told.reports),
            "events": _counted(
                db, select(EventRow.form_key, func.count()), EventRow.form_key, told.events
            ),
        }
        questions = _questions(db) - questions_before
    engine.dispose()
    lost = sum(len(getattr(told, what)) - len(rows) for what, rows in found.items())
    doubled = sum(times > 1 for rows in found.values() for times in rows.values())
    return lost + max(0, told.questions - questions), doubled


def _counted(db: Any, query: Any, key: Any, wanted: set[str]) -> dict[str, int]:
    rows: dict[str, int] = {}
    ordered = sorted(wanted)
    for start in range(0, len(ordered), AT_ONCE):
        some = key.in_(ordered[start : start + AT_ONCE])
        rows.update(tuple(row) for row in db.execute(query.where(some).group_by(key)))
    return rows


def _questions(db: Any) -> int:
    return int(db.scalar(select(func.count()).select_from(LoadingQuestion)) or 0)


# Telling.


def percentiles(taken: Sequence[float]) -> dict[str, float]:
    """Milliseconds."""
    ordered = sorted(taken)
    if not ordered:
        return {"count": 0}
    at = {
        f"p{share}": ordered[min(len(ordered) - 1, len(ordered) * share // 100)]
        for share in (50, 95, 99)
    }
    told = {name: round(value, 1) for name, value in at.items()}
    return {"count": len(ordered), **told, "max": round(ordered[-1], 1)}


def result(load: Load, given: argparse.Namespace, throughput: float, before: int) -> dict[str, Any]:
    lost, doubled = lost_and_doubled(load.program.database_url, load.told, before)
    tally = load.tally
    return {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}",
        "engine": given.engine, "workers": WORKERS, "seconds": given.seconds,
        "rate": given.rate, "throughput": round(throughput, 1),
        "reading": percentiles(tally.reading),
        "reading_apart_from_faults": percentiles(tally.calm),
        "kinds": {kind: percentiles(taken) for kind, taken in sorted(tally.latencies.items())},
        "schedule_behind_s": round(tally.late, 3),
        "faults": [
            {"what": each.what, "at_s": round(each.began, 1), "back_s": round((each.over or 0) - each.began, 1)}
            for each in load.faults
        ],
        "errors_of_killed_connections": dict(tally.excused),
        "errors": dict(tally.wrong), "refused": load.told.refused[:20],
        "acknowledged": load.told.total, "lost": lost, "doubled": doubled,
        "memory_mib": load.memory(),
    }  # fmt: skip


def lines(told: dict[str, Any]) -> str:
    """For bench/README.md."""
    reading, calm, held = told["reading"], told["reading_apart_from_faults"], told["memory_mib"]
    excused = sum(told["errors_of_killed_connections"].values())
    rows = "\n".join(
        f"| {kind} | {each['count']:,} | {each['p50']} | {each['p95']} | {each['p99']} | {each['max']} |"
        for kind, each in told["kinds"].items()
    )
    return (
        f"{told['at'][:10]}, {told['machine']}, {told['engine']}, {told['workers']} workers, "
        f"{told['seconds']:.0f} s at {told['rate']:.0f} requests a second: "
        f"{told['throughput']} a second answered; reading p50 {reading['p50']}, p95 {reading['p95']}, "
        f"p99 {reading['p99']} ms (apart from faults {calm.get('p99', '?')} ms); "
        f"{excused} errors of killed connections, {sum(told['errors'].values())} others; "
        f"{told['acknowledged']:,} things acknowledged, "
        f"{told['lost']} lost, {told['doubled']} doubled; memory of a worker at most "
        f"{max(each['rss'] for each in held)} MiB, of which {max(each['own'] for each in held)} its own.\n\n"
        f"| what | times | p50 ms | p95 ms | p99 ms | longest ms |\n| --- | --- | --- | --- | --- | --- |\n{rows}"
    )


def missed(told: dict[str, Any]) -> list[str]:
    """Each promise that was not kept."""
    slow = told["reading"].get("p99", 0)
    return [
        sentence
        for wrong, sentence in (
            (told["lost"], f"{told['lost']} acknowledged things are lost"),
            (told["doubled"], f"{told['doubled']} things are there twice"),
            (told["errors"], f"errors of no killed connection: {told['errors']}"),
            (told["refused"], f"entries of tablets were refused: {told['refused']}"),
            (slow > P99_READING_MS, f"p99 of reading is {slow} ms, wanted {P99_READING_MS}"),
        )
        if wrong
    ]


# Stores.


@contextmanager
def store(given: argparse.Namespace, folder: Path) -> Iterator[tuple[str, Cluster | None]]:
    """The demo fleet, or that of a file, on a new store that may be hurt."""
    with ExitStack() as opened:
        ours = opened.enter_context(cluster()) if given.engine == "postgresql" else None
        url = ours.new_store() if ours else f"sqlite:///{folder / 'store.db'}"
        if given.fleet and ours:
            _command_on(f"sqlite:///{given.fleet}", "move-to", url).check_returncode()
        elif given.fleet:
            shutil.copyfile(given.fleet, folder / "store.db")
        else:
            migrate.upgrade(url)
            _command_on(url, "demo").check_returncode()
        yield url, ours


def _command_on(url: str, *command: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "app", *command],
        cwd=ROOT, env=os.environ | {"DATABASE_URL": url}, check=False, stdout=subprocess.DEVNULL,
    )  # fmt: skip


def measured(given: argparse.Namespace) -> dict[str, Any]:
    """One whole run, of which nothing is left but what it tells."""
    with (
        tempfile.TemporaryDirectory(prefix="stencilbook-load-", dir=given.folder) as name,
        store(given, Path(name)) as (url, ours),
    ):
        engine = make_engine(url)
        factory = sessions(engine)
        with write_session(factory) as db:
            cast, before = settle(db, given.users), _questions(db)
        engine.dispose()
        settings = {"WORKERS": str(WORKERS), "ATTACHMENTS": str(Path(name) / "attachments")}
        load = Load(Program(url, Path(name), settings=settings), ours, given.seed)
        load.serve()
        try:
            users = load.users(cast)
            load.plan_faults(given.seconds, () if given.calm else given.kills)
            begun = load.processor()
            throughput = asyncio.run(load.run(users, given.seconds, given.rate))
            told = result(load, given, throughput, before)
            if given.calm:  # those that were killed took theirs along
                used = sum(load.processor().values()) - sum(begun.values())
                told["processor_ms_a_request"] = round(
                    used * 1000 / (given.seconds * given.rate), 1
                )
        finally:
            assert load.server
            with load.server:
                pass
            if given.log:
                shutil.copyfile(load.server.printed, given.log)
        return told | {"verified": not _command_on(url, "verify").returncode}


def asked(arguments: Sequence[str] | None = None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--rate", type=float, default=RATE, help="requests a second")
    parser.add_argument("--fleet", type=Path, help="an SQLite file; else the demo fleet")
    parser.add_argument("--users", type=float, default=1.0, help="a share of the users")
    kinds = sorted({kind for kind, _ in WHEN})
    parser.add_argument("--kills", nargs="+", choices=kinds, default=kinds)
    parser.add_argument("--calm", action="store_true", help="kill nothing")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where the store lies meanwhile")
    parser.add_argument("--log", type=Path, help="where to keep what the program printed")
    parser.add_argument("--json", type=Path, help="where to write the result")
    return parser.parse_args(arguments)


def main() -> int:
    given = asked()
    told = measured(given)
    if given.json:
        given.json.write_text(json.dumps(told, indent=2) + "\n")
    print(lines(told))
    for kind in ("faults", "schedule_behind_s", "processor_ms_a_request", "verified"):
        print(f"{kind}: {told.get(kind)}")
    print(f"errors of killed connections: {told['errors_of_killed_connections']}")
    for sentence in (wrong := missed(told)):
        print(sentence, file=sys.stderr)
    return int(bool(wrong) or not told["verified"])


if __name__ == "__main__":
    sys.exit(main())
