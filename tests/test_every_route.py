"""Every route, for a stranger, another company's owner, each role and a meter, against one explicit table.

The table says who is let in. It is written by hand and not derived from `accounts.permissions`, so that a slip there is
a failure here. A route that is missing from the table fails, and so does a row without a route.
"""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import Model
from rest_framework.test import APIClient

from accounts.http.fields import TenantRelatedField
from accounts.http.permissions import action_name
from accounts.models import Client, Company, Membership
from accounts.permissions import ALLOWED, METER_ALLOWED
from tests import factories
from tests.cast import ApiFor
from tests.page_table import PAGES
from tests.routes import Route, every_route
from tests.rows import make_row

pytestmark = pytest.mark.interface

PUBLIC = "public"
# Whoever has the server's own token, which the settings of these tests do not name.
OPERATOR = "operator"
EVERYONE = "owner office installer client"
STAFF = "owner office installer"
OFFICE = "owner office"
OWNER = "owner"
BILLED = "owner office client"

TABLE: dict[str, str] = {
    # accounts
    "GET /api/v1/audit-entries/": OWNER,
    "GET /api/v1/audit-entries/<pk>/": OWNER,
    "GET /api/v1/browser-sessions/": EVERYONE,
    "GET /api/v1/browser-sessions/<pk>/": EVERYONE,
    "DELETE /api/v1/browser-sessions/<pk>/": EVERYONE,
    "GET /api/v1/clients/": STAFF,
    "POST /api/v1/clients/": OFFICE,
    "GET /api/v1/clients/<pk>/": STAFF,
    "PATCH /api/v1/clients/<pk>/": OFFICE,
    "DELETE /api/v1/clients/<pk>/": OFFICE,
    "POST /api/v1/clients/<pk>/retire/": OFFICE,
    "POST /api/v1/clients/<pk>/unretire/": OFFICE,
    "GET /api/v1/company/": EVERYONE,
    "PATCH /api/v1/company/": OWNER,
    "GET /api/v1/deliveries/": OWNER,
    "GET /api/v1/deliveries/<pk>/": OWNER,
    "POST /api/v1/deliveries/<pk>/replay/": OWNER,
    "GET /api/v1/webhook-endpoints/": OWNER,
    "POST /api/v1/webhook-endpoints/": OWNER,
    "GET /api/v1/webhook-endpoints/<pk>/": OWNER,
    "PATCH /api/v1/webhook-endpoints/<pk>/": OWNER,
    "DELETE /api/v1/webhook-endpoints/<pk>/": OWNER,
    "POST /api/v1/webhook-endpoints/<pk>/rotate-secret/": OWNER,
    "POST /api/v1/webhook-endpoints/<pk>/test/": OWNER,
    "GET /api/v1/invitations/": OFFICE,
    "POST /api/v1/invitations/": OWNER,
    "GET /api/v1/invitations/<pk>/": OFFICE,
    "POST /api/v1/invitations/<pk>/withdraw/": OWNER,
    "GET /api/v1/": PUBLIC,
    "GET /api/v1/invitation-links/<token>/": PUBLIC,
    "POST /api/v1/invitation-links/<token>/": PUBLIC,
    "GET /invitation/<token>/": PUBLIC,
    "POST /invitation/<token>/": PUBLIC,
    "POST /api/v1/login/": PUBLIC,
    "POST /api/v1/logout/": EVERYONE,
    "GET /api/v1/me/": EVERYONE,
    "PATCH /api/v1/me/": OFFICE,
    "POST /api/v1/me/email/": EVERYONE,
    "POST /api/v1/me/authentication/": EVERYONE,
    "POST /api/v1/me/end-all/": EVERYONE,
    "POST /api/v1/me/second-factor/": EVERYONE,
    "DELETE /api/v1/me/second-factor/": EVERYONE,
    "POST /api/v1/me/second-factor/confirm/": EVERYONE,
    "POST /api/v1/me/second-factor/recovery-codes/": EVERYONE,
    "POST /api/v1/me/password/": EVERYONE,
    "POST /api/v1/new-addresses/<token>/": PUBLIC,
    "POST /api/v1/password-resets/": PUBLIC,
    "POST /api/v1/password-resets/<token>/": PUBLIC,
    "GET /new-address/<token>/": PUBLIC,
    "POST /new-address/<token>/": PUBLIC,
    "GET /password/<token>/": PUBLIC,
    "POST /password/<token>/": PUBLIC,
    "GET /api/v1/members/": OFFICE,
    "GET /api/v1/members/<pk>/": OFFICE,
    "PATCH /api/v1/members/<pk>/": OWNER,
    "POST /api/v1/members/<pk>/end/": OWNER,
    "POST /api/v1/members/<pk>/reset-second-factor/": OWNER,
    "GET /api/v1/problems/": PUBLIC,
    "GET /api/v1/problems/<kind>/": PUBLIC,
    "POST /api/v1/session/": PUBLIC,
    "GET /api/v1/tokens/": EVERYONE,
    "POST /api/v1/tokens/": EVERYONE,
    "GET /api/v1/tokens/<pk>/": EVERYONE,
    "DELETE /api/v1/tokens/<pk>/": EVERYONE,
    # fleet
    "GET /api/v1/catalogue-items/": STAFF,
    "POST /api/v1/catalogue-items/": OFFICE,
    "GET /api/v1/catalogue-items/<pk>/": STAFF,
    "PATCH /api/v1/catalogue-items/<pk>/": OFFICE,
    "DELETE /api/v1/catalogue-items/<pk>/": OFFICE,
    "POST /api/v1/catalogue-items/<pk>/retire/": OFFICE,
    "POST /api/v1/catalogue-items/<pk>/unretire/": OFFICE,
    "POST /api/v1/diagnosis/": STAFF,
    "GET /api/v1/exhaustion-limits/": STAFF,
    "POST /api/v1/exhaustion-limits/": OWNER,
    "GET /api/v1/exhaustion-limits/<pk>/": STAFF,
    "PATCH /api/v1/exhaustion-limits/<pk>/": OWNER,
    "DELETE /api/v1/exhaustion-limits/<pk>/": OWNER,
    "GET /api/v1/feed-water-samples/": EVERYONE,
    "POST /api/v1/feed-water-samples/": STAFF,
    "GET /api/v1/feed-water-samples/<pk>/": EVERYONE,
    "POST /api/v1/feed-water-samples/upload/": STAFF,
    "GET /api/v1/findings/": EVERYONE,
    "GET /api/v1/findings/<pk>/": EVERYONE,
    "POST /api/v1/findings/<pk>/confirm/": STAFF,
    "POST /api/v1/findings/<pk>/dismiss/": STAFF,
    "GET /api/v1/forecast-quality/": OFFICE,
    "POST /api/v1/forecast-quality/": OFFICE,
    "GET /api/v1/forecast-quality/<pk>/": OFFICE,
    "GET /api/v1/forecasts/": EVERYONE,
    "GET /api/v1/forecasts/<pk>/": EVERYONE,
    "GET /api/v1/forecasts/<pk>/change/": EVERYONE,
    "POST /api/v1/forecasts/run/": OFFICE,
    "GET /api/v1/instruments/": EVERYONE,
    "POST /api/v1/instruments/": STAFF,
    "GET /api/v1/instruments/<pk>/": EVERYONE,
    "PATCH /api/v1/instruments/<pk>/": STAFF,
    "DELETE /api/v1/instruments/<pk>/": STAFF,
    "POST /api/v1/instruments/<pk>/retire/": STAFF,
    "POST /api/v1/instruments/<pk>/unretire/": STAFF,
    "GET /api/v1/intake-batches/": STAFF,
    "GET /api/v1/intake-batches/<pk>/": STAFF,
    "GET /api/v1/intake-batches/<pk>/csv/": STAFF,
    "GET /api/v1/jobs/": STAFF,
    "GET /api/v1/jobs/<pk>/": STAFF,
    "POST /api/v1/jobs/<pk>/stop/": OFFICE,
    "GET /api/v1/parts-rules/": STAFF,
    "POST /api/v1/parts-rules/": OFFICE,
    "GET /api/v1/parts-rules/<pk>/": STAFF,
    "PATCH /api/v1/parts-rules/<pk>/": OFFICE,
    "DELETE /api/v1/parts-rules/<pk>/": OFFICE,
    "POST /api/v1/readings/<pk>/void/": STAFF,
    "POST /api/v1/feed-water-samples/<pk>/void/": STAFF,
    "GET /api/v1/placements/": EVERYONE,
    "POST /api/v1/placements/": STAFF,
    "GET /api/v1/placements/<pk>/": EVERYONE,
    "POST /api/v1/placements/<pk>/remove/": STAFF,
    "POST /api/v1/placements/<pk>/correct/": STAFF,
    "POST /api/v1/placements/<pk>/void/": STAFF,
    "POST /api/v1/placements/<pk>/swap/": STAFF,
    "POST /api/v1/placements/rotate/": STAFF,
    "GET /api/v1/positions/": EVERYONE,
    "POST /api/v1/positions/": OFFICE,
    "GET /api/v1/positions/<pk>/": EVERYONE,
    "PATCH /api/v1/positions/<pk>/": OFFICE,
    "DELETE /api/v1/positions/<pk>/": OFFICE,
    "GET /api/v1/readings/": EVERYONE,
    "POST /api/v1/readings/": EVERYONE,
    "GET /api/v1/readings/<pk>/": EVERYONE,
    "POST /api/v1/readings/upload/": STAFF,
    "GET /api/v1/refused-rows/": STAFF,
    "GET /api/v1/sites/": EVERYONE,
    "POST /api/v1/sites/": OFFICE,
    "GET /api/v1/sites/<pk>/": EVERYONE,
    "PATCH /api/v1/sites/<pk>/": OFFICE,
    "DELETE /api/v1/sites/<pk>/": OFFICE,
    "POST /api/v1/sites/<pk>/retire/": OFFICE,
    "POST /api/v1/sites/<pk>/unretire/": OFFICE,
    "GET /api/v1/sites/<pk>/forecast/": EVERYONE,
    "POST /api/v1/sites/<pk>/public-records/": STAFF,
    "POST /api/v1/sizing/": STAFF,
    "GET /api/v1/suppliers/": OFFICE,
    "POST /api/v1/suppliers/": OFFICE,
    "GET /api/v1/suppliers/<pk>/": OFFICE,
    "PATCH /api/v1/suppliers/<pk>/": OFFICE,
    "DELETE /api/v1/suppliers/<pk>/": OFFICE,
    "GET /api/v1/units/": EVERYONE,
    "POST /api/v1/units/": OFFICE,
    "GET /api/v1/units/<pk>/": EVERYONE,
    "PATCH /api/v1/units/<pk>/": OFFICE,
    "DELETE /api/v1/units/<pk>/": OFFICE,
    "POST /api/v1/units/<pk>/retire/": OFFICE,
    "POST /api/v1/units/<pk>/unretire/": OFFICE,
    "POST /api/v1/units/<pk>/commissioning-check/": STAFF,
    "GET /api/v1/units/<pk>/findings/": EVERYONE,
    "POST /api/v1/units/<pk>/readings/": EVERYONE,
    "GET /api/v1/units/<pk>/forecast/": EVERYONE,
    "GET /api/v1/units/<pk>/status/": EVERYONE,
    # scheduling
    "GET /api/v1/absences/": STAFF,
    "POST /api/v1/absences/": OFFICE,
    "GET /api/v1/absences/<pk>/": STAFF,
    "PATCH /api/v1/absences/<pk>/": OFFICE,
    "DELETE /api/v1/absences/<pk>/": OFFICE,
    "GET /api/v1/search/": STAFF,
    "GET /api/v1/calendar-feeds/": EVERYONE,
    "POST /api/v1/calendar-feeds/": EVERYONE,
    "GET /api/v1/calendar-feeds/<pk>/": EVERYONE,
    "DELETE /api/v1/calendar-feeds/<pk>/": EVERYONE,
    "GET /api/v1/installers/": STAFF,
    "POST /api/v1/installers/": OFFICE,
    "GET /api/v1/installers/<pk>/": STAFF,
    "PATCH /api/v1/installers/<pk>/": OFFICE,
    "DELETE /api/v1/installers/<pk>/": OFFICE,
    "POST /api/v1/installers/<pk>/retire/": OFFICE,
    "POST /api/v1/installers/<pk>/unretire/": OFFICE,
    "GET /api/v1/installers/<pk>/calendar/": STAFF,
    "GET /api/v1/messages/": EVERYONE,
    "GET /api/v1/messages/<pk>/": EVERYONE,
    "POST /api/v1/messages/<pk>/called/": OFFICE,
    "GET /api/v1/needs/": STAFF,
    "POST /api/v1/needs/": OFFICE,
    "GET /api/v1/needs/<pk>/": STAFF,
    "POST /api/v1/needs/<pk>/drop/": OFFICE,
    "GET /api/v1/readings-wanted/": STAFF,
    "GET /api/v1/readings-wanted/<pk>/": STAFF,
    "GET /api/v1/parts-lists/": STAFF,
    "GET /api/v1/parts-lists/<pk>/": STAFF,
    "GET /api/v1/plans/": STAFF,
    "POST /api/v1/plans/": OFFICE,
    "GET /api/v1/plans/<pk>/": STAFF,
    "GET /api/v1/plans/<pk>/map/": STAFF,
    "POST /api/v1/plans/<pk>/offer/": OFFICE,
    "POST /api/v1/plans/<pk>/publish/": OFFICE,
    "POST /api/v1/plans/<pk>/replan/": OFFICE,
    "POST /api/v1/plans/<pk>/write-parts-lists/": OFFICE,
    "GET /api/v1/policy/": OFFICE,
    "PATCH /api/v1/policy/": OWNER,
    "POST /api/v1/policy/preview/": OFFICE,
    "POST /api/v1/policy/frontier/": OFFICE,
    "GET /api/v1/vat-rates/": OFFICE,
    "POST /api/v1/vat-rates/": OFFICE,
    "GET /api/v1/vat-rates/<pk>/": OFFICE,
    "PATCH /api/v1/vat-rates/<pk>/": OFFICE,
    "DELETE /api/v1/vat-rates/<pk>/": OFFICE,
    "GET /api/v1/sales-prices/": OFFICE,
    "POST /api/v1/sales-prices/": OFFICE,
    "GET /api/v1/sales-prices/<pk>/": OFFICE,
    "PATCH /api/v1/sales-prices/<pk>/": OFFICE,
    "DELETE /api/v1/sales-prices/<pk>/": OFFICE,
    "GET /api/v1/service-contracts/": OFFICE,
    "POST /api/v1/service-contracts/": OFFICE,
    "GET /api/v1/service-contracts/<pk>/": OFFICE,
    "PATCH /api/v1/service-contracts/<pk>/": OFFICE,
    "DELETE /api/v1/service-contracts/<pk>/": OFFICE,
    "GET /api/v1/warranties/": OFFICE,
    "POST /api/v1/warranties/": OFFICE,
    "GET /api/v1/warranties/<pk>/": OFFICE,
    "PATCH /api/v1/warranties/<pk>/": OFFICE,
    "DELETE /api/v1/warranties/<pk>/": OFFICE,
    "GET /api/v1/invoices/": BILLED,
    "POST /api/v1/invoices/": OFFICE,
    "GET /api/v1/invoices/<pk>/": BILLED,
    "POST /api/v1/invoices/<pk>/cancel/": OFFICE,
    "GET /api/v1/invoices/<pk>/csv/": OFFICE,
    "GET /api/v1/invoices/<pk>/pdf/": BILLED,
    "GET /api/v1/invoices/proposals/": OFFICE,
    "GET /api/v1/invoices/proposals/csv/": OFFICE,
    "GET /api/v1/invoices/proposals/pdf/": OFFICE,
    "GET /api/v1/costs/": OFFICE,
    "GET /api/v1/purchase-orders/": OFFICE,
    "POST /api/v1/purchase-orders/": OFFICE,
    "POST /api/v1/purchase-orders/draft/": OFFICE,
    "GET /api/v1/purchase-orders/late/": OFFICE,
    "GET /api/v1/purchase-orders/<pk>/": OFFICE,
    "PATCH /api/v1/purchase-orders/<pk>/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/cancel/": OFFICE,
    "GET /api/v1/purchase-orders/<pk>/csv/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/expect/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/place/": OFFICE,
    "GET /api/v1/purchase-orders/<pk>/pdf/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/receive/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/send/": OFFICE,
    "GET /api/v1/purchase-orders/<pk>/text/": OFFICE,
    "POST /api/v1/purchase-orders/<pk>/void-delivery/": OFFICE,
    "GET /api/v1/rounds/": STAFF,
    "GET /api/v1/rounds/<pk>/": STAFF,
    "GET /api/v1/rounds/<pk>/day-sheet/": STAFF,
    "GET /api/v1/rounds/<pk>/gpx/": STAFF,
    "GET /api/v1/rounds/<pk>/van-load/": STAFF,
    "POST /api/v1/rounds/<pk>/confirm-load/": STAFF,
    "GET /api/v1/rounds/my-day/": STAFF,
    "GET /api/v1/client-data/<pk>/": "owner client",
    "POST /api/v1/client-data/<pk>/erase/": OWNER,
    "GET /api/v1/reading-photos/": EVERYONE,
    "POST /api/v1/reading-photos/": EVERYONE,
    "GET /api/v1/reading-photos/<pk>/": EVERYONE,
    "GET /api/v1/reading-photos/<pk>/image/": EVERYONE,
    "GET /api/v1/service-photos/": EVERYONE,
    "GET /api/v1/service-photos/<pk>/": EVERYONE,
    "GET /api/v1/service-photos/<pk>/image/": EVERYONE,
    "POST /api/v1/service-records/<pk>/photos/": STAFF,
    "POST /api/v1/service-records/<pk>/correct/": STAFF,
    "POST /api/v1/service-records/<pk>/void/": STAFF,
    "GET /api/v1/service-records/": EVERYONE,
    "POST /api/v1/service-records/": STAFF,
    "GET /api/v1/service-records/<pk>/": EVERYONE,
    "GET /api/v1/site-pairs/": STAFF,
    "POST /api/v1/site-pairs/": OFFICE,
    "GET /api/v1/site-pairs/<pk>/": STAFF,
    "DELETE /api/v1/site-pairs/<pk>/": OFFICE,
    "GET /api/v1/stock-levels/": STAFF,
    "POST /api/v1/stock-levels/": STAFF,
    "GET /api/v1/stock-levels/by-item/": OFFICE,
    "GET /api/v1/stock-outlook/": OFFICE,
    "GET /api/v1/stock-outlook/<pk>/": OFFICE,
    "GET /api/v1/stock-outlook/<pk>/wanted-at/": OFFICE,
    "GET /api/v1/stock-levels/<pk>/": STAFF,
    "PATCH /api/v1/stock-levels/<pk>/": STAFF,
    "DELETE /api/v1/stock-levels/<pk>/": OFFICE,
    "GET /api/v1/stock-movements/": STAFF,
    "POST /api/v1/stock-movements/": STAFF,
    "GET /api/v1/stock-movements/<pk>/": STAFF,
    "POST /api/v1/stock-movements/<pk>/void/": OFFICE,
    "GET /api/v1/stops/": STAFF,
    "GET /api/v1/stops/<pk>/": STAFF,
    "POST /api/v1/stops/<pk>/lock/": OFFICE,
    "GET /api/v1/attention/": OFFICE,
    "GET /api/v1/attention/matters/": OFFICE,
    "GET /api/v1/travel/": OFFICE,
    "POST /api/v1/imports/": OFFICE,
    "POST /api/v1/stops/<pk>/move/": OFFICE,
    "POST /api/v1/stops/<pk>/preview-move/": OFFICE,
    "GET /api/v1/visits/": EVERYONE,
    "POST /api/v1/visits/propose/": OFFICE,
    "GET /api/v1/visits/<pk>/": EVERYONE,
    "POST /api/v1/visits/<pk>/accept/": EVERYONE,
    "POST /api/v1/visits/<pk>/ask-for-call/": EVERYONE,
    "POST /api/v1/visits/<pk>/decline/": EVERYONE,
    "POST /api/v1/visits/<pk>/accept-additions/": OFFICE,
    "POST /api/v1/visits/<pk>/begin/": STAFF,
    "POST /api/v1/visits/<pk>/cancel/": OFFICE + " client",
    "POST /api/v1/visits/<pk>/complete/": STAFF,
    "POST /api/v1/visits/<pk>/confirm/": OFFICE,
    "POST /api/v1/visits/<pk>/decline-additions/": OFFICE,
    "POST /api/v1/visits/<pk>/not-done/": STAFF,
    "POST /api/v1/visits/<pk>/offer/": OFFICE,
    "POST /api/v1/visits/<pk>/depart/": STAFF,
    "POST /api/v1/visits/<pk>/unconfirm/": OFFICE,
    "POST /api/v1/visits/<pk>/unlock/": OFFICE,
    # answers of clients by the link of their letter
    "GET /api/v1/answers/<token>/": PUBLIC,
    "POST /api/v1/answers/<token>/": PUBLIC,
    "GET /calendars/<secret>.ics": PUBLIC,
    "GET /my-day/worker.js": PUBLIC,
    "GET /my-day/day.js": PUBLIC,
    "GET /my-day/stop.js": PUBLIC,
    "GET /answer/<token>/": PUBLIC,
    "GET /healthz": PUBLIC,
    "GET /readyz": PUBLIC,
    "GET /metrics": OPERATOR,
    "POST /answer/<token>/": PUBLIC,
    # the description of the interface
    "GET /api/v1/docs/": PUBLIC,
    "GET /api/v1/schema/": PUBLIC,
    # pages: what holds of them is asked in test_every_page
    "GET /": PUBLIC,
    "GET /sign-in/": PUBLIC,
    "POST /sign-in/": PUBLIC,
    "GET /sign-in/lost-password/": PUBLIC,
    "POST /sign-in/lost-password/": PUBLIC,
    "GET /sign-in/link/": PUBLIC,
    "POST /sign-in/link/": PUBLIC,
    "GET /sign-in/link/<token>/": PUBLIC,
    "POST /sign-in/link/<token>/": PUBLIC,
    "POST /sign-out/": PUBLIC,
    **{name: row.roles for name, row in PAGES.items()},
}

# What a meter's token may do, of all this.
METER = {"POST /api/v1/readings/", "POST /api/v1/units/<pk>/readings/"}

ROUTES = [route for route in every_route() if str(route) not in PAGES]
TENANT_ROUTES = [route for route in ROUTES if getattr(route.view_class, "resource", None)]
ROWS = [route for route in TENANT_ROUTES if "<pk>" in route.path]
ABSENT = 987654321
# Whoever signs out is sent to the door.
OPEN = (200, 302, 400)

# A row is the business of one member, whatever the role: others of the company do not find it.
OWN_ROWS_ONLY = {"token", "browser_session"}


def named(routes: list[Route]) -> Any:
    return pytest.mark.parametrize("route", routes, ids=str)


class People:
    """Everybody who may come to the door, each with an API client."""

    def __init__(self, api_for: ApiFor, company: Company, client: Client, members: dict[str, Membership]) -> None:
        self.company = company
        self.client = client
        self.members = members
        self.by_name = {name: api_for(member) for name, member in members.items()}


@pytest.fixture
def people(
    api_for: ApiFor,
    company: Company,
    first_client: Client,
    owner: Membership,
    office: Membership,
    installer: Membership,
    client_member: Membership,
    rival: Membership,
) -> People:
    members = {"owner": owner, "office": office, "installer": installer, "client": client_member, "rival": rival}
    return People(api_for, company, first_client, members)


def model_of(route: Route) -> type[Model]:
    model: type[Model] = route.view_class.queryset.model
    return model


def address(route: Route, pk: object = ABSENT) -> str:
    path = (
        route.path.replace("<pk>", str(pk))
        .replace("<kind>", "invalid")
        .replace("<token>", "forged")
        .replace("<secret>", "forged")
    )
    assert "<" not in path, f"{route} has a parameter this test cannot fill: teach it."
    return path


def send(api: APIClient, route: Route, pk: object = ABSENT, body: Any = None) -> Any:
    call: Callable[..., Any] = getattr(api, route.method.lower())
    # All under one name, which the answer tells: else two answers would differ by their names alone.
    named = {"headers": {"X-Request-ID": "one-and-the-same"}}
    path = address(route, pk)
    return call(path, **named) if route.method == "GET" else call(path, {} if body is None else body, **named)


def was_turned_away(response: Any) -> bool:
    """Tell a refusal at the door from everything that may happen behind it."""
    return response.status_code in (401, 403) and json.loads(response.content)["code"] in (
        "unauthenticated",
        "forbidden",
    )


def test_every_route_stands_in_the_table_and_every_row_of_the_table_is_a_route() -> None:
    routes = {str(route) for route in every_route()}
    assert routes - set(TABLE) == set(), "These routes are missing from the table above: say who may use them."
    assert set(TABLE) - routes == set(), "These rows of the table have no route."


def test_every_right_the_table_of_permissions_gives_is_used() -> None:
    used = {(route.view_class.resource, action_name(str(route.action))) for route in TENANT_ROUTES}
    # Not an address of its own: a reading that corrects another is sent like any other.
    used.add(("reading", "correct"))
    assert set(ALLOWED) - used == set()
    assert used >= METER_ALLOWED


@named(ROUTES)
@pytest.mark.django_db
def test_a_stranger_is_let_in_only_where_everybody_is(route: Route, api: APIClient) -> None:
    response = send(api, route)
    if TABLE[str(route)] == OPERATOR:
        assert response.status_code == 404
        return
    if TABLE[str(route)] == PUBLIC:
        # a link that was not signed here leads nowhere
        assert response.status_code in ((404,) if "<token>" in route.path or "<secret>" in route.path else OPEN)
        return
    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"] == "Bearer"
    assert response.headers["Content-Type"] == "application/problem+json"


@named(TENANT_ROUTES)
def test_the_roles_of_the_table_are_let_in_and_no_other(route: Route, people: People) -> None:
    roles = TABLE[str(route)].split()
    refused = [name for name in people.members if name not in [*roles, "rival"]]
    row = make_row(model_of(route), company=people.company, client=people.client) if route in ROWS else None
    before = dict(vars(row)) if row is not None else {}
    for name in refused:
        response = send(people.by_name[name], route, row.pk if row is not None else ABSENT)
        assert response.status_code == 403, (name, response.content)
        assert json.loads(response.content)["code"] == "forbidden", name
    if row is not None:
        # Nothing changed for those who were refused.
        fresh = type(row)._base_manager.get(pk=row.pk)
        columns = [field.attname for field in row._meta.concrete_fields]
        assert {name: getattr(fresh, name) for name in columns} == {name: before[name] for name in columns}
    for name in roles:
        response = send(people.by_name[name], route)
        assert not was_turned_away(response), (name, response.content)
        assert response.status_code < 500, (name, response.content)


@named(ROWS)
def test_another_companys_row_and_an_absent_one_answer_alike(route: Route, people: People) -> None:
    row = make_row(model_of(route), company=people.company, client=people.client)
    foreign = send(people.by_name["rival"], route, row.pk)
    absent = send(people.by_name["rival"], route, ABSENT)
    assert foreign.status_code == absent.status_code == 404
    assert foreign.content == absent.content
    assert type(row)._base_manager.filter(pk=row.pk).exists()


@named([route for route in ROWS if route.action == "retrieve"])
def test_a_row_is_found_by_its_company_and_by_its_own_client_only(
    route: Route, people: People, as_other_client: APIClient
) -> None:
    if route.view_class.resource in OWN_ROWS_ONLY:
        pytest.skip("who may see these has tests of its own")
    row = make_row(model_of(route), company=people.company, client=people.client)
    # Which clients an installer reads goes by their rounds, and has tests of its own.
    Company.objects.update(installers_see=Company.InstallersSee.ALL)
    for name in TABLE[str(route)].split():
        assert send(people.by_name[name], route, row.pk).status_code == 200, name
    if "client" in TABLE[str(route)].split():
        hidden = send(as_other_client, route, row.pk)
        assert hidden.status_code == 404
        assert hidden.content == send(as_other_client, route, ABSENT).content


@named([route for route in TENANT_ROUTES if route.action == "list"])
def test_a_list_shows_nothing_of_another_company_or_another_client(
    route: Route, people: People, as_other_client: APIClient
) -> None:
    row = make_row(model_of(route), company=people.company, client=people.client)
    path = address(route)
    if "client" in TABLE[str(route)].split():
        assert str(row.pk) not in ids(as_other_client.get(path))
    assert str(row.pk) not in ids(people.by_name["rival"].get(path))
    assert str(row.pk) in ids(people.by_name["owner"].get(path))


def ids(response: Any) -> set[str]:
    assert response.status_code == 200, response.content
    return {str(row.get("id", row.get("reading"))) for row in response.json()["results"]}


@named([route for route in TENANT_ROUTES if route.action in ("create", "partial_update")])
def test_the_ids_of_another_company_are_refused_like_ids_that_never_existed(route: Route, people: People) -> None:
    view = route.view_class(action=route.action, request=None, format_kwarg=None)
    view.request = type("Request", (), {"membership": people.members["owner"], "now": factories.NOW})()
    row = make_row(model_of(route), company=people.company, client=people.client) if route in ROWS else None
    for name, field in view.get_input_serializer().fields.items():
        if not isinstance(field, TenantRelatedField) or field.read_only:
            continue
        elsewhere = factories.CompanyFactory()
        foreign = make_row(field.queryset.model, company=elsewhere, client=factories.ClientFactory(company=elsewhere))
        sentences = []
        for pk in (foreign.pk, ABSENT):
            response = send(people.by_name["owner"], route, row.pk if row is not None else ABSENT, {name: pk})
            assert response.status_code == 400, response.content
            faults = [fault for fault in response.json()["errors"] if fault.get("pointer") == f"/{name}"]
            assert faults, f"{name} was not refused: {response.content!r}"
            sentences.append([fault["detail"].replace(str(pk), "...") for fault in faults])
        assert sentences[0] == sentences[1]


@named(TENANT_ROUTES)
def test_a_meter_is_let_in_only_where_it_posts_its_readings(
    route: Route, api_for: ApiFor, owner: Membership, company: Company
) -> None:
    unit = factories.UnitFactory(company=company)
    response = send(api_for(owner, meter_unit_id=unit.pk), route)
    if str(route) in METER:
        assert not was_turned_away(response), response.content
    else:
        assert response.status_code == 403
        assert "a meter's token" in response.json()["detail"]


@named(TENANT_ROUTES)
def test_methods_and_query_parameters_that_are_not_there_are_named(route: Route, as_owner: APIClient) -> None:
    path = address(route)
    options = as_owner.options(path)
    assert options.status_code == 405
    assert route.method in options.headers["Allow"]
    misspelt = as_owner.generic(route.method, f"{path}?surely_not_a_parameter=1", "{}", "application/json")
    if misspelt.status_code != 404:
        assert misspelt.status_code == 400
        assert misspelt.json()["errors"][0]["parameter"] == "surely_not_a_parameter"
