"""Filters of lists, read from the address: what was asked, what it means, what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from typing import TypeVar

from app.errors import Fault, Refused
from app.files import days
from app.pages.choices import Choice
from app.pages.forms import as_sentence
from app.store.names import NamePrefix, read_prefix

T = TypeVar("T")

# What an address of a list holds besides its filters.
BESIDE = frozenset({"after", "totals"})
# What filters were called before; links with the old names go on working.
ONCE_CALLED = {"on": "as_of"}
# What a filter is called elsewhere: by the answers for programs, and in files.
OTHER_NAMES = {
    "search": "q",
    "mark": "q",
    "number": "q",
    "due_from": "from",
    "due_to": "to",
    "known_at": "known",
    "every_standing": "cars",
    "commodity": "lading",
    "specification": "class",
    "specification_class": "class",
}


@dataclass
class Asked:
    """The fields of an address that filter a list; one that is wrong is noted, the rest read.

    A name that is no filter stands under the empty name: left out, it would list more than was asked.
    """

    values: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(
        cls, params: Mapping[str, str], names: Sequence[str], beside: Collection[str] = ()
    ) -> Asked:
        """The non-empty fields among `names`; `beside` are names of the page that are no filters."""
        params = _renamed(params, names)
        found = {name: params[name].strip() for name in names if params.get(name, "").strip()}
        strange = [name for name in params if name not in {*names, *beside, *BESIDE}]
        said = " ".join(_no_filter(name, [*names, *beside]) for name in strange)
        return cls(found, {"": said} if said else {})

    def read(self, name: str, reader: Callable[[str], T]) -> T | None:
        if name not in self.values:
            return None
        try:
            return reader(self.values[name])
        except (ValueError, Refused) as wrong:
            self.problems[name] = as_sentence(str(wrong))
            return None

    def refuse(self) -> None:
        """Raise what is wrong, where there is no form to say it beside its field."""
        if self.problems:
            raise Refused.because(Fault(name, said) for name, said in self.problems.items())

    def prefix(self, name: str) -> NamePrefix:
        return self.read(name, read_prefix) or NamePrefix()

    def day(self, name: str) -> date | None:
        return self.read(name, days.day)

    def one_of(self, name: str, choices: Sequence[Choice]) -> str | None:
        def read(text: str) -> str:
            if text not in dict(choices):
                raise ValueError(f"{text!r} is none of the choices.")
            return text

        return self.read(name, read)

    def key(self, name: str, choices: Sequence[Choice]) -> int | None:
        """The key of a row chosen from a list of such."""
        found = self.one_of(name, choices)
        return None if found is None else int(found)


def _renamed(params: Mapping[str, str], names: Sequence[str]) -> dict[str, str]:
    """With each filter under the name it has today; given under both, the old name is as strange as any."""
    given = dict(params)
    for old, new in ONCE_CALLED.items():
        if new in names and old not in names and old in given and not given.get(new):
            given[new] = given.pop(old)
    return given


def _no_filter(name: str, known: Sequence[str]) -> str:
    meant = OTHER_NAMES.get(name, "")
    if meant not in known:
        meant = next(iter(get_close_matches(name, known, 1)), "")
    shown = name if len(name) <= 40 else f"{name[:40]}…"
    hint = f"; “{meant}” may be meant" if meant else ""
    return f"“{shown}” is no filter of this list{hint}."
