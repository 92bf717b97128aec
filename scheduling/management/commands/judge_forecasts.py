"""`manage.py judge_forecasts`: how good the forecasts of a company have been, by its own past."""

import argparse
import sys
from datetime import date, datetime, time
from functools import partial
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from rich.console import Console
from rich.progress import Progress, TaskID
from rich.table import Table

from accounts.errors import DomainError
from accounts.models import Company
from accounts.wall import inside_company, over_all_companies
from fleet.forecasting.judging.judge import QualityRow
from fleet.services.forecasts.quality import judge_company
from scheduling.demo import remember

FILE_WIDTH = 126


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date; write it as 2026-11-25.") from None


class Command(BaseCommand):
    """Replay, score, print, store."""

    help = (
        "Replays the past of a company at monthly days with what was known then, scores the forecasts and three "
        "baselines against what happened, prints the table and stores it for /api/v1/forecast-quality/."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--company", type=int, action="append", help="id of a company; may be repeated; default: all"
        )
        parser.add_argument("--demo", action="store_true", help="the company that `manage.py demo` made")
        parser.add_argument("--from", type=_day, dest="first", metavar="DATE", help="no cut before this day")
        parser.add_argument("--to", type=_day, dest="last", metavar="DATE", help="no cut after this day")

    def handle(self, *args: Any, **options: Any) -> None:
        console = Console(file=getattr(self.stdout, "_out", sys.stdout))
        if not console.is_terminal:
            # In a file there is room for every column.
            console.width = FILE_WIDTH
        companies = _companies(options)
        failed = 0
        for company, now in companies:
            try:
                bars = Progress(console=console, transient=True, disable=not console.is_terminal)
                with inside_company(company.pk), bars as bar:
                    rows = judge_company(
                        company=company,
                        now=now,
                        first=options["first"],
                        last=options["last"],
                        progress=partial(_show, bar, bar.add_task("reading the records", total=1.0)),
                    )
            except DomainError as error:
                failed += 1
                self.stderr.write(f"{company}: {error.sentence}")
                continue
            console.print(quality_table(str(company), rows))
        if failed:
            raise CommandError(f"{failed} of {len(companies)} companies could not be judged; see the lines above.")


def _show(bar: Progress, task: TaskID, share: float, doing: str) -> None:
    bar.update(task, completed=share, description=doing)


@over_all_companies()
def _companies(options: dict[str, Any]) -> list[tuple[Company, datetime]]:
    """Companies with the moment at which each is judged."""
    if options["demo"]:
        remembered = remember.find()
        if remembered is None:
            raise CommandError("There is no demo company yet: run `manage.py demo` first.")
        # The invented company knows nothing later than the day it stands at.
        its_evening = datetime.combine(remembered.as_of, time(23), remembered.company.zone)
        return [(remembered.company, min(its_evening, timezone.now()))]
    asked_ids = options["company"]
    companies = Company.objects.order_by("pk")
    if asked_ids:
        companies = companies.filter(pk__in=asked_ids)
        missing = sorted(set(asked_ids) - set(companies.values_list("pk", flat=True)))
        if missing:
            raise CommandError(f"There is no company {', '.join(map(str, missing))}.")
    return [(company, timezone.now()) for company in companies]


def quality_table(title: str, rows: list[QualityRow]) -> Table:
    """The scores as a table for a terminal: a block of methods for each group."""
    table = Table(
        title=f"{title}: forecasts replayed against what happened",
        caption="pinball loss and error of the median as a share of the life by the label; smaller is better. "
        "Coverage is over all lives, those still good included, where an interval is open; driver is the share of "
        "those seen whose cause, wear or maximum service time, was named.",
    )
    table.add_column("positions")
    table.add_column("method")
    for name in ("forecasts", "seen", "pinball", "50 %", "80 %", "90 %", "median error", "in days", "driver"):
        table.add_column(name, justify="right")
    group = None
    for row in rows:
        if group is not None and row.group != group:
            table.add_section()
        table.add_row(
            row.group if row.group != group else "",
            row.method,
            str(row.observed + row.censored),
            str(row.observed),
            _share(row.pinball, 3),
            *(_share(value, 2) for value in (row.coverage_50, row.coverage_80, row.coverage_90)),
            _share(row.median_error, 3),
            _share(row.median_error_days, 0),
            _share(row.driver_named, 2),
        )
        group = row.group
    return table


def _share(value: float, digits: int) -> str:
    return "" if value != value else f"{value:.{digits}f}"
