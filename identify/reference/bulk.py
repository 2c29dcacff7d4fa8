"""Reading thousands of models at once."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def all_kept() -> Iterator[None]:
    """While reading, which makes millions of small values and throws none away: looking for garbage among them would
    take a third of the time."""
    looked = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if looked:
            gc.enable()
