"""An upload of many rows: processor seconds and memory of a worker, beside COPY of the same readings.

    python -m tests.benchmarks.bench_uploads --rows 20000 100000 --units 200
    python -m tests.benchmarks.bench_uploads --rows 1000000 --units 2000
    python -m tests.benchmarks.bench_uploads --rows 300000 --bad 1      # nothing but rows that are refused
    python -m tests.benchmarks.bench_uploads --rows 20000 --profile

Starts a private PostgreSQL, takes a log in as the interface does, and reads it as a worker does, in a process of its
own. Then it copies the stored readings out and, into the same table with all its indexes, in again. Both count the
processor seconds of the process and of the server, so that what else the machine does changes neither by much. Memory
is the peak of the worker's process, with what Python and the libraries take by themselves said beside it.
"""

import argparse
import cProfile
import io
import json
import os
import pstats
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from typing import Any
from unittest import mock

from tests.benchmarks.bench_fleet import FIELDS, HEADER, NOW, invent, invent_rows
from tests.benchmarks.processors import server_seconds


def bench(rows: int, units: int, bad: float, walled: bool, profile: int) -> None:
    """Print one row of figures."""
    from django.core.files.uploadedfile import TemporaryUploadedFile
    from django.db import connection

    from accounts.jobs.models import Job
    from fleet.intake.readings_log import LOG
    from fleet.intake.uploads import start_upload
    from fleet.models import IntakeBatch, Reading
    from tests import factories

    company = invent(units)
    owner = factories.MembershipFactory(company=company, role="owner")
    with TemporaryUploadedFile("log.csv", "text/csv", 0, "utf-8") as file:
        for line in log_lines(rows, units, bad):
            file.write(line.encode())
        file.size = size = file.tell()
        with claims_kept_waiting():
            job, taken = timed(lambda: start_upload(log=LOG, company=company, by=owner, file=file, now=NOW))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    read = worked(job.pk, walled, profile)
    batch = IntakeBatch.objects.get(job=job)
    job = Job.objects.get(pk=job.pk)
    print(f"\n{rows} rows of {len(FIELDS)} columns, {size / 1e6:.1f} MB, {units} units; {job.state}: {job.doing}")
    print(f"{batch.rows} read, {batch.stored} stored, {batch.flagged} flagged, {batch.refused} refused")
    if not batch.stored:
        of_rows = 1e3 * (read["python"] + read["server"]) / batch.rows
        print(f"worker {read['python']:.1f} s, server {read['server']:.1f} s, {of_rows:.2f} ms a row")
        print(f"peak {read['peak']:.0f} MB, {read['before']:.0f} MB before")
        return
    copy = copied_again(Reading._meta.db_table)
    print("| | process | server | both | a row |\n| -- | --: | --: | --: | --: |")
    for name, cost in (("taken in", taken), ("read", read), ("COPY", copy)):
        both = cost["python"] + cost["server"]
        columns = (f"{cost['python']:.2f} s", f"{cost['server']:.2f} s", f"{both:.2f} s", f"{1e6 * both / rows:.0f} us")
        print(f"| {name} | {' | '.join(columns)} |")
    ratio = (read["python"] + read["server"]) / (copy["python"] + copy["server"])
    print(f"read over COPY: {ratio:.1f}; peak {read['peak']:.0f} MB, {read['before']:.0f} MB before")


def copied_again(table: str) -> dict[str, float]:
    """What it costs to COPY the rows of a table into the same, emptied table with all its indexes, which ends empty."""
    from django.db import connection

    copied = io.BytesIO()
    with connection.cursor() as cursor:
        with cursor.copy(f"COPY {table} TO STDOUT") as out:
            for piece in out:
                copied.write(piece)
        cursor.execute(f"TRUNCATE {table} CASCADE")

        def copy_in() -> None:
            with cursor.copy(f"COPY {table} FROM STDIN") as into:
                into.write(copied.getvalue())

        _, copy = timed(copy_in)
        cursor.execute(f"TRUNCATE {table} CASCADE")
    return copy


def log_lines(rows: int, units: int, bad: float) -> Iterator[str]:
    """The lines of a log; of its rows, that share is of no unit there is, or of a time that cannot be."""
    yield HEADER
    for number, row in enumerate(invent_rows(rows, units)):
        if (number + 1) * bad // 1 > number * bad // 1:
            row[0 if number % 2 else 1] = "nowhere" if number % 2 else "2026-13-45 10:00"
        yield f"{','.join(row)}\n"


def timed(work: Callable[[], Any]) -> tuple[Any, dict[str, float]]:
    """What some work answers, and the processor seconds of this process and of the server."""
    own, server = time.process_time(), server_seconds()
    answer = work()
    return answer, {"python": time.process_time() - own, "server": server_seconds() - server}


def worked(job: int, walled: bool, profile: int) -> dict[str, float]:
    """Read the log in a process of its own; its figures."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_uploads", "--work", str(job), "--profile", str(profile)]
    address = os.environ["DATABASE_URL"]
    if walled:
        from tests.servers import APPLICATION_ROLE, as_role

        address = as_role(address, APPLICATION_ROLE)
    ended = subprocess.run(command, env={**os.environ, "DATABASE_URL": address}, stdout=subprocess.PIPE, check=True)
    *before, last = ended.stdout.decode().splitlines()
    if profile:
        print("\n".join(before))
    figures: dict[str, float] = json.loads(last)
    return figures


def work(job: int, profile: int) -> None:
    """Be the worker."""
    from django.utils import timezone

    from accounts.jobs import claims
    from fleet.services.consequences import held_back

    before = _megabytes()
    profiler = cProfile.Profile()

    def run() -> str:
        with held_back():  # what follows the readings is a task of its own
            return (
                profiler.runcall(claims.run_chunk, job_id=job, index=0, now=timezone.now())
                if profile
                else (claims.run_chunk(job_id=job, index=0, now=timezone.now()))
            )

    outcome, cost = timed(run)
    assert outcome in ("done", "failed"), outcome
    if profile:
        pstats.Stats(profiler).sort_stats("cumulative").print_stats(profile)
        pstats.Stats(profiler).sort_stats("tottime").print_stats(profile)
    print(json.dumps({**cost, "before": before, "peak": _megabytes()}))


def claims_kept_waiting() -> AbstractContextManager[object]:
    """Let no job begin in this process by itself, as where a queue takes it."""
    return mock.patch("accounts.jobs.claims._enqueue")


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main() -> None:
    """Read the arguments, make a database, and time."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, nargs="+", default=[20_000, 100_000])
    parser.add_argument("--units", type=int, default=200)
    parser.add_argument("--bad", type=float, default=0.0, help="share of rows that are refused")
    parser.add_argument("--walled", action="store_true", help="the worker is the product's role")
    parser.add_argument("--profile", type=int, nargs="?", const=45, default=0, help="print so many functions")
    parser.add_argument("--work", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.config.settings"
    if asked.work is None:
        from tests.servers import start_postgresql, use_own_temporary_folder

        use_own_temporary_folder()
        os.environ["DATABASE_URL"] = start_postgresql()
    import django

    django.setup()
    if asked.work is not None:
        work(asked.work, asked.profile)
        return
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    if asked.walled:
        from tests.walled import build_wall

        build_wall()
    for rows in asked.rows:
        bench(rows, asked.units, asked.bad, asked.walled, asked.profile)


if __name__ == "__main__":
    main()
