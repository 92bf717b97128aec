"""Sites of unknown location: listed, and found by a geocoder where one is set up."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from accounts.models import Company
from fleet.services.units.geocoding import GeocoderUnavailableError, geocoder_set_up
from tests import factories

HERE = f"{__name__}.OneStreet"


class OneStreet:
    """Knows one street, and is out of reach for another."""

    def locate(self, address: str) -> tuple[float, float] | None:
        if "Far" in address:
            raise GeocoderUnavailableError("it timed out")
        if "Wrong" in address:
            return 99.0, 10.0
        return (53.5, 10.0) if address == "1 Quay Street" else None


def _located(company: Company) -> str:
    for code, address in (("A", "1 Quay Street"), ("B", ""), ("C", "2 Quay"), ("D", "Far Road"), ("E", "Wrong Way")):
        factories.SiteFactory(company=company, code=code, name="x", address=address, latitude=None, longitude=None)
    factories.SiteFactory(company=company, code="F", name="x", address="1 Quay Street")
    out = StringIO()
    call_command("locate_sites", stdout=out)
    return out.getvalue()


def test_without_a_geocoder_the_sites_are_listed_and_stay(company: Company) -> None:
    assert geocoder_set_up() is None
    assert _located(company).splitlines() == [
        "No geocoder is set up; give these sites latitude and longitude by hand or in a sheet.",
        f"{company}: A x: 1 Quay Street",
        f"{company}: B x: no address",
        f"{company}: C x: 2 Quay",
        f"{company}: D x: Far Road",
        f"{company}: E x: Wrong Way",
        "5 sites wait for their location.",
    ]
    assert company.sites.filter(latitude=None).count() == 5


def test_what_a_geocoder_finds_is_stored_and_the_rest_told(company: Company, settings: Any) -> None:
    settings.GEOCODER = HERE
    assert _located(company).splitlines() == [
        f"{company}: A x: located at 53.5, 10.0",
        f"{company}: B x: it has no address",
        f"{company}: C x: its address was not found",
        f"{company}: D x: the geocoder gave no answer: it timed out",
        f"{company}: E x: the geocoder answered 99, 10, which is no place on earth",
        "4 sites wait for their location.",
    ]
    assert company.sites.get(code="A").location == (53.5, 10.0)


def test_a_geocoder_that_is_not_there_is_named(company: Company, settings: Any) -> None:
    settings.GEOCODER = "nowhere.Geocoder"
    with pytest.raises(CommandError, match="GEOCODER is"):
        call_command("locate_sites")
