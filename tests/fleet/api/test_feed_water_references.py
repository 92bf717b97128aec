"""Feed water samples under a reference of the sender's: the same again is known, another is refused."""

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import FeedWaterSample, Site
from tests import factories

ADDRESS = "/api/v1/feed-water-samples/"


@pytest.fixture
def site(company: Company) -> Site:
    return factories.SiteFactory(company=company)


def test_a_sample_under_a_known_reference_is_known_or_refused(site: Site, as_installer: APIClient) -> None:
    body = {
        "site": site.pk,
        "reference": "lab-3",
        "taken_at": "2026-02-20T10:00:00+01:00",
        "hardness": "210 mg/L as CaCO3",
        "method": "laboratory",
    }
    assert as_installer.post(ADDRESS, body).status_code == 201
    same = {**body, "taken_at": "2026-02-20T09:00:00Z", "hardness": "210.0 mg/L as CaCO3"}
    assert as_installer.post(ADDRESS, same).status_code == 200
    refused = as_installer.post(ADDRESS, {**body, "hardness": "180 mg/L as CaCO3", "method": "strip"})
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    detail_of = {fault["pointer"]: fault["detail"] for fault in refused.json()["errors"]}
    assert set(detail_of) == {"/hardness", "/method"}
    assert "a feed water sample with hardness 210 mg/L as CaCO3, not 180 mg/L as CaCO3" in detail_of["/hardness"]
    assert "with method 'laboratory', not 'strip'" in detail_of["/method"]
    assert FeedWaterSample.objects.count() == 1


def test_the_same_sample_without_a_reference_loses_no_word_in_silence(site: Site, as_installer: APIClient) -> None:
    body = {"site": site.pk, "taken_at": "2026-02-20T10:00:00+01:00", "hardness": "210 mg/L as CaCO3"}
    stored = as_installer.post(ADDRESS, {**body, "measured_by": "Ines"}).json()
    assert as_installer.post(ADDRESS, body).status_code == 200
    refused = as_installer.post(ADDRESS, {**body, "measured_by": "Ada", "supply": "North"})
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    detail_of = {fault["pointer"]: fault["detail"] for fault in refused.json()["errors"]}
    assert set(detail_of) == {"/measured_by", "/supply"}
    assert f"stored as {stored['id']}, with measured_by 'Ines', not 'Ada'" in detail_of["/measured_by"]
    assert FeedWaterSample.objects.count() == 1
