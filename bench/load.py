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
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx

from app.store.db import make_engine, sessions, write_session
from bench.load_program import WHEN, WORKERS, Fault, Served, command_on, store
from bench.load_result import Tally, lines, lost_and_doubled, missed, questions, result
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
from tests.faults.program import Program

RATE, SECONDS = 30.0, 600.0
SIGN_INS_AT_ONCE = 8
# A server closes an idle connection after five; one that it closes just then would look like a fault.
SECONDS_KEPT_ALIVE = 3.0
LONGEST = 60.0


class Load:
    """Users of the program, and what comes of it all."""

    def __init__(self, served: Served, dice: random.Random) -> None:
        self.served, self.dice = served, dice
        self.told, self.tally, self.faults = Acknowledged(), Tally(), list[Fault]()
        # What this thread starts ends with it, so it has to last longer than the run.
        self.hands = ThreadPoolExecutor(1)

    async def run(self, users: dict[str, list[User]], seconds: float, rate: float) -> None:
        """Everything by its schedule."""
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
        self.tally.throughput = int(seconds * rate) / (time.monotonic() - began)

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
        headers = {"Origin": self.served.url} | user.headers | given.pop("headers", {})
        try:
            answer = await client.request(
                asked.method, self.served.url + asked.path, headers=headers, **given
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

    def users(self, cast: Cast) -> dict[str, list[User]]:
        """Each signed in on the page of it, but for the racks, which bear tokens."""

        def seed() -> random.Random:
            return random.Random(self.dice.random())

        people = [*cast.planners, *cast.compliance, *(email for email, _ in cast.tablets)]
        keys = dict(zip(people, asyncio.run(_signed_in(self.served.url, people)), strict=True))
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


async def _signed_in(url: str, emails: Sequence[str]) -> list[dict[str, str]]:
    at_once = asyncio.Semaphore(SIGN_INS_AT_ONCE)

    async def one(email: str) -> dict[str, str]:
        async with (
            at_once,
            httpx.AsyncClient(base_url=url, timeout=LONGEST, headers={"Origin": url}) as client,
        ):
            while True:
                answer = await client.post("/sign-in", data={"email": email, "password": PASSWORD})
                if "session" in client.cookies:
                    break
                # So many from one address are held up for seconds, until some of them are in.
                assert answer.status_code == 429, answer.text
                await asyncio.sleep(2)
            return {"Cookie": f"session={client.cookies['session']}"}

    return await asyncio.gather(*map(one, emails))


def measured(given: argparse.Namespace) -> dict[str, Any]:
    """One whole run, of which nothing is left but what it tells."""
    with (
        tempfile.TemporaryDirectory(prefix="stencilbook-load-", dir=given.folder) as name,
        store(given, Path(name)) as (url, ours),
    ):
        engine = make_engine(url)
        with write_session(sessions(engine)) as db:
            cast, before = settle(db, given.users), questions(db)
        engine.dispose()
        settings = {"WORKERS": str(WORKERS), "ATTACHMENTS": str(Path(name) / "attachments")}
        dice = random.Random(given.seed)
        program = Program(url, Path(name), settings=settings)
        with closing(Served(program, ours, dice)) as served:
            load = Load(served, dice)
            try:
                told = _told(load, load.users(cast), given)
            finally:
                if given.log:
                    shutil.copyfile(served.server.printed, given.log)
        lost, doubled = lost_and_doubled(url, load.told, before)
        verified = not command_on(url, "verify").returncode
        return told | {"lost": lost, "doubled": doubled, "verified": verified}


def _told(load: Load, users: dict[str, list[User]], given: argparse.Namespace) -> dict[str, Any]:
    """The run, and what it comes to while the program still serves."""
    served = load.served
    load.faults = served.faults(given.seconds, () if given.calm else given.kills)
    begun = served.processor()
    asyncio.run(load.run(users, given.seconds, given.rate))
    told = result(given, load.tally, load.told, load.faults) | {"memory_mib": served.memory()}
    if given.calm:  # those that were killed took theirs along
        used = served.processor() - begun
        told["processor_ms_a_request"] = round(used * 1000 / (given.seconds * given.rate), 1)
    return told


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
