"""Found a company with its first owner, who then invites everybody else."""

import io
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from accounts.errors import DomainError
from accounts.management.first_link import first_link_of
from accounts.models import Company
from accounts.services import create_company
from accounts.validation import check_time_zone
from accounts.wall import over_all_companies


class Command(BaseCommand):
    """`manage.py found_company "North Water" olga@north.example --time-zone Europe/Berlin`.

    What is left out is asked for at a terminal: name, address and time zone. The owner chooses their password by the
    link that is printed.
    """

    help = "Found a company with its first owner; asks for what is left out."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="?")
        parser.add_argument("email", nargs="?", help="of the owner")
        parser.add_argument("--full-name", default="", help="of the owner")
        parser.add_argument("--currency", default="EUR", help="ISO 4217 code")
        parser.add_argument("--time-zone", help="IANA name, such as Europe/Berlin; asked for when it is not given")
        parser.add_argument("--unit-system", default="metric", choices=Company.UnitSystem.values)
        parser.add_argument(
            "--starter-catalogue",
            action="store_true",
            help="begin with invented items of every kind and the small parts that work needs; put your prices there",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            # Asked before any question: nobody answers four to hear then that there are no tables.
            is_there = _is_known(options["name"] or "")
        except DatabaseError:
            raise CommandError("The database has no tables yet; run 'manage.py migrate' first.") from None
        name = options["name"] if options["name"] is not None else self._ask("Name of the company", "name")
        name = " ".join(name.split())
        if is_there or _is_known(name):
            raise CommandError(f"There is a company '{name}' already; give another name.")
        email = options["email"] if options["email"] is not None else self._ask("E-mail address of the owner", "email")
        time_zone = options["time_zone"] or self._ask_time_zone()
        try:
            owner = create_company(
                name=name,
                email=email,
                full_name=options["full_name"],
                currency=options["currency"],
                time_zone=time_zone,
                unit_system=options["unit_system"],
                now=timezone.now(),
            )
        except DomainError as error:
            raise CommandError(error.in_full) from None
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        self.stdout.write(f"Founded {owner.company}; {owner.user.email} owns it.")
        self.stdout.write(first_link_of(owner.user))
        if options["starter_catalogue"]:
            # The door of every company's own sheets, which this room does not know.
            starter = settings.BASE_DIR / "fixtures" / "starter"
            call_command("bring_in", starter, company=name, store=True, rows=0, stdout=io.StringIO())
            self.stdout.write(
                "Its catalogue begins with invented items, and the rules of which small parts go with which work. "
                "'manage.py take_out DIR' writes them as sheets: put your own prices, packs and labels there, bring "
                "them in again, and retire what you do not fit."
            )
        self.stdout.write(
            "Next: 'manage.py bring_in DIR --templates' writes empty sheets for clients, sites, units and the rest; "
            "'manage.py bring_in DIR' tries what you filled in or have already, and with --store keeps it. "
            "Whoever drives out is a member first: 'manage.py add_member EMAIL'."
        )

    def _ask(self, question: str, argument: str) -> str:
        """Ask for what the command line left out."""
        if not sys.stdin.isatty():
            raise CommandError(f"Give the {argument}: found_company NAME EMAIL --time-zone ZONE.")
        return input(f"{question}: ").strip()

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


@over_all_companies()
def _is_known(name: str) -> bool:
    """Whether a company has this name."""
    return Company.objects.filter(name__iexact=name).exists()
