"""A database that cannot be reached: the process lives, says that it is not ready, and asks callers to come again."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from tests.live.parts import free_port
from tests.live.workers import PATIENCE_SECONDS, ROOT

# The port of a service that no machine runs any more: connections to it are refused.
DEAD = "postgresql://nobody@127.0.0.1:1/none"


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """A server process whose database is away."""
    port = free_port()
    ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "DJANGO", "REDIS_URL"))}
    command = [sys.executable, "-m", "gunicorn", "--bind", f"127.0.0.1:{port}", "fleet.config.wsgi"]
    with (tmp_path / "web.log").open("wb") as log:
        process = subprocess.Popen(
            command, cwd=ROOT, env=ours | {"DATABASE_URL": DEAD}, stdout=log, stderr=subprocess.STDOUT
        )
    try:
        _wait(f"http://127.0.0.1:{port}", tmp_path / "web.log")
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(20)


def _wait(address: str, log: Path) -> None:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < deadline:
        try:
            requests.get(f"{address}/healthz", timeout=60)
        except requests.RequestException:
            time.sleep(0.1)
        else:
            return
    raise AssertionError(log.read_text())


def test_a_server_without_its_database_says_so(address: str) -> None:
    alive = requests.get(f"{address}/healthz", timeout=60)
    assert (alive.status_code, alive.json()) == (200, {"process": "ok"})
    ready = requests.get(f"{address}/readyz", timeout=60)
    assert (ready.status_code, ready.json()["database"]) == (503, "cannot be reached")
    assert "127.0.0.1" not in ready.text
    for answer in (
        requests.get(f"{address}/api/v1/units/", headers={"Authorization": f"Bearer {'a' * 64}"}, timeout=60),
        requests.post(f"{address}/api/v1/login/", json={"email": "a@b.example", "password": "c"}, timeout=60),
    ):
        assert answer.status_code == 503, answer.text
        assert answer.headers["Retry-After"] == "10"
        assert answer.json()["code"] == "busy"
