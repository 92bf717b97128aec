"""Readings over the API: posted, answered in either system, paged, uploaded, refused."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import TestCase
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from fleet.models import IntakeBatch, Reading, Unit
from tests import factories
from tests.cast import ApiFor


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    return factories.UnitFactory(company=company, site__client=first_client, code="RX-7")


def pointers(response: Any) -> list[str]:
    return [fault["pointer"] for fault in response.json()["errors"]]


def test_a_reading_posted_in_any_unit_comes_back_in_us_or_metric_units(unit: Unit, as_installer: APIClient) -> None:
    created = as_installer.post(
        f"/api/v1/units/{unit.pk}/readings/", {"inlet_pressure": "3.1 bar", "permeate_tds": "11 ppm"}
    )
    assert created.status_code == 201, created.content
    assert created.json()["unit"] == unit.pk
    assert created.json()["source"] == "installer"
    address = created.headers["Location"]
    metric = as_installer.get(f"{address}?units=metric").json()
    assert metric["inlet_pressure"] == {"value": 3.1, "unit": "bar"}
    assert metric["permeate_tds"] == {"value": 11, "unit": "mg/L"}
    us = as_installer.get(f"{address}?units=us").json()
    # 3.1 bar = 310 kPa = 310 / 6.894757293168 psi (NIST SP 811).
    assert us["inlet_pressure"] == {"value": pytest.approx(44.9617, abs=1e-4), "unit": "psi"}
    assert us["permeate_tds"] == {"value": 11, "unit": "ppm"}
    for answer in (metric, us):
        assert answer["as_sent"]["inlet_pressure"] == {"value": "3.1", "unit": "bar"}
        assert answer["temperature"] is None


@pytest.mark.parametrize(
    ("sent", "system", "value", "unit_shown"),
    [
        ("60 psi", "us", 60, "psi"),
        ("57.3 psi", "us", 57.3, "psi"),
        ("4.05 bar", "metric", 4.05, "bar"),
    ],
)
def test_the_digits_sent_come_back(
    unit: Unit, as_owner: APIClient, sent: str, system: str, value: float, unit_shown: str
) -> None:
    created = as_owner.post(f"/api/v1/readings/?units={system}", {"unit": unit.pk, "inlet_pressure": sent})
    assert created.json()["inlet_pressure"] == {"value": value, "unit": unit_shown}


def test_the_company_chooses_the_system_when_the_caller_does_not(unit: Unit, as_owner: APIClient) -> None:
    unit.company.unit_system = "us"
    unit.company.save()
    created = as_owner.post("/api/v1/readings/", {"unit": unit.pk, "temperature": "15 degC", "permeate_flow": "75 gpd"})
    assert created.json()["temperature"] == {"value": 59, "unit": "degF"}
    assert created.json()["permeate_flow"] == {"value": 75, "unit": "US gpd"}
    assert as_owner.get("/api/v1/readings/?units=imperial").status_code == 400


@pytest.mark.parametrize("value", [60, 60.0, True, [60], {}, {"unit": "psi"}, "60", "psi", "60 bananas", "6e500 psi"])
def test_a_value_without_a_usable_unit_is_refused_with_the_accepted_forms(
    unit: Unit, as_owner: APIClient, value: Any
) -> None:
    refused = as_owner.post("/api/v1/readings/", {"unit": unit.pk, "inlet_pressure": value})
    assert refused.status_code == 400
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert pointers(refused) == ["/inlet_pressure"]
    assert "'60 psi'" in refused.json()["errors"][0]["detail"]
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    "body", [None, "text", 5, [], [[]], [5], [{"unit": None}], {"unit": {}}, {"": ""}, {"unit": -1}]
)
def test_nonsense_is_a_400_or_a_batch_of_refusals(unit: Unit, as_owner: APIClient, body: Any) -> None:
    answer = as_owner.generic("POST", "/api/v1/readings/", json.dumps(body), "application/json")
    assert answer.status_code in (400, 201), answer.content
    if answer.status_code == 201:
        assert answer.json()["stored"] == 0
        assert answer.json()["refused"] == len(body)
    assert not Reading.objects.exists()


def test_a_list_is_answered_with_its_batch(unit: Unit, as_installer: APIClient) -> None:
    rows = [
        {"unit": "RX-7", "taken_at": "2026-02-01T10:00:00Z", "reference": "a", "inlet_pressure": "60 psi"},
        {"unit": unit.pk, "taken_at": "2026-02-01T10:00:00Z", "reference": "a", "inlet_pressure": "60 psi"},
        {"unit": unit.pk, "taken_at": "2026-02-02T10:00:00Z", "feed_tds": "10 ppm", "permeate_tds": "200 ppm"},
        {"unit": unit.pk, "taken_at": "2099-02-02T10:00:00Z", "inlet_pressure": "600 psi"},
    ]
    batch = as_installer.post("/api/v1/readings/", rows).json()
    assert [batch[name] for name in ("rows", "stored", "flagged", "duplicates", "refused")] == [4, 2, 1, 1, 1]
    refused = batch["refused_rows"][0]
    assert refused["line"] == 4
    assert [fault["code"] for fault in refused["faults"]] == ["in_the_future", "impossible_value"]
    assert refused["row"] == rows[3]
    assert batch["flagged_rows"][0]["line"] == 3
    assert batch["flagged_rows"][0]["flags"][0]["code"] == "permeate_above_feed"
    assert as_installer.get(f"/api/v1/intake-batches/{batch['id']}/").json() == batch
    listed = as_installer.get("/api/v1/readings/", {"batch": batch["id"], "flagged": "true"}).json()
    assert [row["line"] for row in listed["results"]] == [3]


def test_whoever_sends_a_list_learns_what_became_of_each_row(unit: Unit, as_client: APIClient) -> None:
    rows = [
        {"unit": unit.pk, "taken_at": "2026-02-01T10:00:00Z", "feed_tds": "250 ppm"},
        {"unit": unit.pk, "taken_at": "2026-02-02T10:00:00Z", "feed_tds": "10 ppm", "permeate_tds": "200 ppm"},
        {"unit": unit.pk, "taken_at": "2099-02-02T10:00:00Z", "feed_tds": "250 ppm"},
    ]
    batch = as_client.post("/api/v1/readings/", rows).json()
    assert [batch[name] for name in ("rows", "stored", "flagged", "duplicates", "refused")] == [3, 2, 1, 0, 1]
    assert [(row["line"], row["faults"][0]["code"]) for row in batch["refused_rows"]] == [(3, "in_the_future")]
    assert batch["flagged_rows"][0]["flags"][0]["code"] == "permeate_above_feed"
    assert "digest" not in batch
    assert as_client.get("/api/v1/intake-batches/").status_code == 403


def upload(api: APIClient, text: str | bytes, route: str = "readings") -> Any:
    content = text if isinstance(text, bytes) else text.encode()
    file = SimpleUploadedFile("log.csv", content, "text/csv")
    with TestCase.captureOnCommitCallbacks(execute=True):
        return api.post(f"/api/v1/{route}/upload/", {"file": file}, format="multipart")


def batch_of(api: APIClient, answer: Any) -> Any:
    """What became of an upload, as its job says."""
    assert answer.status_code == 202, answer.content
    job = api.get(answer.headers["Location"]).json()
    assert job["state"] == "done", job
    return api.get(f"/api/v1/intake-batches/{job['result']['batch']}/").json()


def test_a_log_file_is_read_row_by_row_and_twice_stores_nothing_twice(unit: Unit, as_installer: APIClient) -> None:
    text = (
        "unit,taken at,inlet pressure [psi]\n"
        "RX-7,2026-02-01 10:00,60\nRX-7,2026-02-02 10:00,600\nRX-7,2099-02-02 10:00,60\n"
    )
    batch = batch_of(as_installer, upload(as_installer, text))
    assert (batch["name"], batch["stored"], batch["refused"]) == ("log.csv", 1, 2)
    assert [row["line"] for row in batch["refused_rows"]] == [3, 4]
    again = batch_of(as_installer, upload(as_installer, text))
    assert (again["stored"], again["duplicates"], again["refused"]) == (0, 1, 2)
    assert Reading.objects.count() == 1
    listed = as_installer.get("/api/v1/refused-rows/", {"batch": batch["id"], "ordering": "line"}).json()
    assert [row["line"] for row in listed["results"]] == [3, 4]
    assert as_installer.get("/api/v1/intake-batches/").json()["count"] == 2


def test_a_file_that_cannot_be_read_names_its_headers(unit: Unit, as_installer: APIClient) -> None:
    refused = upload(as_installer, "unit,taken at,inlet pressure\nRX-7,2026-02-01 10:00,60\n")
    assert refused.status_code == 400
    assert pointers(refused) == ["/file"]
    assert "'inlet pressure'" in refused.json()["errors"][0]["detail"]
    assert not IntakeBatch.objects.exists()


@pytest.mark.parametrize("content", [b"", b"\x00\xff\x00", b"\xff\xfe", b'a"b\n"', b"," * 5000, "\ufeff".encode()])
def test_no_file_is_a_500(unit: Unit, as_installer: APIClient, content: bytes) -> None:
    assert upload(as_installer, content).status_code == 400
    assert as_installer.post("/api/v1/readings/upload/", {}, format="multipart").status_code == 400
    assert as_installer.post("/api/v1/readings/upload/", {"file": "text"}, format="multipart").status_code == 400
    assert as_installer.post("/api/v1/readings/upload/", {"file": "text"}).status_code == 415


def test_a_repeated_post_stores_one_reading_by_key_or_by_reference(unit: Unit, as_installer: APIClient) -> None:
    body = {"unit": unit.pk, "inlet_pressure": "60 psi"}
    first = as_installer.post("/api/v1/readings/", body, headers={"Idempotency-Key": "k1"})
    second = as_installer.post("/api/v1/readings/", body, headers={"Idempotency-Key": "k1"})
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.content == second.content
    with_reference = {**body, "reference": "van-1"}
    assert as_installer.post("/api/v1/readings/", with_reference).status_code == 201
    repeated = as_installer.post("/api/v1/readings/", with_reference)
    assert repeated.status_code == 200
    assert repeated.json()["reference"] == "van-1"
    other = as_installer.post("/api/v1/readings/", {**with_reference, "inlet_pressure": "61 psi"})
    assert (other.status_code, other.json()["code"]) == (409, "reference_conflict")
    assert pointers(other) == ["/inlet_pressure"]
    assert Reading.objects.count() == 2


FIRST = {
    "reference": "van-9",
    "taken_at": "2026-02-20T10:00:00+01:00",
    "inlet_pressure": "60 psi",
    "state": "flowing",
    "tank_is_full": False,
    "note": "gauge sticks",
    "person": "Ines",
    "instrument": "Hand meter",
}


@pytest.mark.parametrize(
    "change",
    [
        {"inlet_pressure": "60.0 psi"},
        {"inlet_pressure": {"value": 60, "unit": "psi"}},
        {"inlet_pressure": "4.136854 bar"},
        {"taken_at": "2026-02-20T09:00:00Z"},
        {"taken_at": "2026-02-20 10:00"},
        {"state": "running"},
        {"instrument": "hand METER"},
        {"occasion": "routine"},
        {"source": "installer"},
    ],
    ids=str,
)
def test_the_same_content_in_other_words_is_known(unit: Unit, as_installer: APIClient, change: dict[str, Any]) -> None:
    factories.InstrumentFactory(company=unit.company, name="Hand meter")
    first = as_installer.post("/api/v1/readings/", {"unit": unit.pk, **FIRST})
    again = as_installer.post("/api/v1/readings/", {"unit": unit.code, **FIRST, **change})
    assert (first.status_code, again.status_code) == (201, 200), again.content
    assert again.json()["id"] == first.json()["id"]


@pytest.mark.parametrize(
    ("change", "field", "both"),
    [
        ({"inlet_pressure": "61 psi"}, "inlet_pressure", "with inlet_pressure 60 psi, not 61 psi"),
        ({"inlet_pressure": None, "feed_tds": "9 ppm"}, "feed_tds", "without feed_tds, and 9 ppm was sent"),
        (
            {"taken_at": "2026-02-20T10:05:00+01:00"},
            "taken_at",
            "with taken_at 2026-02-20 09:00:00 UTC, not 2026-02-20 09:05:00 UTC",
        ),
        ({"state": "static"}, "state", "with state 'flowing', not 'static'"),
        ({"tank_is_full": True}, "tank_is_full", "with tank_is_full no, not yes"),
        ({"note": None}, "note", "with note 'gauge sticks', and none was sent"),
        ({"person": "Ada"}, "person", "with person 'Ines', not 'Ada'"),
        ({"pump": "on"}, "pump", "without pump, and 'on' was sent"),
        ({"occasion": "as_left"}, "occasion", "with occasion 'routine', not 'as_left'"),
        ({"source": "client"}, "source", "with source 'installer', not 'client'"),
        ({"instrument": "Old meter"}, "instrument", "with instrument 'Hand meter', not 'Old meter'"),
        ({"corrects": 0}, "corrects", "without corrects, and '#"),
    ],
    ids=str,
)
def test_other_content_under_a_known_reference_is_refused_with_both_values(
    unit: Unit, as_installer: APIClient, change: dict[str, Any], field: str, both: str
) -> None:
    for name in ("Hand meter", "Old meter"):
        factories.InstrumentFactory(company=unit.company, name=name)
    if "corrects" in change:
        change = {"corrects": factories.ReadingFactory(unit=unit).pk}
    assert as_installer.post("/api/v1/readings/", {"unit": unit.pk, **FIRST}).status_code == 201
    before = list(Reading.objects.order_by("pk").values())
    sent = {"unit": unit.pk, **FIRST, **change}
    refused = as_installer.post("/api/v1/readings/", sent)
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    assert "'van-9'" in refused.json()["detail"]
    detail_of = {fault["pointer"]: fault["detail"] for fault in refused.json()["errors"]}
    assert both in detail_of[f"/{field}"]
    # In a list that row alone is refused, with the same sentence.
    listed = as_installer.post("/api/v1/readings/", [sent, {**FIRST, "unit": unit.pk}]).json()
    assert (listed["stored"], listed["duplicates"], listed["refused"]) == (0, 1, 1)
    assert detail_of[f"/{field}"] in [fault["sentence"] for fault in listed["refused_rows"][0]["faults"]]
    assert list(Reading.objects.order_by("pk").values()) == before


@pytest.mark.parametrize(
    ("stored", "sent", "both"),
    [
        ({"note": "gauge sticks"}, {"note": "gauge is fine"}, "with note 'gauge sticks', not 'gauge is fine'"),
        ({}, {"note": "gauge sticks"}, "without note, and 'gauge sticks' was sent"),
        ({"person": "Ines"}, {"person": "Ada"}, "with person 'Ines', not 'Ada'"),
        ({}, {"instrument": "Hand meter"}, "without instrument, and 'Hand meter' was sent"),
    ],
    ids=str,
)
def test_the_same_values_without_a_reference_lose_no_word_in_silence(
    unit: Unit, as_installer: APIClient, stored: dict[str, Any], sent: dict[str, Any], both: str
) -> None:
    factories.InstrumentFactory(company=unit.company, name="Hand meter")
    look = {"unit": unit.pk, "taken_at": "2026-02-20T10:00:00+01:00", "inlet_pressure": "60 psi"}
    first = as_installer.post("/api/v1/readings/", {**look, **stored})
    assert first.status_code == 201
    refused = as_installer.post("/api/v1/readings/", {**look, **sent})
    assert (refused.status_code, refused.json()["code"]) == (409, "reference_conflict"), refused.content
    assert "auto-" not in refused.content.decode()
    (fault,) = refused.json()["errors"]
    assert both in fault["detail"]
    assert f"names {first.json()['id']} in 'corrects'" in fault["detail"]
    for listed in (
        as_installer.post("/api/v1/readings/", [{**look, **sent}]).json(),
        batch_of(
            as_installer,
            upload(
                as_installer,
                f"unit,taken at,inlet pressure [psi],{next(iter(sent))}\n"
                f"{unit.code},2026-02-20T10:00+01:00,60,{next(iter(sent.values()))}\n",
            ),
        ),
    ):
        assert (listed["stored"], listed["duplicates"], listed["refused"]) == (0, 0, 1)
        assert fault["detail"] in [each["sentence"] for each in listed["refused_rows"][0]["faults"]]
    # told with less, nothing is lost
    assert as_installer.post("/api/v1/readings/", look).status_code == 200
    assert as_installer.post("/api/v1/readings/", {**look, **stored}).status_code == 200
    corrected = as_installer.post(
        "/api/v1/readings/", {**look, **sent, "reference": "right", "corrects": first.json()["id"]}
    )
    assert corrected.status_code == 201
    assert Reading.objects.count() == 2


def test_a_meter_posts_readings_of_its_own_unit_only(unit: Unit, owner: Membership, api_for: ApiFor) -> None:
    other = factories.UnitFactory(company=unit.company)
    meter = api_for(owner, meter_unit_id=unit.pk)
    created = meter.post("/api/v1/readings/", {"unit": unit.pk, "product_tds": "0.4 ppm"})
    assert created.status_code == 201, created.content
    assert created.json()["source"] == "meter"
    assert meter.post(f"/api/v1/units/{unit.pk}/readings/", {"product_tds": "0.5 ppm"}).status_code == 201
    assert meter.post(f"/api/v1/units/{other.pk}/readings/", {"product_tds": "0.5 ppm"}).status_code == 404
    assert pointers(meter.post("/api/v1/readings/", {"unit": other.pk, "product_tds": "1 ppm"})) == ["/unit"]
    assert meter.get("/api/v1/readings/").status_code == 403
    assert Reading.objects.count() == 2


def test_a_client_sends_readings_of_own_units_and_corrects_none(
    unit: Unit, as_client: APIClient, as_other_client: APIClient, as_installer: APIClient
) -> None:
    body = {"unit": unit.pk, "inlet_pressure": "60 psi"}
    created = as_client.post("/api/v1/readings/", body)
    assert created.status_code == 201
    assert created.json()["source"] == "client"
    assert pointers(as_other_client.post("/api/v1/readings/", body)) == ["/unit"]
    assert pointers(as_client.post("/api/v1/readings/", {**body, "source": "installer"})) == ["/source"]
    assert as_other_client.post(f"/api/v1/units/{unit.pk}/readings/", body).status_code == 404
    correction = {**body, "inlet_pressure": "59 psi", "corrects": created.json()["id"]}
    assert as_client.post("/api/v1/readings/", correction).status_code == 403
    assert as_client.post("/api/v1/readings/", [correction]).status_code == 403
    corrected = as_installer.post("/api/v1/readings/", correction)
    assert corrected.status_code == 201
    old = as_client.get(f"/api/v1/readings/{created.json()['id']}/").json()
    assert old["corrected_by"] == corrected.json()["id"]
    current = as_client.get("/api/v1/readings/?current=true").json()["results"]
    assert [row["id"] for row in current] == [corrected.json()["id"]]


def test_readings_page_by_cursor_newest_first_while_new_ones_come_in(unit: Unit, as_owner: APIClient) -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    created = [factories.ReadingFactory(unit=unit, taken_at=start + timedelta(hours=hour // 2)) for hour in range(25)]
    ids_read: list[int] = []
    address: str | None = f"/api/v1/readings/?page_size=10&unit={unit.pk}"
    while address:
        page = as_owner.get(address).json()
        ids_read += [row["id"] for row in page["results"]]
        factories.ReadingFactory(unit=unit, taken_at=start + timedelta(days=9))
        address = page["next"]
    assert ids_read == [reading.pk for reading in reversed(created)]


def test_readings_are_filtered_by_time_site_source_and_doubt(unit: Unit, as_owner: APIClient) -> None:
    old = factories.ReadingFactory(unit=unit, taken_at=datetime(2026, 1, 1, tzinfo=UTC), source="meter")
    new = factories.ReadingFactory(
        unit=unit, taken_at=datetime(2026, 2, 1, tzinfo=UTC), flags=[{"field": "x", "code": "y", "sentence": "z"}]
    )
    factories.ReadingFactory(unit__company=unit.company)

    def listed_ids(**query: Any) -> list[int]:
        answer = as_owner.get("/api/v1/readings/", {"site": unit.site_id, **query})
        assert answer.status_code == 200, answer.content
        return [row["id"] for row in answer.json()["results"]]

    assert listed_ids() == [new.pk, old.pk]
    assert listed_ids(ordering="taken_at") == [old.pk, new.pk]
    assert listed_ids(taken_at_from="2026-01-15T00:00:00Z") == [new.pk]
    assert listed_ids(taken_at_before="2026-01-15T00:00:00Z") == [old.pk]
    assert listed_ids(source="meter") == [old.pk]
    assert listed_ids(flagged="true") == [new.pk]
    assert listed_ids(flagged="false") == [old.pk]
    for wrong in ("source=van", "taken_at_from=yesterday", "unit=x", "flagged=maybe", "batch=9999999999999999999"):
        assert as_owner.get(f"/api/v1/readings/?{wrong}").status_code == 400, wrong


@pytest.mark.parametrize("route", ["readings", "refused-rows", "intake-batches"])
def test_the_number_of_queries_does_not_grow_with_the_page(unit: Unit, as_owner: APIClient, route: str) -> None:
    def queries(rows: int) -> int:
        for _ in range(rows):
            reading = factories.ReadingFactory(unit=unit)
            factories.ReadingIndicatorsFactory(reading=reading)
            factories.ReadingFactory(unit=unit, corrects=reading)
            factories.RefusedRowFactory(batch=factories.IntakeBatchFactory(company=unit.company))
        with CaptureQueriesContext(connection) as queries:
            assert as_owner.get(f"/api/v1/{route}/?page_size=500").status_code == 200
        return len(queries)

    assert queries(2) == queries(20)
