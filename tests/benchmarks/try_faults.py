"""What breaks under a server, tried with real parts; counts what was acknowledged against what is stored.

    python -m tests.benchmarks.try_faults              all of them, about a quarter of an hour
    python -m tests.benchmarks.try_faults upload disk  some of them

    upload    the web server is killed in mid-upload and while readings are posted
    night     a worker is killed at each thing that a night says it is doing, and another finishes the night
    database  PostgreSQL is killed under load and in mid-night, and started again
    queue     what lies in the queue is lost, and the queue is away, under load
    disk      the disk of SQLite is full and has room again (needs the right to mount a file system in memory)
    server-disk   the same of PostgreSQL
    twice     two clocks, and two nights of one company asked for at once
    clock     the server's clock is set back by an hour while readings are posted
    writers   thirty writers at once on SQLite

Each prints a row: requests that were answered as done, those of them that are not stored, rows that are stored twice,
what was refused meanwhile, jobs that never ended, and the longest that a caller or a piece of work waited. Callers do
what a good client does: they repeat what was not answered, with the same idempotency key. Ends with an error where
something was lost or doubled, or a job did not end.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.benchmarks.plant import Plant, Told, as_text, until
from tests.live.workers import ROOT

HEAD = "| tried | done | lost | doubled | refused meanwhile | jobs open | longest wait |"
LOAD_SECONDS = 8.0


def main() -> int:
    """Try each in a process of its own, since each has a database of its own."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="*", choices=[[], *TRIALS], default=[])
    parser.add_argument("--one", choices=list(TRIALS), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        with ExitStack() as stack:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="f-")))
            return 0 if TRIALS[options.one](stack, folder) else 1
    print(f"{HEAD}\n| -- | --: | --: | --: | -- | --: | --: |", flush=True)
    command = [sys.executable, "-m", "tests.benchmarks.try_faults", "--one"]
    names = options.what or list(TRIALS)
    failed = [name for name in names if subprocess.run([*command, name], cwd=ROOT, check=False).returncode]
    if failed:
        print(f"not as it should be: {', '.join(failed)}")
    return 1 if failed else 0


def row(name: str, plant: Plant, told: Told, waited: float | None = None) -> bool:
    """Print a row; whether all is as it should be."""
    stored = plant.stored()
    lost = sum(1 for key in told.acknowledged if key not in stored)
    doubled = sum(1 for count in stored.values() if count > 1)
    is_open = plant.jobs_that_go_on()
    longest = max(told.longest_seconds, waited or 0.0)
    print(
        f"| {name} | {len(told.acknowledged)} | {lost} | {doubled} | {as_text(told.refused)} | {is_open} "
        f"| {longest:.1f} s |",
        flush=True,
    )
    return lost == doubled == is_open == 0


def under_load(plant: Plant, disturb: Callable[[], None], *, callers: int = 4) -> Told:
    """What callers were told before, while and after something happens; each finishes what it has begun."""
    told, is_over = Told(), threading.Event()
    threads = plant.post_readings(callers, told, is_over)
    time.sleep(LOAD_SECONDS)
    disturb()
    before = len(told.acknowledged)
    until(lambda: len(told.acknowledged) > before + 4 * callers, "requests that are answered again")
    is_over.set()
    for thread in threads:
        thread.join()
    return told


def try_upload(stack: ExitStack, folder: Path) -> bool:
    """Kill the web server between the pieces of an upload, and while readings come in."""
    plant = Plant(stack, folder, "postgresql")
    plant.start_worker()
    plant.start_clock()
    plant.start_web()

    def kill_web() -> None:
        plant.kill("web")
        plant.start_web(plant.port)

    is_fine = row("web server killed under load", plant, under_load(plant, kill_web))
    rows = 20_000
    begin = datetime(2026, 1, 1, tzinfo=UTC)
    days = [begin + timedelta(minutes=7 * n) for n in range(rows)]
    log = "unit,taken at,reference,permeate TDS [ppm]\n" + "".join(
        f"{plant.units[n % 6]},{day.isoformat()},L{n},9\n" for n, day in enumerate(days)
    )
    told, is_over = Told(), threading.Event()
    send = threading.Thread(
        target=plant.send,
        args=("one upload", told, is_over),
        kwargs={"url": f"{plant.address}/api/v1/readings/upload/", "files": {"file": ("log.csv", log.encode())}},
    )
    send.start()
    time.sleep(0.4)
    kill_web()
    send.join()
    from fleet.models import IntakeBatch, Reading

    waited = plant.wait_for_jobs()
    stored = Reading.objects.filter(reference__startswith="L").count()
    batches = IntakeBatch.objects.count()
    told.acknowledged.remove("one upload")
    print(f"an upload of {rows} rows, sent again: {stored} stored in {batches} batch(es)")
    return row("web server killed in mid-upload", plant, told, waited) and is_fine and stored == rows and batches == 1


def try_night(stack: ExitStack, folder: Path) -> bool:
    """Kill a worker at each thing that a night says it is doing."""
    plant = Plant(stack, folder, "postgresql")
    from django.utils import timezone

    from accounts.jobs import claims
    from accounts.jobs.models import Job, JobChunk
    from scheduling.services.nightly import run_nightly, start_nightly_job

    doings: list[str] = []
    run_nightly(company=plant.company, now=timezone.now(), progress=lambda _, doing: doings.append(doing))
    is_fine, short = True, {"JOB_LEASE_SECONDS": "5"}
    # What a night finds so far differs from run to run; that it looks for rounds is one of these.
    for point in dict.fromkeys(str(doing) for doing in doings if not any(letter.isdigit() for letter in doing)):
        gate = folder / f"gate {len(list(folder.glob('gate*')))}"
        gate.mkdir()
        (gate / "nightly").write_text(point)
        plant.start_worker("doomed", GATE=str(gate), **short)
        # Of all units: a night without news would not say most of it.
        job_id = start_nightly_job(company=plant.company, by=None, now=timezone.now(), everything=True).pk

        def is_there(job: int = job_id, sign: Path = gate / "nightly.reached") -> bool:
            return sign.exists() or Job.objects.get(pk=job).state not in claims.LIVE

        until(is_there, f"a night that is {point}")
        plant.kill("doomed")
        if not (gate / "nightly.reached").exists():
            print(f"| '{point}' is not said by a night in pieces | | | | | | |", flush=True)
            continue
        began = time.monotonic()
        plant.start_worker("heir", **short)
        chunks = JobChunk.objects.filter(job_id=job_id)
        while Job.objects.get(pk=job_id).state in claims.LIVE and time.monotonic() - began < 120:
            claims.resume_stalled(now=timezone.now())
            time.sleep(1)
        job = Job.objects.get(pk=job_id)
        took_over = sorted(chunks.values_list("attempts", flat=True))[-1]
        name = f"worker killed while '{point}', ended {job.state} at attempt {took_over}"
        is_fine = row(name, plant, Told(), time.monotonic() - began) and is_fine and job.state == "done"
        plant.kill("heir")
    return is_fine


def try_database(stack: ExitStack, folder: Path) -> bool:
    """Kill PostgreSQL under load, then in mid-night."""
    plant = Plant(stack, folder, "postgresql")
    plant.start_worker()
    plant.start_clock()
    plant.start_web()

    def kill_database() -> None:
        plant.kill_postgresql()
        time.sleep(3)
        plant.start_postgresql()

    is_fine = row("PostgreSQL killed under load", plant, under_load(plant, kill_database), plant.wait_for_jobs())
    from accounts.jobs.models import Job
    from scheduling import tasks

    tasks.start_company_nightly(company_id=plant.company.pk)
    until(lambda: Job.objects.filter(kind="nightly", state="running", share_done__gt=0.2).exists(), "a night half done")
    kill_database()
    waited = plant.wait_for_jobs()
    state = Job.objects.get(kind="nightly").state
    is_done = row(f"PostgreSQL killed in mid-night, which ended {state}", plant, Told(), waited) and state == "done"
    return is_done and is_fine


def try_queue(stack: ExitStack, folder: Path) -> bool:
    """Empty the queue while a night waits in it, then take it away under load."""
    plant = Plant(stack, folder, "postgresql")
    plant.start_clock()
    plant.start_web()
    from accounts.jobs.models import Job
    from scheduling import tasks

    tasks.start_company_nightly(company_id=plant.company.pk)
    plant.stop_queue()
    plant.start_queue()
    plant.start_worker()
    waited = plant.wait_for_jobs()
    state = Job.objects.get(kind="nightly").state
    is_fine = row(f"queue emptied under a night, which ended {state}", plant, Told(), waited) and state == "done"

    def take_away() -> None:
        plant.stop_queue()
        time.sleep(LOAD_SECONDS)
        plant.start_queue()

    told = under_load(plant, take_away)
    return row("queue away under load", plant, told, plant.wait_for_jobs()) and is_fine


def try_disk(stack: ExitStack, folder: Path) -> bool:
    """Fill the disk of SQLite's records under load, then make room."""
    disk = _small_disk(stack, folder, "160m")
    if disk is None:
        return True
    plant = Plant(stack, folder, "sqlite", queue=False, data=disk)
    plant.start_web()

    def fill() -> None:
        block = _filled(disk)
        time.sleep(LOAD_SECONDS)
        block.unlink()

    return row("disk of SQLite full under load", plant, under_load(plant, fill))


def try_server_disk(stack: ExitStack, folder: Path) -> bool:
    """Fill the disk of PostgreSQL under load, then make room; it is started again as a manager of services would."""
    disk = _small_disk(stack, folder, "700m")
    if disk is None:
        return True
    plant = Plant(stack, folder, "postgresql", data=disk)
    plant.start_web()
    plant.start_worker("worker")

    def fill() -> None:
        block = _filled(disk)
        time.sleep(2 * LOAD_SECONDS)
        block.unlink()
        plant.start_postgresql()

    told = under_load(plant, fill)
    return row("disk of PostgreSQL full under load", plant, told, plant.wait_for_jobs())


def _small_disk(stack: ExitStack, folder: Path, size: str) -> Path | None:
    """A disk of its own in memory, gone at the end; None where nobody may make one, which is said."""
    disk = folder / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size},mode=777", "tmpfs", disk], check=False)
    if mounted.returncode:
        print("| disk full | not tried: no right to mount a file system in memory | | | | | |")
        return None
    stack.callback(subprocess.run, ["umount", "-l", disk], check=False)
    return disk


def _filled(disk: Path) -> Path:
    """Leave no room on a disk; the file that has taken it."""
    block = disk / "fill"
    with block.open("wb", buffering=0) as full:
        try:
            while True:
                full.write(b"0" * 65536)
        except OSError:
            pass
    return block


def try_twice(stack: ExitStack, folder: Path) -> bool:
    """Two clocks for two minutes with letters waiting, then two nights at once."""
    plant = Plant(stack, folder, "postgresql")
    from accounts.jobs.models import Job
    from accounts.models import Letter
    from scheduling import tasks
    from tests import factories

    now = datetime.now(UTC)
    people = [factories.UserFactory(email=f"person{number}@north.example") for number in range(20)]
    for user in people:
        factories.LetterFactory(
            kind="password_changed", email=user.email, user=user, written_at=now, next_attempt_at=now
        )
    plant.start_worker("worker")
    plant.start_worker("worker-2")
    plant.start_clock("clock")
    plant.start_clock("clock-2")
    waited = until(lambda: not Letter.objects.filter(sent_at=None).exists(), "letters that are sent")
    time.sleep(65)
    printed = (folder / "worker.log").read_text() + (folder / "worker-2.log").read_text()
    counts = {printed.count(f"To: {user.email}") for user in people}
    is_fine = row(f"two clocks: each letter sent {counts} time(s)", plant, Told(), waited) and counts == {1}
    threads = [
        threading.Thread(target=tasks.nightly.apply_async) for _ in range(2)
    ]  # as two clocks that ask at the same second
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    until(lambda: Job.objects.filter(kind="nightly").exists(), "a night")
    waited = plant.wait_for_jobs()
    time.sleep(5)
    nights = Job.objects.filter(kind="nightly")
    name = f"two nights asked for at once: {nights.count()} ran, {nights.filter(state='done').count()} done"
    return row(name, plant, Told(), waited + plant.wait_for_jobs()) and is_fine


def try_clock(stack: ExitStack, folder: Path) -> bool:
    """Set the clock of web server and worker back by an hour."""
    plant = Plant(stack, folder, "postgresql")
    plant.start_worker()
    plant.start_clock()
    plant.start_web()

    def set_back() -> None:
        for name in ("web", "worker", "clock"):
            plant.kill(name)
        plant.variables["CLOCK_BACK_SECONDS"] = os.environ["CLOCK_BACK_SECONDS"] = "3600"
        plant.variables["PYTHONPATH"] = f"{Path(__file__).parent / 'set_back'}:{os.environ.get('PYTHONPATH', '')}"
        plant.start_worker()
        plant.start_clock()
        plant.start_web(plant.port)

    told = under_load(plant, set_back)
    from scheduling import tasks

    tasks.start_company_nightly(company_id=plant.company.pk)
    return row("clock set back by an hour", plant, told, plant.wait_for_jobs())


def try_writers(stack: ExitStack, folder: Path) -> bool:
    """Thirty callers on SQLite."""
    plant = Plant(stack, folder, "sqlite", queue=False)
    plant.start_web(processes=4)
    return row("thirty writers on SQLite", plant, under_load(plant, lambda: time.sleep(LOAD_SECONDS), callers=30))


TRIALS: dict[str, Callable[[ExitStack, Path], bool]] = {
    "upload": try_upload,
    "night": try_night,
    "database": try_database,
    "queue": try_queue,
    "disk": try_disk,
    "server-disk": try_server_disk,
    "twice": try_twice,
    "clock": try_clock,
    "writers": try_writers,
}


if __name__ == "__main__":
    sys.exit(main())
