"""What a plan says to people, case by case, and in whichever language is spoken."""

from accounts.language import speak
from scheduling.planning import words
from tests.pseudo_language import PSEUDO, english_in


def test_days_and_deadlines_have_their_plural_forms() -> None:
    assert [words.own_day(days) for days in (1, -1, 12)] == [
        "by itself its cheapest day would be 1 day later",
        "by itself its cheapest day would be 1 day sooner",
        "by itself its cheapest day would be 12 days later",
    ]
    assert [words.deadline(day) for day in (-2, -1, 0, 1, 2)] == [
        "its deadline passed 2 days ago, so it is done now",
        "its deadline passed 1 day ago, so it is done now",
        "it must be done by its deadline today",
        "it must be done by its deadline tomorrow",
        "it must be done by its deadline in 2 days",
    ]


def test_only_money_worth_a_cent_is_told() -> None:
    assert words.money_of_task(waste=0.004, waiting=0.005, saving=0.005, currency="EUR") == []
    assert words.money_of_task(waste=0.005, waiting=-0.006, saving=0.006, currency="EUR") == [
        "0.01 EUR of its remaining life is lost",
        "four more weeks would save 0.01 EUR",
        "doing it on this visit saves 0.01 EUR over the next best way",
    ]


def test_the_changes_of_a_plan_are_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        at = words.moment("Tue", 3, "Mar", 9, 5)
        texts = [
            words.is_cancelled("S1", at, "I1"),
            words.is_dropped("S1", at, "I1"),
            words.is_added("S1", at, "I1"),
            words.is_on_another_day("S1", at, at, "I1"),
            words.is_reassigned("S1", "I1", "I2", at, at),
            words.is_retimed("S1", at, at, "I1"),
        ]
    assert not [text for text in texts if english_in(text)]
    assert words.moment("Tue", 3, "Mar", 9, 5) == "Tue 3 Mar 09:05"


def test_the_best_day_of_a_visit_is_told_by_name_where_it_has_one() -> None:
    said = [
        words.best_day(day=day, tasks=1, visit_price=24.0, waiting=3.0, currency="EUR").lower() for day in (0, 1, 2, 30)
    ]
    for text, when in zip(said, ("today", "tomorrow", "in 2 days", "in 30 days"), strict=True):
        assert when in text
        assert sum(other in text for other in ("today", "tomorrow", "in 2 days", "in 30 days")) == 1


def test_a_time_of_day_is_told_to_the_minute_that_has_begun() -> None:
    for hour in (0, 9, 23):
        for minute in (0, 5, 59):
            for second in (0, 59):
                assert words.time_of_day((hour * 60 + minute) * 60 + second) == f"{hour:02d}:{minute:02d}"
