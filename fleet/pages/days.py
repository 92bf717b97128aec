"""Moments of the API as days and hours on the clock of a site."""

from datetime import date, datetime
from zoneinfo import ZoneInfo


def day_of(text: str | None, zone: str) -> date | None:
    """The day of a moment, or of a day whose hour nobody knows, as the API writes it; None for none.

    >>> day_of("2026-11-24T23:30:00Z", "Europe/Berlin"), day_of("2026-11-24", "Europe/Berlin")
    (datetime.date(2026, 11, 25), datetime.date(2026, 11, 24))
    """
    if not text:
        return None
    return date.fromisoformat(text) if len(text) == 10 else moment_of(text, zone).date()


def moment_of(text: str, zone: str) -> datetime:
    """A moment on the clock of a zone; of a day alone, its noon."""
    if len(text) == 10:
        return datetime.combine(date.fromisoformat(text), datetime.min.time().replace(hour=12), ZoneInfo(zone))
    return datetime.fromisoformat(text).astimezone(ZoneInfo(zone))
