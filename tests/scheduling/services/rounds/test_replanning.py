"""The day goes wrong: what has begun stays, the rest is repaired, and everybody concerned is named."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import AuditEntry, Membership
from scheduling.models import Absence, Installer, Need, Plan, Round, Stop, UnservedVisit, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.rounds.replanning import (
    Happened,
    InstallerIsOut,
    UrgentCall,
    VisitIsOff,
    VisitOverruns,
    replan_day,
)
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")
TEN = datetime(2026, 3, 2, 10, 0, tzinfo=BERLIN)


@pytest.fixture
def crew(town: Town) -> dict[str, Installer]:
    return {name: town.installer(name, east_km=east) for name, east in (("Ada", 0.0), ("Ben", 12.0))}


@pytest.fixture
def published(town: Town, office: Membership, crew: dict[str, Installer]) -> Plan:
    """Ten urgent visits on Monday, some of them confirmed."""
    for k in range(10):
        town.forecast(town.position(town.unit(town.site(east_km=1.5 * k, north_km=2.0 * (k % 3))), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    Visit.objects.update(minutes=60)
    return publish_plan(plan=_plan(town), by=office, now=NOW)


def _plan(town: Town) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=400).plan


def _repair(plan: Plan, by: Membership, now: datetime = TEN, **happened: object) -> Plan:
    more = {key: happened.pop(key) for key in ("publish", "days") if key in happened}
    return replan_day(plan=plan, by=by, now=now, happened=Happened(**happened), iterations=300, **more)


def _slots(plan: Plan) -> dict[int, tuple[int, datetime]]:
    stops = Stop.objects.filter(round__plan=plan).select_related("round")
    return {s.visit_id: (s.round.installer_id, s.starts_at) for s in stops}


def _begun(plan: Plan, now: datetime = TEN) -> set[int]:
    stops = Stop.objects.filter(round__plan=plan)
    return {s.visit_id for s in stops if s.arrives_at - timedelta(minutes=s.driving_minutes) <= now}


def _check_drivable(plan: Plan) -> None:
    assert plan.faults == []
    for round_ in Round.objects.filter(plan=plan):
        at = round_.leaves_at
        for order, stop in enumerate(round_.stops.all(), start=1):
            assert stop.order == order
            assert at <= stop.arrives_at <= stop.starts_at < stop.leaves_at
            assert (stop.starts_at - at).total_seconds() >= 60 * stop.driving_minutes - 60
            at = stop.leaves_at
        assert at <= round_.returns_at


def test_when_nothing_went_wrong_nothing_changes(published: Plan, office: Membership) -> None:
    repaired = _repair(published, office)
    assert (repaired.state, repaired.based_on, repaired.differences) == ("draft", published, [])
    assert repaired.first_day == published.first_day
    assert _slots(repaired).keys() == _slots(published).keys()
    _check_drivable(repaired)


def test_somebody_ill_from_ten_is_stood_in_for(published: Plan, office: Membership, crew: dict[str, Installer]) -> None:
    before, begun = _slots(published), _begun(published)
    ill = crew["Ada"]
    their_visits = {v for v, (installer_id, _) in before.items() if installer_id == ill.pk} - begun
    assert begun
    assert their_visits
    repaired = _repair(published, office, installers_out=[InstallerIsOut(ill, TEN)])
    _check_drivable(repaired)
    after = _slots(repaired)
    # under way stays: the work that had begun before ten is finished by whoever is there
    assert {v: after[v] for v in begun if before[v][1] < TEN} == {v: before[v] for v in begun if before[v][1] < TEN}
    monday = {
        v for v, (installer_id, at) in after.items() if installer_id == ill.pk and at >= TEN and at.date() == TODAY
    }
    assert monday == set()
    changed = {row["visit"] for row in repaired.differences}
    assert their_visits <= changed
    assert all(ill.pk in row["tell_installers"] for row in repaired.differences if row["visit"] in their_visits)
    for row in repaired.differences:
        assert row["sentence"]
        assert (row["after"] is None) == (row["visit"] not in after)
    entry = AuditEntry.objects.get(action="replan")
    assert entry.details["based_on"] == published.pk


def test_who_is_out_stays_out_when_the_plan_is_repaired_again(
    published: Plan, office: Membership, crew: dict[str, Installer]
) -> None:
    ill = crew["Ben"]
    out = InstallerIsOut(ill, TEN, date(2026, 3, 3))
    first = _repair(published, office, installers_out=[out], publish=True)
    later = TEN + timedelta(hours=2)
    second = _repair(first, office, later)
    _check_drivable(second)
    assert not Round.objects.filter(plan=second, installer=ill, day=date(2026, 3, 3)).exists()
    absence = Absence.objects.get()
    assert (absence.installer, absence.last_day, absence.from_time) == (ill, date(2026, 3, 3), TEN.time())
    assert ([row["kind"] for row in first.happened], second.happened) == (["installer_out"], [])
    # what had begun between the two stays where the first repair put it
    begun = _begun(first, later)
    assert {v: _slots(second)[v] for v in begun} == {v: _slots(first)[v] for v in begun}
    assert second.differences == []


def test_an_overrun_pushes_what_follows_and_is_remembered(published: Plan, office: Membership) -> None:
    begun = _begun(published)
    stop = Stop.objects.filter(round__plan=published, visit__in=begun).order_by("-order").first()
    assert stop is not None
    repaired = _repair(published, office, overruns=[VisitOverruns(stop.visit, 90)])
    _check_drivable(repaired)
    copy = Stop.objects.get(round__plan=repaired, visit=stop.visit)
    assert copy.leaves_at == stop.leaves_at + timedelta(minutes=90)
    following = Stop.objects.filter(round=copy.round, order__gt=copy.order)
    assert all(s.starts_at > copy.leaves_at for s in following)
    assert repaired.differences
    assert {row["kind"] for row in repaired.differences} <= {"retimed", "reassigned", "rescheduled", "dropped"}


def test_a_visit_the_client_cancelled_is_cancelled_and_its_installer_told(published: Plan, office: Membership) -> None:
    stop = Stop.objects.filter(round__plan=published, starts_at__gt=TEN).order_by("-starts_at").first()
    assert stop is not None
    repaired = _repair(published, office, cancelled=[VisitIsOff(stop.visit, "On holiday.")])
    visit = Visit.objects.get(pk=stop.visit_id)
    assert (visit.state, visit.closing_note) == ("cancelled", "On holiday.")
    row = next(row for row in repaired.differences if row["visit"] == visit.pk)
    assert (row["kind"], row["tell_client"], row["after"]) == ("cancelled", False, None)
    assert row["tell_installers"] == [stop.round.installer_id]
    # told again, because the answer was lost: the same
    assert _repair(published, office, cancelled=[VisitIsOff(stop.visit)]).differences == repaired.differences


def test_a_site_that_cancelled_its_visit_is_not_brought_back_by_the_same_repair(
    published: Plan, office: Membership, town: Town
) -> None:
    """An urgent call elsewhere has all visits proposed anew, that of the client on holiday too."""
    stop = Stop.objects.filter(round__plan=published, starts_at__gt=TEN).order_by("-starts_at").first()
    assert stop is not None
    call = UrgentCall(town.unit(town.site(east_km=6.0)), "No water at all.")
    repaired = _repair(published, office, cancelled=[VisitIsOff(stop.visit)], urgent=[call])
    site = stop.visit.site
    assert Visit.objects.filter(site=site, state="proposed").exists()
    assert not Stop.objects.filter(round__plan=repaired, visit__site=site).exists()
    assert Stop.objects.filter(round__plan=repaired, visit__site=call.unit.site).exists()
    # nor by the next one, unless that site itself calls for somebody
    repaired = publish_plan(plan=repaired, by=office, now=TEN)
    later = _repair(repaired, office)
    assert not Stop.objects.filter(round__plan=later, visit__site=site).exists()
    back = _repair(repaired, office, urgent=[UrgentCall(stop.visit.site.units.get(), "It leaks.")])
    assert Stop.objects.filter(round__plan=back, visit__site=site).exists()


def test_an_urgent_call_is_a_need_a_visit_and_a_stop_of_today(published: Plan, office: Membership, town: Town) -> None:
    unit = town.unit(town.site(east_km=6.0, north_km=-2.0))
    repaired = _repair(published, office, urgent=[UrgentCall(unit, "No water at all.")])
    need = Need.objects.get(unit=unit, kind="repair")
    assert (need.is_urgent, need.reason) == (True, "No water at all.")
    visit = Visit.objects.get(site=unit.site)
    assert (visit.state, visit.is_urgent) == ("proposed", True)
    stop = Stop.objects.get(round__plan=repaired, visit=visit)
    assert TEN < stop.starts_at < TEN + timedelta(days=2)
    row = next(row for row in repaired.differences if row["visit"] == visit.pk)
    assert (row["kind"], row["tell_client"]) == ("added", True)
    _check_drivable(repaired)


def test_an_appointment_that_nobody_can_keep_is_moved_on_publication_and_said(town: Town, office: Membership) -> None:
    ada = town.installer("Ada")
    for k in range(2):
        town.forecast(town.position(town.unit(town.site(east_km=2.0 * k + 1)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    visit = Visit.objects.order_by("pk").first()
    assert visit is not None
    at = datetime(2026, 3, 2, 14, 0, tzinfo=BERLIN)
    confirm_visit(visit=visit, by=office, appointment_at=at, installer=ada, now=NOW)
    plan = publish_plan(plan=_plan(town), by=office, now=NOW)
    repaired = _repair(plan, office, installers_out=[InstallerIsOut(ada, TEN)])
    row = next(row for row in repaired.differences if row["visit"] == visit.pk)
    assert (row["kind"], row["tell_client"]) == ("rescheduled", True)
    visit.refresh_from_db()
    assert visit.appointment_at == at
    publish_plan(plan=repaired, by=office, now=TEN)
    visit.refresh_from_db()
    assert visit.appointment_at == Stop.objects.get(round__plan=repaired, visit=visit).starts_at
    assert visit.appointment_at.astimezone(BERLIN).date() == date(2026, 3, 3)
    assert AuditEntry.objects.filter(action="move appointment").count() == 1
    plan.refresh_from_db()
    assert plan.state == "replaced"


def test_a_repaired_draft_is_stale_when_the_appointment_was_set_anew(published: Plan, office: Membership) -> None:
    repaired = _repair(published, office)
    stop = Stop.objects.filter(round__plan=repaired, starts_at__gt=TEN).first()
    assert stop is not None
    at = datetime(2026, 3, 4, 11, 0, tzinfo=BERLIN)
    confirm_visit(visit=stop.visit, by=office, appointment_at=at, now=TEN)
    with pytest.raises(Conflict, match="confirmed for another time since"):
        publish_plan(plan=repaired, by=office, now=TEN)


def test_days_that_are_not_planned_again_are_taken_over(published: Plan, office: Membership, town: Town) -> None:
    tuesday = datetime(2026, 3, 3, 7, 0, tzinfo=BERLIN)
    repaired = _repair(published, office, tuesday, publish=True)
    monday = [(s.visit_id, s.starts_at) for s in Stop.objects.filter(round__plan=published, round__day=TODAY)]
    assert monday
    assert [(s.visit_id, s.starts_at) for s in Stop.objects.filter(round__plan=repaired, round__day=TODAY)] == monday


def test_a_site_closed_on_the_days_planned_again_keeps_the_reason_of_the_whole_plan(
    published: Plan, office: Membership, town: Town
) -> None:
    site = town.site(east_km=3.0)
    town.window(site, 3, time(9, 0), time(12, 0))
    town.forecast(town.position(town.unit(site), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    visit = site.visits.get()
    reason = {"reason": "dearer_than_waiting", "sentence": "The cheapest way costs 3.00 EUR more than waiting."}
    UnservedVisit.objects.create(plan=published, visit=visit, **reason)
    unserved = _repair(published, office, days=2).unserved.get(visit=visit)
    assert (unserved.reason, unserved.sentence) == (reason["reason"], reason["sentence"])
    # one that the plan before said nothing of is told what its days say
    UnservedVisit.objects.filter(visit=visit).delete()
    assert _repair(published, office, days=2).unserved.get(visit=visit).reason == "no_open_day"


@pytest.mark.parametrize("state", ["draft", "replaced"])
def test_only_a_published_plan_is_repaired(published: Plan, office: Membership, state: str) -> None:
    published.state = state
    with pytest.raises(Conflict, match="only a published"):
        _repair(published, office)


def test_a_plan_that_has_gone_by_is_not_repaired(published: Plan, office: Membership) -> None:
    with pytest.raises(Conflict, match="has ended"):
        _repair(published, office, TEN + timedelta(days=9))


def test_what_cannot_have_happened_is_refused_whole(published: Plan, office: Membership, town: Town) -> None:
    later = Stop.objects.filter(round__plan=published, starts_at__gt=TEN + timedelta(hours=2)).first()
    first = Stop.objects.filter(round__plan=published).order_by("starts_at").first()
    assert later is not None
    assert first is not None
    finished_visit = first.visit
    finished_visit.state = "not_done"
    finished_visit.save()
    ada = Installer.objects.get(name="Ada")
    with pytest.raises(InvalidInput) as error:
        _repair(
            published,
            office,
            installers_out=[InstallerIsOut(ada, TEN, date(2026, 3, 1))],
            overruns=[VisitOverruns(later.visit, 0)],
            urgent=[UrgentCall(town.unit(), "?", kind="replace")],
            cancelled=[VisitIsOff(later.visit), VisitIsOff(finished_visit)],
        )
    assert [fault.pointer for fault in error.value.faults] == [
        "/installers_out/0/through",
        "/overruns/0/visit",
        "/overruns/0/minutes",
        "/cancelled_visits/1/visit",
        "/urgent_calls/0/position",
    ]
    assert Plan.objects.count() == 1
    assert not Visit.objects.filter(state="cancelled").exists()


def test_a_call_made_again_because_its_answer_was_lost_opens_no_second_need(
    published: Plan, office: Membership, town: Town
) -> None:
    unit = town.unit(town.site(east_km=6.0, north_km=-2.0))
    first = _repair(published, office, urgent=[UrgentCall(unit, "No water at all.")])
    again = _repair(published, office, urgent=[UrgentCall(unit, "No water at all.")])
    assert Need.objects.filter(unit=unit, kind="repair").count() == 1
    assert again.happened == first.happened
    _repair(published, office, urgent=[UrgentCall(unit, "And now it leaks.")])
    assert Need.objects.filter(unit=unit, kind="repair").count() == 2


def test_the_costs_of_a_repaired_plan_are_those_of_all_its_days(published: Plan, office: Membership) -> None:
    """Nothing went wrong, and the same rounds cost the same, however few of their days are planned again."""
    kinds = ("driving", "overtime", "visits", "left")
    assert published.costs["total"] == pytest.approx(sum(published.costs[kind] for kind in kinds))
    repaired = _repair(published, office, now=NOW)
    assert {kind: repaired.costs[kind] for kind in kinds} == {kind: published.costs[kind] for kind in kinds}
    part = _repair(published, office)
    # minutes and kilometres of what has begun are stored to a tenth
    assert part.costs["total"] == pytest.approx(published.costs["total"], abs=1.0)
    rows = Round.objects.filter(plan=part)
    for kind in kinds[:-1]:
        assert part.costs[kind] == pytest.approx(sum(row.costs[kind] for row in rows))


def test_a_repaired_plan_brings_nobody_to_a_site_without_the_part(town: Town, office: Membership) -> None:
    """One cartridge is in store and two visits are urgent: the one that was left out goes on waiting, and says so."""
    town.installer("Ada")
    for east in (1, 2):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    town.stock(town.item("carbon"), 1)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    published = publish_plan(plan=_plan(town), by=office, now=NOW)
    assert published.unserved.get().reason == "waits_for_parts"
    repaired = _repair(published, office, now=NOW)
    assert _slots(repaired).keys() == _slots(published).keys()
    unserved = repaired.unserved.get()
    assert (unserved.visit_id, unserved.reason) == (published.unserved.get().visit_id, "waits_for_parts")
    assert "carbon-1 must be ordered first" in unserved.sentence
