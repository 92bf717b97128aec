"""Rows that a later row corrects, and how the database finds the others."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection

from accounts.models import Company
from fleet.models import FeedWaterSample, Reading, ReadingIndicators
from fleet.services.readings.indicators import recompute
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("made", "owner"),
    [
        (factories.ReadingFactory, {"unit": factories.UnitFactory}),
        (factories.FeedWaterSampleFactory, {"site": factories.SiteFactory}),
    ],
)
def test_a_corrected_row_stops_counting(made: Any, owner: dict[str, Any]) -> None:
    whose = {name: factory() for name, factory in owner.items()}
    old, other = made(**whose), made(**whose)
    new = made(**whose, corrects=old)
    rows = type(old).objects
    assert set(rows.current()) == {other, new}
    assert set(rows.corrected()) == {old}


@pytest.mark.parametrize("model", [Reading, FeedWaterSample])
def test_the_question_is_asked_without_a_join(model: Any) -> None:
    query = str(model.objects.current().query)
    assert "NOT EXISTS" in query or "NOT (EXISTS" in query
    assert "JOIN" not in query


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="the plan is PostgreSQL's")
def test_postgresql_compares_no_row_with_every_other(company: Company) -> None:
    unit = factories.UnitFactory(company=company)
    at = factories.NOW
    Reading.objects.bulk_create(
        Reading(unit=unit, taken_at=at - timedelta(minutes=k), received_at=at, source="meter") for k in range(3000)
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE fleet_reading")
    plan = Reading.objects.current().filter(unit=unit).explain()
    assert "Anti Join" in plan, plan


def test_indicators_of_a_corrected_reading_are_left_as_they_are(company: Company) -> None:
    unit = factories.UnitFactory(company=company)
    old = factories.ReadingFactory(unit=unit)
    recompute(company=company, now=factories.NOW)
    before = ReadingIndicators.objects.filter(reading=old).values().get()
    factories.ReadingFactory(unit=unit, corrects=old, permeate_tds_mg_per_l=20.0)
    recompute(company=company, now=factories.NOW)
    assert ReadingIndicators.objects.filter(reading=old).values().get() == before
    assert ReadingIndicators.objects.count() == 2
