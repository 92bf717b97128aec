"""Outlooks counted on paper: one unit, certain dates."""

import datetime
import math
from dataclasses import replace

import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.needs.facts import ForecastFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS
from scheduling.planning.outlook.inputs import OutlookSite, OutlookUnit, Span, Way
from scheduling.planning.outlook.simulate import _chances, simulate
from scheduling.planning.outlook.sites import MEASURES
from scheduling.planning.outlook.units import SimulatedUnit
from scheduling.planning.policy import Policy

FIRST_DAY = datetime.date(2026, 3, 2)
# Nobody looks in because a unit went unread, so that only what wears out is counted.
POLICY = ServicePolicy(Policy(), CompanyRules(unread_after_days=730))
CARBON = PositionFacts(
    key=1,
    stage="carbon",
    cartridge=11,
    item=5,
    price=24.0,
    newest_forecast=ForecastFacts(7, 11, (100.0,) * len(DISTRIBUTION_LEVELS), remaining_share=0.5, used_days=100.0),
)
CERTAIN = (200.0, 200.0, 200.0)


def _site(
    *positions: PositionFacts, fresh: tuple[float, float, float] = CERTAIN, every: float | None = None
) -> OutlookSite:
    told = tuple(
        one
        if one.newest_forecast is None
        else replace(one, newest_forecast=replace(one.newest_forecast, fresh_life_days=fresh))
        for one in positions or (CARBON,)
    )
    facts = UnitFacts(key=3, use="reef", commissioned_on=FIRST_DAY, positions=told, last_read_on=FIRST_DAY)
    return OutlookSite(9, (OutlookUnit(facts, reading_interval_days=every),))


def _run(site: OutlookSite, way: Way, *, days: int = 365, draws: int = 1, settle: int = 0) -> dict[str, float]:
    span = Span(FIRST_DAY, days=days, settle_days=settle, draws=draws)
    outcome = simulate([site], way, span, prices=POLICY, travel_costs=[10.0])
    return dict(zip(MEASURES, outcome.mean(axis=0)[0].tolist(), strict=True))


def test_a_certain_cartridge_is_changed_twice_in_a_year_before_it_is_exhausted() -> None:
    counted = _run(_site(), Way("planned", POLICY))
    # day 100, and 200 days after the first change: the third would be after day 365
    assert (counted["visits"], counted["parts"], counted["parts_money"]) == (2, 2, 48.0)
    # exhausted on day 100 to the hour; a visit on its best day comes on it or some days before
    assert counted["days_at_risk"] < 1.0
    # 12 to come, 10 of driving, (15 + 12) minutes at 0.60
    assert counted["visit_money"] == pytest.approx(2 * (12 + 10 + 27 * 0.60))
    assert counted["money"] == pytest.approx(2 * 38.2 + 48.0 + counted["bad_water_money"])


def test_a_fixed_interval_lets_the_water_go_bad_until_the_next_visit() -> None:
    # the first visit falls on a day of the chance of the site; from it every half year
    counted = _run(_site(), Way("fixed", POLICY, interval_days=182))
    first = _first_visit(182)
    # of the cartridge that stands there: exhausted on day 100; of the new one: 200 days, which outlast the interval
    assert counted["days_at_risk"] == pytest.approx(max(first - 100, 0))
    visits = math.ceil((365 - first) / 182)
    assert (counted["visits"], counted["parts"]) == (visits, visits)
    assert counted["bad_water_money"] == pytest.approx(8.0 * max(first - 100, 0))  # carbon at a reef: 8 a day


def _first_visit(interval: int) -> int:
    return math.floor(_chances(_site(), Span(FIRST_DAY, draws=1))[0, -1, -1] * interval)


def test_a_yearly_interval_is_late_by_what_the_cartridge_lacks() -> None:
    # two years: settle over the first, count the second: one visit, a life of 200 days in 365
    counted = _run(_site(), Way("fixed", POLICY, interval_days=365), days=365, settle=365)
    assert counted["visits"] == 1
    assert counted["days_at_risk"] == pytest.approx(365 - 200)


def test_bad_water_that_a_reading_shows_is_called_for() -> None:
    # read every ten days: exhausted on day 100, seen that day, and somebody comes three days later
    counted = _run(_site(every=10.0), Way("fixed", POLICY, interval_days=100_000))
    first = _first_visit(100_000)
    assert first > 365
    # the new one is fitted on day 103 and lasts until 303: seen on day 310, changed on day 313
    assert (counted["visits"], counted["days_at_risk"]) == (2, pytest.approx(3 + 10))


def _resin(key: int, role: Role, day: float) -> PositionFacts:
    forecast = ForecastFacts(key, 10 + key, (day,) * len(DISTRIBUTION_LEVELS), remaining_share=0.5, used_days=50.0)
    return PositionFacts(
        key=key, stage="resin", role=role, cartridge=10 + key, item=5, price=30.0, newest_forecast=forecast
    )


def test_a_reading_of_the_water_shows_a_stage_and_a_visit_each_cartridge() -> None:
    """The lead is exhausted on day 50, and its lag keeps the water good until day 120."""
    (outlook_unit,) = _site(_resin(1, Role.LEAD, 50.0), _resin(2, Role.LAG, 120.0), every=10.0).units
    unit = SimulatedUnit(outlook_unit, lambda position, generation: 0.5, 0)
    unit.read_until(60.0)
    assert [unit.cartridges[key].is_seen_exhausted for key in (1, 2)] == [False, False]
    assert unit.last_visit is None
    unit.read_gauges(60.0, is_visit=True)
    assert [unit.cartridges[key].is_seen_exhausted for key in (1, 2)] == [True, False]
    assert unit.last_visit == 60.0
    unit.read_until(119.0)
    assert not unit.cartridges[2].is_seen_exhausted
    unit.read_until(120.0)
    assert unit.cartridges[2].is_seen_exhausted


def test_a_lead_and_its_lag_are_bad_only_when_both_are_exhausted() -> None:
    site = _site(_resin(1, Role.LEAD, 50.0), _resin(2, Role.LAG, 120.0), fresh=(100.0, 100.0, 100.0))
    # nobody comes before the year is over: bad from day 120 to day 365, at 6 a day for resin at a reef
    nobody = Way("never", POLICY, interval_days=100_000)
    counted = _run(site, nobody)
    assert counted["days_at_risk"] == pytest.approx(365 - 120)
    assert counted["bad_water_money"] == pytest.approx(6.0 * 245)
    planned = _run(site, Way("planned", POLICY))
    assert planned["days_at_risk"] < 10.0
    # the lag lasts to day 120, each one after it 100 days behind the lead before it: two or three rotations
    assert 2 <= planned["parts"] <= 4
    assert planned["parts_money"] == 30.0 * planned["parts"]


def test_work_on_one_site_is_bundled() -> None:
    sediment = PositionFacts(
        key=2,
        stage="sediment",
        cartridge=12,
        item=6,
        price=9.0,
        newest_forecast=ForecastFacts(8, 12, (104.0,) * len(DISTRIBUTION_LEVELS), remaining_share=0.5, used_days=104.0),
    )
    counted = _run(_site(CARBON, sediment), Way("planned", POLICY))
    assert (counted["visits"], counted["parts"]) == (2, 4)


def test_a_position_without_a_forecast_is_never_exhausted_and_one_without_a_record_sends_nobody() -> None:
    membrane = PositionFacts(key=3, stage="membrane", cartridge=13, item=7, price=60.0)
    counted = _run(_site(CARBON, membrane), Way("planned", POLICY))
    assert (counted["parts"], counted["parts_money"]) == (2, 48.0)
    unrecorded = PositionFacts(key=4, stage="membrane")
    counted = _run(_site(unrecorded), Way("planned", POLICY))
    assert (counted["visits"], counted["parts"]) == (0, 0)
