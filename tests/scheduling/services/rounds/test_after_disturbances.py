"""Whatever goes wrong with a published week: planned again it can be published, and nobody who was told a time is lost.

A stop that a person counts on is kept, or stands among the faults of the plan with the call that helps.
"""

from collections.abc import Callable
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict
from accounts.models import Membership
from scheduling.models import CompanyPolicy, Installer, Message, Plan, StockLevel, Stop, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.people.absences import record_absence, works
from scheduling.services.people.installers import retire_installer
from scheduling.services.policy import read_policy
from scheduling.services.rounds import confirmed_times
from scheduling.services.rounds.faults import faults_of_plan, visits_counted_on
from scheduling.services.rounds.offers import offer_plan
from scheduling.services.rounds.plans import plan_rounds, publish_plan
from scheduling.services.rounds.problem import MOST_DAYS, asked_days
from scheduling.services.rounds.replanning import Happened, replan_day
from scheduling.services.visits.locks import lock_stop
from scheduling.services.visits.visits import cancel_visit, confirm_visit, offer_visit, propose_visits
from tests.effort import some
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")
TEN = datetime(2026, 3, 2, 10, 0, tzinfo=BERLIN)


def at(day: int, hour: int) -> datetime:
    return datetime.combine(TODAY + timedelta(days=day), time(hour), tzinfo=BERLIN)


class Week:
    """A published week: four visits confirmed, one a day, one stop locked, the others offered."""

    def __init__(self, town: Town, office: Membership) -> None:
        self.town, self.office = town, office
        self.crew = {name: town.installer(name, east_km=east) for name, east in (("Ada", 0.0), ("Ben", 9.0))}
        self.look(10, in_days=0)
        Visit.objects.update(minutes=60)
        visits = list(Visit.objects.select_related("site").order_by("pk"))
        for number, visit in enumerate(visits[4:]):
            town.window(visit.site, 1 + number % 4, time(8), time(17))
        for day, visit in enumerate(visits[:4], start=1):
            installer = self.crew["Ada" if day % 2 else "Ben"]
            confirm_visit(visit=visit, by=office, appointment_at=at(day, 11), installer=installer, now=NOW)
        self.plan = publish_plan(plan=self.new_plan(NOW), by=office, now=NOW)
        free = Stop.objects.filter(round__plan=self.plan, visit__state="proposed", starts_at__gt=TEN)
        self.locked = free.order_by("-starts_at").first().visit
        lock_stop(stop=free.get(visit=self.locked), by=office, reason="the key is there then", now=NOW)
        offer_plan(plan=self.plan, by=office, now=NOW)

    def look(self, sites: int, *, in_days: int) -> list[Visit]:
        """More sites whose carbon is exhausted in so many days, with the visits that are proposed to them."""
        before = set(Visit.objects.values_list("pk", flat=True))
        for k in range(sites):
            unit = self.town.unit(self.town.site(east_km=1.5 * k, north_km=2.0 * (k % 3)))
            self.town.forecast(self.town.position(unit, "carbon"), in_days)
        refresh_needs(company=self.town.company, now=NOW)
        propose_visits(company=self.town.company, now=NOW)
        return list(Visit.objects.exclude(pk__in=before).order_by("pk"))

    def new_plan(self, now: datetime) -> Plan:
        return plan_rounds(company=self.town.company, by=self.office, now=now, iterations=150).plan

    def repaired(self, now: datetime) -> Plan:
        base = Plan.objects.get(state="published")
        return replan_day(plan=base, by=self.office, now=now, happened=Happened(), iterations=100)

    def confirmed(self, day: int) -> Visit:
        return Visit.objects.get(state="confirmed", appointment_at=at(day, 11))

    def confirm(self, visit: Visit, when: datetime, **more: object) -> None:
        confirmed_times.confirm(visit=visit, by=self.office, appointment_at=when, now=TEN, **more)

    def absent(self, name: str, first: int, last: int) -> None:
        record_absence(
            installer=self.crew[name],
            by=self.office,
            now=TEN,
            first_day=TODAY + timedelta(days=first),
            last_day=TODAY + timedelta(days=last),
        )


@pytest.fixture
def week(town: Town, office: Membership) -> Week:
    return Week(town, office)


def ill_on_a_day_with_a_confirmed_time(week: Week) -> None:
    week.absent("Ada", 3, 3)


def ill_from_today_on(week: Week) -> None:
    week.absent("Ada", 0, 6)


def everybody_ill(week: Week) -> None:
    week.absent("Ada", 3, 3)
    week.absent("Ben", 3, 3)


def retired(week: Week) -> None:
    retire_installer(row=week.crew["Ben"], by=week.office, reason="moved away", now=TEN)


def confirmed_for_another_day(week: Week) -> None:
    week.confirm(week.confirmed(1), at(4, 15))


def confirmed_outside_of_access_hours(week: Week) -> None:
    visit = week.confirmed(2)
    week.town.window(visit.site, 2, time(8), time(9))
    week.confirm(visit, at(3, 16), outside_access_hours=True)


def confirmed_though_in_no_plan(week: Week) -> None:
    visit = week.look(1, in_days=90)[-1]
    assert not visit.stops.exists()
    week.confirm(visit, at(4, 9))


def confirmed_after_the_week(week: Week) -> None:
    week.confirm(week.confirmed(1), at(10, 11))


def three_at_the_same_hour(week: Week) -> None:
    for day in (1, 2, 3):
        week.confirm(week.confirmed(day), at(4, 14))


def locked_while_its_installer_is_out(week: Week) -> None:
    locked = Stop.objects.get(round__plan=week.plan, visit=week.locked)
    day = (locked.round.day - TODAY).days
    week.absent(locked.round.installer.name, day, day)


def van_without_parts(week: Week) -> None:
    CompanyPolicy.objects.create(company=week.town.company, settings={"plans_with_van_stock": True})
    StockLevel.objects.filter(installer__isnull=False).update(quantity=0)


def declined_and_cancelled(week: Week) -> None:
    offered = Visit.objects.filter(state="offered").first()
    confirmed_times.decline(visit=offered, by=None, reason="away", now=TEN)
    cancel_visit(visit=week.confirmed(2), by=week.office, note="sold the tank", now=TEN)
    confirmed_times.take_back(visit=week.confirmed(3), by=week.office, note="asked by telephone", now=TEN)


DISTURBANCES = (
    ill_on_a_day_with_a_confirmed_time,
    ill_from_today_on,
    everybody_ill,
    retired,
    confirmed_for_another_day,
    confirmed_outside_of_access_hours,
    confirmed_though_in_no_plan,
    confirmed_after_the_week,
    three_at_the_same_hour,
    locked_while_its_installer_is_out,
    van_without_parts,
    declined_and_cancelled,
)


@pytest.mark.parametrize("way", [Week.repaired, Week.new_plan], ids=["repaired", "new"])
@pytest.mark.parametrize("disturb", some(DISTURBANCES, "disturbances", one_in=4), ids=lambda disturb: disturb.__name__)
def test_planned_again_it_is_published_at_the_first_try_and_nobody_is_lost(
    disturb: Callable[[Week], None], way: Callable[[Week, datetime], Plan], week: Week
) -> None:
    disturb(week)
    published = publish_plan(plan=way(week, TEN), by=week.office, now=TEN)
    faults = faults_of_plan(plan=published, now=TEN)
    assert not [fault for fault in faults if fault.prevents or not fault.settle.path]
    named = {int(fault.visit) for fault in faults}
    stops = {s.visit_id: s for s in Stop.objects.filter(round__plan=published).select_related("round__installer")}
    for stop in stops.values():
        if stop.starts_at > TEN and stop.visit_id not in named:
            assert stop.round.installer.is_active
            assert works(stop.round.installer, stop.starts_at, 1)
    differing = {row["visit"] for row in published.differences}
    for visit, told_at in visits_counted_on(week.town.company, TEN):
        stop = stops.get(visit.pk)
        if not published.first_day <= week.town.company.day_at(told_at) <= published.last_day:
            # of a repaired plan the days are given: a time after them is for the next plan
            assert way is Week.repaired or stop is not None
        elif visit.state == Visit.State.CONFIRMED:
            assert visit.pk in named or (stop is not None and stop.starts_at == visit.appointment_at)
        else:
            left_out = published.unserved.filter(visit=visit).exclude(sentence="")
            assert stop is not None or visit.pk in named | differing or left_out.exists()


def test_a_repair_reaches_the_days_on_which_something_does_not_fit(week: Week) -> None:
    """Today and tomorrow are enough where nothing else is wrong; here Thursday's installer is ill."""
    thursday = TODAY + timedelta(days=3)
    assert week.confirmed(3).stops.get(round__plan=week.plan).round.installer.name == "Ada"
    ill_on_a_day_with_a_confirmed_time(week)
    (fault,) = [row for row in faults_of_plan(plan=week.plan, now=TEN) if row.visit == str(week.confirmed(3).pk)]
    assert (fault.code, fault.installer, fault.day) == ("installer_away", "Ada", 3)
    assert fault.settle.path == f"/api/v1/plans/{week.plan.pk}/replan/"
    published = publish_plan(plan=week.repaired(TEN), by=week.office, now=TEN)
    (stop,) = Stop.objects.filter(round__plan=published, visit=week.confirmed(3))
    assert (stop.round.installer.name, stop.starts_at) == ("Ben", at(3, 11))
    assert not Stop.objects.filter(round__plan=published, round__day=thursday, round__installer__name="Ada").exists()
    assert faults_of_plan(plan=published, now=TEN) == []


def test_a_time_that_nobody_can_keep_is_moved_or_named_and_the_office_calls(week: Week) -> None:
    everybody_ill(week)
    visit = week.confirmed(3)
    repaired = publish_plan(plan=week.repaired(TEN), by=week.office, now=TEN)
    visit.refresh_from_db()
    row = next(row for row in repaired.differences if row["visit"] == visit.pk)
    moved = Stop.objects.get(round__plan=repaired, visit=visit)
    assert (row["kind"], row["tell_client"], visit.appointment_at) == ("rescheduled", True, moved.starts_at)
    # the first time was noted while the client was on the telephone; of the new one they are told
    assert [(m.kind, m.state) for m in Message.objects.filter(visit=visit, audience="client").order_by("-pk")] == [
        ("moved", "to_call"),
        ("confirmed", "called"),
    ]


def test_a_new_plan_says_who_calls_about_a_time_that_nobody_can_keep(week: Week) -> None:
    everybody_ill(week)
    visit = week.confirmed(3)
    published = publish_plan(plan=week.new_plan(TEN), by=week.office, now=TEN)
    (fault,) = faults_of_plan(plan=published, now=TEN)
    assert (fault.code, fault.visit, fault.prevents) == ("in_no_round", str(visit.pk), False)
    assert fault.settle.path == f"/api/v1/visits/{visit.pk}/confirm/"
    assert Message.objects.get(visit=visit, kind="cannot_keep").state == "to_call"


def test_a_draft_that_is_older_than_what_happened_names_every_row_and_what_helps(week: Week) -> None:
    draft = week.new_plan(NOW + timedelta(minutes=1))
    week.absent("Ada", 3, 3)
    cancelled, elsewhere = week.confirmed(2), week.confirmed(4)
    cancel_visit(visit=cancelled, by=week.office, note="", now=TEN)
    week.confirm(elsewhere, at(4, 16))
    late = week.look(1, in_days=90)[-1]
    week.confirm(late, at(2, 16))
    draft.refresh_from_db()
    if draft.state == "published":
        # nothing was asked that the published plan does not answer
        draft = Plan.objects.create(
            company=draft.company, first_day=draft.first_day, days=draft.days, created_at=NOW, state="draft"
        )
    with pytest.raises(Conflict) as refused:
        publish_plan(plan=draft, by=week.office, now=TEN)
    assert refused.value.code == "plan_is_stale"
    sentences = [fault.sentence for fault in refused.value.faults]
    for expected in (
        f"visit {week.confirmed(3).pk} on Thursday 5 March is in the round of Ada, who does not work then",
        f"visit {cancelled.pk} is cancelled by now",
        f"visit {elsewhere.pk} was confirmed for another time",
        f"visit {late.pk} has been confirmed for Wednesday 4 March and is in no round",
    ):
        assert [s for s in sentences if expected in s and s.endswith("publish that plan.")], (expected, sentences)
    assert publish_plan(plan=week.new_plan(TEN), by=week.office, now=TEN).state == "published"


def test_a_repair_of_fewer_days_is_not_held_up_by_what_stood_before(week: Week) -> None:
    ill_on_a_day_with_a_confirmed_time(week)
    confirmed_though_in_no_plan(week)
    repaired = replan_day(plan=week.plan, by=week.office, now=TEN, happened=Happened(), days=1, iterations=50)
    published = publish_plan(plan=repaired, by=week.office, now=TEN)
    assert {row.code for row in faults_of_plan(plan=published, now=TEN)} == {"installer_away", "in_no_round"}


@pytest.mark.parametrize(("day", "expected"), [(3, 7), (7, 7), (9, 9), (20, 20), (60, MOST_DAYS)])
@pytest.mark.parametrize("how", ["confirmed", "offered", "locked"])
def test_days_that_nobody_said_reach_through_the_last_that_was_told(
    how: str, day: int, expected: int, town: Town, office: Membership
) -> None:
    """Counted from Tuesday, as Monday has begun; by the policy alone they end on the Monday after."""
    ada = town.installer("Ada", weekdays=[0, 1, 2, 3, 4, 5, 6])
    policy = read_policy(company=town.company).planning
    Installer.objects.update(weekdays=[0, 1, 2, 3, 4])
    asked = lambda: asked_days(company=town.company, policy=policy, now=TEN)  # noqa: E731
    assert asked() == (TODAY + timedelta(days=1), 7)
    Installer.objects.update(weekdays=[0, 1, 2, 3, 4, 5, 6])
    town.forecast(town.position(town.unit(town.site()), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    visit = Visit.objects.get()
    if how == "confirmed":
        confirm_visit(visit=visit, by=office, appointment_at=at(day, 11), now=NOW)
    elif how == "offered":
        windows = [(at(1, 9), at(1, 10)), (at(day, 11), at(day, 12))]
        offer_visit(visit=visit, by=office, windows=windows, now=NOW)
    else:
        visit.locked_start, visit.locked_installer = at(day, 11), ada
        visit.save()
    Installer.objects.update(weekdays=[0, 1, 2, 3, 4])
    assert asked() == (TODAY + timedelta(days=1), expected)
    first_day = TODAY + timedelta(days=2)
    told = asked_days(company=town.company, policy=policy, now=TEN, first_day=first_day)
    assert told == (first_day, max(policy.horizon_days, min(expected - 1, day - 1)) if day < 60 else MOST_DAYS)
    assert asked_days(company=town.company, policy=policy, now=TEN, days=3)[1] == 3


@pytest.mark.parametrize("change", ["confirmed otherwise", "taken out"])
def test_the_rest_of_a_round_stays_as_told_where_its_installer_is_away(week: Week, change: str) -> None:
    """Nobody can time the round of an installer who is ill anew; what is left in it is for a repair to rearrange."""
    rounds = week.plan.rounds.order_by("day", "pk")
    full = next(r for r in rounds if r.stops.count() > 1 and r.stops.filter(visit__state="confirmed").exists())
    kept = list(full.stops.filter(visit__state="confirmed"))
    leaving = full.stops.exclude(pk__in=[stop.pk for stop in kept]).first()
    others = set(full.stops.exclude(pk=leaving.pk).values_list("pk", "visit_id", "starts_at"))
    day = (full.day - TODAY).days
    week.absent(full.installer.name, day, day)
    Message.objects.all().delete()
    if change == "taken out":
        confirmed_times.decline(visit=leaving.visit, by=None, reason="away", now=TEN)
    else:
        week.confirm(leaving.visit, at(day, 16), installer=next(i for i in week.crew.values() if i != full.installer))
    assert set(full.stops.values_list("pk", "visit_id", "starts_at")) == others
    told = Message.objects.filter(kind="rounds_changed", audience="installer")
    assert any(leaving.visit.site.name in message.body for message in told)
    faults = faults_of_plan(plan=week.plan, now=TEN)
    assert {str(stop.visit_id) for stop in kept} <= {row.visit for row in faults if row.code == "installer_away"}
