"""The collector of cycles kept from looking through columns: hundreds of thousands of them, none in a cycle."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

# New objects before the collector looks at them, of those the times before it looks at older ones, and so on.
RARELY = (200_000, 50, 50)


@contextmanager
def collected_rarely() -> Iterator[None]:
    """Else looking for cycles takes about a tenth of the time of a search among thousands of cars."""
    usual = gc.get_threshold()
    gc.set_threshold(*RARELY)
    try:
        yield
    finally:
        gc.set_threshold(*usual)
