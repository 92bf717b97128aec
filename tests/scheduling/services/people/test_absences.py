"""Who is away is planned around, and why stays with the office."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import InvalidInput
from accounts.models import AuditEntry, Membership
from scheduling.models import Absence, Installer, Round, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people.absences import change_absence, hours_on, record_absence, works
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.visits.locks import lock_stop
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def ada(town: Town) -> Installer:
    return town.installer("Ada")


def _away(ada: Installer, office: Membership, first: date, last: date, **more: object) -> Absence:
    return record_absence(installer=ada, by=office, now=NOW, first_day=first, last_day=last, **more)


@pytest.mark.parametrize(
    ("from_time", "to_time", "left"),
    [
        (None, None, None),
        (time(12), None, (time(8), time(12))),
        (None, time(10, 30), (time(10, 30), time(17))),
        (time(9), time(11), (time(11), time(17))),  # of two ends the longer
        (time(14), time(15), (time(8), time(14))),
        (time(17), time(20), (time(8), time(17))),
        (time(6), time(8), (time(8), time(17))),
        (time(6), time(18), None),
    ],
)
def test_what_is_left_of_a_shift(
    ada: Installer, office: Membership, from_time: time | None, to_time: time | None, left: object
) -> None:
    absence = _away(ada, office, TODAY, TODAY, from_time=from_time, to_time=to_time)
    assert hours_on(ada, TODAY, [absence]) == left
    assert hours_on(ada, TODAY + timedelta(days=1), [absence]) == (time(8), time(17))
    assert hours_on(ada, TODAY + timedelta(days=5), [absence]) is None  # a Saturday


def test_days_between_the_first_and_the_last_are_whole(ada: Installer, office: Membership) -> None:
    absence = _away(ada, office, TODAY, TODAY + timedelta(days=2), from_time=time(13), to_time=time(9))
    assert [hours_on(ada, TODAY + timedelta(days=k), [absence]) for k in range(4)] == [
        (time(8), time(13)),
        None,
        (time(9), time(17)),
        (time(8), time(17)),
    ]


def test_nobody_is_planned_on_a_day_away(town: Town, ada: Installer, office: Membership) -> None:
    for k in range(4):
        town.forecast(town.position(town.unit(town.site(east_km=2.0 * k + 1)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)

    def days() -> set[date]:
        plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan
        return set(Round.objects.filter(plan=plan).values_list("day", flat=True))

    assert TODAY in days()
    _away(ada, office, TODAY, TODAY + timedelta(days=1))
    assert days() == {TODAY + timedelta(days=2)}
    Absence.objects.all().delete()
    _away(ada, office, TODAY, TODAY, from_time=time(11))
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=200).plan
    home = Round.objects.filter(plan=plan, day=TODAY).values_list("returns_at", flat=True)
    assert all(at.astimezone(BERLIN).time() <= time(11) for at in home)
    assert Stop.objects.filter(round__plan=plan).count() == 4


def test_overtime_does_not_run_into_an_absence(town: Town, ada: Installer, office: Membership) -> None:
    """Work that overtime alone has room for is done on a usual day and not before an afternoon off."""
    ada.max_overtime_minutes = 90
    ada.shift_starts, ada.shift_ends = time(8), time(9)
    ada.save()
    town.forecast(town.position(town.unit(town.site(east_km=25.0)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=200, days=1).plan
    row = Round.objects.get(plan=plan)
    assert time(9) < row.returns_at.astimezone(BERLIN).time() <= time(10, 30)
    assert plan.costs["overtime"] == row.costs["overtime"] > 0
    _away(ada, office, TODAY, TODAY, from_time=time(8, 59))
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=200, days=1).plan
    assert not Round.objects.filter(plan=plan).exists()


def test_no_appointment_is_made_with_somebody_who_is_away(ada: Installer, office: Membership) -> None:
    tuesday = datetime(2026, 3, 3, 10, 0, tzinfo=BERLIN)
    assert works(ada, tuesday, 60)
    _away(ada, office, date(2026, 3, 3), date(2026, 3, 3), to_time=time(12))
    assert not works(ada, tuesday, 60)
    assert works(ada, tuesday + timedelta(hours=2), 60)


def test_an_absence_told_twice_is_one_and_its_reason_is_not_in_the_audit(ada: Installer, office: Membership) -> None:
    first = _away(ada, office, TODAY, TODAY + timedelta(days=2), reason="Operation on the knee.")
    assert _away(ada, office, TODAY, TODAY + timedelta(days=1), from_time=time(9)) == first
    longer = _away(ada, office, TODAY, TODAY + timedelta(days=3))
    assert longer != first
    change_absence(absence=longer, by=office, now=NOW, last_day=TODAY + timedelta(days=4), reason="Knee again.")
    longer.refresh_from_db()
    assert (longer.last_day, longer.reason) == (TODAY + timedelta(days=4), "Knee again.")
    assert "nee" not in " ".join(str(entry.details) for entry in AuditEntry.objects.all())


@pytest.mark.parametrize(
    ("last", "times", "pointer"),
    [
        (TODAY - timedelta(days=1), (None, None), "/last_day"),
        (TODAY + timedelta(days=400), (None, None), "/last_day"),
        (TODAY, (time(12), time(12)), "/to_time"),
    ],
)
def test_what_cannot_be_is_refused(
    ada: Installer, office: Membership, last: date, times: tuple[time | None, time | None], pointer: str
) -> None:
    with pytest.raises(InvalidInput) as error:
        _away(ada, office, TODAY, last, from_time=times[0], to_time=times[1])
    assert [fault.pointer for fault in error.value.faults] == [pointer]
    assert not Absence.objects.exists()


def test_somebody_else_keeps_the_appointment_of_one_who_is_away(town: Town, ada: Installer, office: Membership) -> None:
    ben = town.installer("Ben", east_km=5.0)
    town.forecast(town.position(town.unit(town.site(east_km=2.0)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    at = datetime(2026, 3, 3, 10, 0, tzinfo=BERLIN)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, installer=ada, now=NOW)
    _away(ada, office, date(2026, 3, 3), date(2026, 3, 3))
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    stop = Stop.objects.get(round__plan=plan)
    assert (stop.starts_at, stop.round.installer) == (at, ben)


def test_a_lock_on_somebody_who_is_away_holds_the_time(town: Town, ada: Installer, office: Membership) -> None:
    town.forecast(town.position(town.unit(town.site(east_km=2.0)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    stop = lock_stop(stop=Stop.objects.get(round__plan=plan), by=office, reason="Key at the door.", now=NOW)
    ben = town.installer("Ben")
    _away(ada, office, TODAY, TODAY)
    again = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    moved = Stop.objects.get(round__plan=again)
    assert (moved.starts_at, moved.round.installer) == (stop.starts_at, ben)
    assert publish_plan(plan=again, by=office, now=NOW).state == "published"
