"""What one request of the mixed load costs, part by part: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_requests                       each kind of request 60 times, on real parts
    python -m tests.benchmarks.bench_requests --profile             and in which functions the time goes
    python -m tests.benchmarks.bench_requests --only meter office

The requests are those of `load_people`, one after the other, as often as a caller of `bench_load` sends them. They are
answered by the web application in this process, on the demo company, with PostgreSQL behind the wall and a queue; so
processor milliseconds are those of the application alone, without a caller's and without the web server's. For each
kind: milliseconds of processor of the application and of its connection's server process, statements, and kilobytes.
"""

import argparse
import cProfile
import io
import itertools
import json
import os
import pstats
import random
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psutil

from tests.benchmarks.bench_load import _given
from tests.live.parts import running_parts

#: Name of a request to what it is: who asks, the share of all requests in per mille, and the address.
_MIX = {
    "meter posts a reading": ("meter", 400, "readings/"),
    "client units/<id>/status/": ("client", 120, "units/{own}/status/"),
    "client visits/": ("client", 40, "visits/"),
    "client readings/?unit=<id>": ("client", 40, "readings/?unit={own}"),
    "installer rounds/<id>/day-sheet/": ("installer", 80, "rounds/{rounds}/day-sheet/"),
    "installer units/<id>/": ("installer", 80, "units/{units}/"),
    "installer posts a reading": ("installer", 40, "readings/"),
    "office units/": ("office", 75, "units/"),
    "office forecasts/?ordering=p50": ("office", 50, "forecasts/?ordering=p50"),
    "office findings/?state=open": ("office", 25, "findings/?state=open"),
    "office purchase-orders/": ("office", 25, "purchase-orders/"),
    "office attention/": ("office", 25, "attention/"),
}
_READ = {
    "meter": {"permeate_tds": "11.2 ppm"},
    "installer": {"feed_tds": "240 ppm", "permeate_tds": "11 ppm", "temperature": "12 degC"},
}


@dataclass
class Cost:
    """What the requests of one kind cost, in milliseconds of processor."""

    web: list[float] = field(default_factory=list)
    database: list[float] = field(default_factory=list)
    statements: int = 0
    kilobytes: float = 0.0


def main() -> None:
    """Start the parts, ask, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=60, help="how often each kind is asked")
    parser.add_argument("--only", nargs="*", help="kinds whose name holds one of these")
    parser.add_argument("--profile", action="store_true")
    options = parser.parse_args()
    kinds = [name for name in _MIX if not options.only or any(word in name for word in options.only)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with running_parts(folder, web_workers=1, REQUEST_BUDGET_PERCENT="0") as parts:
            parts.manage("demo", "--folder", str(folder / "demo"))
            given = _given(parts, json.loads((folder / "demo" / "logins.json").read_text())["tokens"])
            os.environ |= {**parts.environment, "DJANGO_SETTINGS_MODULE": "fleet.config.settings"}
            from fleet.config.wsgi import application

            _measure(application, given, kinds, options.times, options.profile)


def _measure(application: Any, given: Mapping[str, Any], kinds: list[str], times: int, profiled: bool) -> None:
    from django.db import connection

    ask = _asker(application, given)
    # one connection to the end: its server process is looked at
    connection.settings_dict["CONN_MAX_AGE"] = None
    for kind in kinds:
        ask(kind)
        ask(kind)
    connection.ensure_connection()
    backend = psutil.Process(connection.connection.info.backend_pid)
    costs = {kind: Cost() for kind in kinds}
    for kind in kinds:
        connection.force_debug_cursor = True
        connection.queries_log.clear()
        costs[kind].kilobytes = ask(kind) / 1000
        costs[kind].statements = len(connection.queries_log)
        connection.force_debug_cursor = False
        if profiled:
            print(kind, *(f"{row['time']} {row['sql'][:300]}" for row in connection.queries_log), sep="\n  ")
        before = _seconds_of(backend)
        for _ in range(times):
            began = time.process_time()
            ask(kind)
            costs[kind].web.append(1000 * (time.process_time() - began))
        costs[kind].database.append(1000 * (_seconds_of(backend) - before) / times)
    _print(costs)
    if profiled:
        profile = cProfile.Profile()
        chance = random.Random(7)
        wanted = chance.choices(kinds, [_MIX[kind][1] for kind in kinds], k=times * len(kinds))
        profile.enable()
        for kind in wanted:
            ask(kind)
        profile.disable()
        for order in ("tottime", "cumtime"):
            out = io.StringIO()
            pstats.Stats(profile, stream=out).sort_stats(order).print_stats(90)
            print(f"{len(wanted)} requests\n{out.getvalue()}")


def _asker(application: Any, given: Mapping[str, Any]) -> Callable[[str], int]:
    """A function that asks one kind of request, each time of the next row, and gives the bytes of its answer."""
    turns: dict[str, Iterator[Any]] = {name: itertools.cycle(given[name]) for name in ("own", "units", "rounds")}

    def ask(kind: str) -> int:
        who, _, template = _MIX[kind]
        address = template.format(**{name: next(ids) for name, ids in turns.items() if f"{{{name}}}" in template})
        path, _, query = address.partition("?")
        body = b""
        if "posts" in kind:
            about = {"unit": given["metered"], "reference": f"load-{uuid.uuid4()}"}
            body = json.dumps({**about, "taken_at": datetime.now(UTC).isoformat(), **_READ[who]}).encode()
        environ = {
            "REQUEST_METHOD": "POST" if body else "GET", "PATH_INFO": f"/api/v1/{path}", "QUERY_STRING": query,
            "SERVER_NAME": "127.0.0.1", "SERVER_PORT": "80", "HTTP_HOST": "127.0.0.1", "REMOTE_ADDR": "127.0.0.1",
            "HTTP_ACCEPT": "*/*", "HTTP_AUTHORIZATION": f"Bearer {given['tokens'][who]}",
            "CONTENT_TYPE": "application/json" if body else "", "CONTENT_LENGTH": str(len(body)),
            "wsgi.input": io.BytesIO(body), "wsgi.url_scheme": "http", "wsgi.errors": io.StringIO(),
        }  # fmt: skip
        told: list[str] = []
        answer = application(environ, lambda status, headers, info=None: told.append(status))
        size = sum(map(len, answer))
        answer.close()
        assert told[0][0] == "2", (kind, told)
        return size

    return ask


def _seconds_of(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


def _print(costs: Mapping[str, Cost]) -> None:
    print(f"load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores")
    print("| request | share | web ms | database ms | statements | KB |\n| -- | --: | --: | --: | --: | --: |")
    whole = {"web": 0.0, "database": 0.0, "statements": 0.0}
    shares = sum(_MIX[kind][1] for kind in costs)
    for kind, cost in costs.items():
        share = _MIX[kind][1] / shares
        web, database = sum(cost.web) / len(cost.web), cost.database[0]
        whole["web"] += share * web
        whole["database"] += share * database
        whole["statements"] += share * cost.statements
        print(f"| {kind} | {share:.1%} | {web:.1f} | {database:.1f} | {cost.statements} | {cost.kilobytes:.1f} |")
    print(f"| the mix | | {whole['web']:.1f} | {whole['database']:.1f} | {whole['statements']:.1f} | |")


if __name__ == "__main__":
    main()
