"""How much a run of the tests tries: a short one by default, everything with `TEST_EFFORT=long`.

What is `long` by its mark is left out of a short run; what walks over many inputs takes a part of them, each place
another part, so that together they still take every input.
"""

import os
from collections.abc import Sequence
from typing import TypeVar
from zlib import crc32

from django.core.exceptions import ImproperlyConfigured

_asked = os.environ.get("TEST_EFFORT", "short")
if _asked not in {"short", "long"}:
    raise ImproperlyConfigured(f"TEST_EFFORT is '{_asked}': write short or long.")

LONG = _asked == "long"

T = TypeVar("T")


def one_in(many: int, place: str) -> bool:
    """Whether a place is tried: each in a long run, in a short one about one in so many."""
    return LONG or crc32(place.encode()) % many == 0


def some(values: Sequence[T], place: str, one_in: int) -> Sequence[T]:
    """All values in a long run; in a short one, one in so many, begun at another value at each place."""
    return values if LONG else values[crc32(place.encode()) % one_in :: one_in]
