"""Forecasts, findings and jobs over the API."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Client, Company
from fleet.models import Finding, Forecast, Position, Reading, Unit
from tests import factories


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    return factories.UnitFactory(company=company, site__client=first_client)


@pytest.fixture
def position(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, stage="carbon")


def listed_ids(api: APIClient, **query: Any) -> list[int]:
    answer = api.get("/api/v1/forecasts/", query)
    assert answer.status_code == 200, answer.content
    return [row["id"] for row in answer.json()["results"]]


def test_only_the_latest_forecasts_are_listed_unless_history_is_asked_for(
    position: Position, as_client: APIClient
) -> None:
    yesterday = factories.TODAY - timedelta(days=1)
    old = factories.ForecastFactory(position=position, as_of=yesterday, is_latest=False)
    new = factories.ForecastFactory(position=position)
    other = factories.ForecastFactory(position=factories.PositionFactory(unit=position.unit), p50=date(2027, 1, 1))
    assert set(listed_ids(as_client)) == {new.pk, other.pk}
    assert listed_ids(as_client, position=position.pk, history="true", ordering="-as_of") == [new.pk, old.pk]
    assert listed_ids(as_client, as_of=yesterday.isoformat()) == [old.pk]
    assert listed_ids(as_client, p50_before="2026-12-31") == [new.pk]
    assert listed_ids(as_client, stage="carbon") == [new.pk]
    assert listed_ids(as_client, unit=position.unit_id, ordering="p50") == [new.pk, other.pk]
    for wrong in ({"p50_before": "soon"}, {"stage": "tea"}, {"position": "x"}, {"history": "perhaps"}):
        assert as_client.get("/api/v1/forecasts/", wrong).status_code == 400


def test_a_reading_posted_now_is_in_the_forecast_after_the_next_run(
    unit: Unit, as_office: APIClient, django_capture_on_commit_callbacks: Any
) -> None:
    for stage in ("sediment", "carbon", "membrane", "resin"):
        position = factories.PositionFactory(unit=unit, stage=stage)
        factories.PlacementFactory(position=position, placed_at=timezone.now() - timedelta(days=90))

    def run() -> dict[str, Any]:
        with django_capture_on_commit_callbacks(execute=True):
            started = as_office.post("/api/v1/forecasts/run/")
        assert started.status_code == 202, started.content
        job = as_office.get(started.headers["Location"]).json()
        assert (job["state"], job["share_done"], job["kind"]) == ("done", 1.0, "forecasts")
        positions = as_office.get(f"/api/v1/units/{unit.pk}/").json()["positions"]
        return {place["stage"]: place["forecast"] for place in positions}

    before = run()
    assert before["resin"]["evidence"]["readings_used"] == 0
    assert before["resin"]["p10"] <= before["resin"]["p50"] <= before["resin"]["p90"]
    body = {"permeate_tds": "11 ppm", "product_tds": "0 ppm", "inlet_pressure": "3.1 bar", "minutes_since_start": 20}
    assert as_office.post(f"/api/v1/units/{unit.pk}/readings/", body).status_code == 201
    after = run()
    assert after["resin"]["evidence"]["readings_used"] == 1
    assert after["resin"]["evidence"]["newest_reading_age_days"] <= 1.0
    assert after["resin"]["installer_sentence"] != before["resin"]["installer_sentence"]


def test_two_runs_at_once_are_one(position: Position, as_office: APIClient, as_installer: APIClient) -> None:
    first = as_office.post("/api/v1/forecasts/run/")
    assert first.status_code == 202
    # The transaction of the test has not ended, so the job still waits.
    assert as_office.post("/api/v1/forecasts/run/").status_code == 409
    assert as_installer.post(f"{first.headers['Location']}stop/").status_code == 403
    stopped = as_office.post(f"{first.headers['Location']}stop/")
    assert (stopped.status_code, stopped.json()["state"]) == (200, "stopped")
    assert as_office.post(f"{first.headers['Location']}stop/").status_code == 409


def test_a_finding_is_confirmed_or_dismissed_once_with_a_note(unit: Unit, as_installer: APIClient) -> None:
    finding = factories.FindingFactory(unit=unit)
    confirmed = as_installer.post(f"/api/v1/findings/{finding.pk}/confirm/", {"note": "seen on site"})
    assert confirmed.status_code == 200, confirmed.content
    assert (confirmed.json()["state"], confirmed.json()["decision_note"]) == ("confirmed", "seen on site")
    assert as_installer.post(f"/api/v1/findings/{finding.pk}/confirm/", {}).status_code == 409
    assert as_installer.post(f"/api/v1/findings/{finding.pk}/dismiss/", {"reason": "x"}).status_code == 400
    assert as_installer.post(f"/api/v1/findings/{finding.pk}/dismiss/", {}).json()["state"] == "dismissed"
    assert AuditEntry.objects.filter(action="decide finding").count() == 2
    assert [row["id"] for row in as_installer.get("/api/v1/findings/?state__in=open,dismissed").json()["results"]] == [
        finding.pk
    ]


def test_confirming_swapped_probes_corrects_the_readings_since_with_an_audit_note(
    unit: Unit, as_installer: APIClient
) -> None:
    def read(day: int, feed: float, permeate: float) -> Reading:
        return factories.ReadingFactory(
            unit=unit,
            taken_at=factories.NOW - timedelta(days=day),
            feed_tds_mg_per_l=feed,
            permeate_tds_mg_per_l=permeate,
            as_sent={
                "feed_tds": {"value": str(feed), "unit": "ppm"},
                "permeate_tds": {"value": str(permeate), "unit": "ppm"},
            },
            reference=f"r{day}",
        )

    before = read(9, 200.0, 9.0)
    swapped = [read(3, 9.0, 200.0), read(1, 8.0, 202.0)]
    finding = factories.FindingFactory(unit=unit, cause="probes_swapped", reading=swapped[-1])
    assert as_installer.post(f"/api/v1/findings/{finding.pk}/confirm/", {}).status_code == 200
    current = Reading.objects.current().filter(unit=unit).order_by("taken_at")
    assert [(row.feed_tds_mg_per_l, row.permeate_tds_mg_per_l) for row in current] == [(200, 9), (200, 9), (202, 8)]
    assert [row.corrects for row in current] == [None, *swapped]
    assert current[1].as_sent["permeate_tds"] == {"value": "9.0", "unit": "ppm"}
    assert "swapped" in current[1].note
    for reading in (before, *swapped):
        stored = Reading.objects.get(pk=reading.pk)
        assert stored.feed_tds_mg_per_l == reading.feed_tds_mg_per_l
    entry = AuditEntry.objects.get(action="decide finding")
    assert sorted(entry.details["corrected_readings"]) == sorted(reading.pk for reading in swapped)


@pytest.mark.parametrize("route", ["forecasts", "findings", "jobs"])
def test_the_number_of_queries_does_not_grow_with_the_page(unit: Unit, as_owner: APIClient, route: str) -> None:
    def queries(rows: int) -> int:
        for _ in range(rows):
            factories.ForecastFactory(position=factories.PositionFactory(unit=unit))
            factories.FindingFactory(unit=unit)
            factories.JobFactory(company=unit.company)
        with CaptureQueriesContext(connection) as queries:
            assert as_owner.get(f"/api/v1/{route}/?page_size=500").status_code == 200
        return len(queries)

    assert queries(2) == queries(12)
    assert Forecast.objects.count() == Finding.objects.count() == 14
