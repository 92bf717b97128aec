"""Plans of rounds: asked of the planner, judged, stored whole, published."""

import dataclasses
from collections.abc import Callable, Mapping
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from types import MappingProxyType
from typing import Any, TypedDict, Unpack

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.jobs.models import Job
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from scheduling.models import Plan, Round, Stop, UnservedVisit, Visit
from scheduling.planning import rounds
from scheduling.planning.travel.trips import TravelProvider
from scheduling.services import events_out
from scheduling.services.people import messages
from scheduling.services.policy import read_policy
from scheduling.services.rounds.costs import add_up, cents_of_round, cents_of_route, costs_of_plan
from scheduling.services.rounds.differences import as_text, compare_stops
from scheduling.services.rounds.faults import faults_of_plan
from scheduling.services.rounds.problem import MOST_DAYS, AskedVisits, PlanQuestion, ask, asked_days
from scheduling.services.rounds.why import Earlier, explain
from scheduling.services.stock.parts import PartsWritten, write_parts_lists
from scheduling.services.visits.costs import day_costs
from scheduling.services.visits.locks import LOCK, forget_lock, keeps_lock
from scheduling.services.words import rounds as words
from scheduling.services.words.visits import plan_cannot_keep

#: Called with the share done (0-1) and what is being done.
ProgressCall = Callable[[float, str], None]

_FARTHEST_DAYS = 42
_MOST_ITERATIONS = 1_000_000
# What was confirmed with a client, or is under way, has its time without a place in a plan.
_NO_TIME_OF_THEIR_OWN = (Visit.State.PROPOSED, Visit.State.OFFERED)


@dataclass(frozen=True, slots=True)
class PlanMade:
    """A plan as it is stored, and what became of its parts lists."""

    plan: Plan
    parts: PartsWritten


class EffortAsked(TypedDict, total=False):
    """What of an :class:`Effort` somebody asks for; the rest is as usual."""

    seconds: float | None
    iterations: int | None
    seed: int


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard the planner tries: seconds or iterations, and the seed of its random choices."""

    seconds: float | None = None
    iterations: int | None = None
    seed: int = 0

    def __post_init__(self) -> None:
        faults = []
        if self.seconds is not None and self.iterations is not None:
            faults.append(Fault("/iterations", "give seconds or iterations, not both."))
        if self.seconds is not None and not 0 < self.seconds <= 3_600:
            faults.append(Fault("/seconds", f"seconds must be above 0 and at most 3600, not {self.seconds!r}."))
        if self.iterations is not None and not 1 <= self.iterations <= _MOST_ITERATIONS:
            faults.append(Fault("/iterations", f"iterations must be 1 to {_MOST_ITERATIONS}, not {self.iterations!r}."))
        if not 0 <= self.seed < 2**31:
            faults.append(Fault("/seed", f"seed must be 0 to {2**31 - 1}, not {self.seed!r}."))
        if faults:
            raise InvalidInput("effort_not_valid", "The effort is outside its range.", faults=faults)

    @property
    def is_usual(self) -> bool:
        """Whether nobody asked for an effort of their own."""
        return self == Effort()

    def for_problem(self, problem: rounds.RoundProblem) -> "Effort":
        """The same with what is usual for a problem, where nothing was asked for.

        Iterations, not seconds: the same night, the same plan.
        """
        if self.seconds is None and self.iterations is None:
            return dataclasses.replace(self, iterations=min(rounds.usual_iterations(problem), _MOST_ITERATIONS))
        return self

    @property
    def as_stored(self) -> dict[str, Any]:
        """Keyword arguments of the planner."""
        return {"seconds": self.seconds, "iterations": self.iterations, "seed": self.seed}


def check_days(*, company: Company, first_day: date, days: int, now: datetime) -> None:
    """Refuse days that cannot be planned.

    Raises
    ------
    InvalidInput
        When the first day has gone by or lies too far ahead, or there are too few or too many days.
    """
    today = company.day_at(now)
    last = today + timedelta(days=_FARTHEST_DAYS)
    faults = []
    if not today <= first_day <= last:
        faults.append(Fault("/first_day", f"first_day must be from {today} to {last}, not {first_day}."))
    if not 1 <= days <= MOST_DAYS:
        faults.append(Fault("/days", f"days must be 1 to {MOST_DAYS}, not {days}."))
    if faults:
        raise InvalidInput("days_not_valid", "These days cannot be planned.", faults=faults)


def plan_rounds(
    *,
    company: Company,
    by: Membership | None,
    now: datetime,
    first_day: date | None = None,
    days: int | None = None,
    progress: ProgressCall | None = None,
    should_stop: Callable[[], bool] | None = None,
    job: Job | None = None,
    provider: TravelProvider | None = None,
    **effort_asked: Unpack[EffortAsked],
) -> PlanMade:
    """Plan the rounds of some days and store them as a draft, with the parts lists that vans are loaded by.

    The same question is answered by the plan that answered it before, so asking twice changes nothing; asked with
    another effort, the better of the two answers stays, and its parts lists are brought up to date. An older draft for
    the same days is replaced; a published plan stays as it is until another is published.

    Parameters
    ----------
    company, by, now
        Whose rounds, who asks (None: the nightly run), and when.
    first_day, days
        Days of the company's calendar; None: as `asked_days` says.
    progress, should_stop
        Told and asked now and then; when stopped, the best plan so far is stored.
    job
        The job on whose behalf the plan is made.
    provider
        Who makes the table of trips; None: as the company is set up.
    effort_asked
        Neither seconds nor iterations: iterations in step with the rounds, or whatever effort answered the same
        question before.

    Raises
    ------
    InvalidInput
        When the days or the effort cannot be right.
    """
    effort = Effort(**effort_asked)
    policy = read_policy(company=company)
    first_day, days = asked_days(company=company, policy=policy.planning, now=now, first_day=first_day, days=days)
    check_days(company=company, first_day=first_day, days=days, now=now)
    question = ask(
        company=company,
        policy=policy,
        first_day=first_day,
        days=days,
        provider=provider,
        visits=AskedVisits(without=planned_on_other_days(company=company, first_day=first_day, days=days, now=now)),
    )
    answered = _answered(company, question.digest)
    if answered is not None and (effort.is_usual or answered.effort == effort.as_stored):
        return PlanMade(answered, write_parts_lists(plan=answered, now=now))
    effort = effort.for_problem(question.problem)
    answer = rounds.plan_rounds(
        question.problem,
        **effort.as_stored,
        on_progress=_pass_on(progress, company.currency),
        should_stop=should_stop,
    )
    with transaction.atomic():
        # the planner ran outside of any transaction, so somebody else may have answered in the meantime
        lock_company(company.pk)
        plan = _answered(company, question.digest)
        if plan is None or not (plan.effort == effort.as_stored or _is_as_good(plan, question, answer)):
            plan = _store(company, question, answer, effort, job, by, now)
        # a plan without its own lists would send people out with those of the one before
        return PlanMade(plan, write_parts_lists(plan=plan, now=now))


def planned_on_other_days(*, company: Company, first_day: date, days: int, now: datetime) -> set[int]:
    """Visits that published plans hold on days to come, today included, other than those asked about.

    Their clients and installers count on them there.
    """
    stops = Stop.objects.of_company(company).filter(
        round__plan__state=Plan.State.PUBLISHED, round__day__gte=company.day_at(now)
    )
    asked_days = (first_day, first_day + timedelta(days=days - 1))
    return set(stops.exclude(round__day__range=asked_days).values_list("visit_id", flat=True))


def _answered(company: Company, digest: str) -> Plan | None:
    """The live plan that answers this very question."""
    live = [Plan.State.DRAFT, Plan.State.PUBLISHED]
    plan: Plan | None = Plan.objects.of_company(company).filter(digest=digest, state__in=live).first()
    return plan


def _is_as_good(stored_plan: Plan, question: PlanQuestion, answer: rounds.RoundPlan) -> bool:
    """Whether a stored answer to the same question is no worse than a new one, by the evaluator's own order."""
    unserved = set(stored_plan.unserved.values_list("visit_id", flat=True))
    missed = [c for c in question.problem.candidates if int(c.key) in unserved and c.must]
    appointments = sum(c.appointment is not None for c in missed)
    # whole cents, as the evaluator counts: what is stored is money
    stored = (
        len(stored_plan.faults),
        appointments,
        len(missed) - appointments,
        round(100 * stored_plan.costs["total"]) - cents_of_leaving(question),
    )
    return stored <= answer.evaluation.rank


def _pass_on(progress: ProgressCall | None, currency: str) -> Callable[[rounds.Progress], None] | None:
    if progress is None:
        return None
    return lambda p: progress(p.share, words.best_so_far(p.doing, p.best_cents / 100, currency))


def _store(
    company: Company,
    question: PlanQuestion,
    answer: rounds.RoundPlan,
    effort: Effort,
    job: Job | None,
    by: Membership | None,
    now: datetime,
) -> Plan:
    problem = question.problem
    Plan.objects.of_company(company).filter(first_day=problem.first_day, state=Plan.State.DRAFT).update(
        state=Plan.State.REPLACED
    )
    judged = answer.evaluation
    plan = Plan.objects.create(
        company=company,
        first_day=problem.first_day,
        days=problem.days,
        created_at=now,
        job=job,
        # a plan that was cut short is not the answer to the question, so the question may be asked again
        digest="" if answer.stopped else question.digest,
        effort=effort.as_stored,
        travel_source=answer.travel_source,
        costs=_costs(answer, question),
        faults=[
            {"code": f.code, "sentence": f.sentence, "installer": f.installer, "day": f.day, "visit": f.visit}
            for f in judged.faults
        ],
    )
    _check_all_answered(answer, question)
    reasons = rounds.reasons_of(problem, answer.routes)
    for route in answer.routes:
        day = round_row(plan, route, question)
        day.save()
        Stop.objects.bulk_create(stop_rows(day, route, question, reasons))
    UnservedVisit.objects.bulk_create(unserved_rows(plan, answer, question))
    if by is not None:
        record(by=by, action="plan rounds", subject=plan, details={"days": problem.days}, now=now)
    return plan


def _costs(answer: rounds.RoundPlan, question: PlanQuestion) -> dict[str, float]:
    judged = answer.evaluation
    unlocated_cents = cents_of_leaving(question)
    return {
        "total": (judged.total_cents + unlocated_cents) / 100,
        "driving": judged.driving_cents / 100,
        "overtime": judged.overtime_cents / 100,
        "visits": judged.visits_cents / 100,
        "left": (judged.unserved_cents + unlocated_cents) / 100,
        "by_hand_total": (answer.naive_total_cents + unlocated_cents) / 100,
    }


def round_row(plan: Plan, route: rounds.Route, question: PlanQuestion) -> Round:
    """A round as it is stored, not yet saved."""
    clock = question.clock
    return Round(
        plan=plan,
        installer=question.installers[route.installer],
        day=route.date,
        leaves_at=clock.on_the_minute(route.day, route.leaves_s),
        returns_at=clock.on_the_minute(route.day, route.returns_s),
        lunch_at=clock.on_the_minute(route.day, route.lunch_start_s) if route.lunch_start_s is not None else None,
        driving_minutes=round(route.drive_s / 60, 1),
        driving_km=round(route.drive_m / 1_000, 1),
        costs=add_up(cents_of_route(question.problem, route, [question.visits[stop.visit] for stop in route.stops])),
    )


def stop_rows(
    day: Round,
    route: rounds.Route,
    question: PlanQuestion,
    reasons: Mapping[str, rounds.Why],
    *,
    first: int = 1,
    earlier: Earlier = MappingProxyType({}),
) -> list[Stop]:
    """The stops of a round as they are stored, not yet saved.

    Parameters
    ----------
    day, route, question
        The round as it is stored, as it was planned, and what was asked.
    reasons
        Key of each visit to why it is where it is.
    first
        Place of the first of the stops.
    earlier
        What was said in the plan before of visits that stay with their installer on their day.
    """
    clock = question.clock
    stops = [
        Stop(
            round=day,
            visit=question.visits[stop.visit],
            order=order,
            arrives_at=clock.on_the_minute(route.day, stop.arrival_s),
            starts_at=clock.on_the_minute(route.day, stop.start_s),
            leaves_at=clock.on_the_minute(route.day, stop.end_s),
            driving_minutes=round(stop.drive_s / 60, 1),
            driving_km=round(stop.drive_m / 1_000, 1),
        )
        for order, stop in enumerate(route.stops, start=first)
    ]
    return [explain(row, reasons[stop.visit], question, earlier) for row, stop in zip(stops, route.stops, strict=True)]


#: Reason of a visit that its parts keep out; the planner's own reasons are those of `planning.rounds`.
_WAITS = "waits_for_parts"
#: Reason of a visit to a site that nobody has located.
_UNLOCATED = "location_unknown"


def unserved_rows(
    plan: Plan, answer: rounds.RoundPlan, question: PlanQuestion, *, end: date | None = None
) -> list[UnservedVisit]:
    """What the planner says of the visits it leaves out, not yet saved; `end` is the day after the last it planned."""
    end = end or question.problem.first_day + timedelta(days=question.problem.days)
    return [
        UnservedVisit(
            plan=plan,
            visit=question.visits[unserved.visit],
            reason=_WAITS if _is_waiting(unserved.visit, question, end) else unserved.reason.value,
            sentence=_sentence(unserved, question, end),
            displaces=question.visits.get(unserved.displaces),
            extra_cost=None if unserved.extra_cents is None else unserved.extra_cents / 100,
        )
        for unserved in answer.unserved
    ] + [
        UnservedVisit(
            plan=plan, visit=visit, reason=_UNLOCATED, sentence=words.location_unknown(visit.site.code, visit.site.name)
        )
        for visit in question.unlocated
    ]


def cents_of_leaving(question: PlanQuestion) -> int:
    """What leaving the visits to sites of unknown location costs, whatever the rounds."""
    problem = question.problem
    return sum(
        round(100.0 * day_costs(visit, first_day=problem.first_day, days=problem.days)[1])
        for visit in question.unlocated
    )


def _is_waiting(visit: str, question: PlanQuestion, end: date) -> bool:
    """Whether parts alone keep a visit out: no day of the plan is late enough for them."""
    wait = question.waits.get(visit)
    return wait is not None and wait.until >= end


def _sentence(unserved: rounds.Unserved, question: PlanQuestion, end: date) -> str:
    name = question.visits[unserved.visit].site.name
    if not question.installers:
        return words.nobody_active(name)
    if _is_waiting(unserved.visit, question, end):
        return words.waits(name, question.waits[unserved.visit].sentence)
    return unserved.sentence


def _check_all_answered(answer: rounds.RoundPlan, question: PlanQuestion) -> None:
    """Every candidate is in a round or has a reason."""
    explained = {unserved.visit for unserved in answer.unserved}
    served = {stop.visit for route in answer.routes for stop in route.stops}
    silent = [key for key in question.visits if key not in served and key not in explained]
    if silent:
        raise RuntimeError(f"The planner left visits {', '.join(silent)} out without a reason.")


def publish_plan(*, plan: Plan, by: Membership, now: datetime) -> Plan:
    """Make a draft the plan that installers drive by.

    Other published plans whose days overlap are replaced; their rounds of days to come, today included, that this plan
    says nothing of become part of it. Proposed visits in the plan take its installer; a visit whose time or installer
    is not what the plan before said counts one revision up, so that calendars take it over; the plan's `differences`
    list them all, and who must be told.
    Publishing a published plan again changes nothing.

    Raises
    ------
    Conflict
        When the plan was replaced, has gone by, or the independent evaluator found it faulty; when something in it does
        not fit what is known by now. Its faults name every such row and what helps.
    """
    with transaction.atomic():
        lock_company(plan.company_id)
        row = Plan.objects.select_for_update(no_key=True).get(pk=plan.pk)
        if row.state == Plan.State.PUBLISHED:
            return row
        every = list(Stop.objects.filter(round__plan=row).select_related("visit__site", "round__installer"))
        # what a repaired plan took over from the rounds under way is history
        stops = [stop for stop in every if row.based_on_id is None or stop.starts_at > now]
        _check_publishable(row, now)
        others = [
            other
            for other in Plan.objects.select_for_update(no_key=True).filter(
                company=row.company_id, state=Plan.State.PUBLISHED
            )
            if _overlap(row, other)
        ]
        earlier_stops = Stop.objects.filter(round__plan__in=others).select_related("visit__site", "round__installer")
        stop_before = {s.visit_id: s for s in earlier_stops}
        slots_before = {s.visit_id: events_out.known_before(s.visit, stop_before.get(s.visit_id)) for s in stops}
        before = {s.visit_id: (s.starts_at, s.leaves_at, s.round.installer_id) for s in earlier_stops}
        Plan.objects.filter(pk__in=[other.pk for other in others]).update(state=Plan.State.REPLACED)
        row.state, row.published_at = Plan.State.PUBLISHED, now
        if row.based_on_id is None:
            last = row.last_day
            row.differences = compare_stops(
                company=row.company,
                before=[s for s in earlier_stops if s.starts_at > now and row.first_day <= s.round.day <= last],
                after=stops if others else [],
                first_day=row.first_day,
            )
            _take_other_days_over(row, [s for s in earlier_stops if not row.first_day <= s.round.day <= last], now)
        row.save(update_fields=["state", "published_at", "differences", "first_day", "days", "costs"])
        moved: list[tuple[Visit, datetime | None]] = []
        confirmed_with: list[tuple[Visit, int | None]] = []
        for stop in stops:
            visit = stop.visit
            if before.get(visit.pk) != (stop.starts_at, stop.leaves_at, stop.round.installer_id):
                visit.revision += 1
                visit.updated_at = now
            earlier_installer = visit.installer_id
            if visit.state == Visit.State.PROPOSED or visit.installer_id is not None:
                visit.installer_id = stop.round.installer_id
            if not keeps_lock(visit, stop, now):
                forget_lock(visit=visit, by=by, why=plan_cannot_keep(row.pk), now=now)
            if visit.state == Visit.State.CONFIRMED and visit.appointment_at != stop.starts_at:
                appointment_before, visit.appointment_at = as_text(visit.appointment_at), stop.starts_at
                details = {"was": appointment_before, "appointment_at": as_text(stop.starts_at), "plan": row.pk}
                record(by=by, action="move appointment", subject=visit, details=details, now=now)
                moved.append((visit, datetime.fromisoformat(appointment_before) if appointment_before else None))
            elif visit.state == Visit.State.CONFIRMED:
                confirmed_with.append((visit, earlier_installer))
        Visit.objects.bulk_update(
            [stop.visit for stop in stops], ["revision", "updated_at", "installer", "appointment_at", *LOCK]
        )
        for visit, at in moved:
            messages.moved(visit, at, now)
        messages.other_installers(confirmed_with, now)
        dropped = {row_["visit"]: row_["appointment_at"] for row_ in row.differences if row_["kind"] == "dropped"}
        messages.dropped(
            Visit.objects.filter(pk__in=[pk for pk, at in dropped.items() if at], state=Visit.State.CONFIRMED),
            f"plan {row.pk}",
            now,
        )
        messages.rounds_changed(row.company, f"plan {row.pk}", row.differences, now)
        slots = [(stop.visit, slots_before[stop.visit_id], events_out.Slot.of_stop(stop)) for stop in stops]
        events_out.times_set(row.company_id, slots, now)
        left_out = [s for s in earlier_stops if s.visit_id in dropped and s.visit.state in _NO_TIME_OF_THEIR_OWN]
        events_out.times_lost(row.company_id, [(s.visit, events_out.Slot.of_stop(s)) for s in left_out], now)
        record(by=by, action="publish plan", subject=row, details={"replaces": [o.pk for o in others]}, now=now)
    return row


def _take_other_days_over(plan: Plan, earlier_stops: list[Stop], now: datetime) -> None:
    """Copy rounds of days to come that the plan says nothing of; it covers their days from now on, at their cost."""
    today = plan.company.day_at(now)
    here = set(Stop.objects.filter(round__plan=plan).values_list("visit_id", flat=True))
    stops_by_round: dict[int, list[Stop]] = {}
    for stop in sorted(earlier_stops, key=lambda s: (s.round.day, s.round_id, s.order)):
        if stop.round.day >= today and stop.visit_id not in here:
            stops_by_round.setdefault(stop.round_id, []).append(stop)
    if not stops_by_round:
        return
    policy = read_policy(company=plan.company).planning
    last = plan.last_day
    for stops in stops_by_round.values():
        row = copy(stops[0].round)
        row.pk, row.plan, row.costs = None, plan, add_up(cents_of_round(row, stops, policy))
        row.save(force_insert=True)
        for order, stop in enumerate(stops, start=1):
            stop.pk, stop.round, stop.order = None, row, order
        Stop.objects.bulk_create(stops)
        plan.first_day, last = min(plan.first_day, row.day), max(last, row.day)
    plan.days = (last - plan.first_day).days + 1
    plan.costs = plan.costs | costs_of_plan(plan)


def _overlap(one: Plan, other: Plan) -> bool:
    return one.first_day < other.first_day + timedelta(days=other.days) and other.first_day < one.first_day + timedelta(
        days=one.days
    )


def _check_publishable(plan: Plan, now: datetime) -> None:
    """Refuse what cannot be driven, or is older than what people were told since, naming every row and what helps."""
    if plan.state == Plan.State.REPLACED:
        raise Conflict("plan_is_replaced", "A newer plan has replaced this one; publish that one.")
    last = plan.last_day
    if last < plan.company.day_at(now):
        raise Conflict("plan_has_gone_by", f"The plan ended on {last}; make a new one.")
    if plan.based_on is not None and plan.based_on.state != Plan.State.PUBLISHED:
        raise Conflict("plan_is_stale", "The plan that this one repairs has been replaced; repair the new one.")
    preventing = [fault for fault in faults_of_plan(plan=plan, now=now) if fault.prevents]
    if preventing:
        raise Conflict(
            "plan_is_faulty" if plan.faults else "plan_is_stale",
            f"{words.cannot_be_published(len(preventing))} {preventing[0].sentence} {preventing[0].settle.words}",
            faults=[Fault("", words.prevents(fault.sentence, fault.settle.words)) for fault in preventing],
        )
