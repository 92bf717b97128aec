"""A logging meter posts readings of its own unit, and does nothing else."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from fleet.models import Reading, Unit
from tests import factories
from tests.cast import ApiFor


@pytest.fixture
def unit(first_client: Client) -> Unit:
    return factories.UnitFactory(company=first_client.company, site__client=first_client)


@pytest.fixture
def meter(api_for: ApiFor, owner: Membership, unit: Unit) -> APIClient:
    return api_for(owner, meter_unit_id=unit.pk)


def reading(unit: Any, **more: Any) -> dict[str, Any]:
    return {"unit": unit, "taken_at": "2026-03-01T08:00:00Z", "inlet_pressure": "60 psi", **more}


def test_it_posts_readings_of_its_own_unit(meter: APIClient, unit: Unit) -> None:
    for body in (reading(unit.pk, reference="a"), reading(unit.code, reference="b")):
        answer = meter.post("/api/v1/readings/", body)
        assert answer.status_code == 201, answer.content
    listed = meter.post("/api/v1/readings/", [reading(unit.pk, reference="c")])
    assert listed.status_code == 201, listed.content
    at_the_unit = reading(unit.pk, reference="d")
    del at_the_unit["unit"]
    assert meter.post(f"/api/v1/units/{unit.pk}/readings/", at_the_unit).status_code == 201
    stored = Reading.objects.all()
    assert {row.reference for row in stored} == {"a", "b", "c", "d"}
    assert {(row.unit_id, row.source) for row in stored} == {(unit.pk, "meter")}


def test_another_unit_is_to_it_as_one_that_never_existed(meter: APIClient, unit: Unit, owner: Membership) -> None:
    # Codes unlike the meter's own, which the refusal of a misspelt one would suggest.
    neighbour = factories.UnitFactory(company=owner.company, site__client=unit.site.client, code="QQ-77")
    foreign = factories.UnitFactory(code="QQ-88")
    meter.defaults["HTTP_X_REQUEST_ID"] = "one-and-the-same"  # the answer names its request
    answers = set()
    for pk in (neighbour.pk, foreign.pk, 987654321):
        answer = meter.post("/api/v1/readings/", reading(pk))
        assert answer.status_code in (400, 404), answer.content
        answers.add(answer.content.decode().replace(f"the id {pk}", "the id ..."))
        answer = meter.post(f"/api/v1/units/{pk}/readings/", {"inlet_pressure": "60 psi"})
        assert answer.status_code == 404
    assert len(answers) == 1
    answers = set()
    for code in (neighbour.code, foreign.code, "QQ-99"):
        answer = meter.post("/api/v1/readings/", reading(code))
        assert answer.status_code in (400, 404), answer.content
        answers.add(answer.content.decode().replace(code, "..."))
    assert len(answers) == 1
    assert not Reading.objects.exists()


def test_it_corrects_nothing_and_reads_nothing(meter: APIClient, unit: Unit) -> None:
    old = factories.ReadingFactory(unit=unit)
    answer = meter.post("/api/v1/readings/", reading(unit.pk, corrects=old.pk))
    assert answer.status_code == 403, answer.content
    for address in ("/api/v1/readings/", f"/api/v1/readings/{old.pk}/", f"/api/v1/units/{unit.pk}/", "/api/v1/me/"):
        assert meter.get(address).status_code == 403
    assert Reading.objects.get() == old


def test_a_meter_that_repeats_itself_stores_nothing_twice(meter: APIClient, unit: Unit) -> None:
    for headers in ({}, {"Idempotency-Key": "n1"}, {"Idempotency-Key": "n1"}):
        answer = meter.post("/api/v1/readings/", reading(unit.pk, reference="a"), headers=headers)
        assert answer.status_code in (200, 201)
    assert Reading.objects.count() == 1


def test_two_meters_with_the_same_counter_do_not_answer_for_each_other(
    api_for: ApiFor, owner: Membership, unit: Unit
) -> None:
    neighbour = factories.UnitFactory(company=owner.company)
    body = {"taken_at": "2026-03-01T08:00:00Z", "inlet_pressure": "60 psi"}
    for one in (unit, neighbour):
        meter = api_for(owner, meter_unit_id=one.pk)
        answer = meter.post(f"/api/v1/units/{one.pk}/readings/", body, headers={"Idempotency-Key": "1"})
        assert answer.status_code == 201, answer.content
        assert answer.json()["unit"] == one.pk
    assert Reading.objects.count() == 2


def test_a_meters_last_reading_is_refused_once_its_token_is_revoked(
    meter: APIClient, as_office: APIClient, unit: Unit
) -> None:
    token = as_office.get("/api/v1/tokens/", {"meter_unit_id": unit.pk}).json()["results"][0]
    assert as_office.delete(f"/api/v1/tokens/{token['id']}/").status_code == 204
    assert meter.post("/api/v1/readings/", reading(unit.pk)).status_code == 401
    assert not Reading.objects.exists()
