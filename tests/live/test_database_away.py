"""A database that cannot be reached: the process lives, says that it is not ready, and asks callers to come again."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from tests.live.parts import free_port, server_process
from tests.live.workers import wait_until

# The port of a service that no machine runs any more: connections to it are refused.
DEAD = "postgresql://nobody@127.0.0.1:1/none"


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """A server process whose database is away."""
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    ours = {name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "DJANGO", "REDIS_URL"))}

    def answers() -> bool:
        try:
            return requests.get(f"{address}/healthz", timeout=60).ok
        except requests.RequestException:
            return False

    command = ["-m", "gunicorn", "--bind", f"127.0.0.1:{port}", "fleet.config.wsgi"]
    with server_process(command, ours | {"DATABASE_URL": DEAD}, tmp_path / "web.log"):
        wait_until(answers, "the server's first answer")
        yield address


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
