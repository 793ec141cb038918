"""What a packet says, read as a screen reader does: along its tags, each with the text that was marked as its own."""

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream, DictionaryObject, IndirectObject

# Page and number of a piece of marked content.
Piece = tuple[int, int]


@dataclass(frozen=True)
class Tagged:
    """An element of the structure with text of its own; `piece` is the first that it marks."""

    tag: str
    text: str
    piece: Piece


class Pdf:
    """A PDF by its tags. Fonts are those of the library that makes packets: two bytes a glyph, each with its letter."""

    def __init__(self, content: bytes) -> None:
        self.reader = PdfReader(io.BytesIO(content))
        self.root: Any = self.reader.trailer["/Root"]

    @cached_property
    def pieces(self) -> dict[Piece, str]:
        """The text of each piece of marked content, in the order in which it is drawn."""
        found: dict[Piece, str] = {}
        for number, page in enumerate(self.reader.pages):
            for mark, text in _marked(page, self.reader):
                found[number, mark] = found.get((number, mark), "") + text
        return found

    @cached_property
    def tagged(self) -> list[Tagged]:
        """Every element with text of its own, in the order of the structure."""
        pages = {page.indirect_reference.idnum: at for at, page in enumerate(self.reader.pages)}
        return list(self._under(self.root["/StructTreeRoot"], "", None, pages))

    def _under(self, element: Any, tag: str, page: int | None, pages: Any) -> Iterator[Tagged]:
        page = _page(element, pages, page)
        kids = element.get("/K", [])
        for kid in kids if isinstance(kids, list) else [kids]:
            each = kid.get_object() if isinstance(kid, IndirectObject) else kid
            if isinstance(each, int):
                yield from self._own(tag, (page, int(each)))
            elif each.get("/Type") == "/MCR":
                yield from self._own(tag, (_page(each, pages, page), int(each["/MCID"])))
            elif "/S" in each:
                yield from self._under(each, each["/S"][1:], page, pages)

    def _own(self, tag: str, piece: Any) -> Iterator[Tagged]:
        if piece in self.pieces:
            yield Tagged(tag, self.pieces[piece], piece)

    @cached_property
    def dictionaries(self) -> list[DictionaryObject]:
        """Every object of the file that has keys."""
        numbers = range(1, int(self.reader.trailer["/Size"]))
        found = [self.reader.get_object(IndirectObject(each, 0, self.reader)) for each in numbers]
        return [each for each in found if isinstance(each, DictionaryObject)]

    @property
    def words(self) -> str:
        """All that is tagged, without spaces: lines and pages end where they do."""
        return squashed("".join(each.text for each in self.tagged))

    @property
    def kinds(self) -> set[str]:
        """The kinds of all elements, whether they have text or not."""
        return {each["/S"][1:] for each in self._elements(self.root["/StructTreeRoot"])}

    def elements(self, kind: str) -> list[Any]:
        return [
            each
            for each in self._elements(self.root["/StructTreeRoot"])
            if each["/S"] == f"/{kind}"
        ]

    def _elements(self, element: Any) -> Iterator[Any]:
        kids = element.get("/K", [])
        for kid in kids if isinstance(kids, list) else [kids]:
            each = kid.get_object() if isinstance(kid, IndirectObject) else kid
            if isinstance(each, DictionaryObject) and "/S" in each:
                yield each
                yield from self._elements(each)


def squashed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def in_order(expected: list[str], words: str) -> None:
    """Fail unless each of these is found behind the one before it."""
    at = 0
    for each in map(squashed, expected):
        found = words.find(each, at)
        assert found >= 0, f"{each!r} is not told after {words[max(0, at - 80) : at]!r}"
        at = found + len(each)


def _page(element: Any, pages: dict[int, int], before: int | None) -> int | None:
    raw = element.raw_get("/Pg") if "/Pg" in element else None
    return pages[raw.idnum] if isinstance(raw, IndirectObject) else before


def _marked(page: Any, reader: PdfReader) -> Iterator[tuple[int, str]]:
    """Number of the mark, and text drawn within it; what is an artifact has none."""
    fonts = {
        name: _letters(font.get_object())
        for name, font in page["/Resources"].get("/Font", {}).items()
    }
    letters: dict[int, str] = {}
    within: list[int | None] = []
    instead: list[str | None] = []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator == b"Tf":
            letters = fonts[operands[0]]
        elif operator in (b"BDC", b"BMC"):
            told = (
                operands[1]
                if len(operands) > 1 and isinstance(operands[1], DictionaryObject)
                else {}
            )
            within.append(int(told["/MCID"]) if "/MCID" in told else None)
            instead.append(told.get("/ActualText"))
            if within[-1] is None and instead[-1] is not None:
                yield from _own(within, str(instead[-1]))
        elif operator == b"EMC":
            within.pop()
            instead.pop()
        elif operator in (b"Tj", b"TJ") and not any(each is not None for each in instead):
            strings = operands[0] if operator == b"TJ" else operands
            drawn = b"".join(
                each.original_bytes for each in strings if hasattr(each, "original_bytes")
            )
            codes = [int.from_bytes(drawn[at : at + 2], "big") for at in range(0, len(drawn), 2)]
            yield from _own(within, "".join(letters.get(code, "�") for code in codes))


def _own(within: list[int | None], text: str) -> Iterator[tuple[int, str]]:
    mark = next((each for each in reversed(within) if each is not None), None)
    if mark is not None:
        yield mark, text


def _letters(font: Any) -> dict[int, str]:
    """By the number of a glyph what it stands for (ISO 32000-1, 9.10.3)."""
    told = font["/ToUnicode"].get_object().get_data().decode("latin-1")
    found: dict[int, str] = {}
    for block in re.findall(r"beginbfchar(.*?)endbfchar", told, re.DOTALL):
        for code, letter in re.findall(r"<(\w+)>\s*<(\w+)>", block):
            found[int(code, 16)] = bytes.fromhex(letter).decode("utf-16-be")
    for block in re.findall(r"beginbfrange(.*?)endbfrange", told, re.DOTALL):
        for first, last, letter in re.findall(r"<(\w+)>\s*<(\w+)>\s*<(\w+)>", block):
            start = int(letter, 16)
            for code in range(int(first, 16), int(last, 16) + 1):
                found[code] = chr(start + code - int(first, 16))
    return found
