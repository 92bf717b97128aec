"""Plans: the question put on one clock, the answer stored whole, published."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from scheduling.models import CompanyPolicy, Plan, Round, StockLevel, Stop, UnservedVisit, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import Effort, plan_rounds, publish_plan
from scheduling.services.rounds.problem import ask, planning_days
from scheduling.services.visits.costs import day_costs
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests.scheduling.planning.rounds.instances import make_week
from tests.scheduling.town import NOW, TODAY, Town

BERLIN = ZoneInfo("Europe/Berlin")
EFFORT = {"iterations": 200}


def _busy(town: Town, count: int = 6, **site: object) -> None:
    """Sites in a row to the east, each with something due this week."""
    for k in range(count):
        unit = town.unit(town.site(east_km=2.0 * (k + 1), **site))
        town.forecast(town.position(unit, "carbon"), 0 if k % 2 else 3)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)


def _plan(town: Town, now: datetime = NOW, **more: object) -> Plan:
    return plan_rounds(company=town.company, by=None, now=now, **{**EFFORT, **more}).plan


def test_a_plan_serves_what_is_due_or_says_why_not(town: Town) -> None:
    ada = town.installer("Ada")
    _busy(town)
    plan = _plan(town)
    assert (plan.state, plan.first_day, plan.days, plan.faults) == ("draft", TODAY, 5, [])
    served = set(Stop.objects.values_list("visit", flat=True))
    unserved = set(UnservedVisit.objects.values_list("visit", flat=True))
    assert served | unserved == set(Visit.objects.values_list("pk", flat=True))
    assert not served & unserved
    assert set(Visit.objects.filter(is_urgent=True).values_list("pk", flat=True)) <= served
    for round_ in Round.objects.all():
        assert round_.installer == ada
        stops = list(round_.stops.all())
        assert [stop.order for stop in stops] == list(range(1, len(stops) + 1))
        at = round_.leaves_at
        for stop in stops:
            assert at <= stop.arrives_at <= stop.starts_at < stop.leaves_at
            assert stop.leaves_at - stop.starts_at == timedelta(minutes=stop.visit.minutes)
            at = stop.leaves_at
        assert at <= round_.returns_at
        assert round_.leaves_at.astimezone(BERLIN).time() >= time(8)
        assert round_.returns_at.astimezone(BERLIN).time() <= time(17)
    assert plan.costs["total"] == pytest.approx(
        plan.costs["driving"] + plan.costs["overtime"] + plan.costs["visits"] + plan.costs["left"]
    )


def test_the_same_question_is_answered_by_the_same_plan(town: Town) -> None:
    town.installer("Ada")
    _busy(town)
    first = _plan(town)
    rows = list(Stop.objects.values()), list(Plan.objects.values())
    second = _plan(town, NOW + timedelta(minutes=30))
    assert second == first
    assert (list(Stop.objects.values()), list(Plan.objects.values())) == rows


def test_the_same_question_with_another_effort_keeps_the_better_answer(town: Town) -> None:
    town.installer("Ada")
    _busy(town)
    first = _plan(town, iterations=300)
    assert _plan(town, iterations=None) == first
    again = _plan(town, iterations=1, seed=3)
    assert again.costs["total"] <= first.costs["total"]
    Plan.objects.update(costs={**first.costs, "total": first.costs["total"] + 50.0})
    better = _plan(town, iterations=2, seed=4)
    assert better not in (first, again)
    assert better.effort == {"seconds": None, "iterations": 2, "seed": 4}
    assert Plan.objects.exclude(state="replaced").get() == better


def test_another_question_replaces_the_draft(town: Town) -> None:
    town.installer("Ada")
    _busy(town)
    first = _plan(town)
    town.installer("Ben", north_km=5)
    second = _plan(town)
    first.refresh_from_db()
    assert (first.state, second.state) == ("replaced", "draft")


def test_access_windows_are_kept_in_the_sites_own_time(town: Town) -> None:
    town.installer("Ada")
    _busy(town, 2)
    for site in town.company.sites.all():
        town.window(site, 2, time(13, 30), time(16))  # Wednesday afternoon, Berlin
    _plan(town)
    starts = [stop.starts_at.astimezone(BERLIN) for stop in Stop.objects.all()]
    ends = [stop.leaves_at.astimezone(BERLIN) for stop in Stop.objects.all()]
    assert len(starts) == 2
    assert {moment.weekday() for moment in starts} == {2}
    assert all(time(13, 30) <= start.time() and end.time() <= time(16) for start, end in zip(starts, ends, strict=True))


def test_a_site_abroad_is_entered_by_its_own_clock(town: Town) -> None:
    """Nine to ten in Dublin is ten to eleven in Berlin, winter and summer (both change on the same days)."""
    town.installer("Ada")
    _busy(town, 1, time_zone="Europe/Dublin")
    town.window(town.company.sites.get(), 1, time(9), time(10))
    _plan(town)
    start = Stop.objects.get().starts_at.astimezone(BERLIN)
    assert time(10) <= start.time() <= time(11)


def test_on_the_day_the_clocks_go_forward_hours_are_as_long_as_they_are(town: Town) -> None:
    """Sunday 29 March 2026: in Berlin 02:00 becomes 03:00 (Directive 2000/84/EC, last Sunday of March, 01:00 UTC).

    A night shift from 01:00 to 06:00 of that day lasts four hours, and its afternoon keeps wall-clock time.
    """
    sunday = date(2026, 3, 29)
    night = town.installer("Nora", weekdays=[6], shift_starts=time(1), shift_ends=time(6))
    day = town.installer("Dan", weekdays=[6], shift_starts=time(8), shift_ends=time(17))
    question = ask(
        company=town.company,
        policy=read_policy(company=town.company),
        first_day=sunday,
        days=1,
    )
    spans = {i.key: (i.shifts[0].start_s, i.shifts[0].end_s) for i in question.problem.installers}
    first, last = spans[night.name]
    assert last - first == 4 * 3600
    assert question.clock.moment(0, first) == datetime(2026, 3, 29, 0, 0, tzinfo=UTC)
    assert question.clock.moment(0, last) == datetime(2026, 3, 29, 4, 0, tzinfo=UTC)
    assert spans[day.name] == (8 * 3600, 17 * 3600)
    assert question.clock.moment(0, 8 * 3600) == datetime(2026, 3, 29, 6, 0, tzinfo=UTC)


def test_an_appointment_on_the_day_the_clocks_change_is_kept_to_the_minute(town: Town, office: Membership) -> None:
    """Sunday 29 March 2026, ten in Berlin, is 08:00 UTC; a day earlier it would have been 09:00 UTC."""
    town.installer("Sue", weekdays=[5, 6])
    now = datetime(2026, 3, 27, 20, 0, tzinfo=UTC)
    unit = town.unit(town.site(east_km=3))
    town.read(unit, now)
    town.forecast(town.position(unit, "carbon"), 0, today=date(2026, 3, 27))
    refresh_needs(company=town.company, now=now)
    propose_visits(company=town.company, now=now)
    at = datetime(2026, 3, 29, 10, 0, tzinfo=BERLIN)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, now=now)
    plan = _plan(town, now, first_day=date(2026, 3, 28), days=2)
    stop = Stop.objects.get()
    assert stop.round.day == date(2026, 3, 29)
    assert stop.starts_at == at == datetime(2026, 3, 29, 8, 0, tzinfo=UTC)
    assert plan.faults == []


def test_a_confirmed_visit_is_kept_by_the_installer_who_was_promised(town: Town, office: Membership) -> None:
    town.installer("Ada", east_km=2)
    ben = town.installer("Ben", east_km=-30)
    _busy(town, 3)
    visit = Visit.objects.order_by("pk").first()
    at = datetime(2026, 3, 4, 11, 0, tzinfo=BERLIN)
    confirm_visit(visit=visit, by=office, appointment_at=at, installer=ben, now=NOW)
    _plan(town)
    stop = Stop.objects.get(visit=visit)
    assert (stop.starts_at, stop.round.installer) == (at, ben)


def test_skills_are_asked_for(town: Town) -> None:
    CompanyPolicy.objects.create(company=town.company, settings={"task_skills": {"fit_booster_pump": ["electrical"]}})
    town.installer("Ada")
    town.finding(town.unit(), "line_pressure_low")
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    Visit.objects.update(is_urgent=True)
    _plan(town)
    unserved = UnservedVisit.objects.get()
    assert unserved.reason == "no_skilled_installer"
    ben = town.installer("Ben", skills=["electrical"])
    _plan(town)
    assert Stop.objects.filter(round__plan__state="draft").get().round.installer == ben


def test_van_stock_binds_when_the_policy_says_so(town: Town) -> None:
    ada = town.installer("Ada")
    _busy(town, 3)
    town.stock(town.item("carbon"), 1, ada)
    town.stock(town.item("carbon"), 50)
    _plan(town)
    assert Stop.objects.filter(round__plan__state="draft").count() == 3
    CompanyPolicy.objects.create(company=town.company, settings={"plans_with_van_stock": True, "horizon_days": 1})
    _plan(town)
    assert Stop.objects.filter(round__plan__state="draft").count() == 1
    StockLevel.objects.filter(installer=ada).update(quantity=0)
    _plan(town)
    unserved_visits = UnservedVisit.objects.filter(plan__state="draft")
    assert [unserved.reason for unserved in unserved_visits] == ["van_stock"] * 3
    assert all("carbon-1" in unserved.sentence for unserved in unserved_visits)


def test_without_installers_every_visit_says_why(town: Town) -> None:
    _busy(town, 2)
    plan = _plan(town)
    assert plan.rounds.count() == 0
    assert plan.unserved.count() == 2
    assert all(unserved.sentence for unserved in plan.unserved.all())


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (datetime(2026, 3, 2, 5, 0, tzinfo=BERLIN), (date(2026, 3, 2), 5)),
        (datetime(2026, 3, 2, 9, 0, tzinfo=BERLIN), (date(2026, 3, 3), 7)),
        (datetime(2026, 3, 6, 9, 0, tzinfo=BERLIN), (date(2026, 3, 9), 5)),
        (datetime(2026, 3, 8, 23, 30, tzinfo=UTC), (date(2026, 3, 9), 5)),
    ],
    ids=["Monday before work", "Monday at work", "Friday at work", "Monday in Berlin, still Sunday in UTC"],
)
def test_the_days_planned_by_default_are_the_next_five_working_days(
    town: Town, now: datetime, expected: tuple[date, int]
) -> None:
    town.installer("Ada")
    policy = read_policy(company=town.company).planning
    assert planning_days(company=town.company, policy=policy, now=now) == expected


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"first_day": TODAY - timedelta(days=1)}, "/first_day"),
        ({"first_day": TODAY + timedelta(days=43)}, "/first_day"),
        ({"days": 0}, "/days"),
        ({"days": 29}, "/days"),
        ({"iterations": 0}, "/iterations"),
        ({"iterations": 10, "seconds": 1.0}, "/iterations"),
        ({"iterations": None, "seconds": float("nan")}, "/seconds"),
        ({"seed": -1}, "/seed"),
    ],
)
def test_nonsense_is_refused_and_nothing_stored(town: Town, change: dict[str, object], pointer: str) -> None:
    with pytest.raises(InvalidInput) as error:
        _plan(town, **change)
    assert [fault.pointer for fault in error.value.faults] == [pointer]
    assert not Plan.objects.exists()


def test_leaving_a_visit_costs_its_cheapest_day_after_the_plan_and_the_drive(town: Town) -> None:
    visit = Visit(costs_first_day=TODAY, costs=[5.0, 4.0, None, 3.5, 6.0, 7.0], travel_cost=2.0)
    assert day_costs(visit, first_day=TODAY + timedelta(days=1), days=2) == ([4.0, None], 5.5)
    assert day_costs(visit, first_day=TODAY + timedelta(days=4), days=5) == ([6.0, 7.0, 7.0, 7.0, 7.0], 9.0)


def test_publishing_replaces_the_plan_before_and_names_installers(town: Town, office: Membership) -> None:
    ada = town.installer("Ada")
    _busy(town, 3)
    first = publish_plan(plan=_plan(town), by=office, now=NOW)
    assert set(Visit.objects.values_list("revision", "installer")) == {(1, ada.pk)}
    assert publish_plan(plan=first, by=office, now=NOW + timedelta(hours=1)).published_at == NOW
    ben = town.installer("Ben", east_km=6)
    second = publish_plan(plan=_plan(town), by=office, now=NOW)
    assert Stop.objects.filter(round__plan=second, round__installer=ben).exists()
    first.refresh_from_db()
    assert (first.state, second.state) == ("replaced", "published")
    moved = {
        stop.visit_id
        for stop in second_stops(second)
        if not Stop.objects.filter(
            round__plan=first,
            visit=stop.visit_id,
            starts_at=stop.starts_at,
            round__installer=stop.round.installer,
        ).exists()
    }
    assert set(Visit.objects.filter(revision=2).values_list("pk", flat=True)) == moved


def second_stops(plan: Plan) -> list[Stop]:
    return list(Stop.objects.filter(round__plan=plan))


def test_a_stale_plan_is_not_published(town: Town, office: Membership) -> None:
    town.installer("Ada")
    _busy(town, 2)
    plan = _plan(town)
    stop = Stop.objects.first()
    confirm_visit(visit=stop.visit, by=office, appointment_at=datetime(2026, 3, 5, 15, 0, tzinfo=BERLIN), now=NOW)
    with pytest.raises(Conflict, match="confirmed for another time"):
        publish_plan(plan=plan, by=office, now=NOW)
    plan.refresh_from_db()
    assert plan.state == "draft"


def test_a_draft_older_than_a_clients_yes_is_not_published_without_them(town: Town, office: Membership) -> None:
    town.installer("Ada")
    _busy(town, 2)
    plan = _plan(town)
    # a call that came while the draft lay about
    _busy(town, 1)
    visit = Visit.objects.exclude(pk__in=Stop.objects.values("visit")).exclude(pk__in=plan.unserved.values("visit"))[0]
    confirmed = datetime(2026, 3, 4, 11, 0, tzinfo=BERLIN)
    confirm_visit(visit=visit, by=office, appointment_at=confirmed, now=NOW)
    with pytest.raises(Conflict, match=r"confirmed for Wednesday 4 March and is in no round"):
        publish_plan(plan=plan, by=office, now=NOW)
    plan.refresh_from_db()
    assert plan.state == "draft"
    assert publish_plan(plan=_plan(town), by=office, now=NOW).state == "published"


@pytest.mark.parametrize(
    "change", [{"state": "replaced"}, {"first_day": TODAY - timedelta(days=9)}, {"faults": [{"sentence": "x"}]}]
)
def test_a_plan_that_is_replaced_gone_by_or_faulty_is_not_published(
    town: Town, office: Membership, change: dict[str, object]
) -> None:
    town.installer("Ada")
    _busy(town, 1)
    plan = _plan(town)
    Plan.objects.update(**change)
    with pytest.raises(Conflict):
        publish_plan(plan=plan, by=office, now=NOW)


def test_a_plan_that_was_stopped_is_stored_and_may_be_asked_for_again(town: Town) -> None:
    town.installer("Ada")
    _busy(town, 3)
    stopped = _plan(town, should_stop=lambda: True)
    assert stopped.digest == ""
    assert _plan(town) != stopped


def test_progress_is_told(town: Town) -> None:
    town.installer("Ada")
    _busy(town, 3)
    reports: list[tuple[float, str]] = []
    _plan(town, progress=lambda share, doing: reports.append((share, doing)))
    assert reports
    assert all(0.0 <= share <= 1.0 and doing for share, doing in reports)


def test_a_planner_that_is_told_to_end_leaves_no_plan(town: Town) -> None:
    class EndedError(Exception):
        """Somebody stopped the job."""

    def end(share: float, doing: str) -> None:
        raise EndedError

    town.installer("Ada")
    _busy(town, 3)
    with pytest.raises(EndedError):
        _plan(town, progress=end)
    assert not Plan.objects.exists()
    assert _plan(town).state == "draft"


def test_publishing_tomorrows_plan_keeps_what_is_left_of_today(town: Town, office: Membership) -> None:
    town.installer("Ada")
    _busy(town, 10)
    Visit.objects.update(minutes=150)
    monday = publish_plan(plan=_plan(town), by=office, now=NOW)
    today = {s.visit_id: s.starts_at for s in Stop.objects.filter(round__plan=monday, round__day=TODAY)}
    assert today
    noon = NOW + timedelta(hours=8)
    draft = _plan(town, noon, seed=5)
    assert draft.first_day == TODAY + timedelta(days=1)
    # who is expected today is not expected tomorrow as well
    assert not Stop.objects.filter(round__plan=draft, visit__in=today).exists()
    before = draft.costs
    plan = publish_plan(plan=draft, by=office, now=noon)
    monday.refresh_from_db()
    assert (monday.state, plan.first_day, plan.days) == ("replaced", TODAY, draft.days + 1)
    assert {s.visit_id: s.starts_at for s in Stop.objects.filter(round__plan=plan, round__day=TODAY)} == today
    assert not {row["visit"] for row in plan.differences} & set(today)
    rows = Round.objects.filter(plan=plan)
    assert plan.costs["driving"] == pytest.approx(sum(row.costs["driving"] for row in rows))
    assert plan.costs["driving"] > before["driving"]
    # the same question is still answered by this plan
    assert _plan(town, noon + timedelta(minutes=5), seed=5) == plan


def test_no_company_has_so_many_rounds_that_its_usual_effort_is_refused() -> None:
    weeks = make_week(1, seed=1, installers=600, days=28)
    assert sum(len(person.shifts) for person in weeks.installers) > 10_000
    assert Effort().for_problem(weeks).iterations == 1_000_000
    assert Effort().for_problem(make_week(1, seed=1)).iterations == 3_000
    assert Effort(iterations=7).for_problem(weeks).iterations == 7
