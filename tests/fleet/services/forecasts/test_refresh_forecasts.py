"""A night forecasts anew what has changed, with what the fleet taught before, and leaves the rest as it is."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company
from fleet.forecasting import Learned
from fleet.models import FleetLesson, Forecast, Placement, Reading, Unit
from fleet.services.forecasts import forecasts
from fleet.services.forecasts.forecasts import forecast_company, refresh_forecasts
from fleet.services.units.placements import place
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
NEXT = NOW + timedelta(days=1)
TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "single"))


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a company of six units count as one of several blocks."""
    monkeypatch.setattr(forecasts, "BLOCK_UNITS", 2)


@pytest.fixture
def units(company: Company) -> list[Unit]:
    made = []
    for number in range(6):
        unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1), weekly_demand_l=30.0)
        for stage, role in TRAIN:
            place = factories.PositionFactory(unit=unit, stage=stage, role=role)
            factories.PlacementFactory(position=place, placed_at=datetime(2025, 12, 1, tzinfo=UTC))
        for day in range(1, 4):
            read(unit, datetime(2026, 1, 10 * day - number, 9, tzinfo=UTC))
        made.append(unit)
    return made


def read(unit: Unit, at: datetime, **values: float) -> Reading:
    usual = {"permeate_flow_l_per_day": 180.0, "product_tds_mg_per_l": 0.0, "temperature_degc": 15.0}
    return factories.ReadingFactory(unit=unit, taken_at=at, **(usual | values))


def forecast_units(day: date) -> set[int]:
    return set(Forecast.objects.filter(as_of=day).values_list("position__unit", flat=True))


def test_without_news_a_night_forecasts_nothing(units: list[Unit]) -> None:
    forecast_company(company=units[0].company, now=NOW)
    counts = refresh_forecasts(company=units[0].company, now=NEXT)
    assert (counts["units"], counts["positions"]) == (0, 0)
    assert Forecast.objects.filter(is_latest=True, as_of=NOW.date()).count() == 24


def a_reading(unit: Unit) -> None:
    read(unit, NOW - timedelta(hours=1))


def a_correction(unit: Unit) -> None:
    wrong = unit.readings.first()
    read(unit, wrong.taken_at, product_tds_mg_per_l=1.0, corrects=wrong)


def a_removal(unit: Unit) -> None:
    place = Placement.objects.filter(position__unit=unit).first()
    place.removed_at, place.removal = NOW, "early"
    place.save()


def a_water_report(unit: Unit) -> None:
    factories.FeedWaterSampleFactory(site=unit.site, taken_at=NOW - timedelta(days=1))


def another_demand(unit: Unit) -> None:
    Unit.objects.filter(pk=unit.pk).update(weekly_demand_l=33.0)


def a_reading_taken_away(unit: Unit) -> None:
    unit.readings.first().delete()


@pytest.mark.parametrize(
    "news", [a_reading, a_correction, a_removal, a_water_report, another_demand, a_reading_taken_away]
)
def test_a_unit_with_news_is_forecast_and_no_other(units: list[Unit], large: None, news: Any) -> None:
    forecast_company(company=units[0].company, now=NOW)
    news(units[2])
    counts = refresh_forecasts(company=units[0].company, now=NEXT)
    assert (counts["units"], counts["positions"]) == (1, 4)
    assert forecast_units(NEXT.date()) == {units[2].pk}
    assert Forecast.objects.filter(is_latest=True).count() == 24
    assert refresh_forecasts(company=units[0].company, now=NEXT)["units"] == 0


def test_a_unit_forecast_alone_gets_the_dates_of_a_run_of_all(
    units: list[Unit], large: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    company = units[0].company
    forecast_company(company=company, now=NOW)
    a_reading(units[2])
    refresh_forecasts(company=company, now=NEXT)
    alone = {row.position_id: row for row in Forecast.objects.filter(as_of=NEXT.date())}
    assert len(alone) == 4
    # All of them, with the lesson of the day before.
    lesson = FleetLesson.objects.get(company=company)
    monkeypatch.setattr(forecasts, "_lesson", lambda *args, **kwargs: Learned.from_dict(lesson.learned))
    forecast_company(company=company, now=NEXT)
    for row in Forecast.objects.filter(as_of=NEXT.date(), position__unit=units[2]):
        for name in ("p10", "p50", "p90"):
            together = getattr(row, name)
            apart = abs((getattr(alone[row.position_id], name) - together).days)
            assert apart <= 1 + 0.01 * (together - row.as_of).days


def test_a_small_company_is_forecast_whole_when_there_is_news(units: list[Unit]) -> None:
    company = units[0].company
    forecast_company(company=company, now=NOW)
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 0
    a_reading(units[2])
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 6


def test_a_date_that_has_come_and_an_old_forecast_are_news(units: list[Unit], large: None) -> None:
    company = units[0].company
    forecast_company(company=company, now=NOW)
    Forecast.objects.filter(position=units[1].positions.first()).update(state="installed", p50=NEXT.date())
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 1
    Forecast.objects.filter(position__unit=units[3]).update(as_of=NOW.date() - timedelta(days=60))
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 1
    assert forecast_units(NEXT.date()) == {units[1].pk, units[3].pk}


def test_all_are_forecast_when_the_lesson_is_old_or_much_has_changed(units: list[Unit], large: None) -> None:
    company = units[0].company
    assert refresh_forecasts(company=company, now=NOW)["units"] == 6
    lesson = FleetLesson.objects.get(company=company)
    assert (lesson.as_of, lesson.unit_count, lesson.fleet_units) == (NOW.date(), 6, 6)
    assert Learned.from_dict(lesson.learned).hypers["resin"].places > 0
    assert refresh_forecasts(company=company, now=NOW + timedelta(days=31))["units"] == 6
    for unit in units[:4]:
        read(unit, NOW + timedelta(days=31, hours=-1))
    assert refresh_forecasts(company=company, now=NOW + timedelta(days=32))["units"] == 6


def test_blocks_of_a_large_company_lean_on_one_lesson(units: list[Unit], monkeypatch: pytest.MonkeyPatch) -> None:
    company = units[0].company
    forecast_company(company=company, now=NOW)
    one_block = {row.position_id: row for row in Forecast.objects.all()}
    Forecast.objects.all().delete()
    monkeypatch.setattr(forecasts, "BLOCK_UNITS", 2)
    forecast_company(company=company, now=NOW)
    in_blocks = list(Forecast.objects.values_list("position_id", "date_grid", "evidence"))
    for row in Forecast.objects.all():
        ahead = (row.p50 - row.as_of).days
        assert abs((one_block[row.position_id].p50 - row.p50).days) <= 2 + 0.05 * ahead
    # Chunk by chunk the numbers are the same to the digit.
    Forecast.objects.all().delete()
    for unit in units:
        forecast_company(company=company, now=NOW, units=[unit.pk])
    assert sorted(Forecast.objects.values_list("position_id", "date_grid", "evidence"), key=str) == sorted(
        in_blocks, key=str
    )


def test_what_another_release_has_learned_is_learned_anew(units: list[Unit], large: None) -> None:
    forecast_company(company=units[0].company, now=NOW)
    lesson = FleetLesson.objects.get()
    FleetLesson.objects.update(learned={"means": {}, "hypers": {"resin": {"mean": 0.0}}})
    counts = refresh_forecasts(company=units[0].company, now=NEXT)
    assert counts["units"] == len(units)
    assert FleetLesson.objects.get().learned.keys() == lesson.learned.keys()
    assert Learned.from_dict(FleetLesson.objects.get().learned).hypers


def test_what_another_release_has_forecast_is_forecast_anew(units: list[Unit]) -> None:
    """Its sentences may say what others of this release do not."""
    company = units[0].company
    forecast_company(company=company, now=NOW)
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 0
    lesson = FleetLesson.objects.get()
    FleetLesson.objects.update(learned=lesson.learned | {"made_by": "another release"})
    Forecast.objects.update(installer_sentence="as it was said before")
    assert refresh_forecasts(company=company, now=NEXT)["units"] == len(units)
    latest = Forecast.objects.filter(is_latest=True)
    assert not latest.filter(installer_sentence="as it was said before").exists()
    assert refresh_forecasts(company=company, now=NEXT)["units"] == 0


def test_a_cartridge_that_is_changed_after_the_night_of_its_day_has_a_forecast_the_same_day(units: list[Unit]) -> None:
    """The one of the night is of what left; the row of the day speaks of what stands there since, and is the latest."""
    unit = units[0]
    forecast_company(company=unit.company, now=NOW)
    position = unit.positions.get(stage="sediment")
    left = position.placements.get()
    fresh = place(position=position, item=left.item, by=None, now=NOW, removal="routine")
    assert not Forecast.objects.filter(position=position, is_latest=True).exists()
    forecast_company(company=unit.company, now=NOW + timedelta(minutes=1))
    latest = Forecast.objects.get(position=position, is_latest=True)
    assert (latest.placement, latest.as_of) == (fresh, NOW.date())
    again = forecast_company(company=unit.company, now=NOW + timedelta(minutes=2))
    assert (again["created"], again["changed"]) == (0, 0)
