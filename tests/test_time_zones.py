"""What is added without a time zone stands on the clock of its company, by whatever way it came."""

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from fleet.models import Site
from scheduling.models import Installer
from tests import factories

ZONE = "Pacific/Auckland"
SITE = {"code": "S-1", "name": "Quay", "latitude": -36.8, "longitude": 174.8}


@pytest.fixture
def company(db: None) -> Company:
    return factories.CompanyFactory(name="North Water", time_zone=ZONE)


def test_a_site_sent_without_a_time_zone_takes_the_companys(as_office: APIClient, first_client: Client) -> None:
    sent = {**SITE, "client": first_client.pk}
    assert as_office.post("/api/v1/sites/", sent, format="json").json()["time_zone"] == ZONE
    named = as_office.post("/api/v1/sites/", {**sent, "code": "S-2", "time_zone": "UTC"}, format="json").json()
    assert named["time_zone"] == "UTC"
    emptied = as_office.patch(f"/api/v1/sites/{named['id']}/", {"time_zone": ""}, format="json")
    assert emptied.status_code == 400
    assert emptied.json()["errors"][0]["pointer"] == "/time_zone"


def test_an_installer_sent_without_a_time_zone_takes_the_companys(as_office: APIClient, installer: Membership) -> None:
    sent = {"membership": installer.pk, "name": "Ines", "home_latitude": -36.9, "home_longitude": 174.7}
    assert as_office.post("/api/v1/installers/", sent, format="json").json()["time_zone"] == ZONE


def test_rows_added_in_bulk_take_the_companys_clock_too(
    company: Company, first_client: Client, installer: Membership
) -> None:
    Site.objects.bulk_create([Site(company=company, client=first_client, **SITE)])
    Installer.objects.bulk_create(
        [Installer(company=company, membership=installer, name="Ines", home_latitude=0, home_longitude=0)]
    )
    assert (Site.objects.get().time_zone, Installer.objects.get().time_zone) == (ZONE, ZONE)
