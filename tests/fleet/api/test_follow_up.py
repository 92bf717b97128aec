"""What readings are judged by is put right over the API: indicators and findings follow at once."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import Finding, Reading, ReadingIndicators, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.readings.indicators import recompute
from tests import factories

FACTS: dict[str, Any] = {
    "inlet_pressure_kpa": 400.0,
    "temperature_degc": 20.0,
    "feed_tds_mg_per_l": 300.0,
    "permeate_tds_mg_per_l": 10.0,
    "permeate_flow_l_per_day": 200.0,
    "concentrate_flow_l_per_day": 800.0,
    "minutes_since_start": 15.0,
    "state": "flowing",
}


@pytest.fixture
def now() -> datetime:
    return timezone.now()


@pytest.fixture
def unit(company: Company, now: datetime) -> Unit:
    unit = factories.UnitFactory(company=company, commissioned_on=(now - timedelta(days=200)).date())
    position = factories.PositionFactory(unit=unit, stage="membrane")
    factories.PlacementFactory(position=position, placed_at=now - timedelta(days=190))
    return unit


@pytest.fixture
def reading(unit: Unit, now: datetime) -> Reading:
    reading: Reading = factories.ReadingFactory(unit=unit, taken_at=now - timedelta(days=3), **FACTS)
    recompute(company=unit.company, now=now)
    return reading


def test_a_label_put_right_changes_the_indicators_of_readings_taken_before(
    unit: Unit, reading: Reading, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    item = unit.positions.get().placements.get().item
    before = ReadingIndicators.objects.get(reading=reading)
    with django_capture_on_commit_callbacks(execute=True):
        answer = as_office.patch(
            f"/api/v1/catalogue-items/{item.pk}/", {"rated_flow": f"{item.rated_flow_l_per_day * 2} L/day"}
        )
    assert answer.status_code == 200, answer.content
    after = ReadingIndicators.objects.get(reading=reading)
    assert after.values["flow_over_expected"] == pytest.approx(before.values["flow_over_expected"] / 2.0, rel=1e-5)
    with django_capture_on_commit_callbacks(execute=True) as callbacks:
        assert (
            as_office.patch(f"/api/v1/catalogue-items/{item.pk}/", {"supplier_part_number": "M-75"}).status_code == 200
        )
    assert not callbacks


def test_a_meter_put_right_changes_how_well_indicators_are_known(
    unit: Unit, reading: Reading, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    """Of 10 mg/L in 300, by JCGM 100:2008: resolution of 10 mg/L 10/sqrt(12)/10 = 29 % at least, of 0.1 mg/L 1.7 %; a
    common meter, 2 % and 1 mg/L: sqrt(2 (0.02/sqrt 3)^2 + (1/sqrt(12)/10)^2) = 3.3 %."""

    def share() -> float:
        indicators = ReadingIndicators.objects.get(reading=reading)
        return float(indicators.uncertainties["salt_passage_fraction"] / indicators.values["salt_passage_fraction"])

    facts = {"name": "Rough", "unit": unit.pk, "measures": ["feed_tds", "permeate_tds"], "resolution": 10}
    with django_capture_on_commit_callbacks(execute=True):
        created = as_office.post("/api/v1/instruments/", facts)
    assert created.status_code == 201, created.content
    assert share() > 0.28
    address = f"/api/v1/instruments/{created.json()['id']}/"
    with django_capture_on_commit_callbacks(execute=True):
        assert as_office.patch(address, {"resolution": 0.1}).status_code == 200
    assert share() == pytest.approx(0.017, abs=0.001)
    with django_capture_on_commit_callbacks(execute=True):
        assert as_office.patch(address, {"unit": None}).status_code == 200
    assert share() == pytest.approx(0.0333, abs=0.0003)


def test_a_posted_reading_opens_and_closes_a_finding_at_once(
    unit: Unit, as_installer: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    factories.PositionFactory(unit=unit, stage="resin", order=9)
    address = f"/api/v1/units/{unit.pk}/"
    facts = {"permeate_tds": "9 ppm", "feed_tds": "250 ppm", "sampled_after_flush": True}
    with django_capture_on_commit_callbacks(execute=True):
        created = as_installer.post(f"{address}readings/", {**facts, "product_tds": "9 ppm"})
    assert created.status_code == 201, created.content
    findings = as_installer.get(f"{address}findings/").json()["findings"]
    assert "di_both_exhausted" in [finding["cause"] for finding in findings]
    with django_capture_on_commit_callbacks(execute=True):
        as_installer.post("/api/v1/readings/", [{"unit": unit.pk, **facts, "product_tds": "0 ppm"}])
    assert Finding.objects.get(cause="di_both_exhausted").state == "closed"


def test_confirmed_swapped_probes_correct_the_indicators_too(
    unit: Unit, reading: Reading, now: datetime, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    swapped = {**FACTS, "feed_tds_mg_per_l": 10.0, "permeate_tds_mg_per_l": 300.0}
    for hours in (30, 20):
        factories.ReadingFactory(unit=unit, taken_at=now - timedelta(hours=hours), **swapped)
    with django_capture_on_commit_callbacks(execute=True):
        last = as_office.post(
            f"/api/v1/units/{unit.pk}/readings/", {"feed_tds": "10 ppm", "permeate_tds": "300 ppm", "state": "flowing"}
        )
    assert last.status_code == 201, last.content
    finding = Finding.objects.get(cause="probes_swapped")
    with django_capture_on_commit_callbacks(execute=True):
        assert as_office.post(f"/api/v1/findings/{finding.pk}/confirm/", {}).status_code == 200
    corrections = Reading.objects.filter(unit=unit, corrects__isnull=False)
    assert corrections.count() == 3
    for correction in corrections:
        assert ReadingIndicators.objects.get(reading=correction).values["salt_passage_fraction"] == pytest.approx(
            1 / 30, rel=1e-4
        )


def test_a_cartridge_that_is_placed_closes_what_readings_showed_of_the_one_before(
    unit: Unit, now: datetime, as_installer: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    position = factories.PositionFactory(unit=unit, stage="resin")
    old = factories.PlacementFactory(position=position, placed_at=now - timedelta(days=90))
    exhausted = {"permeate_tds_mg_per_l": 10.0, "product_tds_mg_per_l": 10.0}
    factories.ReadingFactory(unit=unit, taken_at=now - timedelta(days=1), **{**FACTS, **exhausted})
    refresh_findings(company=unit.company, now=now)
    assert Finding.objects.filter(unit=unit, cause="di_both_exhausted", state="open").exists()
    with django_capture_on_commit_callbacks(execute=True):
        fitted = {"position": position.pk, "item": old.item.pk, "removal": "exhausted"}
        answer = as_installer.post("/api/v1/placements/", fitted)
    assert answer.status_code == 201, answer.content
    assert not Finding.objects.filter(unit=unit, cause="di_both_exhausted", state="open").exists()


def test_a_reading_of_a_clock_that_is_ahead_counts_at_once(
    company: Company, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    """The follow-up runs when it comes in: what it left out would be found by the night, and the status by and by."""
    unit = factories.UnitFactory(company=company, commissioned_on=(timezone.now() - timedelta(days=200)).date())
    for stage in ("membrane", "resin"):
        position = factories.PositionFactory(unit=unit, stage=stage)
        factories.PlacementFactory(position=position, placed_at=timezone.now() - timedelta(days=190))
    at = timezone.now() + timedelta(minutes=8)
    row = {"unit": unit.pk, "taken_at": at.isoformat(), "feed_tds": "300 mg/L", "product_tds": "25 mg/L"}
    with django_capture_on_commit_callbacks(execute=True):
        assert as_office.post("/api/v1/readings/", row, format="json").status_code == 201
    status = as_office.get(f"/api/v1/units/{unit.pk}/status/").json()
    assert (status["water"], status["value"]) == ("not_good", {"value": 25.0, "unit": "mg/L"})
    assert Finding.objects.filter(unit=unit, state=Finding.State.OPEN, reading__taken_at__gt=timezone.now()).exists()
    found = as_office.get(f"/api/v1/units/{unit.pk}/findings/").json()
    assert found["read_at"] == status["read_at"]
