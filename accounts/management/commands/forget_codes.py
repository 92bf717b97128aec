"""Let a person sign in with the password alone who lost authenticator and recovery codes, where no owner may say so."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from accounts.models import User
from accounts.services.second_factor import forget_codes


class Command(BaseCommand):
    """`manage.py forget_codes olga@north.example`."""

    help = "Takes the second factor of a person who lost it and belongs to several companies. Be sure who asks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")

    def handle(self, *args: Any, **options: Any) -> None:
        user = User.objects.filter(email__iexact=options["email"].strip()).order_by("pk").first()
        if user is None:
            raise CommandError(f"There is no account with the address {options['email']}.")
        if not forget_codes(user=user, now=timezone.now()):
            raise CommandError(f"{user.email} signs in without codes: there are none to forget.")
        self.stdout.write(f"{user.email} signs in with the password alone from now on, and is told by a letter.")
