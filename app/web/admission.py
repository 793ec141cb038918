"""Who may pass: finds who is signed in, holds each route to the one thing that it is for, sets its reach.

A route names what a person must be allowed (`@may("read")` under its router's decorator). What a
person is not allowed anywhere is refused before anything is looked up; what lies out of their reach
is then not found, in the words of what does not exist.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal, TypeVar, cast
from urllib.parse import quote

from fastapi import Depends, Request
from sqlalchemy.orm import Session
from starlette.routing import BaseRoute

from app.access import NOTHING, Capability, Reach, Viewer
from app.errors import Fault, Problem, Refused
from app.store import accounts, migrate, reach, replica, signed_in, trouble
from app.store import db as store_db
from app.store.doer import Doer
from app.store.moments import not_before
from app.store.signed_in import SignedIn
from app.web import presence
from app.web.cookies import read_cookie
from app.web.limits import count_person

Route = TypeVar("Route", bound=Callable[..., Any])
Needed = Capability | Literal["everyone"]
LOOKING_BACK = ("as_of", "known")
READING = frozenset({"GET", "HEAD", "OPTIONS"})
SIGN_IN = "/sign-in"
START_PAGES: tuple[tuple[Capability, str], ...] = (
    ("load_check", "/loading"),
    ("administer", "/people"),
    ("own_account", "/account"),
)
# What somebody gets who has shown one secret where two are asked for: setting up the second.
SECONDS = ("/account/codes", "/account/passkeys", "/account/prove")
BEARER = "bearer "
# What each capability is called where somebody lacks it.
IN_WORDS: dict[Capability, str] = {
    "read": "look into the register",
    "load_check": "ask whether a car may be loaded",
    "record_work": "record inspections, changes or components",
    "record_facts": "change what is recorded of a car itself",
    "bring_in": "bring files in or take them back",
    "try_out": "try changes out",
    "watch": "keep the morning list",
    "plan": "plan visits to shops",
    "keep_rules": "load or put in force editions of the rules",
    "keep_ladings": "change the list of ladings",
    "administer": "look after people and their memberships",
    "keep_record": "look into the record of change",
    "own_account": "change an account with a token",
}


class NotSignedIn(Problem):
    """Nobody is signed in, or the sign-in has ended."""

    def __init__(self) -> None:
        super().__init__("Sign in first: nobody is signed in here, or the sign-in has ended.")


class SecondNeeded(Problem):
    """Whoever asks has shown one secret, where the register asks for two, and has no second yet."""

    def __init__(self) -> None:
        super().__init__(
            "This register lets nobody in with a password alone. Set up codes of an app or a passkey "
            "first, under Account; until then neither you nor your tokens may do anything else."
        )


class NotAllowed(Problem):
    """None of the person's memberships allows it."""

    def __init__(self, capability: Capability) -> None:
        super().__init__(
            f"Your membership does not allow you to {IN_WORDS[capability]}. "
            f"An administrator of your company can give you the role for it."
        )


@dataclass(frozen=True, slots=True)
class Admitted:
    """`signed_in` is None where a route asks for nobody and nobody is."""

    signed_in: SignedIn | None
    reach: Reach

    @property
    def viewer(self) -> Viewer | None:
        return self.signed_in.viewer if self.signed_in else None


def may(
    needed: Needed, *, looks_back: bool = False, may_lag: bool = False
) -> Callable[[Route], Route]:
    """Say what a route is for, and whether it answers as of a day and as known at a moment.

    `may_lag`: whether it may be read from a replica, which knows of others' changes some seconds later. Never what
    decides: whether a car may be loaded, who is let in, what a change follows on. Goes under the router's decorator.
    """

    def said(route: Route) -> Route:
        route.__needs__ = needed  # type: ignore[attr-defined]
        route.__looks_back__ = looks_back  # type: ignore[attr-defined]
        route.__may_lag__ = may_lag  # type: ignore[attr-defined]
        return route

    return said


def needed_by(endpoint: Any) -> Needed:
    """What a route said that it is for. Raises when it said nothing, so that none passes unseen."""
    try:
        return cast(Needed, endpoint.__needs__)
    except AttributeError:
        raise RuntimeError(
            f"{endpoint.__module__}.{endpoint.__name__} does not say what one must be allowed; "
            f"put @web.may(...) under its router's decorator."
        ) from None


def every_route_says(routes: Iterable[BaseRoute]) -> None:
    """Raise when a route does not say what it is for; asked when the application is made."""
    for route in routes:
        if hasattr(route, "endpoint"):
            needed_by(route.endpoint)


def admitted(request: Request) -> Admitted:
    """Who asks, and what they reach; raises NotSignedIn or NotAllowed."""
    needed = needed_by(request.scope["endpoint"])
    must_look_back(request)
    key, token = _key(request), _token(request)
    if needed == "everyone" and not key:
        return _kept(request, Admitted(None, NOTHING))
    check_store(request)
    with store_db.read_session(request.app.state.sessions, NOTHING) as db:
        found = _who(db, request, key, token)
        _take_moment(db, request)
        if found is not None:
            count_person(request, str(found.viewer.person_id))
        if found is not None and needed != "everyone":
            _ask_for_two(db, request, found)
        reached = _reached(db, request, found, needed)
        if found is not None and may_lag(request):
            now = request.app.state.clock()
            request.state.replica_has = replica.wanted(db, found.viewer.person_id, now)
    if found is not None:
        presence.seen(request, found)
    return _kept(request, Admitted(found, reached))


def may_lag(request: Request) -> bool:
    """Whether this is read from a replica, where there is one."""
    lags: bool = request.scope["endpoint"].__may_lag__ and request.method in READING
    return lags and request.app.state.replica is not None


def must_look_back(request: Request) -> None:
    """Raise Refused where another day or moment is asked for and the answer would be today's all the same."""
    asked = [name for name in LOOKING_BACK if request.query_params.get(name)]
    if asked and request.method in READING and not request.scope["endpoint"].__looks_back__:
        told = (
            "cannot be asked for here: this is answered as of today, by what is known now. A car, the "
            "lists of cars and of due work, and their exports can be asked as of another day"
        )
        raise Refused.because(Fault(name, told) for name in asked)


def check_store(request: Request) -> None:
    """Raise NewerStore, or Refused for a store to be migrated first; asked once, before any question."""
    state = request.app.state
    if not state.store_checked:
        with trouble.as_problem():
            migrate.check(state.engine)
        state.store_checked = True


def _who(db: Session, request: Request, key: str, token: str) -> SignedIn | None:
    """Whoever is let in by what they show; a second secret not yet shown lets nobody in."""
    now = request.app.state.clock()
    if token:
        return signed_in.viewer_by_token(db, token, now)
    found = signed_in.viewer_by_key(db, key, now) if key else None
    if found is None or found.second_wanted:
        return None
    # Set up meanwhile in another browser: a thief of the password may sit in this one.
    unshown = _shows_too_little(request, found) and _has_second(db, found)
    return None if unshown else found


def _ask_for_two(db: Session, request: Request, found: SignedIn) -> None:
    """Raise SecondNeeded where the person has no second secret and this is not where one is set up."""
    if not _shows_too_little(request, found) or _sets_up_second(request):
        return
    by_token = found.viewer.token_id is not None
    if not (by_token and _has_second(db, found)):
        _kept(request, Admitted(found, NOTHING))
        raise SecondNeeded


def _shows_too_little(request: Request, found: SignedIn) -> bool:
    """Whether one secret was shown where two are asked for."""
    required: bool = request.app.state.settings.second_required
    return required and not found.second


def _has_second(db: Session, found: SignedIn) -> bool:
    return accounts.has_second(db, found.viewer.person_id)


def _sets_up_second(request: Request) -> bool:
    path = request.url.path
    return any(path == each or path.startswith(f"{each}/") for each in SECONDS)


def _reached(db: Session, request: Request, found: SignedIn | None, needed: Needed) -> Reach:
    if needed == "everyone":
        return NOTHING
    if found is None:
        raise NotSignedIn
    if not _allowed(found.viewer, needed):
        _kept(request, Admitted(found, NOTHING))
        raise NotAllowed(needed)
    return reach.of_viewer(db, found.viewer, needed)


def _allowed(viewer: Viewer, needed: Capability) -> bool:
    """An account is one's own whether or not anybody has given one a membership."""
    own = needed == "own_account" and needed in viewer.allowed
    return own or viewer.may(needed)


def start_page(request: Request) -> str | None:
    """Where somebody begins who may not look into the register; None when it is not the first page."""
    found: Admitted | None = getattr(request.state, "admitted", None)
    if request.url.path != "/" or found is None or found.viewer is None:
        return None
    viewer = found.viewer
    return next((address for needed, address in START_PAGES if _allowed(viewer, needed)), None)


def _key(request: Request) -> str:
    return read_cookie(request, request.app.state.settings)


def _token(request: Request) -> str:
    given = request.headers.get("authorization", "")
    return given[len(BEARER) :].strip() if given.lower().startswith(BEARER) else ""


def _kept(request: Request, found: Admitted) -> Admitted:
    """For the masthead, the log and the record of change."""
    request.state.admitted = found
    if found.viewer is not None:
        request.state.person_id = found.viewer.person_id
    return found


def moment(request: Request) -> datetime:
    """This moment in UTC, the same all through a request; of a change, never before an earlier one's."""
    state = request.app.state
    if request.method in READING:
        told: datetime = state.clock()
        return told
    if not hasattr(request.state, "moment"):
        with store_db.read_session(state.sessions, NOTHING) as db:
            _take_moment(db, request)
    kept: datetime = request.state.moment
    return kept


def _take_moment(db: Session, request: Request) -> None:
    """Of a change, with whatever else is asked before it begins."""
    if request.method not in READING:
        request.state.moment = not_before(db, request.app.state.clock())


def doer(request: Request, found: Admitted) -> Doer:
    """What the record of change says of who asks."""
    viewer = found.viewer
    return Doer(
        viewer.name if viewer else "nobody signed in",
        viewer.person_id if viewer else None,
        "api" if request.url.path.startswith("/api/") else "page",
        request.client.host if request.client else "",
        getattr(request.state, "request_id", ""),
        moment(request),
    )


def must_be_for_all(viewer: Viewer, capability: Capability) -> None:
    """Raise NotAllowed unless the person may do it for every party that shares the register."""
    if not viewer.may_for_all(capability):
        raise NotAllowed(capability)


def viewer(found: Annotated[Admitted, Depends(admitted)]) -> Viewer:
    """The person who asks; for routes that name a capability."""
    if found.viewer is None:
        raise NotSignedIn
    return found.viewer


def sign_in_address(request: Request) -> str:
    """Where to sign in, and come back from to what was asked for when that only reads."""
    if request.method not in ("GET", "HEAD"):
        return SIGN_IN
    query = f"?{request.url.query}" if request.url.query else ""
    return f"{SIGN_IN}?next={quote(request.url.path + query, safe='')}"
