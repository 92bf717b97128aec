"""Days whose hour nobody wrote down: kept, told and given back as days. Knows no Django."""

from datetime import UTC, date, datetime, time, tzinfo
from typing import Final, Self
from zoneinfo import ZoneInfo

_NOON: Final = time(12)


class DayAlone(datetime):
    """A day of which no hour is known, with a moment that stands for it wherever one is counted with.

    It goes through services as any moment does. What is computed from it, such as the moment an hour later, is a
    moment like others and stands for no day.

    Attributes
    ----------
    known_day
        The day; None in what was computed from one.
    """

    known_day: date | None = None

    @classmethod
    def of(cls, day: date, at: datetime) -> Self:
        """The day, with a moment of it that is stored already."""
        alone = cls.combine(at.date(), at.timetz())
        alone.known_day = day
        return alone


def day_alone(day: date, zone: ZoneInfo) -> DayAlone:
    """A day on the clock of a place, counted as its noon: the least that it can be wrong by.

    Raises
    ------
    OverflowError
        For the ends of the calendar.

    >>> at = day_alone(date(2026, 3, 12), ZoneInfo("Europe/Berlin"))
    >>> at.isoformat(), at.known_day.isoformat()
    ('2026-03-12T11:00:00+00:00', '2026-03-12')
    """
    return DayAlone.of(day, datetime.combine(day, _NOON, tzinfo=zone).astimezone(UTC))


def known_day(at: datetime | None) -> date | None:
    """The day, where no more than the day is known; None for a moment."""
    return getattr(at, "known_day", None)


def not_after(at: datetime, now: datetime, zone: ZoneInfo) -> datetime:
    """What is told of today before noon has happened by now; other days, and moments, as they are."""
    day = known_day(at)
    if day is None or at <= now or day > now.astimezone(zone).date():
        return at
    return DayAlone.of(day, now.astimezone(UTC))


def moment_in_words(at: datetime) -> str:
    """A moment in UTC to the minute, or the day where only that is known, for refusals and names of rows.

    >>> moment_in_words(datetime(2026, 3, 12, 8, 5, tzinfo=UTC))
    '2026-03-12 08:05 UTC'
    >>> moment_in_words(day_alone(date(2026, 3, 12), ZoneInfo("Asia/Tokyo")))
    '2026-03-12'
    """
    day = known_day(at)
    return day.isoformat() if day is not None else f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def local_day(at: datetime, zone: tzinfo) -> date:
    """The calendar day of a moment in a zone; the day itself where only that is known."""
    return known_day(at) or at.astimezone(zone).date()
