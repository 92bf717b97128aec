"""A unit that goes through the days of one draw, counted by hand where every date is certain."""

import datetime
import math
from dataclasses import replace

import pytest

from scheduling.planning.needs.facts import FindingFacts, ForecastFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, NeedKind, median_days
from scheduling.planning.needs.work import FindingWork
from scheduling.planning.outlook.inputs import OutlookUnit
from scheduling.planning.outlook.units import SimulatedUnit

FIRST_DAY = datetime.date(2026, 3, 2)
LONG_AGO = datetime.date(2026, 1, 5)


def certain(day: float) -> tuple[float, ...]:
    return (day,) * len(DISTRIBUTION_LEVELS)


def evenly(first: float, last: float) -> tuple[float, ...]:
    return tuple(first + (last - first) * level for level in DISTRIBUTION_LEVELS)


def position(
    key: int,
    day: float | tuple[float, ...] | None,
    *,
    stage: str = "carbon",
    role: Role = Role.SINGLE,
    used: float | None = 100.0,
    fresh: float | None = 200.0,
    share: float | None = 0.5,
    is_maximum: bool = False,
) -> PositionFacts:
    """A position whose cartridge is exhausted on a day, with a certain life of the next one."""
    if day is None:
        return PositionFacts(key=key, stage=stage, role=role, cartridge=10 + key)
    forecast = ForecastFacts(
        key, 10 + key, day if isinstance(day, tuple) else certain(day), remaining_share=share, used_days=used,
        fresh_life_days=None if fresh is None else (fresh,) * 3, is_maximum_service_time=is_maximum,
    )  # fmt: skip
    return PositionFacts(key=key, stage=stage, role=role, cartridge=10 + key, price=24.0, newest_forecast=forecast)


LEAD = position(1, 50.0, stage="resin", role=Role.LEAD, fresh=100.0)
LAG = position(2, 120.0, stage="resin", role=Role.LAG, fresh=100.0)


def simulated(
    *positions: PositionFacts, every: float | None = None, read_ago: float = 0.0, chance: float = 0.5, first: int = 0,
    findings: tuple[FindingFacts, ...] = (),
) -> SimulatedUnit:  # fmt: skip
    facts = UnitFacts(
        key=3, use="reef", commissioned_on=LONG_AGO, positions=positions, last_read_on=LONG_AGO,
        last_sanitised_on=LONG_AGO, findings=findings,
    )  # fmt: skip
    return SimulatedUnit(OutlookUnit(facts, every, read_ago), lambda number, generation: chance, first)


def test_what_stands_was_fitted_before_day_0_and_is_exhausted_as_its_chance_says() -> None:
    unit = simulated(position(1, evenly(0.0, 100.0), used=40.0), position(2, 30.0, used=None), chance=0.25)
    first, second = unit.cartridges[1], unit.cartridges[2]
    assert (first.key, first.fitted_on, first.exhausted_on) == (11, -40.0, pytest.approx(25.0))
    assert (second.key, second.fitted_on, second.exhausted_on) == (12, 0.0, 30.0)
    assert [stage.name for stage in unit.stages] == ["carbon", "carbon"]


def test_each_position_has_its_own_chance_and_a_lag_that_of_its_lead() -> None:
    draws: list[tuple[int, int]] = []

    def chance(number: int, generation: int) -> float:
        draws.append((number, generation))
        return 0.5

    facts = UnitFacts(3, "reef", LONG_AGO, positions=(position(7, 9.0), LEAD, LAG))
    unit = SimulatedUnit(OutlookUnit(facts), chance, 4)
    assert draws == [(4, 0), (5, 0), (5, 0)]
    unit.fit_new(LAG, 10.0)
    unit.fit_new(LAG, 20.0)
    assert draws[3:] == [(6, 1), (6, 2)]
    keys = {unit.cartridges[2].key}
    for day in (30.0, 40.0):
        unit.fit_new(LAG, day)
        unit.fit_new(LEAD, day)
        keys |= {unit.cartridges[2].key, unit.cartridges[1].key}
    assert len(keys) == 5
    assert max(keys) < 0, "no cartridge on record is meant"


@pytest.mark.parametrize(("day", "share", "is_exhausted"), [(0.0, 0.5, False), (40.0, 0.3, False), (100.0, 0.0, True),
                                                            (130.0, 0.0, True)])  # fmt: skip
def test_what_is_left_of_a_cartridge_falls_day_by_day(day: float, share: float, is_exhausted: bool) -> None:
    """Exhausted on day 100 of a life of 200."""
    forecast = simulated(position(1, 100.0)).cartridges[1].forecast_on(day)
    assert (forecast.remaining_share, forecast.used_days) == pytest.approx((share, 100.0 + day))
    assert forecast.is_exhausted is is_exhausted
    assert median_days(forecast.quantile_days) == pytest.approx(100.0 - day)
    assert (forecast.key, forecast.cartridge, forecast.is_maximum_service_time) == (11, 11, False)


def test_of_a_life_that_nobody_knows_no_share_is_told() -> None:
    unit = simulated(position(1, 100.0, fresh=None, share=None))
    assert math.isnan(unit.cartridges[1].life_days)
    assert unit.cartridges[1].forecast_on(10.0).remaining_share is None
    # one that outlasts a usual life is whole and not more
    assert simulated(position(1, 400.0)).cartridges[1].forecast_on(10.0).remaining_share == 1.0
    # a life of half a day is one
    assert simulated(position(1, 0.25, fresh=0.5)).cartridges[1].forecast_on(0.0).remaining_share is not None


def test_a_maximum_service_time_stays_one_until_the_cartridge_is_changed() -> None:
    unit = simulated(position(1, 100.0, is_maximum=True))
    assert unit.cartridges[1].forecast_on(10.0).is_maximum_service_time
    unit.fit_new(unit.facts.positions[0], 20.0)
    assert not unit.cartridges[1].forecast_on(30.0).is_maximum_service_time


def test_what_was_seen_exhausted_has_nothing_left() -> None:
    unit = simulated(position(1, 100.0))
    unit.read_gauges(100.0, is_visit=False)
    forecast = unit.cartridges[1].forecast_on(110.0)
    assert (forecast.is_exhausted, forecast.remaining_share, forecast.used_days) == (True, 0.0, 210.0)
    assert set(forecast.quantile_days) == {0.0}
    unit.fit_new(unit.facts.positions[0], 120.0)
    unit.cartridges[1].is_seen_exhausted = True
    assert unit.cartridges[1].forecast_on(119.0).used_days == 0.0


def test_a_reading_on_the_day_itself_shows_it_and_one_before_shows_that_it_lasts() -> None:
    unit = simulated(position(1, evenly(0.0, 100.0)))
    assert unit.cartridges[1].exhausted_on == 50.0
    unit.read_gauges(49.0, is_visit=False)
    assert (unit.cartridges[1].is_seen_exhausted, unit.cartridges[1].alive_on) == (False, 49.0)
    # of days 49 to 100 the middle
    assert median_days(unit.cartridges[1].forecast_on(49.0).quantile_days) == pytest.approx(25.5)
    unit.read_gauges(50.0, is_visit=False)
    assert unit.cartridges[1].is_seen_exhausted
    assert unit.last_visit is None


def test_a_reading_of_the_water_says_nothing_of_either_of_a_pair_and_a_visit_of_both() -> None:
    unit = simulated(LEAD, LAG)
    unit.read_gauges(40.0, is_visit=False)
    assert [unit.cartridges[key].alive_on for key in (1, 2)] == [None, None]
    unit.read_gauges(60.0, is_visit=True)
    assert [unit.cartridges[key].alive_on for key in (1, 2)] == [None, 60.0]
    assert unit.late_on(unit.stages[0]) == 120.0


@pytest.mark.parametrize(
    ("day", "next_day"), [(-5.0, 7.0), (0.0, 7.0), (6.9, 7.0), (7.0, 7.0), (7.1, 17.0), (17.0, 17.0), (25.0, 27.0)]
)
def test_readings_come_in_an_even_interval_from_the_last_one_on(day: float, next_day: float) -> None:
    """Every ten days, three days ago for the last time."""
    assert simulated(position(1, 90.0), every=10.0, read_ago=3.0).reading_after(day) == next_day
    assert simulated(position(1, 90.0)).reading_after(day) == math.inf


def test_a_unit_that_was_read_today_is_read_an_interval_later() -> None:
    assert simulated(position(1, 90.0), every=10.0).reading_after(0.0) == 10.0


def test_the_next_news_is_the_reading_after_the_first_stage_that_is_exhausted_unseen() -> None:
    unit = simulated(position(1, 95.0), position(2, 61.0), every=10.0, read_ago=3.0)
    assert unit.seen_on() == 67.0
    unit.read_until(67.0)
    assert [unit.cartridges[key].is_seen_exhausted for key in (1, 2)] == [False, True]
    assert unit.seen_on() == 97.0
    unit.read_until(97.0)
    assert unit.seen_on() == math.inf


def test_a_pair_is_news_while_one_of_the_two_was_not_seen_exhausted() -> None:
    unit = simulated(LEAD, LAG, every=10.0)
    unit.cartridges[1].is_seen_exhausted = True
    assert unit.seen_on() == 120.0
    unit.cartridges[2].is_seen_exhausted = True
    assert unit.seen_on() == math.inf


def test_a_reading_before_the_last_visit_is_not_taken_again() -> None:
    unit = simulated(position(1, 95.0), every=10.0)
    unit.read_gauges(12.0, is_visit=True)
    unit.read_until(19.0)
    assert unit.cartridges[1].alive_on == 12.0
    unit.read_until(21.0)
    assert unit.cartridges[1].alive_on == 20.0
    unread = simulated(position(1, 95.0))
    unread.read_until(99.0)
    assert unread.cartridges[1].alive_on is None


def last_read(unit: SimulatedUnit, day: float) -> datetime.date | None:
    return unit.facts_on(day, FIRST_DAY + datetime.timedelta(days=math.floor(day))).last_read_on


def test_planning_knows_the_newest_reading_or_visit() -> None:
    unit = simulated(position(1, 95.0), every=10.0, read_ago=3.0)
    assert last_read(unit, 6.0) == LONG_AGO, "as it was stored"
    assert last_read(unit, 7.0) == last_read(unit, 16.0) == FIRST_DAY + datetime.timedelta(days=7)
    unit.read_gauges(12.0, is_visit=True)
    assert last_read(unit, 16.0) == FIRST_DAY + datetime.timedelta(days=12)
    assert last_read(unit, 17.0) == FIRST_DAY + datetime.timedelta(days=17)


def test_planning_knows_the_last_sanitising() -> None:
    unit = simulated(position(1, 95.0))
    assert unit.facts_on(5.0, FIRST_DAY).last_sanitised_on == LONG_AGO
    unit.sanitised_on = 4.0
    today = FIRST_DAY + datetime.timedelta(days=5)
    assert unit.facts_on(5.0, today).last_sanitised_on == FIRST_DAY + datetime.timedelta(days=4)


def test_the_first_day_is_planned_as_it_is_stored_and_the_first_visit_deals_with_what_is_on_record() -> None:
    seen = FindingFacts(
        key=5, cause="seen", work=FindingWork(NeedKind.INSPECT),
        seen_at=datetime.datetime(2026, 3, 1, tzinfo=datetime.UTC),
    )  # fmt: skip
    empty = PositionFacts(key=4, stage="membrane")
    unit = simulated(position(1, 95.0), empty, findings=(seen,))
    stored = unit.facts_on(0.0, FIRST_DAY)
    assert stored.positions == unit.facts.positions
    assert stored.findings == (seen,)
    later = unit.facts_on(5.0, FIRST_DAY + datetime.timedelta(days=5))
    assert median_days(later.positions[0].newest_forecast.quantile_days) == 90.0
    assert later.positions[1] == empty
    unit.read_gauges(6.0, is_visit=True)
    after = unit.facts_on(7.0, FIRST_DAY + datetime.timedelta(days=7))
    assert ([p.key for p in after.positions], after.findings) == ([1], ())
    # what was fitted on the first day itself is no longer what is stored
    unit.fit_new(unit.facts.positions[0], 0.0)
    assert unit.facts_on(0.0, FIRST_DAY).positions[0].cartridge == unit.cartridges[1].key


def test_a_new_cartridge_lasts_a_fresh_life_from_its_day_on() -> None:
    unit = simulated(position(1, 100.0))
    unit.fit_new(unit.facts.positions[0], 80.0)
    new = unit.cartridges[1]
    assert (new.fitted_on, new.exhausted_on, new.life_days) == (80.0, 280.0, 200.0)
    assert median_days(new.dates.quantiles_from(80.0)) == pytest.approx(200.0)
    assert (new.alive_on, new.is_seen_exhausted, new.forecast) == (None, False, None)


def test_a_lag_is_loaded_from_the_exhaustion_of_its_lead_on() -> None:
    unit = simulated(LEAD, LAG)
    unit.fit_new(LAG, 20.0)
    assert unit.cartridges[2].exhausted_on == 150.0, "50 and a life of 100"
    assert median_days(unit.cartridges[2].dates.quantiles_from(20.0)) == pytest.approx(130.0)
    unit.fit_new(LAG, 70.0)
    assert unit.cartridges[2].exhausted_on == 170.0, "behind an exhausted lead at once"
    assert median_days(unit.cartridges[2].dates.quantiles_from(70.0)) == pytest.approx(100.0)
    # a lead waits for nobody
    unit.fit_new(LEAD, 30.0)
    assert unit.cartridges[1].exhausted_on == 130.0


@pytest.mark.parametrize(("day", "moved", "fresh"), [(40.0, 110.0, 210.0), (50.0, 120.0, 220.0), (60.0, 120.0, 220.0)])
def test_a_lag_that_moves_up_loses_the_days_that_its_lead_still_had(day: float, moved: float, fresh: float) -> None:
    unit = simulated(LEAD, LAG)
    unit.rotate(LEAD, LAG, day)
    assert (unit.cartridges[1].key, unit.cartridges[1].exhausted_on) == (12, moved)
    assert median_days(unit.cartridges[1].dates.quantiles_from(day)) == pytest.approx(moved - day)
    assert unit.cartridges[1].forecast is None
    assert unit.cartridges[2].exhausted_on == fresh


def test_a_lag_that_moves_up_has_at_least_a_day_unless_it_was_exhausted_before() -> None:
    lasting = position(1, 200.0, stage="resin", role=Role.LEAD, fresh=100.0)
    unit = simulated(lasting, LAG)
    unit.rotate(lasting, LAG, 40.0)
    assert unit.cartridges[1].exhausted_on == 41.0
    exhausted = position(2, 30.0, stage="resin", role=Role.LAG, fresh=100.0)
    unit = simulated(LEAD, exhausted)
    unit.rotate(LEAD, exhausted, 60.0)
    assert unit.cartridges[1].exhausted_on == 30.0


def test_only_a_lag_that_still_serves_moves_up() -> None:
    single = position(7, 90.0)
    unit = simulated(single, LEAD, LAG)
    assert unit.lag_behind(LEAD) is LAG
    assert unit.lag_behind(single) is None
    assert unit.lag_behind(LAG) is None
    unit.cartridges[2].is_seen_exhausted = True
    assert unit.lag_behind(LEAD) is None
    undated = simulated(LEAD, replace(LAG, newest_forecast=None))
    assert undated.lag_behind(LEAD) is None
    assert [len(stage.positions) for stage in undated.stages] == [1]
    alone = simulated(LAG)
    assert [stage.name for stage in alone.stages] == ["resin"]


@pytest.mark.parametrize(
    ("told", "median"),
    [
        # as its place says; where that is no life, as long as the one that stands there: 100 left of a half
        (position(1, 100.0), 200.0),
        (replace(position(1, 100.0), newest_forecast=replace(position(1, 100.0).newest_forecast, fresh_life_days=None)),
         200.0),
        # of one whose share nobody knows, what it had and has; but no less than a month
        (position(1, 100.0, fresh=None, share=None, used=40.0), 140.0),
        (position(1, 10.0, fresh=None, share=None, used=5.0), 30.0),
        (position(1, 100.0, fresh=None, share=None, used=None), 100.0),
    ],
)  # fmt: skip
def test_how_long_the_next_one_lasts(told: PositionFacts, median: float) -> None:
    assert simulated(told).fresh[1].p50 == pytest.approx(median)


def test_a_fresh_life_in_one_place_is_a_range() -> None:
    told = position(1, 100.0)
    forecast = replace(told.newest_forecast, fresh_life_days=(120.0, 180.0, 270.0))
    unit = simulated(replace(told, newest_forecast=forecast), chance=0.9)
    unit.fit_new(told, 10.0)
    assert unit.cartridges[1].exhausted_on == pytest.approx(280.0)


@pytest.mark.parametrize(("told", "median"), [((0.0, 100.0, 150.0), 200.0), ((0.5, 0.75, 1.0), 0.75)])
def test_a_fresh_life_that_may_be_nothing_is_none(told: tuple[float, float, float], median: float) -> None:
    """Then the one that stands tells: 100 left of a half."""
    stands = position(1, 100.0)
    forecast = replace(stands.newest_forecast, fresh_life_days=told)
    unit = simulated(replace(stands, newest_forecast=forecast))
    # its life by the median of a fresh one counts as well where no other is known
    assert unit.fresh[1].p50 == pytest.approx(median if told[0] else 100.0)
