"""How long an installer waits for the day and a stop the first time, on a bad line: 400 kbit/s, 400 ms to and fro.

    .venv/bin/python manage.py demo
    .venv/bin/gunicorn -c fleet/config/server/web.py --bind 127.0.0.1:8000 fleet.config.wsgi
    .venv/bin/python -m tests.benchmarks.bench_phone --server http://127.0.0.1:8000 --path /my-day/rounds/1/

Each look is by a browser that holds nothing but its session. Aimed at: 2 seconds until all is loaded, and 200 kB.
Signs in as an installer of the demo (`--email`); needs Chromium (`CHROMIUM`, or found on PATH). Whoever hears the
slow line is the browser, which is told to wait 400 ms for each answer and to take 50 kB of them a second.
"""

import argparse
import json
import statistics
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, sync_playwright

from tests.browser.conftest import CHROMIUM, PHONE

AIM_S: Final = 2.0
AIM_KB: Final = 200.0
LINE: Final = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}


@dataclass(frozen=True, slots=True)
class Look:
    """One first look at a page: seconds from the call, kB that came over the line, and how many files."""

    answered: float
    painted: float
    loaded: float
    kb: float
    files: int
    each: list[str]


_TIMES: Final = """() => {
  const page = performance.getEntriesByType("navigation")[0];
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  return {
    answered: page.responseStart, painted: paint ? paint.startTime : page.loadEventEnd, loaded: page.loadEventEnd,
    each: [page, ...performance.getEntriesByType("resource")].map((row) =>
      `${Math.round(row.startTime)} to ${Math.round(row.responseEnd)} ms, ${row.transferSize} B  ${row.name}`),
  };
}"""


def look(browser: Browser, server: str, path: str, cookies: list[Any]) -> Look:
    """Open a page in a browser that has never seen it."""
    context = browser.new_context(
        base_url=server, viewport={"width": PHONE[0], "height": PHONE[1]}, service_workers="block"
    )
    context.add_cookies(cookies)
    page = context.new_page()
    wire = context.new_cdp_session(page)
    wire.send("Network.enable")
    wire.send("Network.emulateNetworkConditions", LINE)
    sizes: list[float] = []
    wire.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto(path, wait_until="load", timeout=60_000)
    # The event is over before its end is written down.
    page.wait_for_function("performance.getEntriesByType('navigation')[0].loadEventEnd > 0")
    told = page.evaluate(_TIMES)
    context.close()
    seconds = {name: told[name] / 1000 for name in ("answered", "painted", "loaded")}
    return Look(**seconds, kb=sum(sizes) / 1000, files=len(sizes), each=told["each"])


def signed_in(browser: Browser, server: str, email: str, password: str) -> list[Any]:
    """The cookies of an installer, by the door and on a good line."""
    context = browser.new_context(base_url=server)
    page = context.new_page()
    page.goto("/sign-in/")
    page.fill("[name=email]", email)
    page.fill("[name=password]", password)
    page.click("main button")
    page.wait_for_url("**/my-day/")
    cookies: list[Any] = context.cookies()
    context.close()
    return cookies


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--server", default="http://127.0.0.1:8000")
    parser.add_argument("--folder", type=Path, default=Path(".demo"), help="where the demo wrote its logins")
    parser.add_argument("--email", default="runa@ostrelle-water.example")
    parser.add_argument("--path", action="append", help="page to look at, again and again; /my-day/ when left out")
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--each", action="store_true", help="print when each file of the last look came")
    asked = parser.parse_args()
    password = json.loads((asked.folder / "logins.json").read_text())["passwords"][asked.email]
    print(f"{'page':<28}{'answered':>10}{'painted':>10}{'loaded':>10}{'kB':>8}{'files':>7}   medians of {asked.times}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        cookies = signed_in(browser, asked.server, asked.email, password)
        for path in asked.path or ["/my-day/"]:
            looks = [look(browser, asked.server, path, cookies) for _ in range(asked.times)]
            middle = {
                name: statistics.median(getattr(each, name) for each in looks)
                for name in ("answered", "painted", "loaded", "kb")
            }
            is_met = middle["loaded"] < AIM_S and middle["kb"] < AIM_KB
            print(
                f"{path:<28}{middle['answered']:>8.2f} s{middle['painted']:>8.2f} s{middle['loaded']:>8.2f} s"
                f"{middle['kb']:>8.1f}{looks[-1].files:>7}   {'met' if is_met else 'missed'}"
            )
            if asked.each:
                print(*looks[-1].each, sep="\n")
        browser.close()


if __name__ == "__main__":
    main()
