"""Create a company with its first owner, who then gives everybody else access."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from accounts.errors import DomainError
from accounts.models import Company
from accounts.services import create_company
from accounts.validation import check_time_zone


class Command(BaseCommand):
    """`manage.py create_company "North Water" olga@north.example --time-zone Europe/Berlin`.

    The password and, without the option, the time zone are asked for at a terminal. Otherwise the password is the first
    line of stdin, and the option is needed.
    """

    help = "Create a company with its first owner."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name")
        parser.add_argument("email", help="of the owner")
        parser.add_argument("--full-name", default="", help="of the owner")
        parser.add_argument("--currency", default="EUR", help="ISO 4217 code")
        parser.add_argument("--time-zone", help="IANA name, such as Europe/Berlin; asked for when it is not given")
        parser.add_argument("--unit-system", default="metric", choices=Company.UnitSystem.values)

    def handle(self, *args: Any, **options: Any) -> None:
        time_zone = options["time_zone"] or self._ask_time_zone()
        password = (
            getpass.getpass("Password of the owner: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
        )
        try:
            owner = create_company(
                name=options["name"],
                email=options["email"],
                password=password,
                full_name=options["full_name"],
                currency=options["currency"],
                time_zone=time_zone,
                unit_system=options["unit_system"],
                now=timezone.now(),
            )
        except DomainError as error:
            raise CommandError(" ".join([error.sentence, *(fault.sentence for fault in error.faults)])) from None
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        self.stdout.write(f"Created {owner.company}; {owner.user.email} owns it.")

    def _ask_time_zone(self) -> str:
        """Ask until the answer is a time zone: hours told in another one are wrong hours."""
        if not sys.stdin.isatty():
            raise CommandError("Give --time-zone, an IANA name such as Europe/Berlin: clients are told hours in it.")
        while True:
            name = input("Time zone of the company, such as Europe/Berlin: ").strip()
            try:
                check_time_zone(name)
            except ValidationError as error:
                self.stderr.write(" ".join(error.messages))
            else:
                return name
