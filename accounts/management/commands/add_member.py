"""Give a person a place in a company: an installer before the sheets name them, or the office."""

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from accounts.errors import DomainError
from accounts.management.first_link import first_link_of
from accounts.models import Membership
from accounts.services.first_owner import first_owner
from accounts.services.members import add_from_server
from accounts.wall import inside_company

ROLES = [role for role in Membership.Role.values if role != Membership.Role.CLIENT]


class Command(BaseCommand):
    """`manage.py add_member jens@north.example --name "Jens Example"`.

    Prints the link by which they choose a password. Members who act for a client are invited over the interface, with
    their client.
    """

    help = "Add a member to the company, on behalf of its owner: an installer unless another role is given."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")
        parser.add_argument("--name", default="", help="of the person")
        parser.add_argument("--role", default=Membership.Role.INSTALLER.value, choices=ROLES)
        parser.add_argument("--company", help="name of the company, where there are several")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            owner = first_owner(options["company"])
            with inside_company(owner.company_id):
                member = add_from_server(
                    by=owner, email=options["email"], name=options["name"], role=options["role"], now=timezone.now()
                )
        except DomainError as error:
            raise CommandError(error.in_full) from None
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        except DatabaseError as error:
            if "no such table" in str(error) or "does not exist" in str(error):
                raise CommandError("The database has no tables yet; run 'manage.py migrate' first.") from None
            raise
        self.stdout.write(f"Added {member.user.email} to {owner.company} as {member.role}.")
        self.stdout.write(first_link_of(member.user))
