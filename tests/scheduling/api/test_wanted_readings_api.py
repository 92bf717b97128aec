"""Which readings are wanted, over the API."""

from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client
from fleet.models import Unit
from scheduling.api.wanted_readings import READS
from scheduling.models import Need
from scheduling.services.needs.needs import refresh_needs
from tests.scheduling.services.needs.test_wanted_readings import doubtful_membrane, fitted
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town

PATH = "/api/v1/readings-wanted/"


@pytest.fixture
def units(town: Town) -> tuple[Unit, Unit]:
    """One whose membrane is in doubt, and one that was never read."""
    doubtful, unread = town.unit(), town.unit(train=RO_DI_TRAIN)
    doubtful_membrane(town, doubtful)
    fitted(town, doubtful)
    unread.readings.all().delete()
    fitted(town, unread, "product_tds_mg_per_l")
    refresh_needs(company=town.company, now=NOW)
    return doubtful, unread


def test_the_most_worth_comes_first(as_installer: APIClient, town: Town, units: tuple[Unit, Unit]) -> None:
    doubtful, unread = units
    first, second = as_installer.get(PATH).json()["results"]
    assert (first["unit"], first["unit_code"], first["site"]) == (doubtful.pk, doubtful.code, doubtful.site_id)
    assert (first["reading_way"], first["reads"]) == ("ask_client", ["feed_tds", "permeate_tds"])
    assert (first["position"], first["position_name"]) == (town.position(doubtful, "membrane").pk, "membrane")
    assert first["net"] == pytest.approx(first["saves"] - first["price"])
    assert first["net"] > 0.0 > second["net"]
    assert f"saves about {first['saves']:.2f} EUR; it costs {first['price']:.2f}" in first["reason"]
    assert (second["unit"], second["position"], second["position_name"]) == (unread.pk, None, "")
    assert (second["reading_way"], second["reads"], second["saves"]) == ("ask_client", ["product_tds"], 0.0)
    assert "It was never read" in second["reason"]
    assert as_installer.get(f"{PATH}{first['id']}/").json() == first


def test_it_is_the_need_that_the_other_list_shows(as_installer: APIClient, units: tuple[Unit, Unit]) -> None:
    first = as_installer.get(PATH).json()["results"][0]
    need = as_installer.get(f"/api/v1/needs/{first['id']}/").json()
    assert need["kind"] == "take_reading"
    assert (need["reading_way"], need["reason"]) == (first["reading_way"], first["reason"])
    other = next(row for row in as_installer.get("/api/v1/needs/?kind=replace").json()["results"])
    assert other["reading_way"] == ""


@pytest.mark.parametrize(
    ("query", "expected"), [("unit={0}", 1), ("site={1}", 1), ("reading_way=ask_client", 2), ("reading_way=send", 0)]
)
def test_it_is_filtered(as_installer: APIClient, units: tuple[Unit, Unit], query: str, expected: int) -> None:
    where = query.format(units[0].pk, units[1].site_id)
    assert as_installer.get(f"{PATH}?{where}").json()["count"] == expected


@pytest.mark.parametrize("query", ["reading_way=shout", "unit=x", "net=3"])
def test_what_cannot_be_filtered_by_is_refused(as_installer: APIClient, query: str) -> None:
    refused = as_installer.get(f"{PATH}?{query}")
    assert refused.status_code == 400, refused.content
    assert refused.headers["Content-Type"].startswith("application/problem+json")


def test_a_reading_that_is_sent_takes_it_off_the_list(
    as_installer: APIClient, town: Town, units: tuple[Unit, Unit]
) -> None:
    doubtful, _ = units
    sent: dict[str, Any] = {"feed_tds": "200 ppm", "permeate_tds": "9 ppm", "taken_at": NOW.isoformat()}
    stored = as_installer.post(f"/api/v1/units/{doubtful.pk}/readings/", sent)
    assert stored.status_code == 201, stored.content
    refresh_needs(company=town.company, now=NOW + timedelta(hours=1))
    assert [row["unit"] for row in as_installer.get(PATH).json()["results"]] == [units[1].pk]


def test_the_client_is_asked_in_their_own_view(
    as_client: APIClient, as_installer: APIClient, first_client: Client, town: Town
) -> None:
    unit = town.unit(town.site(client=first_client))
    doubtful_membrane(town, unit)
    status = f"/api/v1/units/{unit.pk}/status/"
    refresh_needs(company=town.company, now=NOW)
    assert as_client.get(status).json()["please_read"] == "", "there is nothing to read it with"
    fitted(town, unit)
    refresh_needs(company=town.company, now=NOW)
    assert as_client.get(status).json()["please_read"] == (
        "Please read the TDS of the tap water and the TDS of the water behind the membrane once the unit has run for "
        "5 minutes, and send us the values. They tell us when to come, and may save a visit. Use the meters you have "
        "there: open no housing and loosen no fitting."
    )
    assert as_client.get(PATH).status_code == 403, "what it is worth is the company's"
    sent: dict[str, Any] = {"feed_tds": "200 ppm", "permeate_tds": "9 ppm", "taken_at": NOW.isoformat()}
    assert as_client.post(f"/api/v1/units/{unit.pk}/readings/", sent).status_code == 201
    refresh_needs(company=town.company, now=NOW + timedelta(hours=1))
    assert as_client.get(status).json()["please_read"] == ""
    assert as_installer.get(PATH).json()["count"] == 0


def test_other_ways_ask_nothing_of_the_client(as_client: APIClient, first_client: Client, town: Town) -> None:
    unit = town.unit(town.site(client=first_client))
    doubtful_membrane(town, unit)
    town.forecast(town.position(unit, "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    assert Need.objects.get(unit=unit, kind="take_reading").reading_way == "next_visit"
    assert as_client.get(f"/api/v1/units/{unit.pk}/status/").json()["please_read"] == ""


def test_a_client_without_a_meter_is_asked_what_they_see_and_what_they_see_counts(
    as_client: APIClient, as_office: APIClient, first_client: Client, town: Town
) -> None:
    unit = town.unit(town.site(client=first_client), train=RO_DI_TRAIN)
    unit.readings.all().delete()
    refresh_needs(company=town.company, now=NOW)
    asked = as_office.get(f"{PATH}?reading_way=ask_client").json()["results"][0]
    assert asked["reads"] == ["water_on_floor", "taste_or_odour", "slow_filling", "resin_colour_changed_fraction"]
    assert set(asked["reads"]) <= set(READS), "as the description of the interface promises"
    assert as_office.get(f"{PATH}?reading_way=next_visit").json()["count"] == 1, "whoever comes still reads"
    path = f"/api/v1/units/{unit.pk}/status/"
    status = as_client.get(path).json()
    assert status["asks"] == asked["reads"]
    assert status["please_read"] == (
        "Please tell us whether there is water on the floor, the water tastes or smells of something or the tank or "
        "container fills slowly: it takes no meter, and a no tells us as much as a yes. Where the resin shows through "
        "its housing, tell us how much of it has changed colour. Open no housing and loosen no fitting."
    )
    seen = {"water_on_floor": False, "taste_or_odour": True, "slow_filling": False}
    stored = as_client.post(f"/api/v1/units/{unit.pk}/readings/", {"observations": seen, "taken_at": NOW.isoformat()})
    assert stored.status_code == 201, stored.content
    refresh_needs(company=town.company, now=NOW + timedelta(hours=1))
    assert as_client.get(path).json()["asks"] == []
    assert as_office.get(f"{PATH}?reading_way=ask_client").json()["count"] == 0
    assert as_office.get(f"{PATH}?reading_way=next_visit").json()["count"] == 1, "an answer is no reading"
