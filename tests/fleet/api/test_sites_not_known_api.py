"""Units whose site is not known yet, and those whose client is not either, until somebody knows."""

from typing import Any

from rest_framework.test import APIClient

from accounts.models import Client, Company
from fleet.models import PastOwnership, Site, Unit
from tests import factories

UNITS, SITES = "/api/v1/units/", "/api/v1/sites/"


def _body(code: str, **more: Any) -> dict[str, Any]:
    return {"code": code, "use": "reef", "kind": "ro_di", "template": "ro_di", "commissioned_on": "2026-03-01", **more}


def _made(caller: APIClient, body: dict[str, Any]) -> Unit:
    answer = caller.post(UNITS, body, "json")
    assert answer.status_code == 201, answer.content
    return Unit.objects.select_related("site__client").get(pk=answer.json()["id"])


def test_a_unit_of_a_client_stands_at_a_place_of_its_own_until_it_is_completed(
    as_owner: APIClient, company: Company
) -> None:
    client = factories.ClientFactory(company=company, name="Cafe Quill")
    unit, other = _made(as_owner, _body("Q-1", client="Cafe Quill")), _made(as_owner, _body("Q-2", client="Cafe Quill"))
    assert (unit.site.client, unit.site.code, unit.site.is_known, unit.site.time_zone) == (
        client, "Q-1-site", False, company.time_zone,
    )  # fmt: skip
    assert other.site_id != unit.site_id, "of two units of which nothing is known nobody knows that they share a water"
    listed = as_owner.get(SITES, {"is_known": "false"}).json()["results"]
    assert [row["code"] for row in listed] == ["Q-1-site", "Q-2-site"]
    completed = as_owner.patch(f"{SITES}{unit.site_id}/", {"address": "Quay 3", "name": "bar"}, "json").json()
    assert (completed["is_known"], completed["is_located"], completed["name"]) == (True, False, "bar")
    assert [row["code"] for row in as_owner.get(SITES, {"is_known": "false"}).json()["results"]] == ["Q-2-site"]


def test_where_not_even_the_client_is_known_what_happened_is_the_clients_once_they_are(
    as_owner: APIClient, company: Company
) -> None:
    unit = _made(as_owner, _body("Q-1"))
    assert unit.site.client.name == "Client not known"
    assert _made(as_owner, _body("Q-2")).site.client == unit.site.client
    known = factories.SiteFactory(company=company, code="S1")
    moved = as_owner.patch(f"{UNITS}{unit.pk}/", {"site": "S1"}, "json")
    assert moved.status_code == 200, moved.content
    assert moved.json()["client_since"] is None
    assert not Site.objects.filter(code="Q-1-site").exists(), "nothing stands there, and nothing refers to it"
    assert not PastOwnership.objects.exists()
    second = Site.objects.get(code="Q-2-site")
    told = as_owner.patch(f"{SITES}{second.pk}/", {"client": known.client_id, "address": "Quay 4"}, "json").json()
    assert (told["client"], told["client_since"], told["is_known"]) == (known.client_id, None, True)
    assert not PastOwnership.objects.exists()


def test_a_client_that_is_known_passes_a_unit_on_as_ever(as_owner: APIClient, company: Company) -> None:
    factories.ClientFactory(company=company, name="Cafe Quill")
    unit = _made(as_owner, _body("Q-1", client="Cafe Quill"))
    factories.SiteFactory(company=company, code="S1")
    assert as_owner.patch(f"{UNITS}{unit.pk}/", {"site": "S1"}, "json").json()["client_since"] is not None
    assert PastOwnership.objects.get().client.name == "Cafe Quill"


def test_what_contradicts_itself_is_refused(as_owner: APIClient, company: Company) -> None:
    site = factories.SiteFactory(company=company, code="S1")
    factories.ClientFactory(company=company, name="Cafe Quill")
    refused = as_owner.post(UNITS, _body("Q-1", site="S1", client="Cafe Quill"), "json")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/client")
    refused = as_owner.patch(f"{SITES}{site.pk}/", {"is_known": False}, "json")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/is_known")
    body = {"client": site.client_id, "code": "S2", "name": "x", "is_known": False, "address": "Quay 3"}
    refused = as_owner.post(SITES, body, "json")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/is_known")
    assert not Client.objects.filter(name="Client not known").exists()


def test_another_companys_client_is_nobody(as_owner: APIClient) -> None:
    foreign = factories.ClientFactory()
    refused = as_owner.post(UNITS, _body("Q-1", client=foreign.pk), "json")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/client")
