"""Reports put on a tablet in a state that would take long to come to, by the tablet's own program.

What the register said to an entry is noted as the program notes an answer; none of it is sent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Page

from tests.browser.field.inspection.walking import Inspector

# `at` is where the program's modules lie.
COPY = """async ([at, from, more]) => {
  const { begin, add, entries } = await import(`${at}database.js`);
  const [begun, ...rest] = await entries(from);
  const key = await begin(begun.says.car_id, begun.says);
  for (const { kind, says } of [...(more ? rest : []), ...(more ?? [])]) await add(key, kind, says);
  return key;
}"""
NOTE = """async ([at, report, kinds, answer]) => {
  const { entries } = await import(`${at}database.js`);
  const { took } = await import(`${at}outbox.js`);
  const all = await entries(report);
  const told = kinds.map((kind) => all.findLast((each) => each.kind === kind));
  await took(told, told.map(({ key }) => ({ key, ...answer })));
  return Object.fromEntries(told.map(({ kind, key }) => [kind, key]));
}"""
REFUSE_PICTURE = """async ([at, report, reason]) => {
  const { entries, whose } = await import(`${at}database.js`);
  const { notePhotograph } = await import(`${at}outbox.js`);
  const { says } = (await entries(report)).find((each) => each.kind === "photograph");
  await notePhotograph({ person: await whose(), report, digest: says.digest }, "refused", reason);
}"""
OUTCOME = {"item": "visual", "outcome": "pass", "words": ""}
WITHDRAWN = {"entry": "0" * 32, "why": "Taken back on the tablet"}
SIGNED = {"name": "I. Nobody", "method": "drawn", "strokes": [[[0, 0], [1, 1]]], "code": None}
FAULT = {"path": "says.words", "problem": "got more than 4000 letters; want fewer"}
OTHER = {
    "item": "visual", "event_id": 7, "happened_on": "2026-11-20", "outcome": "pass", "facility": "Made-up Shop",
    "inspector": "Otto Other", "recorded_by": "Otto Other", "recorded_at": "2026-11-20T10:00:00Z",
}  # fmt: skip


@dataclass(frozen=True)
class Tablet:
    """Somebody at a tablet; its reports and some of their screens, by what became of them."""

    inspector: Inspector
    places: Mapping[str, str]

    def go(self, name: str) -> Page:
        """To the screen that `name` means: `refused/entries` is that of the refused report."""
        state, _, rest = name.partition("/")
        where = f"{self.places[state]}/{rest}".rstrip("/") if state in self.places else name
        return self.inspector.go(where).page


def put(inspector: Inspector, report: str, mended: tuple[str, ...]) -> dict[str, str]:
    """A report half done, and copies: only begun, signed, refused, one that others were before; their places by name.

    Of the refused one an entry of each kind in `mended` is; each has a place of its own too.
    """
    fresh = _run(inspector, COPY, report, None)
    refused = _run(
        inspector, COPY, report, [_says("outcome", OUTCOME), _says("withdrawn", WITHDRAWN)]
    )
    signed, decide = (_run(inspector, COPY, report, [_says("signed", SIGNED)]) for _ in range(2))
    _run(inspector, REFUSE_PICTURE, report, "got no picture; want a JPEG")
    keys = _run(inspector, NOTE, refused, mended, {"state": "refused", "faults": [FAULT]})
    others = {"state": "conflict", "others": [OTHER, OTHER | {"item": "thickness"}]}
    conflict = _run(inspector, NOTE, decide, ["signed"], others)["signed"]
    return {
        "half": f"report/{report}", "fresh": f"report/{fresh}",
        "refused": f"report/{refused}", "signed": f"report/{signed}",
        "decide": f"report/{decide}", "conflict": f"report/{decide}/conflict/{conflict}",
        **{f"mend-{kind}": f"report/{refused}/mend/{key}" for kind, key in keys.items()},
    }  # fmt: skip


def _says(kind: str, says: dict[str, Any]) -> dict[str, Any]:
    return {"kind": kind, "says": says}


def _run(inspector: Inspector, script: str, *given: object) -> Any:
    return inspector.page.evaluate(script, [program(inspector), *given])


def program(inspector: Inspector) -> str:
    """Where the modules of the program lie that the page runs."""
    main = inspector.page.locator('script[type="module"]').first.get_attribute("src")
    return str(main).removesuffix("main.js")
