"""`manage.py bring_in DIR`: a company's sheets become its records; a trial unless --store is given."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from accounts.errors import DomainError
from accounts.services.first_owner import first_owner
from accounts.wall import inside_company
from scheduling.company_files.bring_in import bring_in
from scheduling.company_files.pages import files_of_directory
from scheduling.company_files.report import MOST_ROWS_SHOWN, report_lines
from scheduling.company_files.templates import write_templates


class Command(BaseCommand):
    help = (
        "Bring in clients, sites, units, catalogue, placements, installers, stock, suppliers, readings and feed water "
        "from the .csv and .xlsx files of a directory. Without --store it is a trial: it tells row by row what would "
        "be made, changed, left and refused, and stores nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("directory", type=Path)
        parser.add_argument("--company", help="name of the company, where there are several")
        parser.add_argument("--store", action="store_true", help="store what the trial told")
        parser.add_argument("--templates", action="store_true", help="write an empty sheet of each kind and stop")
        parser.add_argument("--rows", type=int, default=MOST_ROWS_SHOWN, help="rows of a page that are told one by one")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["templates"]:
                for path in write_templates(options["directory"]):
                    self.stdout.write(f"written {path}")
                return
            owner = first_owner(options["company"])
            files = files_of_directory(options["directory"])
            with inside_company(owner.company_id):
                result = bring_in(by=owner, files=files, now=timezone.now(), is_trial=not options["store"])
        except DomainError as error:
            raise CommandError(error.sentence) from None
        except OSError as error:
            raise CommandError(f"{options['directory']}: {error.strerror}.") from None
        except DatabaseError as error:
            if "no such table" in str(error) or "does not exist" in str(error):
                raise CommandError("The database has no tables yet; run 'manage.py migrate' first.") from None
            raise
        for line in report_lines(result, most=options["rows"]):
            self.stdout.write(line)
        if result.is_trial:
            self.stdout.write("Put right what you like in the files, then run the same with --store.")
        else:
            self.stdout.write("Next: 'manage.py nightly' forecasts, proposes visits and plans them.")
