"""Visits: proposed by bundling, confirmed, moved, called off, done."""

from datetime import datetime, timedelta

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from fleet.models import Finding
from scheduling.models import Need, Plan, Stop, Visit, VisitTask
from scheduling.services.needs.needs import add_need, refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.visits import proposals
from scheduling.services.visits.outcomes import TaskOutcome
from scheduling.services.visits.visits import (
    cancel_visit,
    complete_visit,
    confirm_visit,
    propose_visits,
    unconfirm_visit,
)
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town

TUESDAY_AT_TEN = datetime(2026, 3, 3, 9, 0, tzinfo=NOW.tzinfo)  # ten o'clock in Berlin


def _night(town: Town, now: datetime = NOW) -> proposals.VisitsProposed:
    refresh_needs(company=town.company, now=now)
    return propose_visits(company=town.company, now=now)


def _due_unit(town: Town) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "sediment"), 6)
    town.forecast(town.position(unit, "resin", "lead"), 4)


def test_the_needs_of_a_site_become_one_visit_in_order_of_work(town: Town) -> None:
    _due_unit(town)
    town.finding(
        town.position(Need.objects.model._meta.apps.get_model("fleet.Unit").objects.get(), "carbon").unit,
        "probes_swapped",
    )
    counts = _night(town)
    visit = Visit.objects.get()
    assert counts.opened == 1
    assert [task.need.label for task in visit.tasks.all()] == ["probes", "sediment filter", "carbon", "lead resin"]
    assert visit.is_urgent
    assert visit.earliest_day <= visit.best_day <= visit.latest_day
    assert visit.best_day < TODAY + timedelta(days=5)
    # common practice, no source: 15 minutes to come and go, 10 to inspect, 12 for each replacement, 15 for a rotation
    assert visit.minutes == 15 + 10 + 12 + 12 + 15
    assert "EUR" in visit.reason
    assert all(task.reason for task in visit.tasks.all())


def test_work_that_stands_at_no_position_is_named_by_what_is_done(town: Town, office: Membership) -> None:
    unit = town.unit()
    for cause in ("tank_biofilm", "restrictor_missing"):
        town.finding(unit, cause)
    refresh_needs(company=town.company, now=NOW)
    add_need(by=office, unit=unit, kind=Need.Kind.INSPECT, reason="The client asks for it.", now=NOW)
    propose_visits(company=town.company, now=NOW)
    reason_of = {task.need.kind: task.reason for task in VisitTask.objects.select_related("need")}
    assert reason_of["inspect"].startswith("Inspect and take readings")
    assert reason_of["inspect"][len("Inspect and take readings")] in ";:."
    assert reason_of["sanitise"].startswith("Sanitise (tank and housings)")
    assert reason_of["replace_restrictor"].startswith("Replace flow restrictor")
    assert "Replace flow restrictor, flow" not in reason_of["replace_restrictor"]


def _by_hand(town: Town, visit: Visit, day: int) -> float:
    """What a visit costs on a day: its price, less a share for each day of the usual interval, and its tasks then."""
    planning = read_policy(company=town.company).planning
    price = planning.visit_cost + planning.removal_minutes * planning.working_cost_per_minute + visit.travel_cost
    needs = [task.need for task in visit.tasks.select_related("need__forecast")]
    lives = [180.0 for need in needs if need.forecast is not None]
    weeks = min(max(min(lives) / 7.0, planning.visit_interval_weeks / 4.0), planning.visit_interval_weeks * 2.0)
    put_off = 0.0 if visit.is_urgent else min(day / (7.0 * weeks), 1.0)
    return price * (1.0 - put_off) - visit.travel_cost + sum(need.cost_curve[day] for need in needs)


@pytest.mark.parametrize("is_urgent", [False, True])
def test_costs_by_day_are_the_price_of_going_and_what_the_tasks_cost(
    town: Town, office: Membership, is_urgent: bool
) -> None:
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "sediment"), 36)
    town.forecast(town.position(unit, "carbon"), 34)
    refresh_needs(company=town.company, now=NOW)
    if is_urgent:
        add_need(by=office, unit=unit, kind=Need.Kind.REPAIR, reason="It leaks.", is_urgent=True, now=NOW)
    propose_visits(company=town.company, now=NOW)
    visit = Visit.objects.get()
    assert visit.is_urgent is is_urgent
    assert len(visit.costs) == 84
    # each task's curve is stored rounded to the cent
    expected = [_by_hand(town, visit, day) for day in (0, 4, 5, 30, 83)]
    assert [visit.costs[day] for day in (0, 4, 5, 30, 83)] == pytest.approx(expected, abs=0.03)


def test_a_second_proposal_the_same_night_changes_nothing(town: Town) -> None:
    _due_unit(town)
    _due_unit(town)
    _night(town)
    rows = list(Visit.objects.values()), list(VisitTask.objects.values())
    counts = _night(town, NOW + timedelta(hours=1))
    assert (counts.opened, counts.changed, counts.withdrawn, counts.unchanged) == (0, 0, 0, 2)
    assert (list(Visit.objects.values()), list(VisitTask.objects.values())) == rows


def test_a_visit_is_withdrawn_when_nothing_is_due_any_more(town: Town) -> None:
    finding = town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    Finding.objects.filter(pk=finding.pk).update(state="closed")
    assert _night(town).withdrawn == 1
    assert Visit.objects.get().state == "cancelled"


def test_a_confirmed_visit_keeps_its_time_and_its_tasks(town: Town, office: Membership) -> None:
    town.installer("Ada")
    unit = town.unit()
    town.finding(unit, "shutoff_valve_fault")
    _night(town)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=TUESDAY_AT_TEN, now=NOW)
    before = list(Visit.objects.values()), list(VisitTask.objects.values())
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    assert (list(Visit.objects.values()), list(VisitTask.objects.values())) == before


@pytest.mark.parametrize(("days_left", "joins"), [(175, False), (60, True)])
def test_a_filter_fitted_last_week_does_not_join_a_confirmed_visit(
    town: Town, office: Membership, days_left: int, joins: bool
) -> None:
    town.installer("Ada")
    unit = town.unit()
    town.finding(unit, "shutoff_valve_fault")
    _night(town)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=TUESDAY_AT_TEN, now=NOW)
    town.forecast(town.position(unit, "sediment"), days_left)
    _night(town)
    assert Need.objects.filter(label="sediment filter", state="open").exists()
    additions = Visit.objects.get(state="confirmed").additions.all()
    assert ("sediment filter" in [addition.need.label for addition in additions]) is joins


def test_a_confirmed_visit_whose_day_went_by_gives_its_needs_back(town: Town, office: Membership) -> None:
    town.installer("Ada")
    town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=TUESDAY_AT_TEN, now=NOW)
    _night(town, NOW + timedelta(days=3))
    assert list(Visit.objects.order_by("pk").values_list("state", flat=True)) == ["confirmed", "proposed"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"appointment_at": NOW - timedelta(hours=1)}, "/appointment_at"),
        ({"appointment_at": TUESDAY_AT_TEN.replace(second=5)}, "/appointment_at"),
        ({"appointment_at": TUESDAY_AT_TEN.replace(hour=3)}, "/appointment_at"),
        ({"appointment_at": TUESDAY_AT_TEN + timedelta(days=5)}, "/appointment_at"),
        ({"appointment_at": TUESDAY_AT_TEN.replace(hour=15, minute=55)}, "/appointment_at"),
    ],
    ids=["gone by", "seconds", "before the shift", "on Sunday", "runs past the shift"],
)
@pytest.mark.parametrize("named", [True, False], ids=["confirmed", "anyone"])
def test_a_time_at_which_nobody_works_is_refused(
    town: Town, office: Membership, change: dict[str, datetime], pointer: str, named: bool
) -> None:
    ada = town.installer("Ada")
    town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    visit = Visit.objects.get()
    with pytest.raises(InvalidInput) as error:
        confirm_visit(visit=visit, by=office, now=NOW, installer=ada if named else None, **change)
    assert [fault.pointer for fault in error.value.faults] == [pointer]
    visit.refresh_from_db()
    assert visit.state == "proposed"


def test_another_companys_installer_is_refused(town: Town, office: Membership, rival: Membership) -> None:
    foreign_installer = Town(rival.company).installer("Rolf")
    town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    with pytest.raises(InvalidInput, match="not an active installer"):
        confirm_visit(
            visit=Visit.objects.get(), by=office, appointment_at=TUESDAY_AT_TEN, installer=foreign_installer, now=NOW
        )


def test_moves_that_are_legal_and_those_that_are_not(town: Town, office: Membership) -> None:
    town.installer("Ada")
    town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    visit = Visit.objects.get()
    with pytest.raises(Conflict):
        unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    confirm_visit(visit=visit, by=office, appointment_at=TUESDAY_AT_TEN, now=NOW)
    confirm_visit(visit=visit, by=office, appointment_at=TUESDAY_AT_TEN + timedelta(hours=1), now=NOW)
    unconfirm_visit(visit=visit, by=office, note="Client is ill.", now=NOW)
    outcomes = [TaskOutcome(task.need, True) for task in visit.tasks.all()]
    complete_visit(visit=visit, by=office, tasks=outcomes, now=NOW)
    for move in (
        lambda: confirm_visit(visit=visit, by=office, appointment_at=TUESDAY_AT_TEN, now=NOW),
        lambda: unconfirm_visit(visit=visit, by=office, note="", now=NOW),
        lambda: cancel_visit(visit=visit, by=office, note="", now=NOW),
        lambda: complete_visit(visit=visit, by=office, now=NOW),
    ):
        with pytest.raises(Conflict):
            move()
    visit.refresh_from_db()
    assert (visit.state, visit.revision, visit.closed_at) == ("done", 4, NOW)
    assert list(AuditEntry.objects.order_by("pk").values_list("action", flat=True)) == [
        "confirm visit",
        "confirm visit",
        "unconfirm visit",
        "complete visit",
    ]


def test_a_time_given_back_merges_into_the_other_proposed_visit(town: Town, office: Membership) -> None:
    town.installer("Ada")
    unit = town.unit()
    town.finding(unit, "shutoff_valve_fault")
    _night(town)
    visit = Visit.objects.get()
    in_four_weeks = TUESDAY_AT_TEN + timedelta(days=28)
    confirm_visit(visit=visit, by=office, appointment_at=in_four_weeks, now=NOW)
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    assert Visit.objects.filter(state="proposed").count() == 1
    unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    remaining_visit = Visit.objects.get(state="proposed")
    assert {task.need.label for task in remaining_visit.tasks.all()} == {"carbon", "automatic shut-off valve"}
    assert remaining_visit.minutes == 15 + 12 + 40


def test_a_time_given_back_leaves_the_visit_that_a_published_round_leads_to(town: Town, office: Membership) -> None:
    town.installer("Ada")
    unit = town.unit()
    town.finding(unit, "shutoff_valve_fault")
    _night(town)
    plan_rounds(company=town.company, by=None, now=NOW, iterations=50)
    visit = Visit.objects.get()
    assert Stop.objects.get().visit == visit
    Plan.objects.update(state="published", published_at=NOW)
    in_four_weeks = TUESDAY_AT_TEN + timedelta(days=28)
    confirm_visit(visit=visit, by=office, appointment_at=in_four_weeks, now=NOW)
    town.forecast(town.position(unit, "carbon"), 0)
    _night(town)
    other = Visit.objects.get(state="proposed")
    unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    visit.refresh_from_db()
    other.refresh_from_db()
    assert (visit.state, other.state) == ("proposed", "cancelled")
    assert {task.need.label for task in visit.tasks.all()} == {"carbon", "automatic shut-off valve"}
    assert visit.minutes == 15 + 12 + 40


def test_a_cancelled_visits_needs_are_proposed_again(town: Town, office: Membership) -> None:
    town.finding(town.unit(), "shutoff_valve_fault")
    _night(town)
    cancel_visit(visit=Visit.objects.get(), by=office, note="No van.", now=NOW)
    assert _night(town).opened == 1
    assert Need.objects.get().state == "open"
