"""What a token with scopes may do: some of what its member's role may, and nothing that opens doors."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.http.permissions import action_name
from accounts.models import AccessToken, Membership
from accounts.permissions import ALLOWED, METER_ALLOWED, allows, scope_of
from accounts.services import issue_token
from tests import factories
from tests.routes import every_route

pytestmark = pytest.mark.interface

TOKENS = "/api/v1/tokens/"
SCOPES = set(AccessToken.Scope.values)
#: Asked by POST because much is sent, and nothing is stored.
ONLY_ASKED = {
    "POST /api/v1/diagnosis/",
    "POST /api/v1/sizing/",
    "POST /api/v1/units/<pk>/commissioning-check/",
    "POST /api/v1/stops/<pk>/preview-move/",
}
#: Everything of one client at once: a person asks for it.
CARRIED_OUT = {"GET /api/v1/client-data/<pk>/"}


def scoped(member: Membership, *scopes: str) -> APIClient:
    ttl, now = timedelta(hours=1), datetime.now(UTC)
    _, secret = issue_token(by=member, membership=member, name="program", scopes=scopes, ttl=ttl, now=now)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def test_what_only_looks_is_read_and_what_stores_is_not() -> None:
    routes = [route for route in every_route() if getattr(route.view_class, "resource", None)]
    assert len(routes) > 200
    for route in routes:
        scope = scope_of(route.view_class.resource, action_name(str(route.action)))
        looks = route.method == "GET" and str(route) not in CARRIED_OUT
        assert (scope == "read") == (looks or str(route) in ONLY_ASKED), str(route)


def test_each_action_has_one_scope_or_none_and_each_scope_opens_something() -> None:
    of_action = {pair: scope_of(*pair) for pair in ALLOWED}
    assert set(of_action.values()) == {*SCOPES, None}
    personal = {f"{resource} {action}" for (resource, action), scope in of_action.items() if scope is None}
    assert personal == {
        "me update", "me change_password", "me change_email", "me end_all", "token create", "token destroy",
        "me authenticate", "me begin_second_factor", "me confirm_second_factor", "me renew_recovery_codes",
        "me remove_second_factor", "member reset_second_factor", "client_data retrieve",
        "calendar_feed create", "calendar_feed destroy", "member update", "member end", "invitation create",
        "invitation withdraw", "browser_session destroy", "company update", "client_data erase",
        "webhook_endpoint create", "webhook_endpoint update", "webhook_endpoint destroy",
        "webhook_endpoint rotate_secret",
    }  # fmt: skip
    assert {of_action[pair] for pair in METER_ALLOWED} == {"readings"}


@pytest.mark.parametrize("role", Membership.Role.values)
def test_scopes_only_ever_narrow_a_role(role: str) -> None:
    member = Membership(role=role, is_active=True)
    of_role = {pair for pair in ALLOWED if allows(member, *pair)}
    opened: set[tuple[str, str]] = set()
    for scope in SCOPES:
        member.scopes = frozenset({scope})
        now_open = {pair for pair in ALLOWED if allows(member, *pair)} - {("session", "destroy")}
        assert now_open == {pair for pair in of_role if scope_of(*pair) == scope} - {("session", "destroy")}
        opened |= now_open
    member.scopes = frozenset()
    assert {pair for pair in ALLOWED if allows(member, *pair)} == {("session", "destroy")}
    assert of_role - opened == {pair for pair in of_role if scope_of(*pair) is None} | {("session", "destroy")}


def test_a_token_does_what_its_scopes_name_and_says_what_it_lacks(owner: Membership) -> None:
    unit = factories.UnitFactory(company=owner.company)
    reads, sends = scoped(owner, "read"), scoped(owner, "readings")
    readings = f"/api/v1/units/{unit.pk}/readings/"
    assert reads.get("/api/v1/units/").status_code == 200
    assert sends.post(readings, {"inlet_pressure": "60 psi"}).status_code == 201
    refused = reads.post(readings, {"inlet_pressure": "60 psi"})
    assert (refused.status_code, "the scopes read of the role 'owner'" in refused.json()["detail"]) == (403, True)
    assert sends.get("/api/v1/units/").status_code == 403
    may = reads.get("/api/v1/me/").json()["may"]
    assert set(may["unit"]) == {"list", "retrieve", "status", "forecast", "list_findings", "check_commissioning"}
    assert may["token"] == ["list", "retrieve"]


def test_no_token_opens_doors_however_many_scopes_it_has(owner: Membership) -> None:
    everything = scoped(owner, *SCOPES)
    end = (datetime.now(UTC) + timedelta(minutes=5)).isoformat()
    for path, body in (
        (TOKENS, {"name": "wider", "expires_at": end}),
        ("/api/v1/invitations/", {"email": "x@people.example", "role": "owner"}),
        ("/api/v1/me/password/", {"current_password": factories.PASSWORD, "new_password": "heron-basin-31"}),
        ("/api/v1/me/end-all/", {}),
        ("/api/v1/calendar-feeds/", {}),
    ):
        assert everything.post(path, body).status_code == 403, path
    assert everything.post("/api/v1/clients/", {"name": "A client"}).status_code == 201
    assert everything.post("/api/v1/logout/").status_code == 204
    assert everything.get("/api/v1/clients/").status_code == 401


def test_a_token_makes_none_that_outlives_it_and_a_session_does(as_office: APIClient, office: Membership) -> None:
    def wanted(days: float) -> dict[str, Any]:
        return {"name": "export", "expires_at": (datetime.now(UTC) + timedelta(days=days)).isoformat()}

    refused = as_office.post(TOKENS, wanted(1))
    assert (refused.status_code, refused.json()["code"]) == (400, "longer_than_its_maker")
    assert refused.json()["errors"][0]["pointer"] == "/expires_at"
    made = as_office.post(TOKENS, wanted(0.02))
    assert (made.status_code, made.json()["scopes"]) == (201, ["read"])
    browser = APIClient()
    body = {"email": office.user.email, "password": factories.PASSWORD}
    assert browser.post("/api/v1/session/", body).status_code == 200
    made = browser.post(TOKENS, {**wanted(365), "scopes": ["office", "read"]})
    assert (made.status_code, made.json()["scopes"]) == (201, ["office", "read"])


def test_scopes_that_there_are_not_are_named(as_office: APIClient, office: Membership) -> None:
    unit = factories.UnitFactory(company=office.company)
    body = {"name": "export", "expires_at": (datetime.now(UTC) + timedelta(minutes=5)).isoformat()}
    for more, pointer in (
        ({"scopes": []}, "/scopes"),
        ({"scopes": ["everything"]}, "/scopes/0"),
        ({"scopes": None}, "/scopes"),
        ({"scopes": ["read"], "meter_unit": unit.pk}, "/scopes"),
    ):
        refused = as_office.post(TOKENS, {**body, **more})
        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, pointer), more
    meter = as_office.post(TOKENS, {**body, "meter_unit": unit.pk})
    assert (meter.status_code, meter.json()["scopes"]) == (201, ["readings"])
