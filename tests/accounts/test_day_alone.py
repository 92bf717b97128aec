"""Days whose hour nobody wrote down."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.day_alone import DayAlone, day_alone, known_day, local_day, moment_in_words, not_after
from accounts.repeats import difference
from fleet.models import Placement
from tests import factories

BERLIN, AUCKLAND = ZoneInfo("Europe/Berlin"), ZoneInfo("Pacific/Auckland")
DAY = date(2026, 1, 12)


@pytest.mark.parametrize(
    ("zone", "noon"),
    [
        (BERLIN, datetime(2026, 1, 12, 11, tzinfo=UTC)),
        # New Zealand daylight time is 13 hours ahead of UTC (New Zealand Standard Time, Time Act 1974).
        (AUCKLAND, datetime(2026, 1, 11, 23, tzinfo=UTC)),
    ],
)
def test_it_is_the_same_day_wherever_it_is_told(zone: ZoneInfo, noon: datetime) -> None:
    at = day_alone(DAY, zone)
    assert at == noon
    assert (known_day(at), local_day(at, BERLIN), local_day(at, AUCKLAND)) == (DAY, DAY, DAY)
    assert moment_in_words(at) == "2026-01-12"


def test_what_is_computed_from_a_day_is_a_moment() -> None:
    at = day_alone(DAY, BERLIN)
    for computed in (at + timedelta(hours=1), at.astimezone(AUCKLAND), at.replace(minute=5)):
        assert known_day(computed) is None
    assert known_day(datetime(2026, 1, 12, 11, tzinfo=UTC)) is None
    assert known_day(None) is None


def test_today_has_happened_before_noon_and_tomorrow_has_not() -> None:
    now = datetime(2026, 1, 12, 7, 30, tzinfo=UTC)
    today = not_after(day_alone(DAY, BERLIN), now, BERLIN)
    assert (today, known_day(today)) == (now, DAY)
    tomorrow = day_alone(DAY + timedelta(days=1), BERLIN)
    assert not_after(tomorrow, now, BERLIN) is tomorrow
    # It is the 12th in Auckland since 11:00 UTC of the 11th.
    evening = datetime(2026, 1, 11, 20, tzinfo=UTC)
    assert not_after(day_alone(DAY, AUCKLAND), evening, AUCKLAND) == evening
    moment = datetime(2026, 1, 12, 8, tzinfo=UTC)
    assert not_after(moment, now, BERLIN) is moment


def test_one_day_sent_at_two_hours_is_the_same() -> None:
    morning, noon = DayAlone.of(DAY, datetime(2026, 1, 12, 7, tzinfo=UTC)), day_alone(DAY, BERLIN)
    assert difference("done_at", morning, noon) == []
    (other,) = difference("done_at", morning, day_alone(DAY + timedelta(days=1), BERLIN))
    assert (other.stored, other.sent) == ("2026-01-12", "2026-01-13")
    assert difference("done_at", morning, noon + timedelta(0))


@pytest.mark.django_db
def test_a_row_keeps_its_day_until_somebody_knows_the_hour() -> None:
    at = day_alone(DAY, BERLIN)
    row = factories.PlacementFactory(placed_at=at, first_installed_at=at)
    row.refresh_from_db()
    stored = Placement.objects.get(pk=row.pk)
    for read in (row, stored):
        assert (read.placed_at, known_day(read.placed_at), known_day(read.removed_at)) == (at, DAY, None)
    assert Placement.objects.filter(placed_at=at).exists()
    stored.removed_at, stored.removal = day_alone(date(2026, 2, 1), BERLIN), "unknown"
    stored.save(update_fields=["removed_at", "removal"])
    assert known_day(Placement.objects.get(pk=row.pk).removed_at) == date(2026, 2, 1)
    stored.removed_at = datetime(2026, 2, 1, 15, tzinfo=UTC)
    stored.save(update_fields=["removed_at"])
    assert known_day(Placement.objects.get(pk=row.pk).removed_at) is None
    successor = factories.PlacementFactory(placed_at=at, first_installed_at=stored.first_installed_at)
    assert known_day(Placement.objects.get(pk=successor.pk).first_installed_at) == DAY
