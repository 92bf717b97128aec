"""Every page for a member and who is let in, written by hand: a page that is missing here fails `test_every_page`."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Model

from fleet.models import Unit
from scheduling.models import Round, Stop, Visit

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

# What a client sees; staff may look at it as well, and answer for a client on the telephone.
MY_WATER = {
    "GET /my-water/": PageRow(EVERYONE),
    "GET /my-water/<unit>/": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/<unit>/fault/": PageRow(EVERYONE, {"unit": Unit}),
    "POST /my-water/<unit>/fault/": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/<unit>/plot.svg": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/<unit>/reading/": PageRow(EVERYONE, {"unit": Unit}),
    "POST /my-water/<unit>/reading/": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/<unit>/readings.csv": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/<unit>/water.pdf": PageRow(EVERYONE, {"unit": Unit}),
    "GET /my-water/visits/<visit>/": PageRow(EVERYONE, {"visit": Visit}),
    "POST /my-water/visits/<visit>/": PageRow(EVERYONE, {"visit": Visit}),
}

MY_DAY = {
    "GET /my-day/": PageRow(STAFF),
    "GET /my-day/rounds/<round>/": PageRow(STAFF, {"round": Round}),
    "GET /my-day/stops/<stop>/": PageRow(STAFF, {"stop": Stop}),
}

PAGES: dict[str, PageRow] = {**ACCOUNTS, **MY_WATER, **MY_DAY}
