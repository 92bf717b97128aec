"""A site that was entered by mistake can go, until somebody was told of a visit to it."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from scheduling.models import Visit
from tests import factories


@pytest.mark.parametrize("state", ["proposed", "cancelled"])
def test_a_visit_nobody_was_told_of_goes_with_its_site(as_office: APIClient, company: Company, state: str) -> None:
    visit = factories.VisitFactory(company=company, state=state)
    stop = factories.StopFactory(visit=visit, round__plan__company=company, round__plan__published_at=None)
    assert as_office.delete(f"/api/v1/sites/{visit.site_id}/").status_code == 204
    assert not Visit.objects.filter(pk=visit.pk).exists()
    assert not type(stop).objects.filter(pk=stop.pk).exists()


@pytest.mark.parametrize(
    "told",
    [
        {"state": "offered"},
        {"state": "done"},
        {"state": "cancelled", "offers": [{"opens_at": "2026-03-02T08:00:00Z", "closes_at": "2026-03-02T09:00:00Z"}]},
    ],
)
def test_a_visit_somebody_was_told_of_keeps_its_site(
    as_office: APIClient, company: Company, told: dict[str, Any]
) -> None:
    visit = factories.VisitFactory(company=company, **told)
    assert as_office.delete(f"/api/v1/sites/{visit.site_id}/").status_code == 409
    assert Visit.objects.filter(pk=visit.pk).exists()


def test_a_message_and_a_published_plan_keep_the_site_too(as_office: APIClient, company: Company) -> None:
    visit = factories.VisitFactory(company=company, state="cancelled")
    factories.MessageFactory(visit=visit, company=company, client=visit.site.client)
    planned = factories.VisitFactory(company=company)
    factories.StopFactory(visit=planned, round__plan__company=company, round__plan__published_at=planned.created_at)
    for site in (visit.site_id, planned.site_id):
        assert as_office.delete(f"/api/v1/sites/{site}/").status_code == 409
