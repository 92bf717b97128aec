"""Probabilities by any date, and the first position to fail of a unit and a site."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from rest_framework.test import APIClient
from scipy.stats import norm

from accounts.models import Client, Company
from fleet.forecasting import GRID_LEVELS
from fleet.models import Forecast, Unit
from tests import factories

TODAY = factories.TODAY


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    return factories.UnitFactory(company=company, site__client=first_client)


def add_forecast(unit: Unit, median_days: float, spread_days: float, **fields: Any) -> Forecast:
    """A forecast whose date is normal around so many days ahead."""
    days = np.maximum(median_days + spread_days * norm.ppf(GRID_LEVELS), 0.0)
    grid = [int(value) for value in np.floor(days * 10)]
    shown = {f"p{level:02d}": TODAY + timedelta(days=_at(grid, level)) for level in (5, 10, 25, 50, 75, 90, 95)}
    place = factories.PositionFactory(unit=unit, stage=fields.pop("stage", "resin"))
    return factories.ForecastFactory(position=place, as_of=TODAY, date_grid=grid, **shown, **fields)


def _at(grid: list[int], level: int) -> int:
    return grid[int(np.argmin(np.abs(GRID_LEVELS - level / 100)))] // 10


def test_the_probability_by_a_day_is_the_one_of_the_distribution(unit: Unit, as_client: APIClient) -> None:
    row = add_forecast(unit, 60.0, 15.0)
    for ahead in (40, 60, 75):
        day = TODAY + timedelta(days=ahead)
        for path in (f"/api/v1/forecasts/{row.pk}/", "/api/v1/forecasts/"):
            answer = as_client.get(path, {"probability_by": day.isoformat()}).json()
            first = answer["results"][0] if "results" in answer else answer
            # By the end of the day, hence one day more; normal distribution from SciPy.
            assert first["probability"] == pytest.approx(norm.cdf((ahead + 1 - 60.0) / 15.0), abs=0.01)
    by_median = as_client.get(f"/api/v1/forecasts/{row.pk}/", {"probability_by": row.p50.isoformat()}).json()
    assert by_median["probability"] >= 0.5
    assert as_client.get(f"/api/v1/forecasts/{row.pk}/").json()["probability"] is None
    earlier = (TODAY - timedelta(days=1)).isoformat()
    assert as_client.get(f"/api/v1/forecasts/{row.pk}/", {"probability_by": earlier}).json()["probability"] is None


@pytest.mark.parametrize("value", ["soon", "2026-13-01", "12/24/2026"])
def test_a_day_that_is_none_is_refused_by_name(unit: Unit, as_client: APIClient, value: str) -> None:
    for path in ("/api/v1/forecasts/", f"/api/v1/units/{unit.pk}/forecast/", f"/api/v1/sites/{unit.site_id}/forecast/"):
        answer = as_client.get(path, {"probability_by": value})
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["parameter"] == "probability_by"
        assert "2026-12-24" in answer.json()["errors"][0]["detail"]


def test_a_unit_fails_with_its_first_position_and_a_site_with_its_first_unit(
    unit: Unit, as_installer: APIClient
) -> None:
    late = add_forecast(unit, 200.0, 10.0, stage="membrane", driver="membrane_trend")
    early = add_forecast(unit, 50.0, 10.0, driver="breakthrough")
    other = factories.UnitFactory(company=unit.site.company, site=unit.site)
    earliest = add_forecast(other, 20.0, 4.0, stage="sediment", driver="pressure")
    day = (TODAY + timedelta(days=52)).isoformat()
    of_unit = as_installer.get(f"/api/v1/units/{unit.pk}/forecast/", {"probability_by": day}).json()
    # The second position is far away, so the unit's date is that of the first, to the day.
    for name in ("p10", "p50", "p90"):
        off = abs((date.fromisoformat(of_unit[name]) - getattr(early, name)).days)
        assert off <= 1, name
    assert (of_unit["first"]["id"], of_unit["position_count"], of_unit["dated_count"]) == (early.pk, 2, 2)
    assert of_unit["probability"] == pytest.approx(norm.cdf(3.0 / 10.0), abs=0.02)
    assert "resin" in of_unit["installer_sentence"]
    of_site = as_installer.get(f"/api/v1/sites/{unit.site_id}/forecast/").json()
    assert (of_site["first"]["id"], of_site["dated_count"], of_site["probability"]) == (earliest.pk, 3, None)
    assert late.pk != of_site["first"]["id"]
    assert of_site["p50"] <= of_unit["p50"]


def test_two_equal_positions_fail_together_earlier_than_each(unit: Unit, as_client: APIClient) -> None:
    rows = [add_forecast(unit, 100.0, 20.0, stage=stage) for stage in ("carbon", "resin")]
    answer = as_client.get(f"/api/v1/units/{unit.pk}/forecast/").json()
    median = (date.fromisoformat(answer["p50"]) - TODAY).days
    # Between full dependence (that of one) and independence, whose median is the 1 - sqrt(1/2) quantile of each.
    independent = 100.0 + 20.0 * norm.ppf(1.0 - np.sqrt(0.5))
    assert independent - 1 < median < (rows[0].p50 - TODAY).days


def test_without_a_date_the_answer_says_so(unit: Unit, as_client: APIClient) -> None:
    answer = as_client.get(f"/api/v1/units/{unit.pk}/forecast/", {"probability_by": TODAY.isoformat()}).json()
    assert (answer["as_of"], answer["p50"], answer["probability"], answer["first"]) == (None, None, None, None)
    assert "nothing has been forecast yet" in answer["client_sentence"]
    factories.ForecastFactory(
        position=factories.PositionFactory(unit=unit), state="empty", p10=None, p50=None, p90=None, date_grid=[]
    )
    answer = as_client.get(f"/api/v1/units/{unit.pk}/forecast/").json()
    assert (answer["position_count"], answer["dated_count"], answer["p50"]) == (1, 0, None)


def test_what_is_exhausted_now_is_told_first(unit: Unit, as_installer: APIClient) -> None:
    add_forecast(unit, 90.0, 10.0, stage="carbon")
    add_forecast(unit, 0.0, 0.0, state="exhausted", installer_sentence="Resin: exhausted by now, because it is.")
    answer = as_installer.get(f"/api/v1/units/{unit.pk}/forecast/", {"probability_by": TODAY.isoformat()}).json()
    assert answer["p50"] == TODAY.isoformat()
    assert answer["probability"] == 1.0
    assert "because it is" in answer["installer_sentence"]
