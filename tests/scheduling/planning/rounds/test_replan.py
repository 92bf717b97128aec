from __future__ import annotations

import dataclasses

import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds import (
    Appointment,
    Candidate,
    DifferenceKind,
    Disturbance,
    FreeLater,
    InstallerOut,
    Moment,
    Replanned,
    RoundPlan,
    RoundProblem,
    VisitAdded,
    VisitCancelled,
    VisitNotDone,
    Window,
    evaluate,
    list_people_to_notify,
    plan_rounds,
    replan,
)
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem

TEN = Moment(0, 10 * HOUR)


@pytest.fixture(scope="module")
def week() -> tuple[RoundProblem, RoundPlan]:
    problem = make_week(60, seed=31, musts=12, days=3)
    return problem, plan_rounds(problem, iterations=2_000, seed=1)


def repair(week: tuple[RoundProblem, RoundPlan], *changes, now: Moment = TEN, **more) -> Replanned:
    problem, plan = week
    more.setdefault("iterations", 600)
    return replan(problem, plan.plan, changes, now=now, provider=GreatCircleTravel(), seed=1, **more)


def slots(plan: RoundPlan, offset: int = 0) -> dict[str, tuple[str, int]]:
    return {s.visit: (r.installer, r.day + offset) for r in plan.routes for s in r.stops}


def test_nothing_wrong_changes_nothing(week) -> None:
    repaired = repair(week)
    assert repaired.plan.evaluation.faults == ()
    published = {v: slot for v, slot in slots(week[1]).items() if slot[1] < 2}
    begun = {s.visit for stops in repaired.begun.values() for s in stops}
    assert begun
    slots_after = slots(repaired.plan)
    assert {v: slot for v, slot in published.items() if v not in begun} == {
        v: slot for v, slot in slots_after.items() if v in published
    }
    assert {d.kind for d in repaired.differences} <= {DifferenceKind.ADDED}


def test_an_installer_who_is_ill_is_stood_in_for(week) -> None:
    _problem, plan = week
    ill = "installer 1"
    repaired = repair(week, InstallerOut(ill, 0), InstallerOut(ill, 1), now=Moment(0, 7 * HOUR))
    assert repaired.plan.evaluation.faults == ()
    assert ill not in {route.installer for route in repaired.plan.routes}
    assert repaired.plan.evaluation.missed_appointments == ()
    assert repaired.plan.evaluation.missed_urgent == ()
    their_visits = {v for v, slot in slots(plan).items() if slot[0] == ill and slot[1] < 2}
    assert their_visits <= {d.visit for d in repaired.differences}
    # visits of the others are disturbed only to make room
    others = {v for v, slot in slots(plan).items() if slot[0] != ill and slot[1] < 2}
    moved = {d.visit for d in repaired.differences if d.kind is not DifferenceKind.RETIMED} & others
    assert len(moved) <= len(their_visits)
    _, people = list_people_to_notify(repaired.differences)
    assert ill in people


def test_a_confirmed_appointment_of_someone_ill_is_kept_to_the_second_by_another(week) -> None:
    problem, _ = week
    promised = [c for c in problem.candidates if c.appointment and c.appointment.day == 1]
    assert promised
    person = promised[0].appointment.installer
    repaired = repair(week, InstallerOut(person, 1), now=Moment(0, 7 * HOUR))
    starts = {s.visit: (r.installer, r.day, s.start_s) for r in repaired.plan.routes for s in r.stops}
    for c in promised:
        installer, day, start = starts[c.key]
        assert (day, start) == (1, c.appointment.start_s)
        assert (installer != person) or c.appointment.installer != person
        if c.appointment.installer == person:
            (difference,) = [d for d in repaired.differences if d.visit == c.key]
            assert difference.kind is DifferenceKind.REASSIGNED
            assert difference.tell_client


@pytest.mark.parametrize(
    ("now_s", "begun", "free_s"),
    # 8:10 to 8:40, 8:50 to 9:20, 9:30 to 10:00; under way to the second at 8:40
    [
        (8 * HOUR, 1, 8 * HOUR + 40 * MINUTE),
        (8 * HOUR + 40 * MINUTE - 1, 1, 8 * HOUR + 40 * MINUTE),
        (8 * HOUR + 40 * MINUTE, 2, 9 * HOUR + 20 * MINUTE),
        (9 * HOUR + 55 * MINUTE, 3, 10 * HOUR),
        (11 * HOUR, 3, 11 * HOUR),
    ],
)
def test_an_installer_is_free_when_the_visit_under_way_is_over(now_s: int, begun: int, free_s: int) -> None:
    problem = line_problem([10, 20, 30])
    repaired = replan(
        problem, {(0, 0): (0, 1, 2)}, [], now=Moment(0, now_s), provider=GreatCircleTravel(), iterations=1
    )
    assert [stop.visit for stop in repaired.begun["Ada"]] == ["v0", "v1", "v2"][:begun]
    (shift,) = repaired.problem.installers[0].shifts
    assert shift.start_s == free_s


@pytest.mark.parametrize(("start_s", "is_kept"), [(10 * HOUR, True), (10 * HOUR - 1, False)])
def test_an_appointment_is_missed_when_its_second_has_gone_by(start_s: int, is_kept: bool) -> None:
    problem = line_problem([0], candidates=[{"appointment": Appointment(0, start_s, "Ada")}])
    repaired = replan(problem, {}, [], now=TEN, provider=GreatCircleTravel(), iterations=1)
    (visit,) = repaired.problem.candidates
    assert (visit.appointment is not None) == is_kept
    assert visit.urgent != is_kept


@pytest.mark.parametrize(
    ("appointment", "out_on", "is_bound"),
    [
        (Appointment(0, 11 * HOUR, "Ada"), [0], False), (Appointment(0, 11 * HOUR, "Ada"), [1], True),
        (Appointment(0, 11 * HOUR, "Ada"), [], True), (None, [0, 1], True),
    ],
)  # fmt: skip
def test_an_appointment_is_bound_to_somebody_unless_they_are_away_on_its_day(
    appointment: Appointment | None, out_on: list[int], is_bound: bool
) -> None:
    bound = {"appointment": appointment, "installers": frozenset({"Ada"})}
    problem = line_problem([10], candidates=[bound], days=2)
    changes = [InstallerOut("Ada", day) for day in out_on]
    now = Moment(0, 7 * HOUR)
    repaired = replan(problem, {}, changes, now=now, provider=GreatCircleTravel(), iterations=1)
    assert repaired.problem.candidates[0].installers == (frozenset({"Ada"}) if is_bound else None)


def test_what_has_begun_stays_and_the_round_goes_on_from_there(week) -> None:
    problem, _plan = week
    repaired = repair(week, FreeLater("installer 2", 12 * HOUR))
    begun = repaired.begun["installer 2"]
    assert begun
    today = next(r for r in repaired.plan.routes if (r.installer, r.day) == ("installer 2", 0))
    assert today.leaves_s >= 12 * HOUR
    first = problem.candidates[problem.candidate_index[begun[-1].visit]].place
    shift = repaired.problem.installers[1].shift_on(0)
    assert shift.starts_at == first
    assert not {s.visit for stops in repaired.begun.values() for s in stops} & set(repaired.plan.evaluation.served)
    assert repaired.plan.evaluation.faults == ()


def test_a_cancelled_visit_is_told_to_the_installer_alone(week) -> None:
    _, plan = week
    visit = plan.routes[-1].stops[0].visit if plan.routes[-1].day < 2 else None
    visit = visit or next(r for r in plan.routes if r.day == 1).stops[0].visit
    repaired = repair(week, VisitCancelled(visit))
    (difference,) = [d for d in repaired.differences if d.visit == visit]
    assert difference.kind is DifferenceKind.CANCELLED
    assert not difference.tell_client
    assert visit not in repaired.plan.evaluation.served


def urgent_call(days: int, **more) -> Candidate:
    return Candidate(
        **{
            "key": "call",
            "place": Place(50.0, 9.01),
            "windows": tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in range(days)),
            "service_s": 40 * MINUTE,
            "cost_by_day_cents": (0, *(8_000,) * (days - 1)),
            "cost_if_unserved_cents": 30_000,
            "urgent": True,
            **more,
        }
    )


def test_an_urgent_call_is_fitted_in_today(week) -> None:
    repaired = repair(week, VisitAdded(urgent_call(3)))
    assert slots(repaired.plan)["call"][1] == 0
    (difference,) = [d for d in repaired.differences if d.visit == "call"]
    assert (difference.kind, difference.tell_client) == (DifferenceKind.ADDED, True)
    assert len([d for d in repaired.differences if d.kind is not DifferenceKind.ADDED]) <= 6


def test_a_visit_that_could_not_be_done_is_open_again(week) -> None:
    first = repair(week).begun["installer 3"][0].visit
    repaired = repair(week, VisitNotDone(first))
    assert first in set(repaired.plan.evaluation.served) | set(repaired.plan.evaluation.unserved)
    if first in repaired.plan.evaluation.served:
        route, stop = next((r, s) for r in repaired.plan.routes for s in r.stops if s.visit == first)
        assert (route.day, stop.start_s) > (0, 10 * HOUR)


def test_dear_disturbance_means_fewer_changes() -> None:
    """Of several weeks together: in a single one the search may happen on either."""
    dear, cheap = 0, 0
    for seed in range(1, 5):
        problem = make_week(30, seed=seed, days=2, musts=6, installers=3)
        small_week = problem, plan_rounds(problem, iterations=300, seed=1)
        out = (InstallerOut("installer 3", 0),)
        dear += len(repair(small_week, *out, now=Moment(0, 7 * HOUR), iterations=300).differences)
        free = Disturbance(0, 0, 0, 0, 0)
        cheap += len(repair(small_week, *out, now=Moment(0, 7 * HOUR), iterations=300, disturbance=free).differences)
    assert dear < 0.9 * cheap


def test_free_disturbance_is_the_cheapest_without_its_price(week) -> None:
    change = InstallerOut("installer 4", 0)
    cheap = repair(week, change, disturbance=Disturbance(0, 0, 0, 0, 0), now=Moment(0, 7 * HOUR))
    dear = repair(week, change, now=Moment(0, 7 * HOUR))
    # without its own price, the plan that may change anything is the cheaper one
    assert (
        cheap.plan.evaluation.total_cents - cheap.disturbance_cents
        <= dear.plan.evaluation.total_cents - dear.disturbance_cents
    )
    assert cheap.disturbance_cents == 0


def test_what_breaking_a_plan_costs_where_nothing_was_decided() -> None:
    """Cents and seconds; common practice, no source."""
    assert dataclasses.asdict(Disturbance()) == {
        "other_installer_cents": 600, "other_confirmed_installer_cents": 2_500, "other_day_cents": 2_000,
        "dropped_cents": 4_000, "added_cents": 1_500, "retimed_cents": 1_000, "tolerance_s": 900,
    }  # fmt: skip


def test_stock_and_lunch_already_taken_are_taken_into_account() -> None:
    problem = make_week(40, seed=33, musts=0, days=2, skills=False)
    problem = dataclasses.replace(
        problem,
        installers=tuple(dataclasses.replace(p, van_stock={"resin": 5}) for p in problem.installers),
        candidates=tuple(dataclasses.replace(c, parts={"resin": 1}) for c in problem.candidates),
    )
    plan = plan_rounds(problem, iterations=800, seed=1)
    repaired = replan(problem, plan.plan, [], now=Moment(0, 14 * HOUR), provider=GreatCircleTravel(), iterations=200)
    for person in repaired.problem.installers:
        shift = person.shift_on(0)
        begun = len(repaired.begun.get(person.key, ()))
        if shift is None:
            continue
        assert shift.van_stock == {"resin": 5 - begun}
        assert shift.had_lunch
        assert shift.start_s >= 14 * HOUR
    assert all(r.lunch_start_s is None for r in repaired.plan.routes if r.day == 0)
    assert any(r.lunch_start_s is not None for r in repaired.plan.routes if r.day == 1)


def test_an_appointment_nobody_can_keep_is_set_for_another_time() -> None:
    problem = make_week(8, seed=34, musts=0, days=2, installers=1, skills=False)
    fixed = dataclasses.replace(
        problem.candidates[0],
        appointment=Appointment(0, 11 * HOUR, "installer 1"),
        windows=tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in range(2)),
    )
    problem = dataclasses.replace(problem, candidates=(fixed, *problem.candidates[1:]))
    plan = plan_rounds(problem, iterations=500, seed=1)
    assert fixed.key in plan.evaluation.served
    repaired = replan(
        problem,
        plan.plan,
        [FreeLater("installer 1", 13 * HOUR)],
        now=Moment(0, 8 * HOUR),
        provider=GreatCircleTravel(),
        iterations=500,
    )
    assert fixed.key in repaired.plan.evaluation.served
    difference = next(d for d in repaired.differences if d.visit == fixed.key)
    assert difference.kind in (DifferenceKind.RETIMED, DifferenceKind.RESCHEDULED)
    assert difference.tell_client


def test_the_price_of_disturbance_is_told_apart(week) -> None:
    repaired = repair(week, InstallerOut("installer 2", 1), now=Moment(0, 7 * HOUR))
    plain = dataclasses.replace(
        repaired.problem,
        candidates=tuple(
            dataclasses.replace(
                repaired.problem.candidates[k],
                cost_by_day_cents=c.cost_by_day_cents[:2],
                cost_if_unserved_cents=c.cost_if_unserved_cents,
                cost_by_installer_cents={},
            )
            for k, c in (
                (k, week[0].candidates[week[0].candidate_index[x.key]])
                for k, x in enumerate(repaired.problem.candidates)
            )
        ),
    )
    assert (
        evaluate(plain, repaired.plan.plan).total_cents
        == repaired.plan.evaluation.total_cents - repaired.disturbance_cents
    )


@pytest.mark.parametrize(
    ("change", "now", "field"),
    [
        (InstallerOut("nobody", 0), TEN, "changes[0].installer"),
        (FreeLater("nobody", 0), TEN, "changes[0].installer"),
        (VisitCancelled("nothing"), TEN, "changes[0].visit"),
        (VisitNotDone("nothing"), TEN, "changes[0].visit"),
        (VisitAdded(urgent_call(3, key="visit 1")), TEN, "changes[0].candidate"),
        (VisitAdded(urgent_call(2)), TEN, "changes[0].candidate"),
        (VisitCancelled("visit 1"), Moment(3, 0), "now.day"),
    ],
)
def test_a_wrong_change_is_named(week, change, now: Moment, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        repair(week, change, now=now)
    assert caught.value.field == field


def test_nothing_wrong_on_the_second_day_changes_nothing(week) -> None:
    """Days are told as those of the published horizon, whatever day it is."""
    repaired = repair(week, now=Moment(1, 10 * HOUR), iterations=200)
    begun = {s.visit for stops in repaired.begun.values() for s in stops}
    published = {v: slot for v, slot in slots(week[1]).items() if slot[1] >= 1 and v not in begun}
    after = slots(repaired.plan, offset=1)
    assert begun
    assert len(published) >= 10
    assert {v: after.get(v) for v in published} == published
    assert {d.kind for d in repaired.differences} <= {DifferenceKind.ADDED}
    assert all(d.after is not None and after[d.visit] == d.after[:2] for d in repaired.differences)


def test_who_falls_ill_on_the_second_day_is_replaced_from_then_on(week) -> None:
    _, plan = week
    ill = next(r.installer for r in plan.routes if r.day == 2 and r.stops)
    theirs = {s.visit for r in plan.routes for s in r.stops if r.installer == ill and r.day == 2}
    repaired = repair(week, InstallerOut(ill, 2), now=Moment(1, 10 * HOUR), iterations=200)
    told = {d.visit: d for d in repaired.differences}
    assert theirs <= set(told)
    for visit in theirs:
        assert told[visit].before is not None
        assert told[visit].before[:2] == (ill, 2)
        assert told[visit].after is None or told[visit].after[:2] != (ill, 2)
    assert all(d.after is None or 1 <= d.after[1] <= 2 for d in repaired.differences)


def today_of(now_s: int, *changes, **installer):
    """What is left of the day of somebody with visits from 8:10 to 8:40, 9:00 to 9:30 and 9:40 to 10:10, who is home
    at 10:50 and has lunch there from 11:30."""
    repaired = replan(
        line_problem([10, 30, 40], installer=installer), {(0, 0): (0, 1, 2)}, changes, now=Moment(0, now_s),
        provider=GreatCircleTravel(), iterations=1,
    )  # fmt: skip
    return repaired.problem.installers[0].shift_on(0)


NOON, HALF_PAST_ONE = 12 * HOUR, 13 * HOUR + 30 * MINUTE


@pytest.mark.parametrize(
    ("now_s", "changes", "had_lunch", "free_s"),
    [
        (11 * HOUR + 30 * MINUTE - 1, [], False, 11 * HOUR + 30 * MINUTE - 1),
        (11 * HOUR + 30 * MINUTE, [], True, NOON),
        (11 * HOUR + 45 * MINUTE, [], True, NOON),
        (NOON + 1, [], True, NOON + 1),
        # whoever works on has not eaten, and eats at once where the hours of lunch are over
        (11 * HOUR + 45 * MINUTE, [FreeLater("Ada", 13 * HOUR)], True, 13 * HOUR),
        (10 * HOUR + 30 * MINUTE, [FreeLater("Ada", 13 * HOUR)], False, 13 * HOUR),
        (10 * HOUR + 30 * MINUTE, [FreeLater("Ada", HALF_PAST_ONE)], False, HALF_PAST_ONE),
        (10 * HOUR + 30 * MINUTE, [FreeLater("Ada", HALF_PAST_ONE + 1)], True, 14 * HOUR + 1),
        # free since before now is free now
        (10 * HOUR + 30 * MINUTE, [FreeLater("Ada", 9 * HOUR)], False, 10 * HOUR + 30 * MINUTE),
    ],
)
def test_lunch_is_owed_until_it_was_had(now_s: int, changes: list, had_lunch: bool, free_s: int) -> None:
    shift = today_of(now_s, *changes)
    assert (shift.had_lunch, shift.start_s) == (had_lunch, free_s)


def test_who_goes_on_working_over_noon_eats_later() -> None:
    """Lunch was planned behind the third visit, at 11:40, and that one takes until one o'clock."""
    problem = line_problem([60, 80, 100, 120], candidates=[{"service_s": 40 * MINUTE}] * 4)
    plan = {(0, 0): (0, 1, 2, 3)}
    now = Moment(0, 11 * HOUR + 45 * MINUTE)

    def shift(*changes):
        repaired = replan(problem, plan, changes, now=now, provider=GreatCircleTravel(), iterations=1)
        return repaired.problem.installers[0].shift_on(0)

    assert (shift().had_lunch, shift().start_s) == (True, 12 * HOUR + 10 * MINUTE)
    late = shift(FreeLater("Ada", 13 * HOUR))
    assert (late.had_lunch, late.start_s) == (False, 13 * HOUR)


def test_a_day_is_cut_short_by_an_absence_and_runs_over_no_more() -> None:
    whole = today_of(10 * HOUR + 30 * MINUTE)
    assert (whole.end_s, whole.may_run_over) == (17 * HOUR, True)
    cut = today_of(10 * HOUR + 30 * MINUTE, InstallerOut("Ada", 0, 15 * HOUR))
    assert (cut.end_s, cut.may_run_over) == (15 * HOUR, False)
    assert today_of(10 * HOUR + 30 * MINUTE, InstallerOut("Ada", 0, 10 * HOUR + 30 * MINUTE)) is None
    last = today_of(10 * HOUR + 30 * MINUTE, InstallerOut("Ada", 0, 10 * HOUR + 30 * MINUTE + 1))
    assert last.end_s - last.start_s == 1


def test_the_day_after_is_cut_short_as_well() -> None:
    def tomorrow(*changes):
        problem = line_problem([10], days=3)
        repaired = replan(problem, {}, changes, now=Moment(0, 7 * HOUR), provider=GreatCircleTravel(), iterations=1)
        assert repaired.problem.installers[0].shift_on(2) is None, "two days are planned again"
        return repaired.problem.installers[0].shift_on(1)

    assert (tomorrow().end_s, tomorrow().may_run_over) == (17 * HOUR, True)
    cut = tomorrow(InstallerOut("Ada", 1, 12 * HOUR))
    assert (cut.start_s, cut.end_s, cut.may_run_over) == (8 * HOUR, 12 * HOUR, False)
    assert tomorrow(InstallerOut("Ada", 1, 8 * HOUR)) is None
    assert tomorrow(InstallerOut("Ada", 1, 8 * HOUR + 1)).end_s == 8 * HOUR + 1


def test_parts_of_what_is_done_are_no_longer_in_the_van() -> None:
    problem = line_problem(
        [10, 30, 40], candidates=[{"parts": {"resin": 2}}, {"parts": {"resin": 1, "carbon": 1}}, {}],
        installer={"van_stock": {"resin": 2, "carbon": 4}},
    )  # fmt: skip

    def stock(*changes):
        repaired = replan(
            problem, {(0, 0): (0, 1, 2)}, changes, now=Moment(0, 9 * HOUR + 10 * MINUTE),
            provider=GreatCircleTravel(), iterations=1,
        )  # fmt: skip
        return dict(repaired.problem.installers[0].shift_on(0).van_stock)

    assert stock() == {"resin": 0, "carbon": 3}
    assert stock(VisitNotDone("v0")) == {"resin": 1, "carbon": 3}


def two_people(**candidate):
    """Ada and Bea live in one place, and one visit of 30 minutes lies ten minutes away."""
    problem = line_problem([10], days=2)
    person = problem.installers[0]
    visit = dataclasses.replace(problem.candidates[0], **candidate)
    return RoundProblem.build(
        first_day=problem.first_day, days=2, installers=[person, dataclasses.replace(person, key="Bea")],
        candidates=[visit], rates=problem.rates, provider=GreatCircleTravel(),
    )  # fmt: skip


def priced(problem: RoundProblem, plan, *changes):
    repaired = replan(problem, plan, changes, now=Moment(0, 7 * HOUR), provider=GreatCircleTravel(), iterations=20)
    return repaired, repaired.problem.candidates[0]


def test_each_way_of_disturbing_a_visit_has_its_price() -> None:
    """Told for Ada on the first day: another day, another installer, or not at all."""
    repaired, visit = priced(two_people(), {(0, 0): (0,)})
    assert visit.cost_by_day_cents == (100, 100 + 2_000)
    assert dict(visit.cost_by_installer_cents) == {"Bea": 600}
    assert visit.cost_if_unserved_cents == 1_000 + 4_000
    assert repaired.disturbance_cents == 0
    # one that nobody was told of
    _, visit = priced(two_people(), {})
    assert visit.cost_by_day_cents == (100 + 1_500, 100 + 1_500)
    assert (dict(visit.cost_by_installer_cents), visit.cost_if_unserved_cents) == ({}, 1_000)
    # one that has just been called in is no disturbance
    call = dataclasses.replace(two_people().candidates[0], key="call")
    added, _ = priced(two_people(), {(0, 0): (0,)}, VisitAdded(call))
    new = added.problem.candidates[added.problem.candidate_index["call"]]
    assert (new.cost_by_day_cents, new.cost_if_unserved_cents) == ((100, 100), 1_000)
    # a confirmed name is dearer to change
    _, visit = priced(two_people(appointment=Appointment(1, 10 * HOUR, "Bea")), {(1, 1): (0,)})
    assert dict(visit.cost_by_installer_cents) == {"Ada": 2_500}
    assert (visit.appointment.day, visit.appointment.installer) == (1, None)


def test_the_price_of_what_had_to_be_disturbed_is_told() -> None:
    stood_in, _ = priced(two_people(), {(0, 0): (0,)}, InstallerOut("Ada", 0))
    assert stood_in.disturbance_cents == 600
    both_out = [InstallerOut(person, day) for person in ("Ada", "Bea") for day in (0, 1)]
    dropped, _ = priced(two_people(), {(0, 0): (0,)}, *both_out)
    assert dropped.disturbance_cents == 4_000
    moved, _ = priced(two_people(), {(0, 0): (0,)}, InstallerOut("Ada", 0), InstallerOut("Bea", 0))
    assert moved.disturbance_cents == 2_000


@pytest.mark.parametrize(("days", "lasts"), [(1, 1), (2, 2), (9, 2)])
def test_so_many_days_are_planned_again_as_are_left(days: int, lasts: int) -> None:
    problem = line_problem([10], days=2)
    repaired = replan(problem, {}, [], now=Moment(0, 7 * HOUR), provider=GreatCircleTravel(), iterations=1, days=days)
    assert repaired.problem.days == lasts
    with pytest.raises(PlanningError) as caught:
        replan(problem, {}, [], now=TEN, provider=GreatCircleTravel(), iterations=1, days=0)
    assert caught.value.field == "days"
    for day in (-1, 2):
        with pytest.raises(PlanningError) as caught:
            replan(problem, {}, [], now=Moment(day, 0), provider=GreatCircleTravel(), iterations=1)
        assert caught.value.field == "now.day"


@pytest.mark.parametrize(("out_from", "begun"), [(8 * HOUR + 5 * MINUTE, 0), (8 * HOUR + 10 * MINUTE, 0),
                                                 (8 * HOUR + 10 * MINUTE + 1, 1)])  # fmt: skip
def test_what_somebody_left_before_the_work_began_has_not_begun(out_from: int, begun: int) -> None:
    """Under way since 8:00 to be there at 8:10."""
    repaired = replan(
        line_problem([10]), {(0, 0): (0,)}, [InstallerOut("Ada", 0, out_from)], now=Moment(0, 8 * HOUR + 20 * MINUTE),
        provider=GreatCircleTravel(), iterations=1,
    )  # fmt: skip
    assert len(repaired.begun["Ada"]) == begun
