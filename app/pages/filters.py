"""Filters of lists, read from the address: what was asked, what it means, what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from app.errors import Fault, Refused
from app.files import days
from app.pages.choices import Choice
from app.pages.forms import as_sentence
from app.store.names import NamePrefix, read_prefix

T = TypeVar("T")


@dataclass
class Asked:
    """The fields of an address that filter a list; one that is wrong is noted, the rest read."""

    values: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, params: Mapping[str, str], names: Sequence[str]) -> Asked:
        """The non-empty fields among `names`; what else the address holds is no filter."""
        return cls({name: params[name].strip() for name in names if params.get(name, "").strip()})

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
