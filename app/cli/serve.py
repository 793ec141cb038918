"""`serve`: the web application in one process or several, and beside it one for the work that lasts."""

from __future__ import annotations

import argparse
import signal
import socket
import sys
from collections.abc import Callable
from contextlib import suppress
from types import FrameType

import uvicorn

from app import garbage, logs
from app.cli.connections import Connection
from app.cli.crew import Crew
from app.cli.first_account import set_up_path, told
from app.cli.register import checked, migrated
from app.cli.room import too_few
from app.cli.status import FINE, STATUSES, Unusable, tell
from app.cli.worker import Worker
from app.settings import Settings, read_settings

EPILOG = f"""\
example:
  HOST=127.0.0.1 PORT=8000 python -m app serve

HOST (127.0.0.1) and PORT (8000) say where. For other machines put a proxy with HTTPS before it, and
name it in TRUSTED_PROXIES and the address that people open in PUBLIC_URL: see docs/https.md.
WORKERS (1) says how many processes answer at that address; one that dies is replaced. Each opens up to
DATABASE_CONNECTIONS (4) to PostgreSQL; it is told at the start where the database takes fewer.
Where nobody has an account yet, a link is printed that makes the first one, on this machine alone.
GET /health answers while it runs; GET /ready says whether it can serve, or why not. Each request is
a line on stderr; LOG_FORMAT (text, json) and LOG_LEVEL say how and how much. Stop it with Ctrl+C:
what is being answered is finished first.

{STATUSES}"""

# An answer that takes longer when we are asked to stop is given up.
SECONDS_TO_FINISH = 10
SECONDS_TO_LEAVE = 5  # after that
# Beyond it, in one process, a request is told 503 at once; a browser holds about six connections.
MOST_CONNECTIONS = 1000
LONGEST_HEAD = 64 * 1024  # bytes of the first line and the headers


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--migrate",
        action="store_true",
        help="make the database, or bring it up to this version, before serving",
    )


def run(args: argparse.Namespace) -> int:
    settings = read_settings()
    (migrated if args.migrate else checked)(settings)
    logs.set_up(settings.log_format, settings.log_level)
    with listen(settings) as listening:
        # uvicorn raises the signal that stopped it once more; the default would end us on the spot,
        # with the worker still running.
        signal.signal(signal.SIGTERM, _end)
        for lacks in too_few(settings):
            tell(lacks)
        with Worker() as worker, suppress(KeyboardInterrupt):
            config = _config(settings.workers)
            with garbage.loaded_for_good():
                config.load()
            first = set_up_path(settings)
            if settings.workers == 1:
                _Server(config, worker.keep, lambda: _announce(listening, first)).run([listening])
            else:
                _several(settings.workers, config, listening, worker, first)
    return FINE


def _several(
    number: int, config: uvicorn.Config, listening: socket.socket, worker: Worker, first: str | None
) -> None:
    """All that is loaded is shared by those that are forked; nothing has been connected to yet."""

    def serve() -> None:
        worker.let_go()
        uvicorn.Server(config).run([listening])

    crew = Crew(number, serve)
    crew.start()
    _announce(listening, first)
    crew.keep(worker.keep)
    listening.close()  # or whoever connects now would wait for nobody
    crew.end(SECONDS_TO_FINISH + SECONDS_TO_LEAVE)


def _config(workers: int = 1) -> uvicorn.Config:
    return uvicorn.Config(
        "app.main:create_app" if workers == 1 else "app.main:create_rehearsed_app",
        factory=True,
        http=Connection,
        ws="none",
        log_config=None,  # as `app.logs` says; and a line a request comes from `app.web.logs`
        log_level="warning",
        access_log=False,
        # Which proxies are believed is a setting of ours (app/web/hosts.py).
        proxy_headers=False,
        server_header=False,
        limit_concurrency=MOST_CONNECTIONS,
        h11_max_incomplete_event_size=LONGEST_HEAD,
        timeout_graceful_shutdown=SECONDS_TO_FINISH,
    )


class _Server(uvicorn.Server):
    """Tells when it serves, and does something several times a second."""

    def __init__(
        self, config: uvicorn.Config, meanwhile: Callable[[], None], serves: Callable[[], None]
    ) -> None:
        super().__init__(config)
        self._meanwhile, self._serves = meanwhile, serves

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if not self.should_exit:
            self._serves()

    async def on_tick(self, counter: int) -> bool:
        self._meanwhile()
        return await super().on_tick(counter)


def _announce(listening: socket.socket, first: str | None) -> None:
    """Where it serves, and where the first account is made."""
    print(f"Stencilbook serves at {_address(listening)} (Ctrl+C stops it)", flush=True)
    if first:
        port = listening.getsockname()[1]
        print(told(f"http://localhost:{port}{first}"), flush=True)


def listen(settings: Settings) -> socket.socket:
    """The socket at which it serves. Raises Unusable where the address cannot be had."""
    place = (settings.host, settings.port)
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    try:
        listening = socket.create_server(place, family=family, backlog=2048)
    except OSError as wrong:
        raise Unusable(
            f"Cannot serve on {settings.host}, port {settings.port}: {wrong.strerror or wrong}. "
            f"Choose another HOST or PORT, or stop the program that has this one."
        ) from None
    # Its connections have it from here; asyncio sets it only on those of a socket that it opened by itself. Without it
    # what an answer holds waits some 40 ms for the other side to acknowledge its head (Nagle's algorithm, RFC 896).
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listening


def _address(listening: socket.socket) -> str:
    host, port = listening.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def _end(signum: int, frame: FrameType | None) -> None:
    # Whoever is impatient must not keep us from stopping the worker.
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    sys.exit(FINE)
