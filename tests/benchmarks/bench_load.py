"""Reads and posts at once by a bounded number of callers, on real parts: prints a table, asserts nothing.

    pip install -e '.[load]'
    python -m tests.benchmarks.bench_load                           10 and 40 callers, 60 seconds each
    python -m tests.benchmarks.bench_load --callers 10 --seconds 30 --workers 3

PostgreSQL, queue, web server, worker and beat run in processes of their own on the machine that asks too, so part of
its time goes to asking. The demo company answers; nobody's requests are counted against a budget. Of every ten callers
four are meters that post readings, two clients, two installers and two of the office, as `load_people` says. Each asks
again as soon as it is answered. For each kind of request: how many, how many failed, and the milliseconds of half of
them and of 95 %; then the processor seconds that the web server, PostgreSQL and the worker took, and what was stored of
what was acknowledged.
"""

import argparse
import contextlib
import csv
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import psutil

from tests.live.parts import Parts, Person, running_parts
from tests.live.workers import ROOT

_PEOPLE = {"office": "office", "installer": "runa", "client": "client", "meter": "S39-1"}


def main() -> None:
    """Start the parts, let the callers ask, and print what became of it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--callers", type=int, nargs="*", default=[10, 40])
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2, help="processes of the web server")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with running_parts(folder, web_workers=options.workers, REQUEST_BUDGET_PERCENT="0") as parts:
            parts.manage("demo", "--folder", str(folder / "demo"))
            given = _given(parts, json.loads((folder / "demo" / "logins.json").read_text())["tokens"])
            office = Person(parts, set(), token=given["tokens"]["office"])
            for callers in options.callers:
                stored = _stored(office, given["metered"])
                before = _processor_seconds(parts)
                rows = ask(parts.address, given, callers, options.seconds, folder / f"load-{callers}")
                after = _processor_seconds(parts)
                print(f"\n{callers} callers, {options.seconds} s, {options.workers} processes of the web server")
                _print_table(rows, options.seconds)
                used = {kind: after.get(kind, 0.0) - before.get(kind, 0.0) for kind in after}
                print("processor seconds: " + ", ".join(f"{kind} {seconds:.1f}" for kind, seconds in used.items()))
                posted = sum(int(row["Request Count"]) - int(row["Failure Count"]) for row in rows if _is_post(row))
                print(f"readings acknowledged {posted}, stored {_stored(office, given['metered']) - stored}")


def _given(parts: Parts, tokens: Mapping[str, str]) -> dict[str, Any]:
    """The tokens of the four kinds of caller, and ids that they may ask for."""
    by_name = {address.partition("@")[0]: token for address, token in tokens.items()}
    people = {kind: by_name[name] for kind, name in _PEOPLE.items()}
    client, office = (Person(parts, set(), token=people[kind]) for kind in ("client", "office"))
    job = office.finished(office.post("/plans/", {"seconds": 1}))
    plan = job["result"]["plan"]
    office.post(f"/plans/{plan}/publish/")
    driver = next(
        row["id"] for row in office.rows("/installers/") if row["name"].lower().startswith(_PEOPLE["installer"])
    )
    return {
        "tokens": people,
        "metered": _PEOPLE["meter"],
        "own": [row["id"] for row in client.rows("/units/")],
        "units": [row["id"] for row in office.rows("/units/")],
        "rounds": [row["id"] for row in office.rows(f"/rounds/?installer={driver}&plan={plan}")],
    }


def ask(address: str, given: Mapping[str, Any], callers: int, seconds: int, results: Path) -> list[dict[str, str]]:
    """Let the callers ask for so long; what became of each kind of request, and of all together at the end."""
    command = [
        "-m", "locust", "--locustfile", str(Path(__file__).with_name("load_people.py")), "--headless", "--only-summary",
        "--users", str(callers), "--spawn-rate", str(callers), "--run-time", f"{seconds}s", "--stop-timeout", "30",
        "--host", address, "--csv", str(results), "--exit-code-on-error", "0",
    ]  # fmt: skip
    environment = {**os.environ, "LOAD_GIVEN": json.dumps(given)}
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(f"The callers failed:\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
    with Path(f"{results}_failures.csv").open() as file:
        for row in csv.DictReader(file):
            print(f"failed {row['Occurrences']} times: {row['Name']}: {row['Error'][:200]}")
    with Path(f"{results}_stats.csv").open() as file:
        return list(csv.DictReader(file))


def _is_post(row: Mapping[str, str]) -> bool:
    return row["Type"] == "POST"


def _print_table(rows: list[dict[str, str]], seconds: int) -> None:
    print(f"{'':44}{'requests':>9}{'failed':>8}{'median ms':>11}{'95 % ms':>9}{'a second':>10}")
    for row in rows:
        count = int(row["Request Count"])
        times = f"{row['50%']:>11}{row['95%']:>9}"
        print(f"{row['Name'][:44]:44}{count:9}{row['Failure Count']:>8}{times}{count / seconds:10.1f}")


def _stored(office: Person, unit: str) -> int:
    """Readings that the callers have stored of the unit, by the references they give."""
    return sum(str(row["reference"]).startswith("load-") for row in office.rows(f"/readings/?unit={unit}"))


def _processor_seconds(parts: Parts) -> dict[str, float]:
    """Processor seconds so far of the processes that were started here, and of those of theirs that have ended."""
    words = {"web server": "gunicorn", "worker": "celery", "database": "postgres"}
    seconds = dict.fromkeys(words, 0.0)
    own = psutil.Process().children(recursive=True)
    # The server of the database stands on its own feet; its command names the folder that its address does.
    (data,) = parse_qs(urlsplit(parts.environment["DATABASE_URL"]).query)["host"]
    heads = [it for it in psutil.process_iter(["cmdline"]) if data in " ".join(it.info["cmdline"] or [])]
    for process in {*own, *heads, *(child for head in heads for child in head.children(recursive=True))}:
        with contextlib.suppress(psutil.NoSuchProcess):
            line, times = " ".join(process.cmdline()), process.cpu_times()
            for part, word in words.items():
                if word in line:
                    seconds[part] += times.user + times.system + times.children_user + times.children_system
                    break
    return seconds


if __name__ == "__main__":
    main()
