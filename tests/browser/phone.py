"""An installer's phone: a real browser with a profile of its own, on a line that can be cut."""

import os
import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from socketserver import BaseRequestHandler, ThreadingTCPServer
from typing import Any, Self
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, BrowserType, Page
from playwright.sync_api import Error as PlaywrightError

from tests.browser.conftest import CHROMIUM, PHONE


class Line:
    """The way from a phone to the server; it can be cut, for whatever on the phone wants to use it."""

    def __init__(self, server: str) -> None:
        self.target = (urlsplit(server).hostname or "", urlsplit(server).port or 80)
        self.is_cut = False
        self.open: set[socket.socket] = set()
        line = self

        class Relay(BaseRequestHandler):
            def handle(self) -> None:
                line._carry(self.request)

        self.server = ThreadingTCPServer(("127.0.0.1", 0), Relay)
        self.server.daemon_threads = True
        self.address = f"http://127.0.0.1:{self.server.server_address[1]}"
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()

    def cut(self) -> None:
        self.is_cut = True
        for end in list(self.open):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        self.is_cut = False

    def _carry(self, near: socket.socket) -> None:
        if self.is_cut:
            return
        with socket.create_connection(self.target) as far:
            self.open |= {near, far}
            back = threading.Thread(target=_pump, args=(far, near), daemon=True)
            back.start()
            _pump(near, far)
            back.join()
            self.open -= {near, far}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.cut()
        self.server.shutdown()
        self.server.server_close()


def _pump(source: socket.socket, sink: socket.socket) -> None:
    with suppress(OSError):
        while data := source.recv(65536):
            sink.sendall(data)
    for end in (source, sink):
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


class Phone:
    """A browser whose profile stays when it is closed, or when its battery dies."""

    def __init__(self, browser_type: BrowserType, folder: Path, line: Line) -> None:
        self.browser_type, self.folder, self.line = browser_type, folder, line
        self.faults: list[str] = []
        self.context: BrowserContext
        self.page: Page
        self.turn_on()

    def turn_on(self) -> None:
        self.context = self.browser_type.launch_persistent_context(
            str(self.folder),
            executable_path=CHROMIUM,
            args=["--no-sandbox"],
            viewport={"width": PHONE[0], "height": PHONE[1]},
        )
        self.context.set_default_timeout(60_000)
        self.context.set_offline(self.line.is_cut)
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))

    def die(self) -> None:
        """The battery is empty: nobody on the phone is asked whether they have finished."""
        for entry in Path("/proc").glob("[0-9]*/cmdline"):
            with suppress(OSError):
                if f"--user-data-dir={self.folder}".encode() in entry.read_bytes():
                    os.kill(int(entry.parent.name), signal.SIGKILL)
        with suppress(Exception):
            self.context.close()
        for lock in self.folder.glob("Singleton*"):
            lock.unlink()

    def lose_signal(self) -> None:
        self.line.cut()
        self.context.set_offline(True)

    def find_signal(self) -> None:
        self.line.mend()
        self.context.set_offline(False)

    def go(self, path: str) -> None:
        self.page.goto(self.line.address + path)

    def sign_in(self, email: str, password: str) -> None:
        self.go("/sign-in/?next=/my-day/")
        self.page.fill("[name=email]", email)
        self.page.fill("[name=password]", password)
        self.page.click("main button")
        self.page.wait_for_url("**/my-day/")

    def said(self, text: str) -> None:
        """Wait until the page says something beside its signal."""
        try:
            self.page.locator("#signal", has_text=text).wait_for()
        except PlaywrightError as error:
            error.add_note(f"instead: {self.page.inner_text('main')[:1500]}\nfaults: {self.faults}")
            raise

    def kept(self) -> dict[str, Any]:
        """All that lies on the phone: names of caches with what they hold, and rows of databases."""
        everything: dict[str, Any] = self.page.evaluate(_ALL_THAT_LIES_HERE)
        return everything


_ALL_THAT_LIES_HERE = """async () => {
  const caches_ = {};
  for (const name of await caches.keys()) {
    caches_[name] = (await (await caches.open(name)).keys()).map((request) => new URL(request.url).pathname);
  }
  const rows = {};
  for (const { name } of await indexedDB.databases()) {
    const database = await new Promise((resolve, reject) => {
      const request = indexedDB.open(name);
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
    for (const store of database.objectStoreNames) {
      rows[`${name}/${store}`] = await new Promise((resolve, reject) => {
        const request = database.transaction(store).objectStore(store).getAll();
        request.onsuccess = () => resolve(request.result.length);
        request.onerror = () => reject(request.error);
      });
    }
    database.close();
  }
  return { caches: caches_, rows };
}"""


@contextmanager
def lines_to(server: str) -> Iterator[Line]:
    """A line to a server, taken down at the end."""
    with Line(server) as line:
        yield line
