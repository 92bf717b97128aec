"""Lists and single things ask the database as often for much as for little."""

from collections.abc import Callable

from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import Plan, Stop
from scheduling.services.rounds.plans import publish_plan
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

LISTS = [
    "installers",
    "needs",
    "visits",
    "service-records",
    "plans",
    "rounds",
    "stops",
    "parts-lists",
    "stock-levels",
    "purchase-orders",
]
WHOLE = {
    "a plan": lambda: f"/api/v1/plans/{Plan.objects.get(state='published').pk}/",
    "its map": lambda: f"/api/v1/plans/{Plan.objects.get(state='published').pk}/map/",
    "a calendar": lambda: (
        f"/api/v1/installers/{Stop.objects.filter(round__plan__state='published').first().round.installer_id}/calendar/"
    ),
}


def _queries(api: APIClient, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert api.get(address).status_code == 200
    return len(queries)


def _grow(town: Town, office: Membership, sites: int) -> None:
    for number in range(sites):
        unit = town.unit(town.site(north_km=3.0 + number))
        for stage in ("sediment", "carbon"):
            town.forecast(town.position(unit, stage), 0)
        town.stock(town.small_part(f"part-{town.count}", work="replace"), 3)
        town.installer(f"Somebody {town.count}", north_km=number)
    publish_plan(plan=run_night(town, sites=sites), by=office, now=NOW)


def test_more_rows_ask_no_more_queries(as_owner: APIClient, town: Town, office: Membership) -> None:
    addresses: dict[str, Callable[[], str]] = {name: (lambda name=name: f"/api/v1/{name}/") for name in LISTS} | WHOLE
    _grow(town, office, 2)
    few = {name: _queries(as_owner, address()) for name, address in addresses.items()}
    _grow(town, office, 4)
    assert {name: _queries(as_owner, address()) for name, address in addresses.items()} == few
    assert max(few.values()) <= 12
