"""Everything that runs in operation, each in a process of its own: database, queue, web server, worker, beat, mail.

Nothing of the tests is around it: no transaction, no settings, no shared process. Whoever speaks to it speaks HTTP.
"""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http import HTTPStatus
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg
import requests
from aiosmtpd.controller import Controller

from tests.live.workers import PATIENCE_SECONDS, ROOT, wait_until
from tests.servers import APPLICATION_ROLE, as_role, running_redis, start_postgresql

# As in operation.
WEB_SERVER = ("-m", "gunicorn", "-c", "fleet/config/server/web.py", "fleet.config.wsgi")


@dataclass
class Parts:
    """The running parts: the address of the interface, the variables of a process, and the letters that left.

    All of them are connected to the database as the application's role, behind the wall between companies; only the
    tables are made by their owner.
    """

    address: str
    environment: Mapping[str, str]
    folder: Path
    letters: list[EmailMessage] = field(default_factory=list)

    def manage(self, *arguments: str, stdin: str = "", **variables: str) -> str:
        """Run a command of the project as an administrator does, and return what it printed."""
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT, env={**self.environment, **variables}, input=stdin, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-4000:]
        return done.stdout

    def logs(self) -> str:
        """The last lines of every process, for whoever reads a failure."""
        return "\n".join(
            f"--- {path.name}\n{path.read_text(errors='replace')[-3000:]}" for path in sorted(self.folder.glob("*.log"))
        )


class Person:
    """Somebody with a plain HTTP client: what is asked and answered, and which routes were written to."""

    def __init__(self, parts: Parts, written: set[tuple[str, str]], *, token: str = "") -> None:
        self.parts = parts
        self.written = written
        self.http = requests.Session()
        if token:
            self.http.headers["Authorization"] = f"Bearer {token}"

    def send(self, method: str, path: str, body: Any = None, *, status: int | None = None, **options: Any) -> Any:
        """Send a request and return the answer's content; any failure shows the answer and the servers' logs."""
        answer = self.http.request(method, f"{self.parts.address}/api/v1{path}", json=body, timeout=120, **options)
        return self._content(answer, method, path, body, status)

    def _content(self, answer: requests.Response, method: str, path: str, body: Any, status: int | None) -> Any:
        expected = {status} if status else {200, 201, 202, 204}
        if answer.status_code not in expected:
            raise AssertionError(
                f"{method} {path} {json.dumps(body)} -> {answer.status_code}\n{answer.text[:3000]}\n{self.parts.logs()}"
            )
        if method != "GET" and answer.status_code < 300:
            self.written.add((method, path.partition("?")[0]))
        if answer.headers.get("Content-Type", "").split(";")[0].endswith("json"):
            return answer.json()
        return answer.content

    def get(self, path: str, **options: Any) -> Any:
        return self.send("GET", path, **options)

    def post(self, path: str, body: Any = None, **options: Any) -> Any:
        return self.send("POST", path, body, **options)

    def patch(self, path: str, body: Any, *, status: int | None = None) -> Any:
        """Change a row as it is now: its ETag goes along. Where the worker came between, read and send once more."""
        address = f"{self.parts.address}/api/v1{path}"
        for _ in range(5):
            etag = self.http.get(address, timeout=60).headers["ETag"]
            answer = self.http.patch(address, json=body, headers={"If-Match": etag}, timeout=120)
            if answer.status_code != HTTPStatus.PRECONDITION_FAILED:
                break
        return self._content(answer, "PATCH", path, body, status)

    def delete(self, path: str, **options: Any) -> None:
        self.send("DELETE", path, **options)

    def retire_and_take_back(self, path: str) -> None:
        """Take a record out of use, and back into it."""
        assert self.post(f"{path}retire/", {"reason": "entered by mistake"})["retired_at"]
        assert self.post(f"{path}unretire/")["retired_at"] is None

    def rows(self, path: str) -> list[dict[str, Any]]:
        """All rows of a list, page by page."""
        rows: list[dict[str, Any]] = []
        address = f"{self.parts.address}/api/v1{path}"
        while address:
            page = self.http.get(address, timeout=60)
            assert page.status_code == 200, page.text[:2000]
            rows += page.json()["results"]
            address = page.json()["next"]
        return rows

    def finished(self, job: Mapping[str, Any]) -> dict[str, Any]:
        """Wait until a job has ended, and return it; one that failed is a failure."""
        state: dict[str, Any] = {}

        def ended() -> bool:
            state.update(self.get(f"/jobs/{job['id']}/"))
            return state["finished_at"] is not None

        try:
            # Asked now and then: each question takes time from the work that is waited for.
            wait_until(ended, f"job {job['id']} of kind {job['kind']}", every_seconds=0.5)
            assert state["state"] != "failed", state
        except AssertionError as error:
            error.add_note(self.parts.logs())
            raise
        return state


class _Letterbox:
    def __init__(self, letters: list[EmailMessage]) -> None:
        self.letters = letters

    async def handle_DATA(  # noqa: N802, the name is that of the library
        self, server: Any, session: Any, envelope: Any
    ) -> str:
        self.letters.append(message_from_bytes(envelope.content, policy=policy.default))
        return "250 taken"


def variables_of_a_server() -> dict[str, str]:
    """The variables of this shell without those of a run of tests and of another server."""
    outside = ("PYTEST", "DJANGO", "DATABASE_URL", "REDIS_URL", "TEST_DATABASE", "PROMETHEUS")
    return {name: value for name, value in os.environ.items() if not name.startswith(outside)}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _own_database() -> str:
    """A new database on a PostgreSQL of this run."""
    server = start_postgresql()
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute("CREATE DATABASE whole_job")
    return urlsplit(server)._replace(path="/whole_job").geturl()


@contextmanager
def running_parts(folder: Path, *, web_workers: int = 2, **variables: str) -> Iterator[Parts]:
    """Start all parts on an empty, migrated database, with more variables if given; at the end all is gone."""
    letters: list[EmailMessage] = []
    with ExitStack() as stack:
        queue = stack.enter_context(running_redis())
        post = Controller(_Letterbox(letters), hostname="127.0.0.1", port=free_port())
        post.start()
        stack.callback(post.stop)
        port = free_port()
        owner = _own_database()
        environment = variables_of_a_server() | {
            "DATABASE_URL": as_role(owner, APPLICATION_ROLE),
            "REDIS_URL": queue,
            "HOME": str(folder),
            "SECRET_KEY": "a key of this run alone, long enough to be taken: 0123456789",
            "ALLOWED_HOSTS": "127.0.0.1",
            "EMAIL_URL": f"smtp://127.0.0.1:{post.port}",
            "EMAIL_FROM": "service@north.example",
            "FILES_DIR": str(folder / "files"),
            "PUBLIC_URL": f"http://127.0.0.1:{port}",
            **variables,
        }
        parts = Parts(f"http://127.0.0.1:{port}", environment, folder, letters)
        parts.manage("migrate", DATABASE_URL=owner)
        parts.manage("application_role", APPLICATION_ROLE, stdin="of this run alone\n", DATABASE_URL=owner)
        celery = ["-m", "celery", "-A", "fleet.config.celery"]
        for name, command in {
            "web": [*WEB_SERVER, "--workers", str(web_workers), "--bind", f"127.0.0.1:{port}"],
            "worker": [*celery, "worker", "--concurrency", "1", "--without-gossip", "--without-mingle"],
            "beat": [*celery, "beat", "--schedule", str(folder / "beat")],
        }.items():
            stack.enter_context(server_process(command, environment, folder / f"{name}.log"))
        _wait_for_server(parts)
        yield parts


@contextmanager
def server_process(command: list[str], environment: Mapping[str, str], log: Path) -> Iterator[None]:
    """A Python program of its own while the block lasts; what it says is written to the log."""
    with log.open("wb") as output:
        process = subprocess.Popen([sys.executable, *command], cwd=ROOT, env=environment, stdout=output, stderr=output)
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait_for_server(parts: Parts) -> None:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while True:
        try:
            requests.get(f"{parts.address}/api/v1/problems/", timeout=60)
        except requests.RequestException:
            if time.monotonic() > deadline:
                raise AssertionError(parts.logs()) from None
            time.sleep(0.1)
        else:
            return
