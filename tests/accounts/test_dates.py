"""Days as people write them: as the calendar has them, and in the language that is spoken."""

from datetime import date, timedelta

from accounts import dates
from accounts.language import speak
from tests.pseudo_language import PSEUDO, english_in

YEAR = [date(2026, 1, 1) + timedelta(days=day) for day in range(365)]


def test_every_day_has_the_names_that_the_calendar_gives_it() -> None:
    for day in YEAR:
        assert dates.long_day(day, year=True) == f"{day:%A} {day.day} {day:%B} {day.year}"
        assert dates.short_day(day) == f"{day:%a} {day.day} {day:%b}"
        assert dates.calendar_day(day) == f"{day.day} {day:%b} {day.year}"
        assert dates.weekday_name(day.weekday()) == f"{day:%A}"


def test_days_are_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [text for day in YEAR for text in (dates.long_day(day), dates.short_day(day, year=True))]
        texts += [dates.calendar_day(day) for day in YEAR]
        texts += [dates.weekday_name(weekday) for weekday in range(7)]
    assert not [text for text in texts if english_in(text)]
