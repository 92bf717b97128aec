"""What every test can ask for."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection
from django.db.backends.base.operations import BaseDatabaseOperations
from django.db.models import QuerySet
from django.db.transaction import TransactionManagementError
from django.test.client import ClientHandler
from hypothesis import settings
from whitenoise.middleware import WhiteNoiseMiddleware

from accounts.models import Company
from accounts.services.budgets import forget_held
from accounts.wall import in_sight_of_nobody
from fleet.config import garbage
from tests.effort import LONG, one_in
from tests.walled import as_application, build_wall

pytest_plugins = ["tests.cast"]

garbage.collect_less_often()

# The same examples in every run, and no deadline: how long an example takes says nothing about whether it is right.
settings.register_profile("suite", deadline=None, derandomize=True)
settings.load_profile("suite")


# A file is run by one process: what waits long for processes of its own begins first, so that it does not end last.
_FIRST = ("tests/live/", "tests/test_servers.py", "tests/demo/", "tests/browser/")


# What our own SQL, locks and constraints carry; with it goes every test that commits.
_ON_POSTGRESQL = (
    "tests/accounts/http/test_etags.py",
    "tests/accounts/http/test_idempotency.py",
    "tests/accounts/jobs/",
    "tests/accounts/test_budgets.py",
    "tests/accounts/test_tenancy.py",
    "tests/accounts/webhooks/",
    "tests/fleet/api/test_readings_api.py",
    "tests/fleet/intake/test_uploads.py",
    "tests/fleet/services/forecasts/test_refresh_forecasts.py",
    "tests/fleet/services/test_reviews.py",
    "tests/live/",
    "tests/scheduling/company_files/test_take_out.py",
    "tests/scheduling/services/needs/test_needs.py",
    "tests/scheduling/services/orders/",
    "tests/scheduling/services/rounds/test_plans.py",
    "tests/scheduling/services/stock/",
    "tests/scheduling/services/test_nightly.py",
    "tests/scheduling/services/visits/",
    "tests/scheduling/services/work/",
    "tests/test_erasure.py",
    "tests/test_every_write.py",
    "tests/test_row_locks.py",
    "tests/test_wall.py",
)


# Around all others: marks are asked for by -m, and what talks to no database is put last.
@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> Iterator[None]:
    """Mark what touches the database, so that a run on another database need not repeat the rest; put long ones first.

    Out of a short run stay what is marked as long and, on SQLite, what puts work on a queue or is marked as served: in
    operation PostgreSQL stands there, and the run on PostgreSQL has them. Of what either database does alike, a short
    run on PostgreSQL repeats a part.

    What is marked as about the interface is not repeated either: it asks what is let in and how it is said, and
    the same views answer over either database.
    """
    left_out = [] if LONG else [item for item in items if _is_long(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]
    for item in items:
        mark, fixtures = item.get_closest_marker("django_db"), set(getattr(item, "fixturenames", ()))
        if ({"db", "transactional_db"} & fixtures or mark) and not item.get_closest_marker("interface"):
            item.add_marker("database")
            commits = "transactional_db" in fixtures or (mark and mark.kwargs.get("transaction"))
            ours = item.nodeid.startswith(_ON_POSTGRESQL) and one_in(3, item.nodeid)
            if commits or item.get_closest_marker("served") or ours:
                item.add_marker("postgresql")
    yield
    items.sort(key=lambda item: not item.nodeid.startswith(_FIRST))


def _is_long(item: pytest.Item) -> bool:
    if item.get_closest_marker("long"):
        return True
    served = item.get_closest_marker("served") or "broker" in getattr(item, "fixturenames", ())
    return connection.vendor == "sqlite" and bool(served)


@pytest.fixture(autouse=True)
def _locks_need_a_transaction_of_the_product(monkeypatch: pytest.MonkeyPatch) -> None:
    """Refuse a row lock whose only transaction is the one that a test is wrapped in: in operation there is none."""
    ask = BaseDatabaseOperations.for_update_sql

    def refuse_outside(operations: BaseDatabaseOperations, *args: Any, **kwargs: Any) -> str:
        blocks = operations.connection.atomic_blocks  # type: ignore[union-attr]
        if blocks and all(block._from_testcase for block in blocks):
            raise TransactionManagementError("A row lock was asked for in no transaction but that of the test.")
        return ask(operations, *args, **kwargs)

    monkeypatch.setattr(BaseDatabaseOperations, "for_update_sql", refuse_outside)


@pytest.fixture(scope="session", autouse=True)
def _static_files_are_looked_for_once() -> Iterator[None]:
    """Let all clients of a process share one list of the static files: each has middleware of its own, that makes one.

    In operation the middleware is made once for each process.
    """
    listed: dict[str, dict[str, Any]] = {}
    look = WhiteNoiseMiddleware.add_files_from_finders

    def look_once(middleware: WhiteNoiseMiddleware) -> None:
        if middleware.static_prefix not in listed:
            look(middleware)
            listed[middleware.static_prefix] = dict(middleware.files)
        middleware.files.update(listed[middleware.static_prefix])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", look_once)
        yield


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Build the wall between companies in the database of the run, where that is PostgreSQL."""
    if connection.vendor == "postgresql":
        with django_db_blocker.unblock():
            build_wall()


@pytest.fixture(autouse=True)
def _requests_are_answered_behind_the_wall(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have requests of tests on PostgreSQL answered as in operation: by a role that sees one company at a time."""
    if connection.vendor != "postgresql":
        return
    ask = ClientHandler.__call__

    def ask_as_application(handler: ClientHandler, environ: dict[str, Any]) -> Any:
        with as_application():
            return ask(handler, environ)

    monkeypatch.setattr(ClientHandler, "__call__", ask_as_application)


@pytest.fixture(autouse=True)
def _begins_with_nobody_in_sight() -> Iterator[None]:
    """What a service lets its caller see lasts until the request ends; a test that asks for it has none."""
    with in_sight_of_nobody():
        yield


@pytest.fixture(autouse=True)
def _fresh_budgets() -> None:
    """What a process took of a budget of requests is in memory, beside rows that are taken back after each test."""
    forget_held()


@pytest.fixture(autouse=True)
def _the_company_is_locked_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Refuse a company's lock after another row's: two who take them in turns wait for one another for ever."""
    ask = QuerySet.select_for_update

    def refuse_after_others(rows: QuerySet[Any], **kwargs: Any) -> QuerySet[Any]:
        block = next((block for block in connection.atomic_blocks if not block._from_testcase), None)  # type: ignore[attr-defined]
        if block is not None:
            held = vars(block).setdefault("models_locked", [])
            if rows.model is Company and held and Company not in held:
                raise AssertionError(f"The company is locked after {held[0].__name__}: lock it first.")
            held.append(rows.model)
        return ask(rows, **kwargs)

    monkeypatch.setattr(QuerySet, "select_for_update", refuse_after_others)


@pytest.fixture(autouse=True)
def _requests_are_followed_one_by_one(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep what several requests announce apart, as in operation, though one transaction of a test holds them all."""
    marker = request.node.get_closest_marker("django_db")
    if "transactional_db" in request.fixturenames or (marker is not None and marker.kwargs.get("transaction")):
        return

    def block_of_request() -> Any:
        blocks = connection.atomic_blocks  # type: ignore[attr-defined]
        return next((block for block in blocks if not block._from_testcase), None)

    monkeypatch.setattr("fleet.services.consequences._outermost_block", block_of_request)
