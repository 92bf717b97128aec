"""What `bench_before_after` measures of one checkout; each answers figures by name, in seconds where nothing is said.

Every measure runs in a process of its own, in the checkout that it measures (see `in_checkout`), on an empty database.
"""

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import requests

#: name -> figure
Figures = dict[str, float]

_ROUTES = (
    "readings/", "purchase-orders/", "purchase-orders/late/", "plans/", "plans/<pk>/", "plans/<pk>/map/",
    "parts-lists/", "attention/", "stock-outlook/", "forecasts/", "units/", "visits/", "needs/",
    "rounds/<pk>/day-sheet/",
)  # fmt: skip


def nights_and_routes(units: int, readings: int, iterations: int) -> Figures:
    """Processor seconds of the steps of the first night and of one with 1 % news; milliseconds of the dear routes."""
    from tests.benchmarks.bench_growth import measured, with_sums

    found = measured(units, readings, iterations, _ROUTES, address=os.environ["DATABASE_URL"])
    first, news = (with_sums(found["nights"][name]) for name in ("first", "1 % news"))
    return {
        **{f"first night, {step}": seconds for step, seconds in first.items()},
        **{f"night with 1 % news, {step}": seconds for step, seconds in news.items()},
        **{f"share with news, {name} [%]": 100 * news[name] / first[name] for name in ("all", "of units")},
        **{f"{route} [ms]": found["routes"][route] for route in _ROUTES if route in found["routes"]},
    }


def upload(rows: int, units: int) -> Figures:
    """A log of readings sent to the web server, until its rows are stored, beside COPY of what is stored."""
    from tests.benchmarks.bench_fleet import invent
    from tests.benchmarks.bench_uploads import copied_again, log_lines
    from tests.benchmarks.callers import bearer
    from tests.benchmarks.processors import group_peak_mb

    with _plant() as plant:
        from fleet.models import Reading
        from tests import factories

        company = invent(units)
        owner = factories.MembershipFactory(company=company, role="owner", user__email="log@people.example")
        headers = {"Authorization": f"Bearer {bearer(owner)}"}
        plant.start_web()
        plant.start_worker()
        plant.wait_for_worker()
        log = "".join(log_lines(rows, units, 0.0)).encode()
        before, used = Reading.objects.count(), _parts_seconds(plant)
        began = time.monotonic()
        answer = requests.post(
            f"{plant.address}/api/v1/readings/upload/", files={"file": ("log.csv", log)}, headers=headers, timeout=3600
        )
        answer.raise_for_status()
        answered = time.monotonic() - began
        while answer.status_code == 202 and not (job := _job(plant, answer.json(), headers))["finished_at"]:
            time.sleep(0.1)
        done = time.monotonic() - began
        cost = _parts_seconds(plant) - used
        peak = max(group_peak_mb(process.pid) for process in plant.processes.values())
        stored = Reading.objects.count() - before
        plant.kill_all()
        copy = copied_again(Reading._meta.db_table)
        copied = (copy["python"] + copy["server"]) * rows / (stored + before)
        assert answer.status_code != 202 or job["state"] == "done", job
    return {
        "answered after": answered,
        "stored after": done,
        "processors until stored": cost,
        "COPY of the same": copied,
        "upload over COPY [times]": cost / copied,
        "largest process at most [MB]": peak,
        "rows stored [rows]": stored,
    }


def _job(plant: Any, sent: dict[str, Any], headers: dict[str, str]) -> dict[str, Any]:
    number = sent.get("job", {}).get("id") if isinstance(sent.get("job"), dict) else sent.get("job", sent.get("id"))
    answer = requests.get(f"{plant.address}/api/v1/jobs/{number}/", headers=headers, timeout=60)
    answer.raise_for_status()
    found: dict[str, Any] = answer.json()
    return found


def two_workers(units: int, months: int) -> Figures:
    """How much sooner two worker processes do the steps of units than one: one's processors over the busier one's."""
    from tests.benchmarks.bench_night import invent, set_up, shares
    from tests.servers import running_redis

    set_up(os.environ["DATABASE_URL"])
    company = invent(units, months)
    with tempfile.TemporaryDirectory() as folder, running_redis() as queue:
        nights = {count: (blocks, busy) for count, blocks, _, busy in shares(company, queue, Path(folder))}
    (blocks, one), (_, two) = nights[1], nights[2]
    return {"pieces of a night [pieces]": blocks, "speed-up by two workers [times]": one[0] / max(two)}


def load(units: int, callers: list[int], seconds: int) -> Figures:
    """Requests a second and their 95th percentile at numbers of callers; readings acknowledged and stored."""
    figures: Figures = {}
    with _plant() as plant:
        from scheduling.services.nightly import run_nightly
        from tests.benchmarks.bench_load import ask
        from tests.benchmarks.bench_routes import found, settle

        now = datetime.now(UTC)
        company = found(units, 30, now)
        run_nightly(company=company, now=now, iterations=30)
        settle(company, now)
        given = _people(company)
        plant.start_web()
        plant.start_worker()
        plant.wait_for_worker()
        plant.start_clock()
        for many in callers:
            stored, used = _of_load(), _parts_seconds(plant)
            rows = ask(plant.address, given, many, seconds, plant.folder / f"load-{many}")
            cost, total = _parts_seconds(plant) - used, rows[-1]
            answered = int(total["Request Count"])
            posted = sum(int(row["Request Count"]) - int(row["Failure Count"]) for row in rows if row["Type"] == "POST")
            figures |= {
                f"requests a second, {many} callers [1/s]": answered / seconds,
                f"95th percentile, {many} callers [ms]": float(total["95%"]),
                f"failed, {many} callers [requests]": int(total["Failure Count"]),
                f"processors a request, {many} callers [ms]": 1000 * cost / answered,
                f"readings acknowledged, {many} callers [rows]": posted,
                # More where a caller was stopped before it was answered.
                f"readings stored, {many} callers [rows]": _of_load() - stored,
            }
    return figures


def _people(company: Any) -> dict[str, Any]:
    """Tokens of those who ask in `load_people`, and ids that they may ask for."""
    from fleet.models import Unit
    from scheduling.models import Installer, Round
    from tests import factories
    from tests.benchmarks.callers import bearer

    unit = Unit.objects.filter(company=company).order_by("pk").select_related("site__client")[0]
    client = factories.MembershipFactory(
        company=company, role="client", client=unit.site.client, user__email="client@people.example"
    )
    office = factories.MembershipFactory(company=company, role="office", user__email="desk@people.example")
    tour = Round.objects.filter(plan__company=company).order_by("pk")[0]
    installer = Installer.objects.get(pk=tour.installer_id).membership
    tokens = {"client": bearer(client), "office": bearer(office), "installer": bearer(installer)}
    return {
        "tokens": {**tokens, "meter": tokens["office"]},
        "metered": unit.code,
        "own": [unit.pk],
        "units": list(Unit.objects.filter(company=company).order_by("pk").values_list("pk", flat=True)[:100]),
        "rounds": list(
            Round.objects.filter(plan_id=tour.plan_id, installer_id=tour.installer_id).values_list("pk", flat=True)
        ),
    }


def _of_load() -> int:
    from fleet.models import Reading

    return Reading.objects.filter(reference__startswith="load-").count()


def night_behind_posts(posts: int, units: int, callers: int) -> Figures:
    """A night that is due in the middle of a burst of posts."""
    from tests.benchmarks.bench_burst import burst

    with _plant() as plant:
        found = burst(plant, posts, units, callers)
    counted = {"acknowledged", "stored", "lost", "stored twice", "follow-ups carried out"}
    return {
        f"{name} [rows]" if name in counted else name: float(value)
        for name, value in found.items()
        if not isinstance(value, str)
    }


def crash(what: str) -> Figures:
    """Something dies under load and comes back: what was acknowledged against what is stored."""
    from tests.benchmarks.plant import Plant
    from tests.benchmarks.try_faults import under_load

    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="f-")))
        # Of its own, as it may be killed.
        plant = Plant(stack, folder, "postgresql")
        plant.start_worker()
        plant.start_clock()
        plant.start_web()
        told = under_load(plant, _DISTURBED[what](plant))
        waited = plant.wait_for_jobs()
        stored = plant.stored()
        return {
            "acknowledged [rows]": len(told.acknowledged),
            "lost [rows]": sum(1 for key in told.acknowledged if key not in stored),
            "stored twice [rows]": sum(1 for count in stored.values() if count > 1),
            "answered 500 [requests]": told.refused["500"],
            "jobs that never end [jobs]": plant.jobs_that_go_on(),
            "longest that a caller waited": told.longest_seconds,
            "then until no job went on": waited,
        }


def _web_killed(plant: Any) -> Callable[[], None]:
    def kill() -> None:
        plant.kill("web")
        plant.start_web(plant.port)

    return kill


def _database_killed(plant: Any) -> Callable[[], None]:
    def kill() -> None:
        plant.kill_postgresql()
        time.sleep(3)
        plant.start_postgresql()

    return kill


def _queue_away(plant: Any) -> Callable[[], None]:
    def take_away() -> None:
        plant.stop_queue()
        time.sleep(5)
        plant.start_queue()

    return take_away


_DISTURBED: dict[str, Callable[[Any], Callable[[], None]]] = {
    "web": _web_killed,
    "database": _database_killed,
    "queue": _queue_away,
}


@contextmanager
def _plant() -> Iterator[Any]:
    """The parts on the database that this process was given."""
    from tests.benchmarks.plant import Plant

    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="p-")))
        yield Plant(stack, folder, "postgresql", address=os.environ["DATABASE_URL"])


def _parts_seconds(plant: Any) -> float:
    """Processor seconds so far of web server, worker, clock and database."""
    from tests.benchmarks.processors import group_seconds, server_seconds

    return sum(group_seconds(process.pid) for process in plant.processes.values()) + server_seconds()


MEASURES: dict[str, Callable[..., Figures]] = {
    "nights_and_routes": nights_and_routes,
    "upload": upload,
    "two_workers": two_workers,
    "load": load,
    "night_behind_posts": night_behind_posts,
    "crash": crash,
}
