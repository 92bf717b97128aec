"""Stricter limits of exhaustion over the API, and what they do to the dates."""

from datetime import UTC, date, datetime, timedelta

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import Forecast, Unit
from fleet.services.forecasts.forecasts import forecast_company, refresh_forecasts
from tests import factories

ADDRESS = "/api/v1/exhaustion-limits/"
NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def units(company: Company) -> list[Unit]:
    """A reef and a coffee unit alike, with one resin cartridge that stands since December."""
    created = []
    resin = factories.CatalogueItemFactory(company=company, kind="resin")
    carbon = factories.CatalogueItemFactory(company=company, kind="carbon")
    for use in ("reef", "coffee"):
        unit = factories.UnitFactory(
            company=company, use=use, product_tds_target_mg_per_l=3.0, commissioned_on=date(2025, 6, 1)
        )
        for order, item in enumerate((carbon, resin), start=1):
            position = factories.PositionFactory(unit=unit, order=order, stage=item.kind, role="single")
            factories.PlacementFactory(position=position, item=item, placed_at=datetime(2025, 12, 1, tzinfo=UTC))
        for day in range(1, 9):
            factories.ReadingFactory(
                unit=unit,
                taken_at=datetime(2026, 1, 1, 9, tzinfo=UTC) + timedelta(days=8 * day),
                permeate_tds_mg_per_l=10.0,
                product_tds_mg_per_l=0.0,
            )
        created.append(unit)
    return created


def median(unit: Unit, stage: str = "resin") -> date:
    return Forecast.objects.get(position__unit=unit, position__stage=stage, is_latest=True).p50


def test_a_stricter_product_tds_moves_the_date_of_that_use_earlier(
    as_owner: APIClient, company: Company, units: list[Unit]
) -> None:
    forecast_company(company=company, now=NOW)
    before = [median(unit) for unit in units]
    sent = {"use": "reef", "product_tds": {"value": 0.2, "unit": "ppm"}}
    created = as_owner.post(ADDRESS, sent, format="json")
    assert created.status_code == 201, created.content
    # A changed limit alone is news enough for the next night.
    counts = refresh_forecasts(company=company, now=NOW)
    assert counts["changed"] > 0
    reef, coffee = units
    assert median(reef) < before[0]
    assert abs((median(coffee) - before[1]).days) <= 1
    deleted = as_owner.delete(f"{ADDRESS}{created.json()['id']}/")
    assert deleted.status_code == 204
    refresh_forecasts(company=company, now=NOW)
    assert [median(unit) for unit in units] == before


def test_what_a_unit_asks_for_itself_stays_the_loosest(
    as_owner: APIClient, company: Company, units: list[Unit]
) -> None:
    forecast_company(company=company, now=NOW)
    before = [median(unit) for unit in units]
    as_owner.post(ADDRESS, {"product_tds": "100 ppm"}, format="json")
    refresh_forecasts(company=company, now=NOW)
    assert [median(unit) for unit in units] == before


def test_a_shorter_life_of_carbon_holds_for_every_use(as_owner: APIClient, company: Company, units: list[Unit]) -> None:
    created = as_owner.post(ADDRESS, {"carbon_maximum_service_time_days": 100}, format="json")
    assert created.status_code == 201, created.content
    forecast_company(company=company, now=NOW)
    assert {median(unit, "carbon") for unit in units} == {date(2026, 3, 11)}
    assert set(Forecast.objects.filter(position__stage="carbon").values_list("driver", flat=True)) == {
        "maximum_service_time"
    }


@pytest.mark.parametrize(
    ("sent", "pointer", "sentence"),
    [
        ({"carbon_maximum_service_time_days": 400}, "/carbon_maximum_service_time_days", "30 and 365"),
        ({"prefilter_differential_pressure": "12 psi"}, "/prefilter_differential_pressure", "0.28 bar and 0.6895 bar"),
        ({"chlorine": 0.05}, "/chlorine", "unit"),
        ({"product_tds": "-1 ppm"}, "/product_tds", "0"),
        ({"use": "pool"}, "/use", "pool"),
        ({"use": "reef", "carbon_maximum_service_time_days": 90}, "/carbon_maximum_service_time_days", "every use"),
        ({"minimum_rejection_fraction": 0.5}, "/minimum_rejection_fraction", "0.9 and 0.995"),
        ({"resin": 1}, "/resin", "no such field"),
    ],
)
def test_a_limit_that_cannot_be_is_refused(
    as_owner: APIClient, company: Company, sent: dict[str, object], pointer: str, sentence: str
) -> None:
    answer = as_owner.post(ADDRESS, sent, format="json")
    assert answer.status_code in (400, 422), answer.content
    faults = {fault["pointer"]: fault["detail"] for fault in answer.json()["errors"]}
    assert sentence in faults[pointer]


def test_there_is_one_row_of_limits_for_a_use(as_owner: APIClient, company: Company) -> None:
    first = as_owner.post(ADDRESS, {"use": "reef", "product_tds": "1 ppm"}, format="json")
    again = as_owner.post(ADDRESS, {"use": "reef", "product_tds": "2 ppm"}, format="json")
    assert again.status_code in (400, 422)
    assert "already" in str(again.json())
    other = as_owner.post(ADDRESS, {"product_tds": "2 ppm"}, format="json").json()
    moved = as_owner.patch(f"{ADDRESS}{other['id']}/", {"use": "reef"}, format="json")
    assert moved.status_code in (400, 422)
    assert (
        as_owner.patch(f"{ADDRESS}{first.json()['id']}/", {"product_tds": "0.5 ppm"}, format="json").status_code == 200
    )
