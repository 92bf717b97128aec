"""Readings and samples that never were stay to be read, and count for nothing."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Client, Company, Membership
from fleet.models import FeedWaterSample, Reading, ReadingIndicators, Unit
from fleet.services.forecasts.sources import marks_of_units
from fleet.services.forecasts.tables import load_fleet
from fleet.services.readings.indicators import recompute
from tests import factories

WHY = "Read at the house next door."


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    return factories.UnitFactory(company=company, site__client=first_client)


def void(api: APIClient, row: Any, kind: str = "readings") -> Any:
    return api.post(f"/api/v1/{kind}/{row.pk}/void/", {"reason": WHY})


def test_a_reading_that_never_was_stays_with_who_took_it_back_and_counts_for_nothing(
    unit: Unit, as_office: APIClient, as_client: APIClient, office: Membership
) -> None:
    sound, never = factories.ReadingFactory(unit=unit), factories.ReadingFactory(unit=unit)
    today = factories.NOW.date() + timedelta(days=1)
    recompute(company=unit.company, now=factories.NOW)
    mark = marks_of_units(unit.company, [unit.pk], today)
    answer = void(as_office, never)
    assert answer.status_code == 200, answer.content
    assert (answer.json()["void_reason"], answer.json()["voided_by"]) == (WHY, office.pk)
    assert list(Reading.objects.current()) == [sound]
    assert list(Reading.objects.corrected()) == [never]
    loaded = load_fleet(company=unit.company, unit_ids=[unit.pk], as_of_day=(today.toordinal() - 719163) + 1.0)
    assert len(loaded.fleet.readings) == 1
    assert marks_of_units(unit.company, [unit.pk], today) != mark
    before = ReadingIndicators.objects.filter(reading=never).values().get()
    assert recompute(company=unit.company, now=factories.NOW)["readings"] == 1
    assert ReadingIndicators.objects.filter(reading=never).values().get() == before
    assert [row["id"] for row in as_client.get("/api/v1/readings/").json()["results"]] == [sound.pk]
    assert as_client.get(f"/api/v1/readings/{never.pk}/").status_code == 404
    assert as_office.get("/api/v1/readings/?current=false").json()["results"][0]["id"] == never.pk
    assert AuditEntry.objects.get(action="void reading").details["reason"] == WHY
    again = void(as_office, never)
    assert (again.status_code, again.json()["code"]) == (409, "already_voided")


def test_a_correction_is_taken_back_with_what_it_corrected(unit: Unit, as_office: APIClient) -> None:
    old = factories.ReadingFactory(unit=unit)
    new = factories.ReadingFactory(unit=unit, corrects=old)
    refused = void(as_office, old)
    assert (refused.status_code, refused.json()["code"]) == (409, "already_corrected")
    assert void(as_office, new).status_code == 200
    assert not Reading.objects.current().exists()
    assert Reading.objects.filter(voided_at__isnull=False).count() == 2


def test_a_sample_is_taken_back(unit: Unit, as_office: APIClient, as_client: APIClient) -> None:
    sample = factories.FeedWaterSampleFactory(site=unit.site)
    answer = void(as_office, sample, "feed-water-samples")
    assert answer.status_code == 200, answer.content
    assert not FeedWaterSample.objects.current().exists()
    assert as_client.get("/api/v1/feed-water-samples/").json()["results"] == []


def test_a_reference_that_was_taken_back_is_not_answered_as_if_it_were_stored(unit: Unit, as_office: APIClient) -> None:
    body = {"unit": unit.pk, "inlet_pressure": "60 psi", "reference": "A1", "taken_at": "2026-03-01T10:00:00Z"}
    first = as_office.post("/api/v1/readings/", body)
    assert first.status_code == 201, first.content
    assert void(as_office, Reading.objects.get()).status_code == 200
    again = as_office.post("/api/v1/readings/", body)
    assert again.status_code in (400, 409)
    assert "taken back" in again.content.decode()
    corrected = as_office.post("/api/v1/readings/", {**body, "reference": "A2", "corrects": first.json()["id"]})
    assert corrected.status_code in (400, 409)
    assert "taken back" in corrected.content.decode()
    assert as_office.post("/api/v1/readings/", {**body, "reference": "A2"}).status_code == 201


def test_installers_take_back_their_own_and_clients_nothing(
    unit: Unit, as_installer: APIClient, as_client: APIClient, installer: Membership, office: Membership
) -> None:
    own = factories.ReadingFactory(unit=unit, recorded_by=installer, received_at=timezone.now())
    foreign = factories.ReadingFactory(unit=unit, recorded_by=office)
    assert void(as_client, own).status_code == 403
    assert void(as_installer, foreign).json()["code"] == "not_your_entry"
    Reading.objects.filter(pk=own.pk).update(received_at=timezone.now() - timedelta(days=8))
    assert void(as_installer, own).json()["code"] == "entry_too_old"
    Reading.objects.filter(pk=own.pk).update(received_at=timezone.now() - timedelta(days=6))
    assert void(as_installer, own).status_code == 200


def test_who_sent_a_sample_is_told_to_staff_and_may_take_it_back(
    unit: Unit, as_installer: APIClient, as_client: APIClient, installer: Membership, as_office: APIClient
) -> None:
    body = {"site": unit.site_id, "hardness": "210 mg/L as CaCO3"}
    address = "/api/v1/feed-water-samples/"
    own = as_installer.post(address, body).json()
    foreign = as_office.post(address, {**body, "reference": "lab-1"}).json()
    batch = as_installer.post(address, [{**body, "reference": "list-1"}])
    assert batch.status_code == 201
    assert own["recorded_by"] == installer.pk
    (listed,) = as_office.get(address, {"batch": batch.json()["id"]}).json()["results"]
    assert listed["recorded_by"] == installer.pk
    sent_by_one = as_office.get(address, {"recorded_by": installer.pk}).json()["results"]
    assert {row["id"] for row in sent_by_one} == {own["id"], listed["id"]}
    assert "recorded_by" not in as_client.get(f"{address}{own['id']}/").json()
    for stranger in (as_client.post, as_installer.post):
        refused = stranger(f"{address}{foreign['id']}/void/", {"reason": "Never taken."})
        assert refused.status_code == 403
    FeedWaterSample.objects.update(received_at=timezone.now() - timedelta(days=8))
    assert void(as_installer, FeedWaterSample.objects.get(pk=own["id"]), "feed-water-samples").status_code == 403
    FeedWaterSample.objects.update(received_at=timezone.now() - timedelta(days=6))
    assert void(as_installer, FeedWaterSample.objects.get(pk=own["id"]), "feed-water-samples").status_code == 200
