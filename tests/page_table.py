"""Every page for a member and who is let in, written by hand: a page that is missing here fails `test_every_page`."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Model

from accounts.jobs.models import Job
from accounts.models import Client
from fleet.models import CatalogueItem, Site, Unit
from scheduling.models import PurchaseOrder, Round, Stop, Visit

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
    "GET /account/codes/": PageRow(EVERYONE),
    "POST /account/codes/": PageRow(EVERYONE),
    "GET /account/proof/": PageRow(EVERYONE),
    "POST /account/proof/": PageRow(EVERYONE),
    "GET /words/": PageRow(EVERYONE),
}

# What a client sees; staff may look at it as well, and answer for a client on the telephone.
MY_WATER = {
    "GET /my-water/": PageRow(EVERYONE),
    "GET /my-water/archive.zip": PageRow("owner client"),
    "GET /my-water/archive/": PageRow("owner client"),
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

# The desk of the office and the owner.
AT_A_DESK = {
    "GET /attention/": PageRow(OFFICE),
    "POST /attention/": PageRow(OFFICE),
    "GET /week/": PageRow(OFFICE),
    "POST /week/": PageRow(OFFICE),
    "GET /week/stops/<stop>/": PageRow(OFFICE, {"stop": Stop}),
    "POST /week/stops/<stop>/": PageRow(OFFICE, {"stop": Stop}),
    "GET /runs/<job>/": PageRow(STAFF, {"job": Job}),
    "POST /runs/<job>/": PageRow(OFFICE, {"job": Job}),
    "GET /orders/": PageRow(OFFICE),
    "POST /orders/": PageRow(OFFICE),
    "GET /orders/<order>/": PageRow(OFFICE, {"order": PurchaseOrder}),
    "POST /orders/<order>/": PageRow(OFFICE, {"order": PurchaseOrder}),
    "GET /stock/": PageRow(OFFICE),
    "GET /stock/<item>/": PageRow(OFFICE, {"item": CatalogueItem}),
    "POST /stock/<item>/": PageRow(STAFF, {"item": CatalogueItem}),
    "GET /units/": PageRow(OFFICE),
    "GET /units/<unit>/": PageRow(OFFICE, {"unit": Unit}),
    "POST /units/<unit>/": PageRow(OFFICE, {"unit": Unit}),
    "GET /clients/": PageRow(OFFICE),
    "POST /clients/": PageRow(OFFICE),
    "GET /clients/<client>/": PageRow(OFFICE, {"client": Client}),
    "POST /clients/<client>/": PageRow(OFFICE, {"client": Client}),
    "GET /sites/": PageRow(OFFICE),
    "GET /sites/<site>/": PageRow(OFFICE, {"site": Site}),
    "POST /sites/<site>/": PageRow(OFFICE, {"site": Site}),
    "GET /bring-in/": PageRow(OFFICE),
    "POST /bring-in/": PageRow(OFFICE),
    "GET /company/": PageRow(OFFICE),
    "POST /company/": PageRow(OWNER),
    "GET /company/policy/": PageRow(OFFICE),
    "POST /company/policy/": PageRow(OFFICE),
    "GET /company/limits/": PageRow(STAFF),
    "POST /company/limits/": PageRow(OWNER),
    "GET /company/forecasts/": PageRow(OFFICE),
    "POST /company/forecasts/": PageRow(OFFICE),
    "GET /company/events/": PageRow(OWNER),
    "POST /company/events/": PageRow(OWNER),
    "GET /company/trail/": PageRow(OWNER),
}

MY_DAY = {
    "GET /my-day/": PageRow(STAFF),
    "GET /my-day/rounds/<round>/": PageRow(STAFF, {"round": Round}),
    "GET /my-day/stops/<stop>/": PageRow(STAFF, {"stop": Stop}),
}

PAGES: dict[str, PageRow] = {**ACCOUNTS, **MY_WATER, **AT_A_DESK, **MY_DAY}
