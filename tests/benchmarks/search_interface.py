"""Search the whole interface for answers that were not promised, as each role, on either database.

`python -m tests.benchmarks.search_interface --roles owner office installer client --cases 5000 [--postgresql]` starts a
server of the demo company and has Schemathesis run all its phases (examples, coverage, fuzzing, stateful) as each role,
each on a fresh copy of the same rows. It prints how many cases were made and ends with 1 where something failed.
"""

import argparse
import json
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import requests

from tests.live.parts import Parts, _wait_for_server, free_port, server_process
from tests.servers import start_postgresql, use_own_temporary_folder

#: Who signs in for a role, in the demo company.
PEOPLE = {"owner": "owner", "office": "office", "installer": "runa", "client": "client"}
# Whoever calls these is out, and the rest of the search would be answered 401.
ENDS_THE_SEARCH = r"/(logout|end-all|end|password|email|erase|second-factor|tokens|browser-sessions|session|login)(/|$)"
PROMISES = (
    "not_a_server_error,status_code_conformance,content_type_conformance,"
    "response_headers_conformance,response_schema_conformance"
)


def main() -> int:
    """Search as the roles that were named; 1 where something failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--roles", nargs="+", choices=sorted(PEOPLE), default=sorted(PEOPLE))
    parser.add_argument("--cases", type=int, default=5000, help="at least so many a role")
    parser.add_argument("--only", default="", help="regular expression of paths, for a look at a few")
    parser.add_argument("--postgresql", action="store_true", help="on PostgreSQL instead of SQLite")
    asked = parser.parse_args()
    use_own_temporary_folder()
    failed = False
    folder = Path(tempfile.mkdtemp(prefix="search-"))
    environment = _environment(folder, postgresql=asked.postgresql)
    parts = Parts(f"http://127.0.0.1:{free_port()}", environment, folder)
    parts.manage("migrate")
    parts.manage("demo", "--folder", str(folder / "demo"))
    tokens = json.loads((folder / "demo" / "logins.json").read_text())["tokens"]
    kept = folder / "kept.sqlite3"
    if not asked.postgresql:
        shutil.copy(folder / "fleet.sqlite3", kept)
    for role in asked.roles:
        if not asked.postgresql:
            shutil.copy(kept, folder / "fleet.sqlite3")
        token = next(one for address, one in tokens.items() if address.partition("@")[0] == PEOPLE[role])
        command = ["-m", "gunicorn", "--workers", "2", "--bind", parts.address.removeprefix("http://")]
        with server_process([*command, "fleet.config.wsgi"], environment, folder / "web.log"):
            _wait_for_server(parts)
            failed |= not search(parts, role, token, asked.cases, asked.only)
    return int(failed)


def search(parts: Parts, role: str, token: str, cases: int, only: str) -> bool:
    """Search as one role until it has made enough cases; whether nothing failed."""
    made, round_number, is_right = 0, 0, True
    description = parts.folder / "description.json"
    each = math.ceil(cases / _operations(parts.address, only, description))
    while made < cases:
        round_number += 1
        events = parts.folder / f"{role}-{round_number}.ndjson"
        said = subprocess.run(
            [
                *(sys.executable, "-m", "schemathesis.cli", "run", str(description), "--url", parts.address),
                *("--header", f"Authorization: Bearer {token}", "--checks", PROMISES, "--continue-on-failure"),
                *("--phases", "examples,coverage,fuzzing,stateful", "--max-examples", str(each)),
                *("--seed", str(round_number), "--generation-database", "none", "--workers", "2"),
                *("--exclude-path-regex", ENDS_THE_SEARCH, "--report", "ndjson", "--report-ndjson-path", str(events)),
                *(["--include-path-regex", only] if only else []),
            ],
            env={**os.environ, "NO_COLOR": "1"},
            cwd=parts.folder,
            capture_output=True,
            text=True,
            check=False,
        )
        statuses = _statuses(events)
        if not statuses:
            raise SystemExit(f"no case was made as {role}:\n{said.stdout[-4000:]}{said.stderr[-4000:]}")
        made += statuses.total()
        faults = said.returncode != 0
        is_right &= not faults
        classes = Counter(f"{status // 100}xx" for status in statuses.elements())
        print(f"{role}, round {round_number}: {statuses.total()} cases, {dict(sorted(classes.items()))}", flush=True)
        if faults:
            print(re.sub(r"\n{3,}", "\n\n", said.stdout[-12000:]), flush=True)
    print(f"{role}: {made} cases, {'nothing failed' if is_right else 'failures above'}", flush=True)
    return is_right


def _operations(address: str, only: str, description: Path) -> int:
    """Fetch the description into a file, and say how many operations of it are searched."""
    answer = requests.get(f"{address}/api/v1/schema/", headers={"Accept": "application/json"}, timeout=300)
    description.write_bytes(answer.content)
    paths = answer.json()["paths"]
    chosen = [path for path in paths if re.search(only, path) and not re.search(ENDS_THE_SEARCH, path)]
    return max(sum(len(paths[path]) for path in chosen), 1)


def _statuses(events: Path) -> Counter[int]:
    """Status of the answer to every case, from the record of the run."""
    statuses: Counter[int] = Counter()
    if events.exists():
        for line in events.read_text(encoding="utf-8").splitlines():
            statuses.update(_answers(json.loads(line)))
    return statuses


def _answers(value: Any) -> list[int]:
    if isinstance(value, dict):
        found = [value["status_code"]] if isinstance(value.get("status_code"), int) else []
        return found + [status for part in value.values() for status in _answers(part)]
    return [status for part in value for status in _answers(part)] if isinstance(value, list) else []


def _environment(folder: Path, *, postgresql: bool) -> Mapping[str, str]:
    outside = ("PYTEST", "DJANGO", "DATABASE_URL", "REDIS_URL", "TEST_DATABASE")
    own = {name: value for name, value in os.environ.items() if not name.startswith(outside)}
    return own | {
        "DATABASE_URL": start_postgresql() if postgresql else f"sqlite:///{folder}/fleet.sqlite3",
        "SECRET_KEY": "a key of this run alone, long enough to be taken: 0123456789",
        "ALLOWED_HOSTS": "127.0.0.1",
        "REQUEST_BUDGET_PERCENT": "0",
        "FILES_DIR": str(folder / "files"),
        "HOME": str(folder),
    }


if __name__ == "__main__":
    sys.exit(main())
