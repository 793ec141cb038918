"""Which characters a packet shows as they are, and what stands for any other.

A document for the archive may hold no character without a letter in its fonts (ISO 19005-2, 6.2.11), so the
typesetting library refuses the whole of one. Latin, Greek and Cyrillic, punctuation, signs and arrows are shown;
marks that combine, and what turns the direction of writing, are not among them.
"""

from __future__ import annotations

import unicodedata
from typing import Any

# Code points from and to; each is in the fonts, which a test asks them.
HELD = (
    (0x20, 0x7E), (0xA0, 0xAC), (0xAE, 0x24F), (0x391, 0x3A1), (0x3A3, 0x3A9), (0x3B1, 0x3C9), (0x400, 0x45F),
    (0x2010, 0x2027), (0x2030, 0x205E), (0x202F, 0x202F), (0x20A0, 0x20BF), (0x2100, 0x214F), (0x2190, 0x21FF),
    (0x2200, 0x22FF), (0x25A0, 0x25FF),
)  # fmt: skip
# Line breaks and tabs are layout.
LAYOUT = "\n\t"


def held(character: str) -> bool:
    """Whether a packet shows it as it is."""
    code = ord(character)
    return character in LAYOUT or any(first <= code <= last for first, last in HELD)


def shown(text: str) -> str:
    """The text with each character that is not held as its number, such as `[U+65E5]`."""
    if text.isascii() and text.isprintable():
        return text
    composed = unicodedata.normalize("NFC", text.replace("\r\n", "\n"))
    return "".join(each if held(each) else f"[U+{ord(each):04X}]" for each in composed)


def all_shown(data: Any) -> Any:
    """The same for every text in plain data."""
    match data:
        case str():
            return shown(data)
        case dict():
            return {name: all_shown(value) for name, value in data.items()}
        case list() | tuple():
            return [all_shown(each) for each in data]
    return data
