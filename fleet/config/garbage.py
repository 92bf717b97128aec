"""How often Python looks for objects that hold nothing but each other."""

import gc
from typing import Final

_NEW_OBJECTS: Final = 20_000
"""A page of a list makes some thousands that live as long as the request; at Python's own 700 each request would look
through them, and now and then through all that stands since the start, ten times and more."""


def collect_less_often() -> None:
    """Collect them after as many new objects as some requests make. They cost that much memory at most meanwhile."""
    gc.set_threshold(_NEW_OBJECTS)


def keep_what_stands() -> None:
    """Never look again through what stands now: for a process that has read its code and begins to serve."""
    gc.collect()
    gc.freeze()
