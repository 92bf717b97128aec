"""Whether there is a browser at all."""

import pytest

from tests.browser.conftest import CHROMIUM


@pytest.mark.browser
def test_there_is_a_browser_to_walk_with() -> None:
    if CHROMIUM is None:
        pytest.skip("There is no Chromium: the pages were not walked. Install it, or name it in CHROMIUM.")
    assert CHROMIUM
