"""Who came when, and what the end of a cartridge's time says of the day it was exhausted; likelihoods by hand."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.wear.habits import (
    Habit,
    Words,
    find_visits,
    learn_words,
    removal_log_likelihood,
    share_wrongly_exhausted,
)
from tests.fleet.forecasting.fleets import NOW, columns, readings

HABIT = Habit(lateness_days=100.0, notice=0.75)
GAP = np.array([50.0])


@pytest.fixture
def visits():
    fleet_columns = columns(units=2, placed=NOW - 400.0)
    fleet_columns["readings"] = readings([NOW - 300.0, NOW - 200.0, NOW - 199.6, NOW - 50.0], source="installer")
    more = readings([NOW - 120.0, NOW - 90.0], unit="u1", source=["client", "installer"])
    fleet_columns["readings"] = {name: [*fleet_columns["readings"][name], *more[name]] for name in more}
    fleet_columns["placements"]["removed_day"][0] = NOW - 50.2
    fleet_columns["placements"]["reason"][0] = "exhausted"
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return find_visits(fleet)


def count(visits, unit, after, before):
    return int(visits.between(np.array([unit]), np.array([NOW - after]), np.array([NOW - before]))[0])


def test_changes_and_installers_readings_are_visits_and_a_day_counts_once(visits):
    # u0: placed 400 days ago, read 300, 200 (twice) and 50 days ago, where a cartridge went out too
    assert count(visits, 0, 1000.0, 0.0) == 4
    assert count(visits, 1, 1000.0, 0.0) == 2
    assert [count(visits, 0, after, before) for after, before in ((300.0, 0.0), (299.0, 100.0), (40.0, 0.0))] == [
        2,
        1,
        0,
    ]
    assert count(visits, 0, 100.0, 200.0) == 0
    # a visit on the first or the last day itself lies not between them
    assert count(visits, 0, 400.0, 300.0) == 0
    assert count(visits, 0, 400.5, 299.5) == 2


def test_the_last_visit_before_a_day_is_that_of_the_same_unit(visits):
    days = visits.last_before(np.array([0, 0, 1, 1, 0]), NOW - np.array([0.0, 100.0, 100.0, 0.0, 500.0]))
    assert (NOW - days[:4]).tolist() == pytest.approx([50.2, 200.0, 400.0, 90.0])
    assert days[4] == -np.inf


def test_the_usual_gap_counts_as_two_more(visits):
    """u0: gaps of 100, 100 and 149.8 days: (349.8 + 200)/(3 + 2); u1: 310 days: (310 + 200)/(1 + 2)."""
    assert visits.gap_days == pytest.approx([549.8 / 5.0, 510.0 / 3.0])


def likelihood(delay, reason, visits=0):
    cells = np.full((1, 1, 1), float(delay)), np.full((1, 1, 1), visits)
    return float(np.exp(removal_log_likelihood(*cells, np.array([reason]), GAP, HABIT)[0, 0, 0]))


def test_a_removal_as_exhausted_by_hand():
    """Chance a day: 0.75 x 2.5/50 + 1/100 = 0.0475; one in ten was not, and may have left on any of 300 days."""
    wrong = 0.1 / 300.0
    right = 0.9 * 0.0475
    assert likelihood(0.0, words.EXHAUSTED) == pytest.approx(right + wrong)
    assert likelihood(50.0, words.EXHAUSTED) == pytest.approx(right * np.exp(-0.5) + wrong)
    # three of four visits change what is exhausted
    assert likelihood(50.0, words.EXHAUSTED, visits=2) == pytest.approx(right * np.exp(-0.5) / 16.0 + wrong)
    # people call exhausted what has a week left
    assert likelihood(-7.0, words.EXHAUSTED) == pytest.approx(right * np.exp(-1.0) + wrong)


def test_who_calls_everything_exhausted_is_believed_less():
    """Readings show 15 of 30 so called to have been good: (15 + 0.1 x 10) / (30 + 10) of such words are wrong. Other
    words do not count."""
    past = np.repeat([1.0, 0.0, 0.0], [15, 15, 40])
    reason = np.repeat([words.EXHAUSTED, words.ROUTINE], [30, 40])
    assert share_wrongly_exhausted(past, reason) == pytest.approx(0.4)
    assert share_wrongly_exhausted(past[:0], reason[:0]) == pytest.approx(0.1)


BY_WORDS = Habit(lateness_days=100.0, notice=0.75, words=Words(exhausted_called=0.5, good_called=0.1, unread=0.5))
"""Of exhausted ones every second is called so, of good ones one in ten; where nobody had read, half as many of both."""


def by_words(delay, reason, *, is_read=True):
    cells = np.full((1, 1, 1), float(delay)), np.zeros((1, 1, 1))
    return float(
        np.exp(removal_log_likelihood(*cells, np.array([reason]), GAP, BY_WORDS, np.array([is_read]))[0, 0, 0])
    )


def test_a_word_that_hangs_little_on_the_state_dates_little_by_hand():
    """0.4 of the words are of cartridges that went because they were exhausted, 0.0475 a day as above; the others are
    written by habit, of any day in 300."""
    assert by_words(0.0, words.EXHAUSTED) == pytest.approx(0.4 * 0.0475 + 0.6 * 0.3 / 300.0, rel=1e-5)
    assert by_words(1000.0, words.EXHAUSTED) == pytest.approx(0.6 * 0.5 / 300.0, rel=1e-2)
    assert by_words(-300.0, words.EXHAUSTED) == pytest.approx(0.6 * 0.1 / 300.0, rel=1e-5)
    assert by_words(-300.0, words.EXHAUSTED, is_read=False) == pytest.approx(0.6 * 0.05 / 300.0, rel=1e-5)


@pytest.mark.parametrize("reason", [words.ROUTINE, words.UNKNOWN])
def test_where_words_are_weighed_a_word_that_was_not_written_says_a_little(reason):
    """Root of the share that is not called so: of a half, of nine in ten; three in four where nobody had read."""
    assert by_words(400.0, reason) == pytest.approx(0.5**0.5, rel=1e-5)
    assert by_words(-400.0, reason) == pytest.approx(0.9**0.5, rel=1e-5)
    assert by_words(400.0, reason, is_read=False) == pytest.approx(0.75**0.5, rel=1e-5)


@pytest.mark.parametrize("reason", [-1, 0, words.ROTATED, words.DAMAGED])
def test_what_was_rotated_broken_or_still_stands_was_called_nothing(reason):
    assert [by_words(delay, reason) for delay in (-200.0, 10.0, 400.0)] == [1.0, 1.0, 1.0]


def learned(past, reason, *, unread=()):
    """What is learned from removals with a reading, and some without."""
    every = np.array([*reason, *unread], dtype=np.int64)
    return learn_words(np.asarray(past, dtype=float), every[: len(reason)], every, np.arange(len(every)) < len(reason))


def test_words_are_learned_from_readings_that_leave_no_doubt():
    """Of 200 exhausted ones 100 are called so, of 200 good ones 20: 120 in 400 are, and half as many again, and half
    as many are assumed of eight each."""
    reason = np.repeat([words.EXHAUSTED, words.ROUTINE, words.EXHAUSTED, words.UNKNOWN], [100, 100, 20, 180])
    found = learned(np.repeat([1.0, 0.0], 200), reason)
    usual = (120.0 + 10.0 * 121.0 / 405.0) / 410.0
    assert found.exhausted_called == pytest.approx((100.0 + 8.0 * 1.5 * usual) / 208.0)
    assert found.good_called == pytest.approx((20.0 + 8.0 * 0.5 * usual) / 208.0)
    assert found.is_right == pytest.approx(0.39, abs=0.01)


def test_words_of_what_nobody_had_read_are_counted_apart():
    """Rarer there: a third as often, drawn together by ten of each. What was rotated or broke is not counted."""
    reason = np.repeat([words.EXHAUSTED, words.ROUTINE], [30, 70])
    unread = np.repeat([words.EXHAUSTED, words.ROUTINE, words.ROTATED, words.DAMAGED], [10, 90, 500, 500])
    usual = 41.0 / 205.0
    found = learned(np.full(100, 0.5), reason, unread=unread)
    assert found.unread == pytest.approx((10.0 + 10.0 * usual) / (30.0 + 10.0 * usual))


def test_a_fleet_that_shows_nothing_has_usual_words_and_a_word_is_no_sign_of_the_opposite():
    """One in five removals, until some are seen: three in ten of the exhausted, one in ten of the good."""
    assert learned([], []) == Words(pytest.approx(0.3), pytest.approx(0.1), pytest.approx(1.0))
    upside_down = np.repeat([words.ROUTINE, words.EXHAUSTED], [50, 50])
    found = learned(np.repeat([1.0, 0.0], 50), upside_down)
    assert found.is_right == 0.0
    assert found.exhausted_called == found.good_called


@pytest.mark.parametrize("reason", [-1, words.ROTATED, words.DAMAGED, words.ROUTINE, words.UNKNOWN])
def test_what_nobody_looked_at_says_nothing(reason):
    """Also of what is still installed: it may have been exhausted for long."""
    assert [likelihood(delay, reason, visits=2) for delay in (-200.0, 10.0, 400.0)] == [1.0, 1.0, 1.0]


def test_what_was_found_good_was_good_give_or_take_ten_days():
    assert likelihood(-200.0, words.EARLY) == pytest.approx(1.0)
    assert likelihood(10.0, words.EARLY) == pytest.approx(29.0 / 30.0 * np.exp(-1.0) + 1.0 / 30.0)


def test_what_stayed_for_another_segment_says_nothing():
    assert [likelihood(delay, 0) for delay in (-100.0, 0.0, 300.0)] == [1.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("every", "visits", "gap"),
    [(1.5, 60, 10.0), (30.0, 16, 680.0 / 18.0), (900.0, 16, 500.0), (1.5, 10, 215.0 / 12.0)],
)
def test_no_usual_gap_is_shorter_than_ten_days_or_longer_than_five_hundred(every, visits, gap):
    """Their gaps and the two of a hundred days that are usual."""
    fleet_columns = columns(placed=NOW - every * (visits + 1.0))
    days = NOW - every * (visits + 1.0) + every * np.arange(1.0, visits + 1.0)
    fleet_columns["readings"] = readings(days, source="installer")
    fleet, _ = build_fleet(**fleet_columns)
    assert find_visits(fleet).gap_days == pytest.approx([gap])


def test_visits_of_no_unit_and_of_days_to_come_are_none():
    fleet_columns = columns(placed=NOW + 5.0)
    fleet_columns["readings"] = readings([NOW + 2.0], source="installer")
    fleet, _ = build_fleet(**fleet_columns)
    visits = find_visits(fleet)
    assert count(visits, 0, 1000.0, -1000.0) == 0
    assert visits.last_before(np.array([0]), np.array([NOW + 900.0])).tolist() == [-np.inf]
    assert visits.gap_days == pytest.approx([100.0])


def test_visits_two_days_apart_are_two_and_half_a_day_apart_one():
    fleet_columns = columns(placed=NOW - 400.0)
    fleet_columns["readings"] = readings(NOW - np.array([100.0, 99.5, 98.4, 97.0]), source="installer")
    fleet, _ = build_fleet(**fleet_columns)
    assert count(find_visits(fleet), 0, 200.0, 0.0) == 3


def test_what_happened_on_the_forecasts_own_day_counts():
    """A reading, a cartridge that came and one that left, each alone on that day at a unit of its own."""
    fleet_columns = columns(units=3, placed=NOW - 400.0)
    fleet_columns["readings"] = readings([NOW], source="installer")
    table = fleet_columns["placements"]
    came, left = (table["position_id"].index(f"{unit}/sediment/single") for unit in ("u1", "u2"))
    table["placed_day"][came] = NOW
    table["removed_day"][left], table["reason"][left] = NOW, "exhausted"
    fleet, _ = build_fleet(**fleet_columns)
    visits = find_visits(fleet)
    assert [count(visits, unit, 1000.0, -1.0) for unit in range(3)] == [2, 2, 2]


def test_readings_are_visits_of_a_fleet_of_which_no_cartridge_is_recorded():
    fleet_columns = columns(units=2, placed=NOW - 400.0)
    fleet_columns["readings"] = readings([NOW - 40.0, NOW - 20.0], unit="u1", source="installer")
    fleet_columns["placements"] = {name: [] for name in fleet_columns["placements"]}
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    visits = find_visits(fleet)
    assert [count(visits, unit, 1000.0, 0.0) for unit in range(2)] == [0, 2]
    assert visits.gap_days == pytest.approx([100.0, 220.0 / 3.0])


def test_visits_seven_tenths_of_a_day_apart_are_one():
    fleet_columns = columns(placed=NOW - 400.0)
    fleet_columns["readings"] = readings(NOW - np.array([100.0, 99.3]), source="installer")
    fleet, _ = build_fleet(**fleet_columns)
    assert count(find_visits(fleet), 0, 200.0, 0.0) == 1


@pytest.mark.parametrize("far", [60_000.0, np.inf])
def test_days_long_ago_and_far_ahead_are_those_of_the_same_unit(visits, far):
    """Nothing of the unit before or after is counted, whatever is asked."""
    assert count(visits, 0, far, -far) == 4
    assert count(visits, 1, far, -far) == 2
    assert visits.last_before(np.array([1]), np.array([NOW + far])).tolist() == pytest.approx([NOW - 90.0])
