"""Forecasts stored as of the company's day, whole or in chunks."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from accounts.jobs.models import Job
from accounts.models import Company
from fleet.forecasting import GRID_LEVELS
from fleet.models import Forecast, Placement, Position, Reading, Unit
from fleet.services.forecasts import forecasts
from fleet.services.forecasts.forecasts import forecast_company, start_forecast_job
from fleet.services.forecasts.groups import probability_exhausted_by
from fleet.services.forecasts.rows import PRIOR_SENTENCES
from fleet.services.forecasts.tables import load_fleet
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A reef unit with a lead and a lag resin, read a few times."""
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1))
    train = [("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag")]
    for stage, role in train:
        position = factories.PositionFactory(unit=unit, stage=stage, role=role)
        factories.PlacementFactory(position=position, placed_at=datetime(2025, 12, 1, tzinfo=UTC))
    for day in range(1, 4):
        factories.ReadingFactory(
            unit=unit,
            taken_at=datetime(2026, 1, 10 * day, 9, tzinfo=UTC),
            permeate_flow_l_per_day=180.0,
            interstage_tds_mg_per_l=1.0,
            product_tds_mg_per_l=0.0,
            temperature_degc=15.0,
        )
    factories.FeedWaterSampleFactory(site=unit.site, taken_at=datetime(2026, 1, 5, tzinfo=UTC))
    return unit


def stored() -> list[dict[str, Any]]:
    return list(Forecast.objects.order_by("position_id", "as_of").values())


def test_every_position_gets_a_distribution_of_dates_with_its_evidence(unit: Unit) -> None:
    counts = forecast_company(company=unit.company, now=NOW)
    assert counts == {"units": 1, "positions": 5, "created": 5, "changed": 0, "unchanged": 0, "unusable": 0}
    for forecast in Forecast.objects.select_related("position", "placement"):
        assert forecast.as_of == date(2026, 3, 10)
        assert forecast.is_latest
        assert forecast.placement.position == forecast.position
        dates = [forecast.p05, forecast.p10, forecast.p25, forecast.p50, forecast.p75, forecast.p90, forecast.p95]
        assert dates == sorted(dates)
        assert dates[0] >= date(2026, 3, 10)
        assert 0 <= forecast.remaining_share <= 1
        assert forecast.driver
        assert forecast.installer_sentence
        assert forecast.client_sentence


def test_a_second_run_on_the_same_day_changes_nothing(unit: Unit) -> None:
    forecast_company(company=unit.company, now=NOW)
    before = stored()
    counts = forecast_company(company=unit.company, now=NOW + timedelta(hours=3))
    assert (counts["created"], counts["changed"], counts["unchanged"]) == (0, 0, 5)
    assert stored() == before


def test_a_new_day_adds_a_row_and_the_older_one_is_kept_as_history(unit: Unit) -> None:
    forecast_company(company=unit.company, now=NOW)
    forecast_company(company=unit.company, now=NOW + timedelta(days=1))
    assert Forecast.objects.count() == 10
    assert {f.as_of for f in Forecast.objects.filter(is_latest=True)} == {date(2026, 3, 11)}
    # A run for a past day fills in history and does not displace the newest.
    forecast_company(company=unit.company, now=NOW - timedelta(days=7))
    assert {f.as_of for f in Forecast.objects.filter(is_latest=True)} == {date(2026, 3, 11)}
    assert Forecast.objects.filter(is_latest=True).count() == 5


def test_the_day_is_the_companys_own(unit: Unit) -> None:
    unit.company.time_zone = "Pacific/Auckland"
    unit.company.save()
    # Auckland is 13 hours ahead of UTC in March (daylight saving until the first Sunday of April).
    forecast_company(company=unit.company, now=NOW)
    assert {f.as_of for f in Forecast.objects.all()} == {date(2026, 3, 11)}


def test_an_empty_position_and_a_retired_unit_have_no_date(unit: Unit) -> None:
    empty = factories.PositionFactory(unit=unit, stage="sediment")
    retired = factories.UnitFactory(company=unit.company, retired_on=date(2026, 3, 1))
    factories.PlacementFactory(position=factories.PositionFactory(unit=retired))
    counts = forecast_company(company=unit.company, now=NOW)
    assert (counts["units"], counts["positions"]) == (1, 6)
    forecast = Forecast.objects.get(position=empty)
    assert (forecast.state, forecast.p50, forecast.placement) == ("empty", None, None)


def test_the_forecasts_of_a_unit_become_history_on_the_day_from_which_it_is_out_of_use(unit: Unit) -> None:
    forecast_company(company=unit.company, now=NOW)
    unit.retired_on = (NOW + timedelta(days=1)).date()
    unit.save()
    forecast_company(company=unit.company, now=NOW + timedelta(days=1))
    assert Forecast.objects.filter(position__unit=unit).count() == 5
    assert not Forecast.objects.filter(position__unit=unit, is_latest=True).exists()


def test_only_the_asked_units_are_stored_and_with_the_same_numbers(unit: Unit) -> None:
    other = factories.UnitFactory(company=unit.company)
    factories.PlacementFactory(position=factories.PositionFactory(unit=other))
    forecast_company(company=unit.company, now=NOW)
    all_rows = [{**row, "id": 0} for row in stored()]
    Forecast.objects.all().delete()
    assert forecast_company(company=unit.company, now=NOW, units=[unit.pk])["positions"] == 5
    assert set(Forecast.objects.values_list("position__unit", flat=True)) == {unit.pk}
    forecast_company(company=unit.company, now=NOW, units=[other.pk])
    assert [{**row, "id": 0} for row in stored()] == all_rows


def test_what_was_corrected_or_not_yet_known_does_not_count(unit: Unit) -> None:
    wrong = factories.ReadingFactory(unit=unit, taken_at=datetime(2026, 2, 1, tzinfo=UTC), permeate_tds_mg_per_l=900.0)
    factories.ReadingFactory(unit=unit, taken_at=wrong.taken_at, permeate_tds_mg_per_l=9.0, corrects=wrong)
    factories.ReadingFactory(unit=unit, taken_at=datetime(2026, 5, 1, tzinfo=UTC), permeate_tds_mg_per_l=901.0)
    removed_later = unit.positions.first().placements.get()
    removed_later.removed_at, removed_later.removal = datetime(2026, 5, 1, tzinfo=UTC), "early"
    removed_later.save()
    day = (datetime(2026, 3, 1, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)).days
    loaded = load_fleet(company=unit.company, unit_ids=[unit.pk], as_of_day=float(day))
    fleet = loaded.fleet
    assert loaded.faults == []
    assert Reading.objects.get(pk=loaded.reading_ids[-1]).corrects == wrong
    assert fleet.readings.permeate_tds_mg_per_l.tolist() == [9.0, 9.0, 9.0, 9.0]
    assert fleet.placements.removed_day.tolist() == pytest.approx([float("nan")] * 5, nan_ok=True)
    assert len(fleet.feed_water) == 1


def test_another_companys_units_stay_out(unit: Unit, rival_company: Company) -> None:
    foreign = factories.PositionFactory(unit__company=rival_company)
    assert forecast_company(company=unit.company, now=NOW, units=[foreign.unit_id])["positions"] == 0
    forecast_company(company=unit.company, now=NOW)
    assert not Forecast.objects.filter(position=foreign).exists()


def test_the_job_goes_block_by_block(
    unit: Unit, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    for _ in range(4):
        position = factories.PositionFactory(unit=factories.UnitFactory(company=unit.company))
        factories.PlacementFactory(position=position)
    monkeypatch.setattr(forecasts, "BLOCK_UNITS", 2)
    with django_capture_on_commit_callbacks(execute=True):
        job = start_forecast_job(company=unit.company, by=None, now=NOW)
    job.refresh_from_db()
    assert job.chunks.count() == 3
    assert (job.state, job.result["positions"], job.result["created"]) == ("done", 9, 9)
    assert Forecast.objects.filter(as_of=date(2026, 3, 10)).count() == Position.objects.count()
    assert Job.objects.count() == 1


def test_the_number_of_queries_does_not_grow_with_the_units(unit: Unit, django_assert_num_queries: Any) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        Forecast.objects.all().delete()
        with CaptureQueriesContext(connection) as queries:
            forecast_company(company=unit.company, now=NOW)
        return len(queries)

    few = queries()
    for _ in range(8):
        position = factories.PositionFactory(unit=factories.UnitFactory(company=unit.company))
        factories.PlacementFactory(position=position)
        factories.ReadingFactory(unit=position.unit)
    assert queries() == few


def place(unit: Unit, stage: str, role: str) -> Forecast:
    return Forecast.objects.get(position__unit=unit, position__stage=stage, position__role=role, is_latest=True)


def test_the_stored_distribution_holds_every_date_that_is_shown(unit: Unit) -> None:
    forecast_company(company=unit.company, now=NOW)
    for row in Forecast.objects.all():
        assert len(row.date_grid) == len(GRID_LEVELS)
        assert row.date_grid == sorted(row.date_grid)
        for level, day in ((0.05, row.p05), (0.5, row.p50), (0.95, row.p95)):
            tenths = row.date_grid[int(np.argmin(np.abs(GRID_LEVELS - level)))]
            assert day == row.as_of + timedelta(days=tenths // 10)
            assert probability_exhausted_by(row, day) >= level - 1e-9


def test_exhausted_by_age_says_so(unit: Unit) -> None:
    Placement.objects.filter(position__stage="carbon").update(first_installed_at=datetime(2025, 1, 2, tzinfo=UTC))
    forecast_company(company=unit.company, now=NOW)
    row = place(unit, "carbon", "single")
    assert (row.state, row.driver) == ("exhausted", "maximum_service_time")
    assert row.evidence["exhausted_because"]["code"] == "maximum_service_time"
    assert "first installed on 2 Jan 2025 and its maximum service time is 365 days" in row.installer_sentence
    assert "because it has reached its maximum service time" in row.client_sentence


def test_exhausted_by_a_reading_names_the_reading(unit: Unit) -> None:
    shown = [
        factories.ReadingFactory(
            unit=unit,
            taken_at=datetime(2026, 3, day, 9, tzinfo=UTC),
            interstage_tds_mg_per_l=value,
            product_tds_mg_per_l=value - 1,
        )
        for day, value in ((6, 8.0), (7, 9.0), (9, 9.0))
    ]
    forecast_company(company=unit.company, now=NOW)
    row = place(unit, "resin", "lag")
    assert row.state == "exhausted"
    because = row.evidence["exhausted_because"]
    assert (because["code"], because["reading"]) == ("reading", shown[-1].pk)
    assert "the reading of 9 Mar 2026 shows product TDS of 8 mg/L, past the limit of 2 mg/L" in row.installer_sentence


def test_what_was_left_out_is_listed_with_code_and_sentence(unit: Unit) -> None:
    slip = factories.ReadingFactory(
        unit=unit, taken_at=datetime(2026, 2, 20, 9, tzinfo=UTC), product_tds_mg_per_l=40_000.0
    )
    forecast_company(company=unit.company, now=NOW)
    evidence = place(unit, "resin", "lag").evidence
    listed = [entry for entry in evidence["left_out"] if entry["reading"] == slip.pk]
    assert [(entry["quantity"], entry["code"]) for entry in listed] == [("product_tds_mg_per_l", "impossible_value")]
    assert listed[0]["sentence"] == "Product TDS of 20 Feb 2026: impossible at such a unit."
    assert evidence["left_out_counts"]["impossible_value"] == 1
    assert evidence["prior"]["code"] in PRIOR_SENTENCES
    # It says nothing of the sediment filter, so it is not told there.
    assert place(unit, "sediment", "single").evidence["left_out"] == []


def test_sites_of_one_supply_share_what_is_known_of_its_water(company: Company) -> None:
    units = []
    for supply in ("Eastwick works", "eastwick  Works", "Old well"):
        site = factories.SiteFactory(company=company, supply=supply)
        units.append(factories.UnitFactory(company=company, site=site))
        factories.PlacementFactory(position=factories.PositionFactory(unit=units[-1], stage="resin"))
    loaded = load_fleet(company=company, unit_ids=[unit.pk for unit in units], as_of_day=20_500.0)
    assert loaded.fleet.sites.supply.tolist() == ["eastwick works", "eastwick works", "old well"]
    for day in range(1, 20):
        taken_at = datetime(2026, 1, day, 9, tzinfo=UTC)
        factories.ReadingFactory(unit=units[0], taken_at=taken_at, feed_tds_mg_per_l=900.0, permeate_tds_mg_per_l=None)
    forecast_company(company=company, now=NOW)
    same, other = (
        Forecast.objects.get(position__unit=unit, position__stage="resin").daily_load for unit in (units[1], units[2])
    )
    assert same > 1.05 * other
