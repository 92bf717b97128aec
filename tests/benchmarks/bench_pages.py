"""What each page costs the server, for a small company and a large one: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_pages                          50 and 5,000 units on a PostgreSQL of the run's own
    python -m tests.benchmarks.bench_pages --units 50 500 --folder DIR      keeps the database there, and uses it again
    python -m tests.benchmarks.bench_pages --only /week/ /attention/

For each page that is read, asked by a member whom it is made for, with rows that are there: queries, milliseconds of
the process that answers (the middle one of its turns), kilobytes before packing. Units and readings are those of
`bench_routes`; forecasts, needs, visits and a published week are written as rows, not worked out by a night, which
takes minutes for thousands of units. `--night` has it worked out.
"""

import argparse
import os
import re
import statistics
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from scipy.stats import norm

from tests.benchmarks.bench_routes import fleet_of, invent, set_up


@dataclass(frozen=True, slots=True)
class Cost:
    """What one page costs."""

    status: int
    queries: int
    processor_ms: float
    kilobytes: float

    def __str__(self) -> str:
        said = "" if self.status == 200 else f" ({self.status})"
        return f"{self.queries}{said} | {self.processor_ms:.0f} | {self.kilobytes:.0f}"


def main() -> None:
    """Make the companies that are not there yet, and measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="+", default=[50, 5000])
    parser.add_argument("--readings", type=int, default=3, help="of each unit")
    parser.add_argument("--night", action="store_true", help="have forecasts, needs, visits and plan worked out")
    parser.add_argument("--folder", help="where the database is kept")
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--only", nargs="*", help="pages whose address holds one of these")
    options = parser.parse_args()
    set_up(options.folder)
    from accounts.models import Company

    costs: dict[str, list[Cost]] = {}
    for units in options.units:
        name = f"Company of {units} units (invented)"
        make = invent if options.night else written
        company = Company.objects.filter(name=name).first() or make(units, options.readings)
        for page, cost in costs_of(company, options.only, options.turns):
            costs.setdefault(page, []).append(cost)
            print(f"{units} units: {page} | {cost}", file=sys.stderr, flush=True)
    print(f"load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores, {options.turns} turns")
    print("| page | " + " | ".join(f"queries of {units} | ms | KB" for units in options.units) + " |")
    print("| -- |" + " --: | --: | --: |" * len(options.units))
    for page, rows in costs.items():
        print(f"| {page} | " + " | ".join(map(str, rows)) + " |")


def written(units: int, readings: int) -> Any:
    """A company with that many units, each with forecasts, an urgent need and a proposed visit; a week is published."""
    from fleet.models import Forecast, Placement, Position
    from scheduling.models import Need, Plan, Stop, Visit, VisitTask
    from tests import factories

    now = datetime.now(UTC)
    today, soon = now.date(), now.date() + timedelta(days=6)
    rng = np.random.default_rng(15)
    company = factories.CompanyFactory(name=f"Company of {units} units (invented)")
    supplier = factories.SupplierFactory(company=company)
    items = {
        stage: factories.CatalogueItemFactory(company=company, kind=stage, supplier=supplier)
        for stage in ("sediment", "carbon", "membrane", "resin")
    }
    fleet_of(company, items, units, readings, now)
    positions = list(Position.objects.of_company(company).select_related("unit__site").order_by("pk"))
    placements = dict(Placement.objects.filter(position__in=positions).values_list("position_id", "pk"))
    forecasts = Forecast.objects.bulk_create(
        [
            Forecast(
                position=place, placement_id=placements[place.pk], as_of=today, computed_at=now, state="installed",
                remaining_share=0.2, driver="capacity", is_latest=True, installer_sentence="Invented.",
                client_sentence="Invented.", **dates_from(rng, today),
            )
            for place in positions
        ],
        batch_size=2000,
    )  # fmt: skip
    first = [(place, row) for place, row in zip(positions, forecasts, strict=True) if place.order == 1]
    needs = Need.objects.bulk_create(
        [
            Need(
                company=company, site=place.unit.site, unit=place.unit, position=place, forecast=row, kind="replace",
                item=items["sediment"], key=f"replace:{place.pk}", minutes=30, best_day=today, curve_first_day=today,
                cost_curve=[1.0, 2.0, 9.0], is_urgent=True, created_at=now, updated_at=now,
            )
            for place, row in first
        ],
        batch_size=2000,
    )  # fmt: skip
    visits = Visit.objects.bulk_create(
        [
            Visit(
                company=company, site=need.site, earliest_day=today, latest_day=soon, best_day=today, minutes=45,
                costs_first_day=today, costs=[1.0, 2.0, 9.0], created_at=now, updated_at=now,
            )
            for need in needs
        ],
        batch_size=2000,
    )  # fmt: skip
    VisitTask.objects.bulk_create(
        [VisitTask(visit=visit, need=need, order=1) for visit, need in zip(visits, needs, strict=True)], batch_size=2000
    )
    plan = factories.PlanFactory(company=company, state=Plan.State.PUBLISHED, first_day=today, published_at=now)
    places = iter(visits)
    for number in range(3):
        day = factories.RoundFactory(
            plan=plan, installer=factories.InstallerFactory(company=company), day=today + timedelta(days=number)
        )
        at = now + timedelta(days=number, hours=1)
        Stop.objects.bulk_create(
            [
                Stop(
                    round=day, visit=next(places), order=order, arrives_at=at + timedelta(minutes=50 * order),
                    starts_at=at + timedelta(minutes=50 * order),
                    leaves_at=at + timedelta(minutes=50 * order + 45), driving_minutes=5.0, driving_km=3.0,
                )
                for order in range(1, 9)
            ]
        )  # fmt: skip
    order = factories.PurchaseOrderFactory(company=company, supplier=supplier, state="placed", placed_on=today)
    for item in items.values():
        factories.PurchaseOrderLineFactory(order=order, item=item, packs=units // 10, expected_on=soon)
        factories.StockLevelFactory(company=company, item=item, quantity=units // 5)
    return company


def dates_from(rng: np.random.Generator, today: date) -> dict[str, Any]:
    """The dates of one forecast: exhausted within two years, the later the less surely."""
    from fleet.forecasting import GRID_LEVELS, LEVELS

    median, share = float(rng.uniform(0.0, 730.0)), float(rng.uniform(0.1, 0.4))
    tenths = [int(10 * max(median * (1.0 + share * each), 0.0)) for each in norm.ppf(GRID_LEVELS)]
    days = {
        f"p{round(100 * level):02d}": today + timedelta(days=max(median * (1.0 + share * each), 0.0))
        for level, each in zip(LEVELS, norm.ppf(LEVELS), strict=True)
    }
    life = float(rng.uniform(90.0, 700.0))
    fresh = {"fresh_life_p10_days": 0.7 * life, "fresh_life_p50_days": life, "fresh_life_p90_days": 1.4 * life}
    return {"date_grid": tenths, **days, **fresh}


def costs_of(company: Any, only: list[str] | None, turns: int) -> Iterator[tuple[str, Cost]]:
    """Every page that is read, with what it costs."""
    from tests.page_table import PAGES
    from tests.pages import signed_in

    people = _People(company)
    for route, row in PAGES.items():
        method, path = route.split()
        if method != "GET" or (only and not any(word in path for word in only)):
            continue
        keys = {name: people.row_of(model) for name, model in (row.rows or {}).items()}
        if None in keys.values():
            print(f"{path}: there is no row of it", file=sys.stderr)
            continue
        address = re.sub(r"<(\w+)>", lambda name, keys=keys: str(keys[name[1]]), path)  # type: ignore[misc]
        yield path, cost_of(signed_in(people.whom(path, row.roles)), address, turns)


class _People:
    """Who looks at the pages of a company, and the rows that they look at: all of one unit, and of one round."""

    def __init__(self, company: Any) -> None:
        from fleet.models import Unit
        from scheduling.models import Round, Stop, Visit

        self.company = company
        self.stop = Stop.objects.filter(round__plan__company=company, round__plan__state="published").last()
        self.visit = self.stop.visit if self.stop else Visit.objects.of_company(company).last()
        site = self.visit.site
        unit = Unit.objects.filter(site=site).first()
        self.rows: dict[Any, Any] = {Unit: unit, Visit: self.visit, type(site): site, type(site.client): site.client}
        self.rows |= {Stop: self.stop, Round: self.stop.round if self.stop else None}

    def row_of(self, model: Any) -> int | None:
        """The key of a row that is there."""
        if model not in self.rows:
            self.rows[model] = model.objects.of_company(self.company).order_by("-pk").first()
        row = self.rows[model]
        return row.pk if row is not None else None

    def whom(self, path: str, roles: str) -> Any:
        """The member whom a page is made for."""
        from accounts.models import Membership
        from tests import factories

        if path.startswith("/my-day") and self.stop is not None:
            return self.stop.round.installer.membership
        role = "owner" if roles == "owner" else "office"
        more: dict[str, Any] = {}
        if path.startswith("/my-water"):
            role, more = "client", {"client": self.visit.site.client}
        member = Membership.objects.filter(company=self.company, role=role, **more).first()
        return member or factories.MembershipFactory(company=self.company, role=role, **more)


def cost_of(person: Any, address: str, turns: int) -> Cost:
    """Look at one page a few times."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    person.get(address)
    with CaptureQueriesContext(connection) as captured:
        answer = person.get(address)
    # told by the next request no more
    queries = len(captured)
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    times = []
    for _ in range(turns):
        began = time.process_time()
        person.get(address)
        times.append(1000 * (time.process_time() - began))
    return Cost(answer.status_code, queries, statistics.median(times), len(body) / 1000)


if __name__ == "__main__":
    main()
