"""What a plan says to people, case by case, and in whichever language is spoken."""

from datetime import date

from accounts.language import speak
from scheduling.planning.words import needs, rounds, travel, visits
from tests.pseudo_language import PSEUDO, english_in


def test_days_and_deadlines_have_their_plural_forms() -> None:
    assert [visits.own_day(days) for days in (1, -1, 12)] == [
        "by itself its cheapest day would be 1 day later",
        "by itself its cheapest day would be 1 day sooner",
        "by itself its cheapest day would be 12 days later",
    ]
    assert [visits.deadline(day) for day in (-2, -1, 0, 1, 2)] == [
        "its deadline passed 2 days ago, so it is done now",
        "its deadline passed 1 day ago, so it is done now",
        "it must be done by its deadline today",
        "it must be done by its deadline tomorrow",
        "it must be done by its deadline in 2 days",
    ]


def test_only_money_worth_a_cent_is_told() -> None:
    assert visits.money_of_task(waste=0.004, waiting=0.005, saving=0.005, currency="EUR") == []
    assert visits.money_of_task(waste=0.005, waiting=-0.006, saving=0.006, currency="EUR") == [
        "0.01 EUR of its remaining life is lost",
        "four more weeks would save 0.01 EUR",
        "doing it on this visit saves 0.01 EUR over the next best way",
    ]


def test_what_is_said_of_rounds_is_told_in_the_language_that_is_spoken() -> None:
    day = date(2026, 3, 3)
    with speak(PSEUDO):
        at = rounds.moment(day, 0)
        changes = [
            rounds.is_cancelled("S1", at, "I1"),
            rounds.is_dropped("S1", at, "I1"),
            rounds.is_added("S1", at, "I1"),
            rounds.is_on_another_day("S1", at, at, "I1"),
            rounds.is_reassigned("S1", "I1", "I2", at, at),
            rounds.is_retimed("S1", at, at, "I1"),
        ]
        left_out = [
            rounds.no_skilled_installer("S1", ["K1"]),
            rounds.no_skilled_installer("S1", []),
            rounds.confirmed_installer_may_not("S1", "I1", ["K1"]),
            rounds.confirmed_installer_may_not("S1", "I1", []),
            rounds.no_open_day("S1", 5),
            rounds.longer_than_a_shift("S1"),
            rounds.no_van_carries("S1", {"P1": 2}),
            rounds.not_worth_going("S1", 100, "C1"),
            rounds.dearer_than_waiting("S1", day, "I1", 100, "C1"),
            rounds.would_fit("S1", 100, "C1"),
            rounds.days_are_full("S1"),
            rounds.could_displace("S1", "S2", day, "I1", 100, "C1"),
            rounds.could_displace("S1", "S2", day, "I1", -100, "C1"),
        ]
        broken = [
            rounds.served_twice("S1", 2),
            rounds.not_together("S1", "S2"),
            rounds.not_apart("S1", "S2"),
            rounds.day_off("I1", day),
            rounds.not_allowed("I1", "S1"),
            rounds.closed_all_day("S1", day),
            rounds.closed_at("S1", 0, day),
            rounds.van_lacks("I1", 1, "P1", 2),
            rounds.no_lunch("I1", day),
            rounds.too_late("I1", day),
            rounds.longer_than_a_day("I1", day),
            rounds.home_late("I1", 5, day),
            rounds.misses_fixed_time("I1", "S1", 0, day),
        ]
    assert not [text for text in (*changes, *left_out, *broken) if english_in(text)]


def test_days_left_out_and_minutes_over_have_their_plural_forms() -> None:
    assert rounds.no_open_day("S1", 1).startswith("S1: on the 1 day planned the site is not open long enough")
    assert rounds.no_open_day("S1", 5).startswith("S1: on none of the 5 days is the site open long enough")
    assert [rounds.home_late("I1", minutes, date(2026, 3, 3)) for minutes in (1, 35)] == [
        "I1 would be home 1 minute after the end of the shift on Tue 3 Mar.",
        "I1 would be home 35 minutes after the end of the shift on Tue 3 Mar.",
    ]


def test_who_may_not_serve_a_visit_is_told_with_the_skill_where_one_is_needed() -> None:
    assert rounds.no_skilled_installer("S1", ["electrics", "gas"]) == (
        "S1: no installer may do it (it needs electrics, gas)."
    )
    assert rounds.no_skilled_installer("S1", []) == "S1: no installer may do it."
    assert rounds.confirmed_installer_may_not("S1", "I1", []) == "S1: I1, who is confirmed for it, may not do it."


def test_a_visit_that_could_take_the_place_of_another_says_what_the_plan_would_cost() -> None:
    day = date(2026, 3, 3)
    place = "S1: every suitable day is full; it could take the place of S2 on Tue 3 Mar with I1, and the plan would"
    assert rounds.could_displace("S1", "S2", day, "I1", 123_450, "EUR") == f"{place} cost 1,234.50 EUR more."
    less = f"{place} cost 0.01 EUR less; plan again with more effort."
    assert rounds.could_displace("S1", "S2", day, "I1", -1, "EUR") == less


def test_why_there_is_a_need_is_told_in_the_language_that_is_spoken() -> None:
    day = date(2026, 3, 3)
    with speak(PSEUDO):
        texts = [
            needs.sanitise_in_interval(365, done_on=day, since=day, due_on=day),
            needs.sanitise_in_interval(365, done_on=None, since=day, due_on=day),
            needs.unread(90, was_ever_read=True),
            needs.unread(90, was_ever_read=False),
            needs.no_cartridge_recorded("lead resin"),
            needs.cheapest_day(day, 1.0, 2.0, "C1"),
            needs.cheapest_day(day, 1.0, None, "C1"),
        ]
    assert not [text for text in texts if english_in(text)]


def test_what_made_the_driving_times_is_told_in_the_language_that_is_spoken() -> None:
    with speak(PSEUDO):
        texts = [
            travel.fitted_road_model(2),
            travel.table_service_in_part("H1", 2, 9, travel.road_model(), ""),
            travel.table_service_in_part("H1", 2, 9, "M1", travel.answered(400, "T1")),
            travel.timed_out(),
            travel.out_of_reach("R1"),
            travel.no_table("R1"),
            travel.fitted(100, 0.2, 0.1),
            travel.too_few_trips(9, 60),
            travel.no_better(100),
            travel.not_calibrated(),
        ]
    assert not [text for text in texts if english_in(text)]


def test_what_past_trips_taught_has_its_plural_forms() -> None:
    assert travel.too_few_trips(1, 60) == "The model was kept as it is: 1 usable trip is too few; 60 are needed."
    assert travel.fitted(100, 0.204, 0.0951) == (
        "Fitted to 100 trips: the median error of a trip's time fell from 20 % to 10 %."
    )


def test_sanitising_says_since_when_it_is_due() -> None:
    first, due = date(2026, 3, 3), date(2027, 3, 3)
    assert needs.sanitise_in_interval(365, done_on=first, since=first, due_on=due) == (
        "Pressurised tank: sanitise every 365 days, last done on 3 Mar 2026, due on 3 Mar 2027."
    )
    assert needs.sanitise_in_interval(365, done_on=None, since=first, due_on=due) == (
        "Pressurised tank: sanitise every 365 days, none on record since 3 Mar 2026, due on 3 Mar 2027."
    )


def test_the_best_day_of_a_visit_is_told_by_name_where_it_has_one() -> None:
    texts = [
        visits.best_day(day=day, tasks=1, visit_price=24.0, waiting=3.0, currency="EUR").lower()
        for day in (0, 1, 2, 30)
    ]
    names = ("the sooner the better", "best tomorrow", "best in 2 days", "best in 30 days")
    for text, when in zip(texts, names, strict=True):
        assert when in text
        assert sum(other in text for other in names) == 1
    assert "best today" in visits.best_day(day=0, tasks=1, visit_price=24.0, waiting=-3.0, currency="EUR").lower()


def test_a_time_of_day_is_told_to_the_minute_that_has_begun() -> None:
    for hour in (0, 9, 23):
        for minute in (0, 5, 59):
            for second in (0, 59):
                assert rounds.time_of_day((hour * 60 + minute) * 60 + second) == f"{hour:02d}:{minute:02d}"
