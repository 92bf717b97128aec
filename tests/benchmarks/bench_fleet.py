"""How fast readings come in and a company is judged: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_fleet intake      a file against the same rows posted one by one
    python -m tests.benchmarks.bench_fleet company     indicators, findings and forecasts, first run against second

Runs on a database of its own in memory; companies and readings are invented from the seed in the code.
"""

import argparse
import os
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import numpy as np

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
HEADER = (
    "unit,taken at,reference,line pressure [psi],inlet pressure [psi],temperature [degF],feed TDS [ppm],"
    "permeate TDS [ppm],interstage TDS [ppm],product TDS [ppm],permeate flow [gpd],concentrate flow [gpd],state\n"
)
FIELDS = (
    "unit", "taken_at", "reference", "line_pressure", "inlet_pressure", "temperature", "feed_tds", "permeate_tds",
    "interstage_tds", "product_tds", "permeate_flow", "concentrate_flow", "state",
)  # fmt: skip
UNITS = ("", "", "", "psi", "psi", "degF", "ppm", "ppm", "ppm", "ppm", "gpd", "gpd", "")


def main() -> None:
    """Make a database, run one of the benches."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("bench", choices=["intake", "company"])
    parser.add_argument("--rows", type=int, default=7000)
    parser.add_argument("--units", type=int, default=75)
    options = parser.parse_args()
    os.environ["DATABASE_URL"] = "sqlite://:memory:"
    os.environ.pop("REDIS_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    (bench_intake if options.bench == "intake" else bench_company)(options.rows, options.units)


def invent(units: int) -> object:
    """A company with that many units, each with a full train."""
    from tests import factories

    company = factories.CompanyFactory()
    items = {
        stage: factories.CatalogueItemFactory(company=company, kind=stage)
        for stage in ("sediment", "carbon", "membrane", "resin")
    }
    train = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))
    for number in range(units):
        unit = factories.UnitFactory(company=company, code=f"U{number}", commissioned_on=date(2024, 1, 1))
        for order, (stage, role) in enumerate(train, start=1):
            position = factories.PositionFactory(unit=unit, order=order, stage=stage, role=role)
            factories.PlacementFactory(position=position, item=items[stage])
    return company


def invent_rows(rows: int, units: int) -> Iterator[list[str]]:
    """Rows of a log, spread over the units and the months before now: daily, or more often where two years of days are
    not enough, since readings from before a unit was commissioned are refused."""
    rng = np.random.default_rng(7)
    step = min(timedelta(days=1), timedelta(days=700) / max(-(-rows // units), 1))
    for number in range(rows):
        at = NOW - timedelta(hours=1) - step * (number // units)
        noise = rng.normal(1.0, 0.02, 9)
        values = np.array([62, 60, 59, 240, 9, 1, 0.4, 75, 300]) * noise
        yield [f"U{number % units}", f"{at:%Y-%m-%dT%H:%M:%SZ}", f"R{number}", *(f"{v:.1f}" for v in values), "flowing"]


def bench_intake(rows: int, units: int) -> None:
    """Time a row as part of a file, sent again as part of the same file, and posted alone."""
    from fleet.intake.payloads import take_reading
    from fleet.intake.readings_log import read_log

    company = invent(units)
    invented = list(invent_rows(rows, units))
    content = (HEADER + "\n".join(",".join(row) for row in invented)).encode()
    start = time.perf_counter()
    read_log(company=company, by=None, name="log.csv", content=content, now=NOW)  # type: ignore[arg-type]
    file = (time.perf_counter() - start) / rows
    start = time.perf_counter()
    read_log(company=company, by=None, name="log.csv", content=content, now=NOW)  # type: ignore[arg-type]
    again = (time.perf_counter() - start) / rows
    single = 100
    start = time.perf_counter()
    for number, row in enumerate(invented[:single]):
        sent = {name: f"{v} {unit}".strip() for name, v, unit in zip(FIELDS, row, UNITS, strict=True)}
        sent["reference"] = f"S{number}"
        take_reading(company=company, by=None, row=sent, source="meter", now=NOW)  # type: ignore[arg-type]
    alone = (time.perf_counter() - start) / single
    print(f"{rows} rows of {len(FIELDS)} columns, {units} units; each with its indicators")
    print("| a row in a file | the same file again | a row posted alone | alone over file |\n| --: | --: | --: | --: |")
    print(f"| {1e3 * file:.2f} ms | {1e3 * again:.2f} ms | {1e3 * alone:.1f} ms | {alone / file:.1f} |")


def bench_company(rows: int, units: int) -> None:
    """Time indicators, findings and forecasts of a company, and the second run that changes nothing."""
    from fleet.intake.readings_log import read_log
    from fleet.models import ReadingIndicators
    from fleet.services.findings.findings import refresh_findings
    from fleet.services.forecasts.forecasts import forecast_company
    from fleet.services.readings.indicators import recompute

    company = invent(units)
    content = (HEADER + "\n".join(",".join(row) for row in invent_rows(rows, units))).encode()
    read_log(company=company, by=None, name="log.csv", content=content, now=NOW)  # type: ignore[arg-type]
    ReadingIndicators.objects.all().delete()
    print(f"{units} units, {rows} readings\n| | first run | second run | ratio |\n| -- | --: | --: | --: |")
    for name, work in (("indicators", recompute), ("findings", refresh_findings), ("forecasts", forecast_company)):
        times = []
        for _ in range(2):
            start = time.perf_counter()
            work(company=company, now=NOW)  # type: ignore[operator]
            times.append(time.perf_counter() - start)
        print(f"| {name} | {times[0]:.2f} s | {times[1]:.2f} s | {times[1] / times[0]:.2f} |")


if __name__ == "__main__":
    main()
