"""Days that were kept at their noon become days where the rows told them as days."""

from datetime import UTC, date, datetime
from importlib import import_module

import pytest
from django.apps import apps

from accounts.day_alone import known_day
from accounts.models import Company
from fleet.models import FeedWaterSample, Placement, Reading
from tests import factories

forwards = import_module("fleet.migrations.0037_days_that_were_kept_at_noon").forwards

NOON = datetime(2026, 3, 2, 11, tzinfo=UTC)
"""In Berlin, in winter."""
DAY = date(2026, 3, 2)


@pytest.mark.django_db
def test_readings_by_their_flag_and_other_rows_by_their_noon() -> None:
    company: Company = factories.CompanyFactory(time_zone="Europe/Berlin")
    site = factories.SiteFactory(company=company, time_zone="Europe/Berlin")
    unit = factories.UnitFactory(company=company, site=site)
    other = {"field": "feed_tds", "code": "unusual", "sentence": "high"}
    flagged = factories.ReadingFactory(
        unit=unit, taken_at=NOON, flags=[other, {"field": "taken_at", "code": "day_only"}]
    )
    at_noon = factories.ReadingFactory(unit=unit, taken_at=NOON, flags=[other])
    position = factories.PositionFactory(unit=unit)
    fitted = factories.PlacementFactory(
        position=position,
        placed_at=NOON,
        first_installed_at=NOON,
        removed_at=NOON.replace(day=9, minute=5),
        removal="early",
    )
    samples = [factories.FeedWaterSampleFactory(site=site, taken_at=at) for at in (NOON, NOON.replace(hour=12))]
    forwards(apps, None)
    read = Reading.objects.get(pk=flagged.pk)
    assert (known_day(read.taken_at), read.flags) == (DAY, [other])
    assert known_day(Reading.objects.get(pk=at_noon.pk).taken_at) is None
    row = Placement.objects.get(pk=fitted.pk)
    assert [known_day(at) for at in (row.placed_at, row.first_installed_at, row.removed_at)] == [DAY, DAY, None]
    assert [known_day(FeedWaterSample.objects.get(pk=one.pk).taken_at) for one in samples] == [DAY, None]
