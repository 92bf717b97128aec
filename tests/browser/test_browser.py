"""Whether there is a browser at all."""

import os

import pytest

from tests.browser.conftest import CHROMIUM

MISSING = "There is no Chromium: the pages were not walked. Install it, or name it in CHROMIUM."


@pytest.mark.browser
def test_there_is_a_browser_to_walk_with() -> None:
    if CHROMIUM is None and os.environ.get("BROWSER_TESTS") != "required":
        pytest.skip(MISSING)
    assert CHROMIUM, MISSING
