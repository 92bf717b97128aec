"""A locked stop stays with its installer, on its day, at its time, through new plans and repaired ones."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from scheduling.models import Installer, Plan, Stop, Visit
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.rounds.replanning import Happened, InstallerIsOut, replan_day
from scheduling.services.visits.locks import holds, lock_stop, unlock_visit
from scheduling.services.visits.visits import confirm_visit
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

SIX = datetime(2026, 3, 2, 6, 0, tzinfo=ZoneInfo("Europe/Berlin"))


@pytest.fixture
def crew(town: Town) -> list[Installer]:
    return [town.installer("Ada"), town.installer("Ben", east_km=14.0)]


@pytest.fixture
def plan(town: Town, crew: list[Installer]) -> Plan:
    return run_night(town, sites=6)


def _slot(visit: Visit, plan: Plan) -> tuple[datetime, int]:
    stop = Stop.objects.select_related("round").get(visit=visit, round__plan=plan)
    return stop.starts_at, stop.round.installer_id


def _again(town: Town) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan


def _awkward(plan: Plan, crew: list[Installer]) -> Stop:
    """A stop put where no planner would: with the installer farther away, late in the afternoon."""
    stop = Stop.objects.filter(round__plan=plan).select_related("round__plan", "visit").order_by("pk").last()
    other = next(i for i in crew if i.pk != stop.round.installer_id)
    other_round = plan.rounds.filter(installer=other).first() or plan.rounds.create(
        installer=other, day=stop.round.day, leaves_at=NOW, returns_at=NOW, driving_minutes=0, driving_km=0
    )
    starts = datetime.combine(other_round.day, datetime.min.time(), tzinfo=SIX.tzinfo) + timedelta(hours=15)
    Stop.objects.filter(pk=stop.pk).update(round=other_round, order=90, starts_at=starts)
    return Stop.objects.select_related("round__plan", "visit").get(pk=stop.pk)


def test_the_next_plan_keeps_a_locked_stop(town: Town, plan: Plan, crew: list[Installer], office: Membership) -> None:
    stop = _awkward(plan, crew)
    lock_stop(stop=stop, by=office, reason="The caretaker has the key at three.", now=NOW)
    fresh = _again(town)
    assert fresh != plan
    assert _slot(stop.visit, fresh) == (stop.starts_at, stop.round.installer_id)
    assert fresh.faults == []
    row = Visit.objects.get(pk=stop.visit_id)
    assert (row.locked_by, row.locked_at, row.lock_reason) == (office, NOW, "The caretaker has the key at three.")
    unlock_visit(visit=row, by=office, note="Key handed over.", now=NOW)
    free = _again(town)
    assert _slot(stop.visit, free) != (stop.starts_at, stop.round.installer_id)
    entries = AuditEntry.objects.filter(subject_kind="visit").order_by("pk").values_list("action", "details")
    assert [action for action, _ in entries] == ["lock visit", "unlock visit"]
    assert entries[1][1]["why"] == "Key handed over."


def test_a_repaired_plan_keeps_a_locked_stop(town: Town, plan: Plan, crew: list[Installer], office: Membership) -> None:
    stop = _awkward(plan, crew)
    lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW)
    published = publish_plan(
        plan=plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan, by=office, now=NOW
    )
    other = next(i for i in crew if i.pk != stop.round.installer_id)
    happened = Happened(installers_out=[InstallerIsOut(other, SIX, date(2026, 3, 6))])
    repaired = replan_day(plan=published, by=office, now=SIX, happened=happened, days=5, iterations=200, publish=True)
    assert _slot(stop.visit, repaired) == (stop.starts_at, stop.round.installer_id)
    assert Visit.objects.get(pk=stop.visit_id).locked_start == stop.starts_at


def test_when_its_installer_is_ill_the_client_matters_more_than_the_lock(
    town: Town, plan: Plan, crew: list[Installer], office: Membership
) -> None:
    stop = _awkward(plan, crew)
    lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW)
    published = publish_plan(
        plan=plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan, by=office, now=NOW
    )
    happened = Happened(installers_out=[InstallerIsOut(stop.round.installer, SIX, date(2026, 3, 6))])
    repaired = replan_day(
        plan=published,
        by=office,
        now=SIX,
        happened=happened,
        days=5,
        iterations=200,
        publish=True,
    )
    other = next(i for i in crew if i.pk != stop.round.installer_id)
    assert _slot(stop.visit, repaired) == (stop.starts_at, other.pk)
    assert stop.visit_id in [row["visit"] for row in repaired.differences]
    assert Visit.objects.get(pk=stop.visit_id).locked_start is None
    assert AuditEntry.objects.filter(action="unlock visit").exists()


def test_a_draft_that_is_older_than_a_lock_is_not_published(plan: Plan, office: Membership) -> None:
    stop = Stop.objects.select_related("round__plan").first()
    lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW)
    Visit.objects.filter(pk=stop.visit_id).update(locked_start=stop.starts_at + timedelta(hours=1))
    with pytest.raises(Conflict, match="locked at another time"):
        publish_plan(plan=plan, by=office, now=NOW)


def test_what_is_confirmed_with_the_client_takes_the_place_of_a_lock(plan: Plan, office: Membership) -> None:
    stop = Stop.objects.select_related("round__plan").first()
    lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW)
    confirm_visit(visit=stop.visit, by=office, appointment_at=stop.starts_at.replace(second=0), now=NOW)
    row = Visit.objects.get(pk=stop.visit_id)
    assert (row.locked_start is None) == (stop.starts_at.second != 0)
    confirm_visit(visit=stop.visit, by=office, appointment_at=datetime(2026, 3, 4, 9, 0, tzinfo=SIX.tzinfo), now=NOW)
    assert Visit.objects.get(pk=stop.visit_id).locked_start is None


def test_only_what_is_to_come_is_locked_and_with_a_reason(plan: Plan, office: Membership) -> None:
    stop = Stop.objects.select_related("round__plan").first()
    with pytest.raises(InvalidInput, match="reason is required"):
        lock_stop(stop=stop, by=office, reason="  ", now=NOW)
    with pytest.raises(Conflict, match="has begun"):
        lock_stop(stop=stop, by=office, reason="Key.", now=stop.starts_at)
    for state in ("on_the_way", "in_progress", "done", "not_done", "cancelled"):
        Visit.objects.update(state=state)
        with pytest.raises(Conflict, match="cannot be locked"):
            lock_stop(stop=stop, by=office, reason="Key.", now=NOW)
    assert not AuditEntry.objects.filter(action="lock visit").exists()


def test_a_lock_holds_until_its_time_has_gone_by(plan: Plan, office: Membership) -> None:
    stop = Stop.objects.select_related("round__plan").first()
    visit = lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW).visit
    moment = timedelta(seconds=1)
    assert [holds(visit, stop.starts_at + off) for off in (-moment, timedelta(0), moment)] == [True, True, False]
    visit.state = Visit.State.DONE
    assert not holds(visit, NOW)
    visit.state = Visit.State.PROPOSED
    visit.locked_installer.is_active = False
    assert not holds(visit, NOW)


def test_yesterdays_lock_does_not_bind_todays_plan(town: Town, plan: Plan, crew: list[Installer], office: Membership):
    stop = _awkward(plan, crew)
    lock_stop(stop=stop, by=office, reason="Key at three.", now=NOW)
    after = (stop.starts_at + timedelta(days=1)).replace(hour=5, minute=0)
    fresh = plan_rounds(company=town.company, by=None, now=after, iterations=200).plan
    starts_at, installer = _slot(stop.visit, fresh)
    assert starts_at > after
    assert (starts_at.timetz(), installer) != (stop.starts_at.timetz(), stop.round.installer_id)
