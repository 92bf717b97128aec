"""Forecast a fleet that comes as files, without touching the database."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.forecasting import forecast
from fleet.forecasting.files.gathering import gather
from fleet.forecasting.files.guide_text import guide_text
from fleet.forecasting.files.reading import (
    NO_LOSS,
    UnusableFilesError,
    day_of,
    read_fleet,
    write_forecasts,
    write_report,
)
from fleet.forecasting.files.stated_limits import limits_from
from fleet.forecasting.inputs.tables import DAYS
from fleet.services import words

_MOST_SHOWN: Final = 20


class Command(BaseCommand):
    help = (
        "Forecast every position of a fleet given as CSV files; writes one row per unit and position, and needs no "
        "database. --columns prints what the files hold and what is written."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--data", type=Path, help="directory with units.csv, placements.csv and the other files")
        parser.add_argument("--out", type=Path, help="file to write the forecasts to")
        parser.add_argument("--report", type=Path, help="file to write unused rows and values to, with reasons")
        parser.add_argument(
            "--as-of",
            help="the day or moment to forecast at, as 2026-03-01 (all that was read that day is known) or "
            "2026-03-01T09:30+01:00; what the files tell of later is not used. Default: the newest time in the files",
        )
        parser.add_argument(
            "--limit",
            action="append",
            default=[],
            metavar="NAME=VALUE",
            help="a limit of exhaustion that is not the usual one, as membrane_flow_fraction=0.8; once for each. "
            "--columns lists them",
        )
        parser.add_argument("--strict", action="store_true", help="end with code 2 when a row could not be used")
        parser.add_argument(
            "--columns", action="store_true", help="print the files and columns that are read, and stop"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["columns"]:
            self.stdout.write(guide_text())
            return
        if options["data"] is None or options["out"] is None:
            raise CommandError("Give --data DIR and --out FILE, or --columns to see what the files must hold.")
        try:
            limits = limits_from(options["limit"])
        except ValueError as error:
            raise CommandError(f"--limit {error}") from None
        as_of_day = None
        if options["as_of"] is not None:
            try:
                as_of_day = day_of(options["as_of"])
                if len(options["as_of"]) == len("2026-03-01"):
                    as_of_day += 1.0 - 1.0 / SECONDS_PER_DAY
            except ValueError:
                raise CommandError(f"--as-of {options['as_of']!r} is not a day; write it as 2026-03-01.") from None
            if not DAYS[0] <= as_of_day <= DAYS[1]:
                raise CommandError(f"--as-of {options['as_of']!r} is not a day between 1960 and 2170.")
        if not options["out"].parent.is_dir():
            raise CommandError(f"--out: the directory {options['out'].parent} does not exist.")
        try:
            fleet, faults = read_fleet(options["data"], now=timezone.now(), as_of_day=as_of_day)
        except UnusableFilesError as error:
            raise CommandError(str(error)) from None
        forecasts = forecast(fleet, limits=limits)
        try:
            count = write_forecasts(fleet, forecasts, options["out"])
            if options["report"] is not None:
                write_report(fleet, forecasts, faults, options["report"])
        except OSError as error:
            raise CommandError(f"{error.filename} cannot be written ({error.strerror}); give another file.") from None
        dropped = sum(fault.row_dropped for fault in faults)
        self.stdout.write(
            words.files_forecast(count, len(fleet.units), len(fleet.readings), len(forecasts.exclusions), dropped)
        )
        gathered = gather(faults)
        for fault in gathered[:_MOST_SHOWN]:
            where = f"{fault.table}.csv" + (f", line {fault.row + 2}" if fault.row >= 0 else "")
            column = f", {fault.field}" if fault.field else ""
            self.stdout.write(f"  {where}{column}: {fault.message}")
        if len(gathered) > _MOST_SHOWN:
            self.stdout.write(f"  {words.more_in_report(len(gathered) - _MOST_SHOWN)}")
        if not count:
            raise CommandError("There is no position to forecast; see the lines above.")
        if options["strict"] and any(fault.code not in NO_LOSS for fault in faults):
            sys.exit(2)
