"""An upload of many rows: seconds and memory of a worker, beside COPY of the same readings into the same table.

    python -m tests.benchmarks.bench_uploads --rows 20000 --units 50
    python -m tests.benchmarks.bench_uploads --rows 1000000 --units 2000        # hours on a small machine

Starts a private PostgreSQL, takes a log in as the interface does, and reads it as a worker does. Then it copies the
stored readings out and, into the same table with all its indexes, in again. Memory is the peak of the process, with
what Python and the libraries take by themselves said beside it.
"""

import argparse
import io
import os
import resource
import time
from contextlib import AbstractContextManager
from unittest import mock

from tests.benchmarks.bench_fleet import FIELDS, HEADER, NOW, invent, invent_rows


def bench(rows: int, units: int) -> None:
    """Print one row of figures."""
    from django.core.files.uploadedfile import SimpleUploadedFile
    from django.db import connection
    from django.utils import timezone

    from accounts.jobs import claims
    from fleet.intake.readings_log import LOG
    from fleet.intake.uploads import start_upload
    from fleet.models import IntakeBatch, Reading, ReadingIndicators
    from fleet.services.consequences import held_back
    from tests import factories

    company = invent(units)
    owner = factories.MembershipFactory(company=company, role="owner")
    content = (HEADER + "\n".join(",".join(row) for row in invent_rows(rows, units))).encode()
    size = len(content)
    before = _megabytes()
    begun = time.perf_counter()
    with claims_kept_waiting():
        file = SimpleUploadedFile("log.csv", content)
        job = start_upload(log=LOG, company=company, by=owner, file=file, now=NOW)
    taken = time.perf_counter() - begun
    del content, file
    begun = time.perf_counter()
    with held_back():  # what follows the readings is a task of its own
        assert claims.run_chunk(job_id=job.pk, index=0, now=timezone.now()) == "done"
    read = time.perf_counter() - begun
    batch = IntakeBatch.objects.get(job=job)
    assert (batch.rows, batch.stored) == (rows, rows), (batch.rows, batch.stored, batch.refused)
    table = Reading._meta.db_table
    copied = io.BytesIO()
    with connection.cursor() as cursor:
        with cursor.copy(f"COPY {table} TO STDOUT") as out:
            for piece in out:
                copied.write(piece)
        ReadingIndicators.objects.all().delete()
        cursor.execute(f"TRUNCATE {table} CASCADE")
        begun = time.perf_counter()
        with cursor.copy(f"COPY {table} FROM STDIN") as into:
            into.write(copied.getvalue())
        copy = time.perf_counter() - begun
    print(f"{rows} rows of {len(FIELDS)} columns, {size / 1e6:.1f} MB, {units} units, PostgreSQL")
    print("| taken in | read | a row | COPY | over COPY | peak memory (before) |")
    print("| --: | --: | --: | --: | --: | --: |")
    print(
        f"| {taken:.1f} s | {read:.1f} s | {1e3 * read / rows:.2f} ms | {copy:.2f} s | {read / copy:.0f} | "
        f"{_megabytes():.0f} MB ({before:.0f}) |"
    )


def claims_kept_waiting() -> AbstractContextManager[object]:
    """Let no job begin in this process by itself, as where a queue takes it."""
    return mock.patch("accounts.jobs.claims._enqueue")


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main() -> None:
    """Read the arguments, make a database, and time."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=20_000)
    parser.add_argument("--units", type=int, default=50)
    asked = parser.parse_args()
    from tests.servers import start_postgresql, use_own_temporary_folder

    use_own_temporary_folder()
    os.environ["DATABASE_URL"] = start_postgresql()
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.config.settings"
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    bench(asked.rows, asked.units)


if __name__ == "__main__":
    main()
