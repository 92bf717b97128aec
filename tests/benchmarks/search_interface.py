"""Search the whole interface for answers that were not promised, as each role, on either database.

`python -m tests.benchmarks.search_interface --roles owner office installer client --cases 5000 [--postgresql]` has
Schemathesis run all its phases (examples, coverage, fuzzing, stateful) as each role against a company with a few rows
of everything, each on a fresh copy of the same rows; on PostgreSQL as the application's role, behind the wall. The
application answers in the process that asks, with nothing around it: transactions end, and what follows them goes to a
queue. It prints how many cases were made and every kind of fault once, and ends with 1 where something failed.
"""

import argparse
import json
import logging
import math
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

import psycopg

from tests.servers import APPLICATION_ROLE, as_role, running_redis, start_postgresql, use_own_temporary_folder

ROLES: Final = ("owner", "office", "installer", "client")
#: The coverage phase makes about so many cases of one operation (80 were counted), most of them refused alike: 24,000
#: before the other phases begin. A share of them, drawn by the seed, leaves it a third of the cases that are asked for.
COVERAGE_OF_OPERATION: Final = 80
#: Progress is told after so many cases.
TOLD_EVERY: Final = 250
PROMISES: Final = (
    "not_a_server_error", "status_code_conformance", "content_type_conformance", "response_headers_conformance",
    "response_schema_conformance",
)  # fmt: skip


def main() -> int:
    """Search as the roles that were named; 1 where something failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--roles", nargs="+", choices=ROLES, default=ROLES)
    parser.add_argument("--cases", type=int, default=5000, help="at least so many a role")
    parser.add_argument("--only", default="", help="regular expression of paths, for a look at a few")
    parser.add_argument("--seed", type=int, default=1, help="of the first round; another makes other cases")
    parser.add_argument("--postgresql", action="store_true", help="on PostgreSQL instead of SQLite")
    asked = parser.parse_args()
    use_own_temporary_folder()
    folder = Path(tempfile.mkdtemp(prefix="search-"))
    server = start_postgresql() if asked.postgresql else ""
    rows = server or f"sqlite:///{folder}/rows.sqlite3"
    tokens = folder / "tokens.json"
    _in_a_process(_environment(rows, folder), fill, tokens)
    secrets = json.loads(tokens.read_text())
    failed = False
    with running_redis() as queue:
        for role in asked.roles:
            environment = dict(_environment(_copy(rows, folder, role), folder)) | {"REDIS_URL": queue}
            asked_of_role = (role, secrets[role], asked.cases, asked.only, asked.seed)
            failed |= _in_a_process(environment, search, *asked_of_role) != 0
    return int(failed)


def _in_a_process(environment: Mapping[str, str], work: Callable[..., None], *arguments: Any) -> int | None:
    """Do it in a process of its own, whose settings are those of the environment; the code with which it ended."""
    os.environ.clear()
    os.environ.update(environment)
    process = multiprocessing.get_context("spawn").Process(target=work, args=arguments)
    process.start()
    process.join()
    if process.exitcode and work is fill:
        raise SystemExit("the rows could not be made")
    return process.exitcode


def fill(tokens: Path) -> None:
    """Make the tables, a company with two rows of everything that an address can name, and a token for each role."""
    import django
    from django.apps import apps
    from django.conf import settings

    django.setup()
    # Of all of them: where some are migrated, PostgreSQL misses tables that others refer to.
    settings.MIGRATION_MODULES = {app.label: None for app in apps.get_app_configs()}
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from accounts.services import issue_token
    from accounts.wall import over_all_companies
    from tests import factories
    from tests.routes import every_route
    from tests.rows import make_row
    from tests.walled import build_wall

    call_command("migrate", run_syncdb=True, verbosity=0)
    if connection.vendor == "postgresql":
        build_wall()
    with over_all_companies():
        company = factories.CompanyFactory(name="North Water")
        client = factories.ClientFactory(company=company, name="First Client")
        for route in every_route():
            if "<pk>" in route.path:
                make_row(route.view_class.queryset.model, company=company, client=client)
        secrets = {}
        for role in ROLES:
            belongs = {"client": client} if role == "client" else {}
            member = factories.MembershipFactory(company=company, role=role, **belongs)
            life = timedelta(hours=20)
            _, secrets[role] = issue_token(by=member, membership=member, name="search", ttl=life, now=timezone.now())
    tokens.write_text(json.dumps(secrets))


def search(role: str, token: str, cases: int, only: str, seed: int) -> None:
    """Search as one role until it has made enough cases, and leave the process with 1 where something failed."""
    import django
    from django.db import connections

    django.setup()
    # A connection stays open: on SQLite, opening one for each case is two fifths of the time.
    connections.settings["default"]["CONN_MAX_AGE"] = None
    schema = _described(token)
    # Refusals are what a search is made of; only what nobody foresaw is told. Making the application sets up the logs.
    logging.getLogger("django.request").setLevel(logging.ERROR)
    if only:
        schema = schema.include(path_regex=only)
    operations = schema.statistic.operations.selected
    each = max(1, math.ceil(cases / operations / 2))
    draw, share = random.Random(seed), cases / 3 / operations / COVERAGE_OF_OPERATION

    @schema.hook
    def filter_case(context: Any, case: Any) -> bool:
        phase = case.meta.phase.name.value if case.meta is not None else ""
        return phase != "coverage" or draw.random() < share

    made, faults, began = Counter[int](), Counter[str](), time.monotonic()
    while made.total() < cases:
        statuses = _round(schema, token, each, seed, faults)
        if not statuses:
            raise SystemExit(f"no case was made as {role}")
        made += statuses
        seed += 1
        seconds = time.monotonic() - began
        print(f"{role}: {made.total()} cases in {seconds:.0f} s, {_classes(made)}", flush=True)
    for where, times in sorted(faults.items()):
        print(f"{role}: {where}, {times} times", flush=True)
    print(f"{role}: {made.total()} cases, {len(faults)} kinds of faults", flush=True)
    sys.exit(1 if faults else 0)


def _described(token: str) -> Any:
    """The interface as Schemathesis sees it, with ids of rows that exist in most addresses and bodies."""
    import schemathesis
    from django.core.wsgi import get_wsgi_application
    from knox.crypto import hash_token

    from accounts.models import AccessToken
    from accounts.wall import inside_company, over_all_companies
    from tests.made_up_ids import ids_of, is_made_up, rows_by_name, with_rows_that_exist

    with over_all_companies():
        rows = AccessToken.objects.select_related("membership__company", "user")
        access = rows.get(digest=hash_token(token))
        rows_of_company = rows_by_name(access.membership.company)
    # As JSON: the library reads YAML many times as long.
    wanted = {"Accept": "application/vnd.oai.openapi+json"}
    schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", get_wsgi_application(), headers=wanted)

    @schema.hook
    def map_path_parameters(context: Any, path_parameters: Any) -> Any:
        number = (path_parameters or {}).get("id")
        if not is_made_up(number):
            return path_parameters
        with inside_company(access.membership.company_id):
            ids = ids_of(context.operation.path, access.membership)
        return {**path_parameters, "id": ids[number % len(ids)]} if ids else path_parameters

    @schema.hook
    def map_body(context: Any, body: Any) -> Any:
        return with_rows_that_exist(body, rows_of_company)

    # A case that writes may sign the person out, or out of the company; the rest would be answered 401.
    wrote = [True]

    @schemathesis.hook
    def before_call(context: Any, case: Any, kwargs: Any) -> None:
        if wrote.pop():
            with over_all_companies():
                _let_in(access)
        wrote.append(case.method.upper() not in ("GET", "HEAD", "OPTIONS"))

    return schema


def _let_in(access: Any) -> None:
    """Put back what opens the door: account, membership and a token whose person has just proved who they are."""
    from datetime import timedelta

    from django.utils import timezone

    access.authenticated_at = timezone.now() + timedelta(days=1)
    access.expiry = timezone.now() + timedelta(days=1)
    access.user.save()
    access.membership.save()
    access.save()


def _round(schema: Any, token: str, each: int, seed: int, faults: Counter[str]) -> Counter[int]:
    """One run through all phases; how often each status was answered. Kinds of faults are added to `faults`."""
    from schemathesis.config import HealthCheck
    from schemathesis.engine import from_schema
    from schemathesis.engine.events import NonFatalError, ScenarioFinished

    config = schema.config
    config.update(headers={"Authorization": f"Bearer {token}"}, workers=1, continue_on_failure=True)
    # How fast cases are made says what else the machine does, and nothing of an answer.
    config.update(suppress_health_check=[HealthCheck.too_slow])
    config.seed = seed
    config.generation.update(max_examples=each, no_shrink=True)
    config.phases.update(phases=["examples", "coverage", "fuzzing", "stateful"])
    config.checks.update(included_check_names=list(PROMISES))
    statuses: Counter[int] = Counter()
    for event in from_schema(schema).execute():
        if isinstance(event, NonFatalError):
            _note(faults, f"{event.label}: {event.info.title}", str(event.value)[:2000])
        if not isinstance(event, ScenarioFinished):
            continue
        recorder, told = event.recorder, statuses.total() // TOLD_EVERY
        statuses.update(one.response.status_code for one in recorder.interactions.values() if one.response)
        for case, checks in recorder.checks.items():
            for check in checks:
                if check.failure_info is not None:
                    failure = check.failure_info.failure
                    where = f"{failure.operation}: {failure.title}"
                    answer = recorder.interactions[case].response
                    words = f"{failure.message[:1500]}\n{check.failure_info.code_sample[:1500]}\n"
                    _note(faults, where, words + (answer.text[:600] if answer else ""))
        if statuses.total() // TOLD_EVERY > told:
            print(f"{statuses.total()} cases of this round, {_classes(statuses)}, {event.phase.value}", flush=True)
    return statuses


def _note(faults: Counter[str], where: str, words: str) -> None:
    """Count a kind of fault, and tell the first of it at once."""
    faults[where] += 1
    if faults[where] == 1:
        print(f"\n{where}\n{words}\n", flush=True)


def _classes(statuses: Counter[int]) -> dict[str, int]:
    classes: Counter[str] = Counter()
    for status, times in statuses.items():
        classes[f"{status // 100}xx"] += times
    return dict(sorted(classes.items()))


def _copy(database: str, folder: Path, role: str) -> str:
    """Give a role a copy of the rows; its address, as the application's role."""
    if database.startswith("sqlite"):
        shutil.copy(database.removeprefix("sqlite:///"), folder / f"{role}.sqlite3")
        return f"sqlite:///{folder}/{role}.sqlite3"
    parts = urlsplit(database)
    template = parts.path.removeprefix("/")
    with psycopg.connect(parts._replace(path="/template1").geturl(), autocommit=True) as connection:
        connection.execute(f'DROP DATABASE IF EXISTS "search_{role}"')
        connection.execute(f'CREATE DATABASE "search_{role}" TEMPLATE "{template}"')
        connection.execute(f'GRANT CONNECT ON DATABASE "search_{role}" TO "{APPLICATION_ROLE}"')
    return as_role(parts._replace(path=f"/search_{role}").geturl(), APPLICATION_ROLE)


def _environment(database: str, folder: Path) -> Mapping[str, str]:
    outside = ("PYTEST", "DJANGO", "DATABASE_URL", "REDIS_URL", "TEST_DATABASE")
    own = {name: value for name, value in os.environ.items() if not name.startswith(outside)}
    return own | {
        "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
        "DATABASE_URL": database,
        "SECRET_KEY": "a key of this run alone, long enough to be taken: 0123456789",
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "REQUEST_BUDGET_PERCENT": "0",
        "FILES_DIR": str(folder / "files"),
        "HOME": str(folder),
    }


if __name__ == "__main__":
    sys.exit(main())
