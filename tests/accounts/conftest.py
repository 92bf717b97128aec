"""What the tests of this room share."""

from collections.abc import Iterator

import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _fresh_throttles() -> Iterator[None]:
    """Attempts to sign in are counted in the cache: no test inherits another's."""
    cache.clear()
    yield
    cache.clear()
