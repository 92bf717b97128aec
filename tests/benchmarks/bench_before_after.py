"""The figures of a server for a large company, of an earlier commit beside those of this checkout, in one run.

    python -m tests.benchmarks.bench_before_after                      this checkout alone, some minutes
    python -m tests.benchmarks.bench_before_after --before 5ab29c55    that commit beside it
    python -m tests.benchmarks.bench_before_after --before 5ab29c55 --only upload load --rows 100000
    python -m tests.benchmarks.bench_before_after --before 5ab29c55 --units 5000 --rows 1000000   hours

Every measure is run on both in turn, with the Python and the libraries of this process, on one PostgreSQL of the run
(an empty database each; what is killed in a measure is started for it alone). The earlier commit is laid out clean in a
temporary folder. `measures` says what is measured and `in_checkout` how: the product, its factories and its commands
are those of the checkout; what asks, counts and times is the same for both. Where a measure does not run on an earlier
commit the table says 'cannot be asked', and why is printed below it.

A commit can be asked from the one on that has one room for jobs, a night in `scheduling/services/nightly.py` and a
database that is made at once; 5ab29c55 is the last before there was anything of what the table is about.
"""

import argparse
import io
import json
import os
import subprocess
import sys
import tarfile
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psycopg

_HERE = Path(__file__).resolve().parents[2]
_UNASKED = "cannot be asked"


def main() -> None:
    """Measure both, and print one table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--before", help="a commit of this repository; without it only this checkout is measured")
    parser.add_argument("--only", nargs="+", help="measures whose name begins with one of these words")
    parser.add_argument("--units", type=int, default=500, help="of the company with nights and routes, and under load")
    parser.add_argument("--readings", type=int, default=30, help="of each unit in a year")
    parser.add_argument("--rows", type=int, default=10_000, help="of the upload")
    parser.add_argument("--shared-units", type=int, default=800, help="of the night that two workers share")
    parser.add_argument("--callers", type=int, nargs="+", default=[10, 40])
    parser.add_argument("--seconds", type=int, default=30, help="of each number of callers")
    parser.add_argument("--posts", type=int, default=2000)
    options = parser.parse_args()
    wanted = {
        name: asked for name, asked in measures(options).items()
        if not options.only or name.startswith(tuple(options.only))
    }  # fmt: skip
    from tests.servers import start_postgresql, use_own_temporary_folder

    use_own_temporary_folder()
    server = start_postgresql()
    with tempfile.TemporaryDirectory() as folder:
        checkouts = {"after": _HERE}
        if options.before:
            checkouts = {"before": laid_out(options.before, Path(folder)), **checkouts}
        print(f"before: {described(options.before) if options.before else 'not asked for'}")
        print(f"after: {described('HEAD')}")
        print(f"{len(os.sched_getaffinity(0))} cores, load {os.getloadavg()[0]:.1f}, {options}", flush=True)
        print("| what | before | after | after / before |\n| -- | --: | --: | --: |")
        failures = []
        for number, (name, (measure, given)) in enumerate(wanted.items()):
            # Neither is always the first to find the machine as it is.
            turn = list(checkouts.items())[:: -1 if number % 2 else 1]
            figures: dict[str, dict[str, float]] = {}
            for side, checkout in turn:
                figures[side], problem = measured(checkout, measure, given, server)
                failures += [f"{name}, {side}: {problem}"] if problem else []
            print_rows(name, figures.get("before", {}), figures["after"], asked=bool(options.before))
    print("\n".join(["", *failures]) if failures else "")
    print(f"load {os.getloadavg()[0]:.1f} at the end")


def measures(options: argparse.Namespace) -> dict[str, tuple[str, dict[str, Any]]]:
    """Name in the table -> name of the measure, and what it is given."""
    return {
        "nights and routes": (
            "nights_and_routes",
            {"units": options.units, "readings": options.readings, "iterations": 100},
        ),
        "upload": ("upload", {"rows": options.rows, "units": 50}),
        "two workers": ("two_workers", {"units": options.shared_units, "months": 12}),
        "load": ("load", {"units": options.units, "callers": options.callers, "seconds": options.seconds}),
        "burst": ("night_behind_posts", {"posts": options.posts, "units": 50, "callers": 20}),
        "web server killed": ("crash", {"what": "web"}),
        "PostgreSQL killed": ("crash", {"what": "database"}),
        "queue away": ("crash", {"what": "queue"}),
    }


def laid_out(commit: str, folder: Path) -> Path:
    """A clean checkout of a commit."""
    content = subprocess.run(["git", "archive", commit], cwd=_HERE, stdout=subprocess.PIPE, check=True).stdout
    place = folder / "before"
    with tarfile.open(fileobj=io.BytesIO(content)) as archive:
        archive.extractall(place, filter="data")
    return place


def described(commit: str) -> str:
    """Short name, day and subject of a commit."""
    command = ["git", "log", "-1", "--format=%h of %cs, %s", commit]
    return subprocess.run(command, cwd=_HERE, stdout=subprocess.PIPE, text=True, check=True).stdout.strip()


def measured(checkout: Path, measure: str, given: Mapping[str, Any], server: str) -> tuple[dict[str, float], str]:
    """The figures of one measure of one checkout, and why there are none."""
    said = f"{time.strftime('%H:%M:%S')} {measure} {given} of {checkout}"
    print(said, file=sys.stderr, flush=True)
    with empty_database(server) as address:
        outside = ("DJANGO", "DATABASE_URL", "REDIS_URL", "TEST_DATABASE")
        environment = {name: value for name, value in os.environ.items() if not name.startswith(outside)}
        environment |= {
            "PYTHONPATH": os.pathsep.join([str(checkout), str(Path(__file__).with_name("only_here"))]),
            "DATABASE_URL": address,
            "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
            "REQUEST_BUDGET_PERCENT": "0",
        }
        command = [sys.executable, str(Path(__file__).with_name("in_checkout.py")), measure, json.dumps(given)]
        ended = subprocess.run(command, cwd=checkout, env=environment, capture_output=True, check=False)
    if ended.returncode:
        lines = ended.stderr.decode().strip().splitlines()
        return {}, lines[-1] if lines else f"ended with {ended.returncode}"
    figures: dict[str, float] = json.loads(ended.stdout.decode().splitlines()[-1])
    return figures, ""


@contextmanager
def empty_database(server: str) -> Iterator[str]:
    """The address of a database of its own, gone at the end."""
    name = f"measured_{time.monotonic_ns()}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield urlsplit(server)._replace(path=f"/{name}").geturl()
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def print_rows(name: str, before: Mapping[str, float], after: Mapping[str, float], *, asked: bool) -> None:
    """The rows of one measure."""
    for row in dict.fromkeys([*after, *before]) or ["all of it"]:
        one, other = before.get(row), after.get(row)
        ratio = f"{other / one:.2f}" if one and other is not None else ""
        first = shown(row, one) if asked else ""
        print(f"| {name}: {row} | {first} | {shown(row, other)} | {ratio} |", flush=True)


def shown(row: str, figure: float | None) -> str:
    """A figure with its unit, which the row names in brackets at its end; else it is of seconds."""
    if figure is None:
        return _UNASKED
    unit = row.rpartition("[")[2].rstrip("]") if row.endswith("]") else "s"
    digits = 0 if unit in ("ms", "MB", "rows", "requests", "jobs", "pieces") else 1 if unit in ("%", "1/s") else 2
    return f"{figure:.{digits}f} {'' if unit in ('rows', 'requests', 'jobs', 'pieces', 'times') else unit}".strip()


if __name__ == "__main__":
    main()
