"""What the browser tests ask for: pages of four kinds, and what stands in the way of anybody on them."""

import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.effort import LONG

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
PHONE, DESK = (390, 844), (1440, 900)
# Contrast is a matter of the scheme and order one of the size: two looks see both of each.
VIEWS = ((PHONE, "light"), (DESK, "dark"))

# A machine with much to do is slow, and no page is wrong for that.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)

if CHROMIUM is None:
    # Said once, by test_browser.py, and not for every test.
    collect_ignore_glob = ["test_*_day.py"]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """A browser for the tests of one file, until after the last of them has given its rows back."""
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        # The driver keeps a loop in this thread, in which Django would take any query for a slip.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """Open a page in a browser of its own, whose console must stay empty: what its policy refuses is said there."""
    complaints: list[str] = []
    contexts = []

    def open_one(size: tuple[int, int] = PHONE, scheme: Any = "light") -> Page:
        context = chromium.new_context(
            base_url=live_server.url, viewport={"width": size[0], "height": size[1]}, color_scheme=scheme
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", lambda line: complaints.append(line.text) if line.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield open_one
    for context in contexts:
        context.close()
    # A refused form is an answer that says so, which the console repeats.
    assert [text for text in complaints if "status of 4" not in text] == []


@pytest.fixture
def nothing_in_the_way() -> Callable[[Page], None]:
    """Fail where axe finds something, in light and dark, on a phone and at a desk, or where twice the size needs more
    width than there is."""

    asked = itertools.count()

    def look(page: Page) -> None:
        turn = next(asked)
        # a page that was just asked for may still be without its style sheet
        page.wait_for_load_state("load")
        # in a short run each page of a walk has one of the two looks
        for size, scheme in VIEWS if LONG else (VIEWS[turn % len(VIEWS)],):
            page.set_viewport_size({"width": size[0], "height": size[1]})
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            found = Axe().run(page)
            assert found.violations_count == 0, f"{page.url}, {size}, {scheme}\n{found.generate_report()}"
        page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
        page.emulate_media(color_scheme="light")
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{page.url} at 200 %"
        page.evaluate("document.documentElement.style.fontSize = ''")

    return look
