"""What the second wall costs: the lists of a large company, as who owns the tables and as the product's role.

    python -m tests.benchmarks.bench_wall --units 600 --companies 4

Prints ratios measured side by side, asserts nothing. The demo's company is multiplied in a PostgreSQL of this run's
own, beside other companies of its size; every list is asked for in turn by both roles over one connection, and the
fastest of each counts, since whatever else the machine does only slows down. `--database URL` fills one that is there,
and keeps it.
"""

import argparse
import os
import tempfile
import time
from pathlib import Path
from typing import Any, Final

from tests.servers import start_postgresql, use_own_temporary_folder

#: What grows with the units, in the order of who hangs on whom.
GROWING: Final = (
    "accounts.Client", "fleet.Site", "fleet.AccessWindow", "fleet.Unit", "fleet.Position", "fleet.Placement",
    "fleet.Reading", "fleet.ReadingIndicators", "fleet.Forecast", "fleet.Finding", "scheduling.Need",
    "scheduling.Visit", "scheduling.VisitTask", "scheduling.ServiceRecord", "scheduling.Message",
)  # fmt: skip
#: Keys of copies lie so far from those they are copies of.
STRIDE: Final = 10_000_000

LISTS: Final = (
    "readings/?page_size=200", "readings/?unit=S02-1", "forecasts/?page_size=200", "placements/?page_size=200",
    "findings/?page_size=200", "needs/?page_size=200", "visits/?page_size=200", "units/?page_size=200",
    "sites/?page_size=200", "clients/?page_size=200", "messages/?page_size=200", "service-records/?page_size=200",
    "positions/?page_size=200", "stock-movements/?page_size=200", "parts-lists/?page_size=50", "plans/?page_size=20",
    "invoices/proposals/", "attention/", "costs/?by=client", "forecast-quality/", "search/?search=S02",
)  # fmt: skip


def main() -> None:
    """Fill a database, ask by both roles, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=600, help="of the company that is asked for, at least so many")
    parser.add_argument("--companies", type=int, default=4, help="others of its size beside it")
    parser.add_argument("--times", type=int, default=5, help="each list is asked for by each role")
    parser.add_argument("--slow", type=float, default=100.0, help="a list is slow from so many ms on")
    parser.add_argument("--database", help="address of a PostgreSQL database to fill and keep")
    options = parser.parse_args()
    folder = use_own_temporary_folder()
    os.environ["DATABASE_URL"] = options.database or start_postgresql()
    os.environ["REQUEST_BUDGET_PERCENT"] = "0"
    os.environ.pop("REDIS_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    from scheduling.demo import remember
    from tests.walled import build_wall

    call_command("migrate", verbosity=0)
    build_wall()
    with open(os.devnull, "w") as nowhere:
        if remember.find() is None:
            call_command("demo", folder=Path(tempfile.mkdtemp(dir=folder)), stdout=nowhere)
    units = fill(options.units, options.companies)
    compare(units, options)


def fill(units: int, companies: int) -> int:
    """Multiply the demo's company, and make others of that size; how many units it has."""
    from django.apps import apps
    from django.db import connection

    from accounts.models import Company
    from fleet.models import Unit
    from scheduling.demo import remember

    remembered = remember.find()
    assert remembered is not None
    company = remembered.company
    models = [apps.get_model(label) for label in GROWING]
    first = Unit.objects.of_company(company).filter(pk__lt=STRIDE).count()
    copies = -(-units // first)
    with connection.cursor() as cursor:
        for other in range(companies + 1):
            target = company
            if other:
                target, _ = Company.objects.get_or_create(name=f"Other {other} (invented)", time_zone=company.time_zone)
            for copy in range(1 if other == 0 else 0, copies):
                shift = (other * copies + copy) * STRIDE
                for model in models:
                    cursor.execute(_copying(model, models, company.pk, target.pk, shift))
        cursor.execute("ANALYZE")
    return Unit.objects.of_company(company).count()


def _copying(model: Any, models: list[Any], source: int, target: int, shift: int) -> str:
    """The statement that copies the rows of a company as they were before any copy; done twice, it copies once."""
    from django.db.models import CharField, ForeignKey

    unique = {field.name for field in model._meta.fields if field.unique}
    unique |= {name for constraint in model._meta.constraints for name in getattr(constraint, "fields", ())}
    values = []
    for field in model._meta.concrete_fields:
        value = f't."{field.column}"'
        if isinstance(field, ForeignKey) and field.related_model._meta.label == "accounts.Company":
            value = str(target)
        elif field.primary_key or (isinstance(field, ForeignKey) and field.related_model in models):
            value += f" + {shift}"
        elif isinstance(field, CharField) and field.name in unique and not field.choices:
            value = f"CASE {value} WHEN '' THEN '' ELSE {value} || ' {shift // STRIDE}' END"
        values.append(value)
    table, key = model._meta.db_table, model._meta.pk.column
    columns = ", ".join(f'"{field.column}"' for field in model._meta.concrete_fields)
    return (
        f'INSERT INTO "{table}" ({columns}) SELECT {", ".join(values)} FROM "{table}" t '
        f'WHERE t."{key}" < {STRIDE} AND t."{key}" IN ({_keys_of(model, source)}) ON CONFLICT DO NOTHING'
    )


def _keys_of(model: Any, company: int) -> str:
    """The query for the keys of a company's rows."""
    from django.db import connection

    sql, params = model._base_manager.filter(**{model.TENANT_PATH: company}).values("pk").query.sql_with_params()
    with connection.cursor() as cursor:
        return str(cursor.mogrify(sql, params))


def compare(units: int, options: argparse.Namespace) -> None:
    """Ask for every list by both roles in turn, and print the fastest of each."""
    from contextlib import nullcontext
    from datetime import timedelta

    from django.test import Client
    from django.utils import timezone

    from accounts.services import issue_token
    from fleet.models import Reading
    from scheduling.demo import remember
    from tests.walled import as_application

    remembered = remember.find()
    assert remembered is not None
    owner = remembered.owner
    _, secret = issue_token(by=owner, membership=owner, name="bench", ttl=timedelta(days=1), now=timezone.now())
    caller = Client(headers={"Authorization": f"Bearer {secret}"})
    readings = Reading.objects.filter(unit__company=remembered.company).count()
    print(f"{units} units, {readings} readings; {options.companies} other companies of that size")
    print("| GET | rows owned, ms | behind the wall, ms | ratio |\n| -- | --: | --: | --: |")
    slow = []
    for path in LISTS:
        fastest = {"owner": float("inf"), "application": float("inf")}
        for _ in range(options.times + 1):
            for who, role in (("owner", nullcontext), ("application", as_application)):
                with role():
                    began = time.perf_counter()
                    answer = caller.get(f"/api/v1/{path}")
                    fastest[who] = min(fastest[who], 1000 * (time.perf_counter() - began))
                if answer.status_code != 200:
                    raise SystemExit(f"{path}: {answer.status_code} {answer.content[:300]!r}")
        ratio = fastest["application"] / fastest["owner"]
        if fastest["owner"] >= options.slow:
            slow.append((fastest["owner"], fastest["application"]))
        print(f"| {path} | {fastest['owner']:.0f} | {fastest['application']:.0f} | {ratio:.2f} |", flush=True)
    if slow:
        ratio = sum(walled for _, walled in slow) / sum(owned for owned, _ in slow)
        print(f"The {len(slow)} lists of {options.slow:.0f} ms and more together: {ratio:.3f}")


if __name__ == "__main__":
    main()
