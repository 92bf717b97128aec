"""Worker processes of the real application, and the gate that holds one up in the middle of its work."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self
from urllib.parse import urlsplit

from django.db import connection

from tests.servers import APPLICATION_ROLE, as_role

ROOT = Path(__file__).resolve().parents[2]

# Nothing is measured: a wait this long means that it will never come.
PATIENCE_SECONDS = 600.0


def wait_until(happens: Callable[[], bool], what: str, *, every_seconds: float = 0.05) -> None:
    """Look again and again until something has happened."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not happens():
        if time.monotonic() > deadline:
            raise AssertionError(f"waited in vain: {what}")
        time.sleep(every_seconds)


def test_database_address() -> str:
    """The address of the database that this test writes to, for another process, which is the product's role there."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return as_role(urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl(), APPLICATION_ROLE)


class Worker:
    """`celery -A fleet.config.celery worker`, in a group of processes of its own so that all of it can be killed."""

    def __init__(self, *, broker: str, log: Path, gate: Path | None = None, hands: int = 1, **variables: str) -> None:
        command = [sys.executable, "-m", "celery", "-A", "fleet.config.celery", "worker", "--loglevel", "INFO"]
        command += ["--concurrency", str(hands), "--without-gossip", "--without-mingle", "--hostname", f"{log.stem}@%h"]
        if gate is not None:
            command += ["--include", "tests.live.gate"]
            variables["GATE"] = str(gate)
        environment = os.environ | {
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
            "DATABASE_URL": test_database_address(),
            "REDIS_URL": broker,
            **variables,
        }
        self.log = log
        with log.open("wb") as output:
            self.process = subprocess.Popen(
                command, cwd=ROOT, env=environment, stdout=output, stderr=output, start_new_session=True
            )

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def kill(self) -> None:
        """End every process of the worker as a power cut would: nothing is told, nothing is tidied up."""
        if self.process.returncode is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    def wait_until(self, happens: Callable[[], bool], what: str) -> None:
        """Wait for something this worker will bring about; its log tells why it did not."""
        try:
            wait_until(lambda: happens() or self.process.poll() is not None, what)
            assert happens(), f"the worker ended before: {what}"
        except AssertionError as error:
            error.add_note(self.log.read_text(errors="replace")[-6000:])
            raise
