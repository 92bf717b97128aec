"""`manage.py take_out DIR`: a company as the sheets that `bring_in` reads."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.errors import DomainError
from accounts.services.first_owner import first_owner
from accounts.wall import inside_company
from scheduling.company_files.take_out import take_out


class Command(BaseCommand):
    help = (
        "Write the clients, sites, units, catalogue, placements, installers, stock, suppliers, readings and feed water "
        "of a company as CSV files into a directory that is empty or not there yet."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("directory", type=Path)
        parser.add_argument("--company", help="name of the company, where there are several")

    def handle(self, *args: Any, **options: Any) -> None:
        directory: Path = options["directory"]
        try:
            owner = first_owner(options["company"])
            if directory.exists() and (not directory.is_dir() or any(directory.iterdir())):
                raise CommandError(f"{directory} is not empty; give a directory that is, or a new one.")
            directory.mkdir(parents=True, exist_ok=True)
            with inside_company(owner.company_id):
                sheets = list(take_out(company=owner.company, by=owner))
            for name, text in sheets:
                (directory / name).write_text(text, encoding="utf-8")
                self.stdout.write(f"{directory / name}: {text.count(chr(10)) - 1} lines")
        except DomainError as error:
            raise CommandError(error.sentence) from None
        except OSError as error:
            raise CommandError(f"{directory}: {error.strerror}.") from None
