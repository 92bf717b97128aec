"""Rules for pairs of sites over the API."""

from rest_framework.test import APIClient

from scheduling.models import SitePair
from tests.scheduling.town import Town

ADDRESS = "/api/v1/site-pairs/"


def test_a_rule_is_laid_down_and_taken_back(as_office: APIClient, town: Town) -> None:
    one, other = town.site(), town.site()
    body = {"first_site": other.pk, "second_site": one.pk, "rule": "together", "note": "Same caretaker."}
    created = as_office.post(ADDRESS, body, format="json")
    assert created.status_code == 201, created.content
    pair = created.json()
    assert (pair["first_site"], pair["second_site_name"], pair["rule"]) == (one.pk, other.name, "together")
    refused = as_office.post(ADDRESS, {**body, "rule": "apart"}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "pair_is_known")
    assert as_office.delete(f"{ADDRESS}{pair['id']}/").status_code == 204
    assert not SitePair.objects.exists()


def test_a_fault_names_its_field(as_office: APIClient, town: Town) -> None:
    site = town.site()
    body = {"first_site": site.pk, "second_site": site.pk, "rule": "apart"}
    for change, pointer in (({}, "/second_site"), ({"rule": "near"}, "/rule"), ({"first_site": 987654}, "/first_site")):
        refused = as_office.post(ADDRESS, {**body, **change}, format="json")
        assert refused.status_code == 400, refused.content
        assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
