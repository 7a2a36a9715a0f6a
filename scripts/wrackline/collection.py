"""Pausing of Python's garbage collector while very many small objects are made."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collection_paused() -> Iterator[None]:
    """Pause the collector: shapes refer to nothing, but it looks through millions of them.

    Examples
    --------
    >>> with collection_paused():
    ...     gc.isenabled()
    False
    >>> gc.isenabled()
    True
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
