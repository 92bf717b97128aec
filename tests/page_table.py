"""Every page for a member and who is let in, written by hand: a page that is missing here fails `test_every_page`."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Model

EVERYONE = "owner office installer client"
STAFF = "owner office installer"
OFFICE = "owner office"
OWNER = "owner"
CLIENT = "client"


@dataclass(frozen=True)
class PageRow:
    """One method of one page.

    Attributes
    ----------
    roles
        Who is let in.
    rows
        Of each parameter of the address, the model whose row it names.
    """

    roles: str
    rows: Mapping[str, type[Model]] | None = None


ACCOUNTS = {
    "GET /account/": PageRow(EVERYONE),
    "POST /account/": PageRow(EVERYONE),
}

PAGES: dict[str, PageRow] = {**ACCOUNTS}
