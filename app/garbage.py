"""The collector of cycles: off where a great deal is made that has none, and blind to the program itself."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def paused(when: bool = True) -> Iterator[None]:
    """Thousands of rows and facts make no cycles, and looking for some would take a fifth of the time."""
    pause = when and gc.isenabled()
    if pause:
        gc.disable()
    try:
        yield
    finally:
        if pause:
            gc.enable()


@contextmanager
def loaded_for_good() -> Iterator[None]:
    """What is loaded within stays to the end: looking through it takes a quarter of the time, then and ever again."""
    with paused():
        yield
        gc.freeze()
