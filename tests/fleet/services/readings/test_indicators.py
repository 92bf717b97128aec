"""Indicators computed for whole companies and stored where they changed."""

import math
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from accounts.models import Company
from fleet.intake.payloads import take_reading
from fleet.models import ReadingIndicators, Unit
from fleet.services.readings.indicators import recompute
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
PSI = 6.894757293168361


@pytest.fixture
def unit(company: Company) -> Unit:
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1))
    position = factories.PositionFactory(unit=unit, stage="membrane")
    factories.PlacementFactory(position=position, placed_at=datetime(2026, 1, 1, tzinfo=UTC))
    return unit


def read(unit: Unit, day: int, **values: Any) -> Any:
    facts = {
        "inlet_pressure_kpa": 60 * PSI,
        "temperature_degc": 20.0,
        "feed_tds_mg_per_l": 300.0,
        "permeate_tds_mg_per_l": 10.0,
        "permeate_flow_l_per_day": 200.0,
        "concentrate_flow_l_per_day": 800.0,
        "minutes_since_start": 15.0,
        "state": "flowing",
        **values,
    }
    return factories.ReadingFactory(
        unit=unit, taken_at=datetime(2026, 1, 1, 9, tzinfo=UTC) + timedelta(days=day), **facts
    )


def test_a_reading_gets_its_indicators_or_the_reason_there_is_none(unit: Unit) -> None:
    reading = read(unit, 10)
    counts = recompute(company=unit.company, now=NOW)
    assert counts == {"readings": 1, "changed": 1, "unchanged": 0}
    indicators = ReadingIndicators.objects.get(reading=reading)
    assert indicators.values["rejection_fraction"] == pytest.approx(1 - 10 / 300, rel=1e-5)
    assert indicators.values["recovery_fraction"] == pytest.approx(0.2)
    assert indicators.values["waste_ratio"] == pytest.approx(4.0)
    # By hand, with osmotic pressures by ASTM D4516 (0.2654 C (T + 273.15) / (1000 - C / 1000) kPa): the mean brine is
    # 300 ln(1 / 0.8) / 0.2 = 334.7 mg/L, so 413.69 - 26.05 + 0.78 = 388.4 kPa.
    assert indicators.values["net_driving_pressure_kpa"] == pytest.approx(388.4, abs=0.1)
    assert indicators.valid_for_trend
    assert indicators.reasons["prefilter_differential_pressure_kpa"] == "The line pressure was not read."
    assert "prefilter_differential_pressure_kpa" not in indicators.values


def test_an_indicator_is_known_as_well_as_the_meter_that_showed_it(unit: Unit) -> None:
    """JCGM 100:2008, rectangular distributions: a rough meter of the unit, a fine one that one reading names."""
    tds = ["feed_tds_mg_per_l", "permeate_tds_mg_per_l"]
    factories.InstrumentFactory(company=unit.company, unit=unit, measures=tds, accuracy_fraction=0.02, resolution=1.0)
    fine = factories.InstrumentFactory(
        company=unit.company, unit=None, measures=tds, accuracy_fraction=0.01, resolution=0.1
    )
    rough = read(unit, 10)
    named = read(unit, 11, instrument=fine)
    recompute(company=unit.company, now=NOW)
    for reading, accuracy, step in ((rough, 0.02, 1.0), (named, 0.01, 0.1)):
        share = [math.hypot(accuracy / math.sqrt(3), step / math.sqrt(12) / value) for value in (10.0, 300.0)]
        indicators = ReadingIndicators.objects.get(reading=reading)
        assert set(indicators.uncertainties) == set(indicators.values)
        expected = math.hypot(*share) * 10.0 / 300.0
        assert indicators.uncertainties["salt_passage_fraction"] == pytest.approx(expected, rel=0.01)
    assert recompute(company=unit.company, now=NOW)["changed"] == 0


def test_a_corrected_label_and_a_corrected_reading_change_the_indicators(unit: Unit) -> None:
    reading = read(unit, 10)
    recompute(company=unit.company, now=NOW)
    before = ReadingIndicators.objects.get(reading=reading).values["flow_over_expected"]
    item = unit.positions.get().placements.get().item
    item.rated_flow_l_per_day *= 2.0
    item.save()
    assert recompute(company=unit.company, now=NOW)["changed"] == 1
    assert ReadingIndicators.objects.get(reading=reading).values["flow_over_expected"] == pytest.approx(
        before / 2.0, rel=1e-5
    )
    better = read(unit, 10, permeate_tds_mg_per_l=12.0, corrects=reading, reference="better")
    recompute(company=unit.company, now=NOW)
    assert ReadingIndicators.objects.get(reading=better).values["salt_passage_fraction"] == pytest.approx(0.04)


def test_a_membrane_is_compared_with_its_own_first_readings_and_a_new_one_with_its_own(unit: Unit) -> None:
    for day in (5, 10, 15):
        read(unit, day)
    later = read(unit, 40, permeate_flow_l_per_day=150.0, concentrate_flow_l_per_day=600.0)
    old = unit.positions.get(stage="membrane").placements.get()
    old.removed_at, old.removal = datetime(2026, 2, 20, tzinfo=UTC), "exhausted"
    old.save()
    factories.PlacementFactory(position=old.position, placed_at=datetime(2026, 2, 20, tzinfo=UTC))
    fresh = read(unit, 60)
    recompute(company=unit.company, now=NOW)
    # Same pressure, temperature and recovery, three quarters of the flow: the normalised ratio is 0.75.
    assert ReadingIndicators.objects.get(reading=later).values["normalised_flow_ratio"] == pytest.approx(0.75, abs=1e-4)
    assert ReadingIndicators.objects.get(reading=fresh).values["normalised_flow_ratio"] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"minutes_since_start": 2.0}, "5 minutes"),
        ({"state": "static"}, "at rest"),
        ({"feed_tds_mg_per_l": 10.0, "permeate_tds_mg_per_l": 300.0}, "above the feed"),
        ({"sampled_after_flush": False}, "before flushing"),
    ],
)
def test_a_reading_that_cannot_enter_a_trend_says_why(unit: Unit, change: dict[str, Any], sentence: str) -> None:
    reading = read(unit, 10, **change)
    recompute(company=unit.company, now=NOW)
    indicators = ReadingIndicators.objects.get(reading=reading)
    assert not indicators.valid_for_trend
    assert sentence in indicators.reasons["trend"]


def test_a_second_run_changes_nothing_and_a_new_reading_only_itself(unit: Unit) -> None:
    for day in (5, 10, 15):
        read(unit, day)
    recompute(company=unit.company, now=NOW)
    before = list(ReadingIndicators.objects.order_by("pk").values())
    assert recompute(company=unit.company, now=NOW + timedelta(hours=1))["changed"] == 0
    assert list(ReadingIndicators.objects.order_by("pk").values()) == before
    read(unit, 50)
    assert recompute(company=unit.company, now=NOW + timedelta(hours=2))["changed"] == 1


def test_looking_at_new_readings_only_compares_them_with_the_same_baseline(unit: Unit) -> None:
    for day in (5, 10, 15, 30):
        read(unit, day)
    later = read(unit, 65, permeate_flow_l_per_day=150.0, concentrate_flow_l_per_day=600.0)
    recompute(company=unit.company, now=NOW)
    whole = ReadingIndicators.objects.get(reading=later)
    ReadingIndicators.objects.all().delete()
    counts = recompute(company=unit.company, now=NOW, units=[unit.pk], since=later.taken_at)
    assert counts == {"readings": 1, "changed": 1, "unchanged": 0}
    alone = ReadingIndicators.objects.get()
    assert (alone.reading, alone.values, alone.reasons) == (later, whole.values, whole.reasons)


def test_a_correction_takes_the_place_of_the_reading_it_corrects(unit: Unit) -> None:
    wrong = read(unit, 5, inlet_pressure_kpa=6 * PSI)
    right = factories.ReadingFactory(unit=unit, corrects=wrong, taken_at=wrong.taken_at)
    recompute(company=unit.company, now=NOW)
    assert set(ReadingIndicators.objects.values_list("reading", flat=True)) == {right.pk}


def test_only_the_asked_units_of_the_company_are_touched(unit: Unit, rival_company: Company) -> None:
    other = factories.UnitFactory(company=unit.company)
    read(unit, 5)
    read(other, 5)
    foreign = factories.ReadingFactory(unit__company=rival_company)
    assert recompute(company=unit.company, now=NOW, units=[unit.pk, foreign.unit_id])["readings"] == 1
    assert recompute(company=unit.company, now=NOW)["readings"] == 2
    assert not ReadingIndicators.objects.filter(reading=foreign).exists()


def test_a_reading_taken_in_has_its_indicators_after_the_commit(
    unit: Unit, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        reading, _ = take_reading(
            company=unit.company,
            by=None,
            row={"unit": unit.code, "feed_tds": "300 ppm", "permeate_tds": "10 ppm"},
            source="meter",
            now=NOW,
        )
    assert ReadingIndicators.objects.get(reading=reading).values["salt_passage_fraction"] == pytest.approx(0.0333333)


def test_a_corrected_meter_changes_how_well_an_indicator_is_known_and_nothing_else(unit: Unit) -> None:
    meter = factories.InstrumentFactory(
        company=unit.company, unit=unit, measures=["feed_tds_mg_per_l", "permeate_tds_mg_per_l"], resolution=1.0
    )
    reading = read(unit, 10)
    recompute(company=unit.company, now=NOW)
    before = ReadingIndicators.objects.get(reading=reading)
    meter.resolution = 0.1
    meter.save()
    assert recompute(company=unit.company, now=NOW, of_meters=True) == {"readings": 1, "changed": 1, "unchanged": 0}
    after = ReadingIndicators.objects.get(reading=reading)
    assert after.values == before.values
    share = [math.hypot(0.02 / math.sqrt(3), 0.1 / math.sqrt(12) / value) for value in (10.0, 300.0)]
    assert after.uncertainties["salt_passage_fraction"] == pytest.approx(math.hypot(*share) * 10.0 / 300.0, rel=0.01)
    assert before.uncertainties["salt_passage_fraction"] > 1.5 * after.uncertainties["salt_passage_fraction"]
    assert recompute(company=unit.company, now=NOW, of_meters=True)["changed"] == 0
