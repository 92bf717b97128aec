"""When a simulated site is visited next: as planning decides, by the calendar, and for bad water."""

import math
from dataclasses import replace

import pytest

from fleet.engineering.limits import USUAL_SERVICE_TIME_DAYS
from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.needs.facts import PositionFacts, UnitFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.outlook.decide import Decision, by_calendar, planned
from scheduling.planning.outlook.inputs import OutlookSite, OutlookUnit, Span
from scheduling.planning.outlook.sites import SimulatedSite
from scheduling.planning.policy import Policy
from tests.scheduling.planning.outlook.test_units import FIRST_DAY, LAG, LEAD, LONG_AGO, position

POLICY = ServicePolicy(Policy(), CompanyRules(unread_after_days=730))


def begun(*positions: PositionFacts, every: float | None = None, units: int = 1, **facts: object) -> SimulatedSite:
    unit = UnitFacts(**{"key": 3, "use": "reef", "commissioned_on": LONG_AGO, "positions": positions, **facts})
    site = OutlookSite(9, (OutlookUnit(replace(unit, last_read_on=unit.last_read_on or FIRST_DAY), every),) * units)
    return SimulatedSite.begin(
        site, span=Span(FIRST_DAY, draws=1), prices=POLICY, travel_cost=10.0, chance=lambda n, g: 0.5
    )


def decided(site: SimulatedSite, day: float = 0.0, policy: ServicePolicy = POLICY) -> Decision:
    (decision,) = planned([site], [day], policy=policy, travel_costs=[10.0])
    return decision


@pytest.mark.parametrize(
    ("day", "visit_on"), [(0.0, 40.0), (39.5, 40.0), (40.0, 140.0), (139.0, 140.0), (140.0, 240.0), (341.0, 440.0)]
)
def test_the_calendar_comes_from_its_first_visit_on_in_even_steps(day: float, visit_on: float) -> None:
    decision = by_calendar(begun(position(1, 900.0)), day, interval_days=100, first_visit=40.0, policy=POLICY)
    assert (decision.visit_on, decision.ask_on) == (visit_on, math.inf)


def test_the_calendar_changes_all_but_young_membranes_and_lags() -> None:
    old, young = (position(key, 900.0, stage="membrane", used=used) for key, used in ((8, 1060.0), (9, 1050.0)))
    unrecorded = PositionFacts(key=6, stage="sediment")
    site = begun(position(7, 900.0), LEAD, LAG, unrecorded, old, young)
    decision = by_calendar(site, 0.0, interval_days=100, first_visit=40.0, policy=POLICY)
    (work,) = decision.work
    # on day 40 the one membrane has served 1100 days and the other 1090; it serves three years
    assert USUAL_SERVICE_TIME_DAYS["membrane"] == 1095
    assert [changed.key for changed in work.changed] == [7, 1, 8]
    assert (work.unit, work.tasks) == (site.units[0], ())


@pytest.mark.parametrize(("served", "changed"), [(1055.0, True), (1054.5, False)])
def test_a_membrane_of_three_years_is_old(served: float, changed: bool) -> None:
    site = begun(position(8, 900.0, stage="membrane", used=served))
    (work,) = by_calendar(site, 0.0, interval_days=100, first_visit=40.0, policy=POLICY).work
    assert bool(work.changed) is changed


@pytest.mark.parametrize(("day", "is_called"), [(50.0, True), (136.0, True), (137.0, False), (138.0, False)])
def test_somebody_is_called_for_bad_water_unless_the_calendar_comes_as_soon(day: float, is_called: bool) -> None:
    """Seen exhausted on day 50; 8 a day at a reef is dear enough."""
    site = begun(position(1, 50.0))
    site.units[0].read_gauges(50.0, is_visit=False)
    decision = by_calendar(site, day, interval_days=100, first_visit=40.0, policy=POLICY)
    assert decision.visit_on == (day + 3.0 if is_called else 140.0)
    assert bool(decision.work) is not is_called


def test_nobody_is_called_for_what_nobody_saw_or_what_hurts_little() -> None:
    unseen = begun(position(1, 50.0))
    assert by_calendar(unseen, 60.0, interval_days=100, first_visit=40.0, policy=POLICY).visit_on == 140.0
    # a filter costs 3 a day at a reef, and 5 are urgent
    cheap = begun(position(1, 50.0, stage="sediment"))
    cheap.units[0].read_gauges(50.0, is_visit=False)
    assert by_calendar(cheap, 60.0, interval_days=100, first_visit=40.0, policy=POLICY).visit_on == 140.0
    at_the_price = ServicePolicy(Policy(urgent_late_cost_per_day=3.0), POLICY.rules)
    assert by_calendar(cheap, 60.0, interval_days=100, first_visit=40.0, policy=at_the_price).visit_on == 63.0


def test_a_pair_is_called_for_when_both_are_seen_exhausted() -> None:
    site = begun(LEAD, LAG)
    site.units[0].cartridges[1].is_seen_exhausted = True
    assert by_calendar(site, 130.0, interval_days=900, first_visit=0.0, policy=POLICY).visit_on == 900.0
    site.units[0].cartridges[2].is_seen_exhausted = True
    assert by_calendar(site, 130.0, interval_days=900, first_visit=0.0, policy=POLICY).visit_on == 133.0
    assert by_calendar(site, 120.0, interval_days=900, first_visit=0.0, policy=POLICY).visit_on == 123.0
    assert by_calendar(site, 119.0, interval_days=900, first_visit=0.0, policy=POLICY).visit_on == 900.0


def test_planning_comes_before_a_certain_day_and_does_what_is_due() -> None:
    site = begun(position(1, 60.0), position(2, 700.0))
    decision = decided(site)
    assert 53.0 <= decision.visit_on <= 60.0
    (work,) = decision.work
    assert [(task.kind, task.position) for task in work.tasks] == [(NeedKind.REPLACE, 1)]
    assert work.unit is site.units[0]
    # 60 days later it is what is left that counts, not the day of the outlook
    later = decided(begun(position(1, 160.0)), 100.0)
    assert 153.0 <= later.visit_on <= 160.0


def test_work_is_done_at_the_unit_that_needs_it() -> None:
    site = begun(position(1, 900.0), units=2)
    site.units[1].cartridges[1].is_seen_exhausted = True
    decision = decided(site, 10.0)
    assert [[task.position for task in work.tasks] for work in decision.work] == [[], [1]]
    assert [work.unit for work in decision.work] == list(site.units)


def test_each_site_is_decided_on_by_itself() -> None:
    sites = [begun(position(1, day)) for day in (30.0, 3000.0, 60.0)]
    decisions = planned(sites, [0.0, 0.0, 0.0], policy=POLICY, travel_costs=[10.0] * 3)
    assert [decision.visit_on for decision in decisions] == [decided(site).visit_on for site in sites]
    assert decisions[0].visit_on < decisions[2].visit_on < decisions[1].visit_on == math.inf


def test_where_nothing_is_due_planning_is_asked_again_after_13_weeks() -> None:
    assert decided(begun(position(1, 3000.0)), 7.0) == Decision(math.inf, (), 98.0)


def test_it_is_asked_again_when_a_unit_has_gone_unread_too_long() -> None:
    policy = ServicePolicy(Policy(), CompanyRules(unread_after_days=50))
    site = begun(position(1, 3000.0))
    assert decided(site, 7.0, policy).ask_on == 50.0
    # what was commissioned and never read counts from then; LONG_AGO is eight weeks before
    assert (FIRST_DAY - LONG_AGO).days == 56
    patient = ServicePolicy(Policy(), CompanyRules(unread_after_days=60))
    facts = replace(site.site.units[0].facts, last_read_on=None)
    fresh = SimulatedSite.begin(
        OutlookSite(9, (OutlookUnit(facts),)), span=Span(FIRST_DAY), prices=POLICY, travel_cost=0.0,
        chance=lambda number, generation: 0.5,
    )  # fmt: skip
    assert decided(fresh, 1.0, patient).ask_on == 4.0
    # what is unread for as long already is no news to wait for
    assert decided(fresh, 4.0, patient).ask_on == 4.0 + 91.0


@pytest.mark.parametrize(("every", "waits"), [(None, False), (14.0, True)])
def test_a_visit_beyond_the_horizon_waits_for_the_readings_before_it(every: float | None, waits: bool) -> None:
    decision = decided(begun(position(1, 60.0), every=every))
    assert (decision.visit_on == math.inf) is waits
    assert decision.ask_on == (pytest.approx(57.0, abs=4.0) if waits else 91.0)
    assert len(decision.work[0].tasks) == 1
    # within it nobody waits for anything
    assert decided(begun(position(1, 3.0), every=every)).visit_on <= 5.0


@pytest.mark.parametrize(("longer", "waits"), [(0, True), (1, False)])
def test_the_horizon_itself_is_beyond_it(longer: int, waits: bool) -> None:
    day = decided(begun(position(1, 40.0))).visit_on
    policy = ServicePolicy(Policy(horizon_days=int(day) + longer), POLICY.rules)
    assert (decided(begun(position(1, 40.0), every=14.0), policy=policy).visit_on == math.inf) is waits
