"""What a visit and the days between visits cost a site, on paper."""

import datetime

import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.facts import PositionFacts, UnitFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Source, Task
from scheduling.planning.outlook.inputs import OutlookSite, OutlookUnit, Span, Way
from scheduling.planning.outlook.sites import MEASURES, SimulatedSite, Tally, WorkAtUnit
from scheduling.planning.policy import Policy
from tests.scheduling.planning.outlook.test_units import FIRST_DAY, LAG, LEAD, LONG_AGO, position

POLICY = ServicePolicy(Policy(), CompanyRules())
CARBON = position(1, 100.0)
# 12 to come, 10 of driving, 15 minutes to open and close at 0.60
VISIT = 12.0 + 10.0 + 15 * 0.60


def begun(*positions: PositionFacts, units: int = 1, **span: int) -> SimulatedSite:
    facts = UnitFacts(3, "reef", LONG_AGO, positions=positions)
    site = OutlookSite(9, (OutlookUnit(facts),) * units)
    return SimulatedSite.begin(
        site, span=Span(FIRST_DAY, draws=1, **span), prices=POLICY, travel_cost=10.0, chance=lambda n, g: 0.5
    )


def task(kind: NeedKind, position_key: int | None = None) -> Task:
    return Task("key", kind, Source.FORECAST, "", 0, position=position_key)


def counted(site: SimulatedSite) -> dict[str, float]:
    return dict(zip(MEASURES, site.tally.row(), strict=True))


def test_a_visit_costs_its_way_and_its_minutes() -> None:
    site = begun(CARBON)
    site.visit(10.0, [])
    assert counted(site) == {
        "visits": 1.0, "parts": 0.0, "days_at_risk": 0.0, "visit_money": pytest.approx(VISIT), "parts_money": 0.0,
        "bad_water_money": 0.0, "money": pytest.approx(VISIT),
    }  # fmt: skip
    # an inspection takes 10 minutes, a sanitising 25
    site.visit(20.0, [WorkAtUnit(site.units[0], (task(NeedKind.INSPECT), task(NeedKind.SANITISE)))])
    assert site.tally.visit_money == pytest.approx(2 * VISIT + 35 * 0.60)
    assert site.units[0].sanitised_on == 20.0
    assert site.tally.parts == 0


def test_what_planning_wants_replaced_is_replaced_for_its_minutes_once() -> None:
    site = begun(CARBON, position(2, 300.0))
    site.visit(10.0, [WorkAtUnit(site.units[0], (task(NeedKind.REPLACE, 1),))])
    assert (site.tally.parts, site.tally.parts_money) == (1, 24.0)
    assert site.tally.visit_money == pytest.approx(VISIT + 12 * 0.60)
    assert site.units[0].cartridges[1].exhausted_on == 210.0
    assert site.units[0].cartridges[2].exhausted_on == 300.0


@pytest.mark.parametrize(("kind", "minutes", "key"), [(NeedKind.ROTATE, 15, 12), (NeedKind.REPLACE, 12, None)])
def test_a_rotation_moves_the_lag_up_and_a_replacement_does_not(kind: NeedKind, minutes: int, key: int | None) -> None:
    site = begun(LEAD, LAG)
    site.visit(40.0, [WorkAtUnit(site.units[0], (task(kind, 1),))])
    assert site.tally.visit_money == pytest.approx(VISIT + minutes * 0.60)
    assert site.tally.parts == 1
    assert (site.units[0].cartridges[1].key == 12) is (key is not None)


def test_what_is_found_exhausted_is_changed_though_nobody_asked_and_counts_until_then() -> None:
    site = begun(CARBON, position(2, 300.0))
    site.visit(130.0, [])
    assert site.tally.parts == 1
    assert site.tally.visit_money == pytest.approx(VISIT + 12 * 0.60)
    assert (site.tally.days_at_risk, site.tally.bad_water_money) == (30.0, 240.0)
    assert site.units[0].cartridges[1].exhausted_on == 330.0


def test_an_exhausted_lead_is_rotated_and_no_day_was_bad() -> None:
    site = begun(LEAD, LAG)
    site.visit(60.0, [])
    assert site.units[0].cartridges[1].key == 12
    assert (site.tally.parts, site.tally.days_at_risk) == (1, 0.0)
    assert site.tally.visit_money == pytest.approx(VISIT + 15 * 0.60)


def test_what_the_calendar_changes_takes_its_minutes_too() -> None:
    site = begun(CARBON, LEAD, LAG)
    unit = site.units[0]
    site.visit(10.0, [WorkAtUnit(unit, changed=(LEAD,))])
    assert site.tally.visit_money == pytest.approx(VISIT + 15 * 0.60)
    assert unit.cartridges[1].key == 12


def test_each_unit_has_its_own_work_and_a_visit_reads_them_all() -> None:
    site = begun(CARBON, units=2)
    site.visit(10.0, [WorkAtUnit(site.units[1], (task(NeedKind.REPLACE, 1),))])
    assert [unit.cartridges[1].exhausted_on for unit in site.units] == [100.0, 210.0]
    assert [unit.last_visit for unit in site.units] == [10.0, 10.0]
    assert (site.tally.visits, site.tally.parts) == (1, 1)


def test_the_units_of_a_site_have_chances_of_their_own() -> None:
    numbers: list[int] = []
    facts = UnitFacts(3, "reef", LONG_AGO, positions=(position(1, 9.0), position(2, 9.0)))
    SimulatedSite.begin(
        OutlookSite(9, (OutlookUnit(facts), OutlookUnit(facts))), span=Span(FIRST_DAY), prices=POLICY, travel_cost=0.0,
        chance=lambda number, generation: float(numbers.append(number) or 0.5),
    )  # fmt: skip
    assert numbers == [0, 1, 2, 3]


@pytest.mark.parametrize(("day", "counts"), [(49.0, False), (50.0, True), (149.0, True), (150.0, False)])
def test_only_the_days_after_settling_count(day: float, counts: bool) -> None:
    site = begun(CARBON, settle_days=50, days=100)
    site.visit(day, [WorkAtUnit(site.units[0], (task(NeedKind.REPLACE, 1),))])
    assert (site.tally.visits, site.tally.parts) == ((1, 1) if counts else (0, 0))
    assert (site.tally.parts_money > 0.0) is (site.tally.visit_money > 0.0) is counts


@pytest.mark.parametrize(("late_on", "days"), [(20.0, 100.0), (60.0, 90.0), (149.5, 0.5), (150.0, 0.0), (-9.0, 100.0)])
def test_what_nobody_changed_is_counted_to_the_end(late_on: float, days: float) -> None:
    site = begun(position(1, late_on), settle_days=50, days=100)
    site.end()
    assert site.tally.days_at_risk == pytest.approx(days)
    assert site.tally.bad_water_money == pytest.approx(8.0 * days)


def test_of_what_was_exhausted_before_the_first_day_the_days_from_it_on_count() -> None:
    site = begun(position(1, -30.0))
    site.visit(3.0, [])
    assert site.tally.days_at_risk == 3.0


def test_money_is_the_sum_of_its_three_parts() -> None:
    row = Tally(1.0, 2.0, 3.0, 0.1, 0.2, 0.3).row()
    assert row[:6] == [1.0, 2.0, 3.0, 0.1, 0.2, 0.3]
    assert row[6] == pytest.approx(0.6)


def test_a_day_has_a_date() -> None:
    assert begun(CARBON).today(9.9) == FIRST_DAY + datetime.timedelta(days=9)


@pytest.mark.parametrize(
    ("values", "field"),
    [({"draws": 0}, "draws"), ({"draws": 1001}, "draws"), ({"days": 0}, "days"), ({"settle_days": -1}, "days"),
     ({"days": 1000, "settle_days": 97}, "days")],
)  # fmt: skip
def test_a_span_that_cannot_be_is_refused(values: dict[str, int], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        Span(FIRST_DAY, **values)
    assert caught.value.field == field


def test_the_largest_spans_and_the_shortest_intervals_are_taken() -> None:
    assert Span(FIRST_DAY, days=1000, settle_days=96, draws=1000).end == 1096
    assert Span(FIRST_DAY, days=1, draws=1).end == 1
    assert Way("week", POLICY, interval_days=7).interval_days == 7
    for values in ({"interval_days": 6}, {"interval_days": 0}):
        with pytest.raises(PlanningError, match="at least 7"):
            Way("short", POLICY, **values)
    facts = UnitFacts(3, "reef", LONG_AGO)
    assert OutlookUnit(facts, 1.0).reading_interval_days == 1.0
    with pytest.raises(PlanningError, match="at least 1"):
        OutlookUnit(facts, 0.9)
