"""Pages and answers of the API beside an empty page of the same server, and lists beside what they cannot do without.

A list page cannot do without the statements it asks the database and its template with what it shows. Both are heard
once while the page is made, and then done without anything around them: the very statements by the bare driver, every
row fetched, and the very template. Where a list shows few rows, nearly all it takes is what an empty page takes too, so
it stands beside that one; so does what is no list of stored rows but is worked out for whoever looks.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from itertools import cycle
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

import psycopg
from jinja2 import Template
from sqlalchemy import Engine, event, make_url, select

from app.store.db import PRAGMAS, make_engine, read_session, sessions
from app.store.tables import Car
from bench import stores
from bench.pages import LIMIT_MS, list_pages, pages_of
from bench.program import EMPTY, Program, running
from bench.rows import Row, Size
from bench.servers import plain
from bench.timing import in_turn, milliseconds, of_processor

TIMES, OF_LISTS = 60, 20
AT_MOST = 3  # times what a list page cannot do without
# One wants a shop to be chosen by somebody who is in several, the other a second proof of who asks.
NOT_ALONE = ("/visits/orders", "/people")
WORKED_OUT = ("/", "/morning", "/retention")
SHOWN, MANY = re.compile("<tr|<article"), 20
Statement = tuple[str, Any]
Addresses = dict[str, Sequence[str]]


def rows(size: Size, folder: Path) -> Iterator[Row]:
    for engine in stores.ENGINES:
        with stores.filled(engine, size, folder) as url, running(url) as program:
            cost = Cost.of(engine, program)
            where = f"{engine}, {stores.CARS[size]:,} cars"
            lists, pages = _asked(url)
            for path, addresses in lists.items():
                heard = None if path in WORKED_OUT else _heard(program, addresses[0])
                if heard and heard.is_long():
                    name = f"list page {path}, {where}"
                    yield _beside_bare(cost, url, name, addresses[0], heard)
                else:
                    pages[f"page {path}"] = addresses
            for name, addresses in pages.items():
                yield _beside_empty(cost, f"{name}, {where}", addresses)


class Cost(NamedTuple):
    """What an answer costs, and what a piece of work does, in the same unit.

    On SQLite all is done in this process, so its processor time tells it whatever else the machine does; another
    server's part is told by the clock alone.
    """

    answer: Callable[[str], float]
    work: Callable[[Callable[[], object]], Callable[[], float]]
    unit: str

    @staticmethod
    def of(engine: str, program: Program) -> Cost:
        if engine == "SQLite":
            return Cost(program.processor, of_processor, "ms of processor")
        return Cost(program.clock, milliseconds, "ms")


def _asked(url: str) -> tuple[Addresses, Addresses]:
    """Every list page by its path; and pages of each kind, with answers of the API."""
    engine = make_engine(url)
    with read_session(sessions(engine)) as db:
        lists, pages = list_pages(db), pages_of(db)
        cars = db.execute(select(Car.mark, Car.number).order_by(Car.number % 997).limit(TIMES))
        loading = [f"/api/v1/cars/{mark}/{number}/loading" for mark, number in cars]
    engine.dispose()
    more = {"API, may a car be loaded": loading, "API, due list": ["/api/v1/due"]}
    for each in NOT_ALONE:
        lists.pop(each, None)
    # Of one list with several filters the first stands for all; bench.pages has the others.
    paths = {
        addresses[0].partition("?")[0]: addresses[:1] for addresses in reversed(lists.values())
    }
    return paths, pages | more


def _beside_empty(cost: Cost, name: str, addresses: Sequence[str]) -> Row:
    each = cycle(addresses)
    ours, empty = in_turn(
        lambda: cost.answer(next(each)), lambda: cost.answer(EMPTY), times=TIMES, unheard=5
    )
    return Row(name, ours, empty, cost.unit, "an empty page of the same server", most=LIMIT_MS)


def _beside_bare(cost: Cost, url: str, name: str, address: str, heard: Heard) -> Row:
    with bare(url) as ask:

        def without_us() -> None:
            for statement in heard.statements:
                ask(*statement)
            heard.render()

        ours, theirs = in_turn(
            lambda: cost.answer(address), cost.work(without_us), times=OF_LISTS, unheard=3
        )
    against = "its own statements by the bare driver, and its own template"
    return Row(name, ours, theirs, cost.unit, against, times=AT_MOST)


class Heard(NamedTuple):
    """What a page asks of the database, and its template with what it is given."""

    statements: list[Statement]
    template: Template
    inputs: dict[str, Any]

    def render(self) -> str:
        return self.template.render(self.inputs)

    def is_long(self) -> bool:
        return len(SHOWN.findall(self.render())) >= MANY


def _heard(program: Program, address: str) -> Heard:
    statements: list[Statement] = []
    rendered: list[tuple[Template, dict[str, Any]]] = []
    render = Template.render

    def asked(_c: Any, _k: Any, statement: str, values: Any, _x: Any, _m: bool) -> None:
        if not statement.startswith("BEGIN"):
            statements.append((statement, values))

    def listening(template: Template, inputs: dict[str, Any]) -> str:
        rendered.append((template, inputs))
        return render(template, inputs)

    program.clock(address)  # what is read once a process
    engine: Engine = program.app.state.engine
    event.listen(engine, "before_cursor_execute", asked)
    with patch.object(Template, "render", listening):
        program.clock(address)
    event.remove(engine, "before_cursor_execute", asked)
    ((template, inputs),) = rendered
    return Heard(statements, template, inputs)


@contextmanager
def bare(url: str) -> Iterator[Callable[[str, Any], object]]:
    """Asks a statement by the driver alone and fetches every row."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        opened: Any = sqlite3.connect(str(address.database), isolation_level=None)
        for pragma in PRAGMAS:
            opened.execute(pragma)
    else:
        opened = psycopg.connect(plain(url), autocommit=True)

    def ask(statement: str, values: Any) -> object:
        found = opened.execute(statement, values)
        return found.fetchall() if found.description else None

    with closing(opened):
        yield ask
