"""Make a link by which a person chooses their password, where no e-mail reaches them."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from accounts.management.first_link import first_link_of
from accounts.models import User


class Command(BaseCommand):
    """`manage.py password_link olga@north.example`."""

    help = "Prints a link by which a person chooses their password, once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email__iexact=options["email"].strip(), is_active=True).order_by("pk").first()
        if user is None:
            raise CommandError(f"There is no account with the address {options['email']}.")
        self.stdout.write(first_link_of(user))
