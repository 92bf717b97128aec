"""What the dearest queries of a large company look at, beside those of a small one: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_queries          500 and 5,000 units, a PostgreSQL of the run's own
    python -m tests.benchmarks.bench_queries --small 100 --large 1000 --folder DIR

Two invented companies of one database, with a night behind them, a published plan and placed orders. Of each, every
hundredth unit gets a reading; then a night is run and every route that reads is asked. The queries whose answers took
longest for the large company are explained by the database for both. Printed of each: blocks it looked at, how they
grow with the units (1.0: in step), rows looked at in vain for one that was kept, and whether it read all readings.
"""

import argparse
import json
import math
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Any

from tests.benchmarks.bench_routes import addresses, analyse, client_of, invent, set_up

_LIST = re.compile(r"\((?:%s(?:::\w+)?, )*%s(?:::\w+)?\)")
_LOCKS = re.compile(r" FOR (?:NO KEY )?UPDATE| FOR (?:KEY )?SHARE")
_READINGS = "fleet_reading"


@dataclass
class Query:
    """One query, as often as it was asked."""

    seconds: float = 0.0
    times: int = 0
    dearest_s: float = 0.0
    dearest: tuple[str, Any] = ("", ())
    asked_by: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Cost:
    """What the database says of one query."""

    blocks: int
    rows_in_vain: float
    reads_all_readings: bool


def main() -> None:
    """Make the companies, ask both, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--small", type=int, default=500)
    parser.add_argument("--large", type=int, default=5000)
    parser.add_argument("--readings", type=int, default=30, help="of each unit")
    parser.add_argument("--folder", help="where the database is kept")
    parser.add_argument("--queries", type=int, default=20)
    parser.add_argument("--texts", action="store_true", help="print each query and what is done for it")
    options = parser.parse_args()
    set_up(options.folder)
    from accounts.models import Company

    units = (options.small, options.large)
    names = [f"Company of {number} units (invented)" for number in units]
    for name, number in zip(names, units, strict=True):
        if not Company.objects.filter(name=name).exists():
            invent(number, options.readings)
    small, large = (asked_of(Company.objects.get(name=name)) for name in names)
    dearest = sorted(large, key=lambda text: -large[text].seconds)[: options.queries]
    print(f"{units[0]} and {units[1]} units; load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores")
    print("| asked most by | reads | times | ms | blocks | growth | in vain | all readings |")
    print("| -- | -- | --: | --: | --: | --: | --: | -- |")
    for text in dearest:
        print(row_of(text, large[text], small.get(text), units), flush=True)
        if options.texts:
            print(text, *plan_of(*large[text].dearest), sep="\n", flush=True)


def row_of(text: str, query: Query, other: Query | None, units: tuple[int, int]) -> str:
    """One line of the table."""
    cost = cost_of(*query.dearest)
    growth = ""
    if other is not None:
        before = cost_of(*other.dearest)
        growth = f"{math.log(max(cost.blocks, 1) / max(before.blocks, 1)) / math.log(units[1] / units[0]):.2f}"
    asked_by = max(query.asked_by, key=query.asked_by.__getitem__)
    found = re.search(r'FROM "(\w+)"', text)
    table = found[1] if found else text[:40]
    return (
        f"| {asked_by} | {table} | {query.times} | {1000 * query.seconds:.0f} | {cost.blocks} | {growth} | "
        f"{cost.rows_in_vain:.1f} | {'yes' if cost.reads_all_readings else ''} |"
    )


def asked_of(company: Any) -> dict[str, Query]:
    """Every query that a night with news and a turn of all routes ask, by its text without the lengths of lists."""
    from django.db import connection

    from scheduling.services.nightly import run_nightly

    asked: dict[str, Query] = {}
    asking = ["night"]

    def watch(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        began = perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            # one that locks rows cannot be explained again without locking them
            if not many and sql.startswith("SELECT") and not _LOCKS.search(sql):
                seconds = perf_counter() - began
                query = asked.setdefault(_LIST.sub("(...)", sql), Query())
                query.seconds, query.times = query.seconds + seconds, query.times + 1
                query.asked_by[asking[0]] = query.asked_by.get(asking[0], 0.0) + seconds
                if seconds >= query.dearest_s:
                    query.dearest_s, query.dearest = seconds, (sql, params)

    now = datetime.now(UTC) + timedelta(days=1)
    read_anew(company, now)
    analyse()
    with connection.execute_wrapper(watch):
        run_nightly(company=company, now=now, iterations=30)
        print(f"{company.name}: its night is done", file=sys.stderr, flush=True)
        api = client_of(company)
        for asking[0], address in addresses(company):
            answer = api.get(address)
            if answer.streaming:
                b"".join(answer.streaming_content)
    return asked


def read_anew(company: Any, now: datetime) -> None:
    """A reading of every hundredth unit, like its last but for the day."""
    from fleet.models import Reading, Unit

    for unit in Unit.objects.filter(company=company).order_by("pk")[::100]:
        reading = Reading.objects.filter(unit=unit).latest("taken_at")
        reading.pk, reading.taken_at, reading.received_at = None, now - timedelta(hours=3), now
        reading._state.adding = True
        reading.save()


def cost_of(sql: str, params: Any) -> Cost:
    """Let the database carry out a query and say what it did."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, TIMING OFF, FORMAT JSON) {sql}", params)
        told = cursor.fetchone()[0]
    plan = (json.loads(told) if isinstance(told, str) else told)[0]["Plan"]
    nodes = list(nodes_of(plan))
    removed = sum(
        node["Actual Loops"] * (node.get("Rows Removed by Join Filter", 0) + node.get("Rows Removed by Filter", 0))
        for node in nodes
    )
    kept = max(1.0, max(node["Actual Rows"] * node["Actual Loops"] for node in nodes))
    return Cost(
        plan["Shared Hit Blocks"] + plan["Shared Read Blocks"],
        removed / kept,
        any(node["Node Type"] == "Seq Scan" and node["Relation Name"] == _READINGS for node in nodes),
    )


def plan_of(sql: str, params: Any) -> Iterator[str]:
    """How the database carries out a query, step by step."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, TIMING OFF) {sql}", params)
        yield from (f"    {line}" for (line,) in cursor.fetchall())


def nodes_of(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A plan and all that it is made of."""
    yield plan
    for part in plan.get("Plans", []):
        yield from nodes_of(part)


if __name__ == "__main__":
    main()
