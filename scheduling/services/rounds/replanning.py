"""The day goes wrong: the rest of today and tomorrow planned again, changing as little as possible."""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Unpack
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.models import Position, Unit
from scheduling.models import Installer, Need, Plan, Round, Stop, UnservedVisit, Visit
from scheduling.planning import rounds
from scheduling.planning.travel.trips import TravelProvider
from scheduling.services.days import PlanningClock
from scheduling.services.needs.needs import add_need
from scheduling.services.people.absences import LONGEST_DAYS, absences_of, away_on, record_absence
from scheduling.services.policy import read_policy
from scheduling.services.rounds.costs import add_up, cents_of_part, cents_of_round, costs_of_plan
from scheduling.services.rounds.differences import compare_stops
from scheduling.services.rounds.faults import faults_of_plan
from scheduling.services.rounds.plans import (
    Effort,
    EffortAsked,
    planned_on_other_days,
    publish_plan,
    round_row,
    stop_rows,
    unserved_rows,
)
from scheduling.services.rounds.problem import AskedVisits, PartsWaitedFor, PlanQuestion, ask
from scheduling.services.rounds.why import earlier_reasons
from scheduling.services.stock.parts import write_parts_lists
from scheduling.services.travel import provider_for
from scheduling.services.visits.visits import LEGAL_MOVES, cancel_visit, propose_visits

State = Visit.State
# As many as four installers and sixty visits are repaired with in a few seconds.
_DEFAULT_ITERATIONS = 1_500
_MOST_SECONDS = 60.0
_MOST_ITERATIONS = 20_000
_MOST_DAYS = 7
_USUAL_DAYS = 2


@dataclass(frozen=True, slots=True)
class InstallerIsOut:
    """An installer does not work from a moment (None: now) until the end of a day (None: of the same day)."""

    installer: Installer
    from_at: datetime | None = None
    through: date | None = None


@dataclass(frozen=True, slots=True)
class VisitOverruns:
    """The visit an installer is at takes longer than planned."""

    visit: Visit
    minutes: int


@dataclass(frozen=True, slots=True)
class VisitIsOff:
    """A client calls a visit off."""

    visit: Visit
    note: str = ""


@dataclass(frozen=True, slots=True)
class UrgentCall:
    """A client needs somebody now."""

    unit: Unit
    reason: str
    kind: str = Need.Kind.REPAIR
    position: Position | None = None


@dataclass(frozen=True, slots=True)
class Happened:
    """Everything that has gone wrong since the plan was published."""

    installers_out: Sequence[InstallerIsOut] = ()
    overruns: Sequence[VisitOverruns] = ()
    cancelled: Sequence[VisitIsOff] = ()
    urgent: Sequence[UrgentCall] = ()


def replan_day(
    *,
    plan: Plan,
    by: Membership,
    now: datetime,
    happened: Happened,
    days: int | None = None,
    publish: bool = False,
    provider: TravelProvider | None = None,
    **effort_asked: Unpack[EffortAsked],
) -> Plan:
    """Repair a published plan after something has gone wrong.

    Absences, visits cancelled and urgent calls are facts: they are stored at once, whatever becomes of the plan. The
    rest of today and the days after it are planned again around what has begun; the other days are taken over as they
    are.

    Parameters
    ----------
    plan
        Published.
    by, now
        Who asks, and when.
    happened
        What went wrong; empty: only what has changed in the records since.
    days
        How many days are planned again, today included; None: today and tomorrow, and on through the last day on which
        something of the plan does not fit what is known.
    publish
        Whether installers drive by the answer at once; else it is a draft that replaces the plan when published.
    provider
        Who makes the table of trips; None: as the company is set up.
    effort_asked
        Neither seconds nor iterations: enough for a day of one company.

    Returns
    -------
    A plan for the days of the one it repairs, with `differences` that say what changed and who must be told. Its parts
    lists are written with it.

    Raises
    ------
    Conflict
        When the plan is not published, has gone by, or was replaced meanwhile; when a visit cannot be cancelled.
    InvalidInput
        When something that is said to have happened cannot have happened.
    """
    effort = _effort(Effort(**effort_asked), days)
    moment = _Moment(plan, now)
    moment.check(happened)
    added = _store_facts(moment, by, happened, now)
    repair = _Repair(moment, happened, provider)
    answer = repair.solve(effort, days or moment.days_that_do_not_fit())
    with transaction.atomic():
        lock_company(plan.company_id)
        base = Plan.objects.get(pk=plan.pk)
        if base.state != Plan.State.PUBLISHED:
            raise Conflict("plan_is_replaced", "Another plan was published meanwhile; repair that one.")
        repaired = repair.store(answer, effort, added)
        details = {"based_on": plan.pk, "happened": repaired.happened, "differences": len(repaired.differences)}
        record(by=by, action="replan", subject=repaired, details=details, now=now)
        if publish:
            repaired = publish_plan(plan=repaired, by=by, now=now)
        # vans are loaded by the lists: a plan without its own would send people out with those of the one before
        write_parts_lists(plan=repaired, now=now)
    return repaired


def _effort(effort: Effort, days: int | None) -> Effort:
    """The effort of a repair, no longer than somebody waits for it."""
    faults = []
    if effort.seconds is not None and effort.seconds > _MOST_SECONDS:
        faults.append(Fault("/seconds", f"seconds must be at most {_MOST_SECONDS:g} here, not {effort.seconds!r}."))
    if effort.iterations is not None and effort.iterations > _MOST_ITERATIONS:
        faults.append(
            Fault("/iterations", f"iterations must be at most {_MOST_ITERATIONS} here, not {effort.iterations!r}.")
        )
    if days is not None and not 1 <= days <= _MOST_DAYS:
        faults.append(Fault("/days", f"days must be 1 to {_MOST_DAYS}, not {days}."))
    if faults:
        raise InvalidInput("effort_not_valid", "The effort or the number of days is outside its range.", faults=faults)
    if effort.seconds is None and effort.iterations is None:
        return dataclasses.replace(effort, iterations=_DEFAULT_ITERATIONS)
    return effort


def _store_facts(moment: "_Moment", by: Membership, happened: Happened, now: datetime) -> list[dict[str, Any]]:
    """Note absences, call visits off and open the urgent needs; what is to be remembered of it."""
    facts: list[dict[str, Any]] = []
    with transaction.atomic():
        # before any visit: who proposes visits holds the company and then asks for them
        lock_company(moment.company.pk)
        for out in happened.installers_out:
            facts.append(_store_absence(out, moment.last_day_of(out), by, now))
        for off in happened.cancelled:
            visit = Visit.objects.get(pk=off.visit.pk)
            # a call that is made again, because its answer was lost, finds the visit cancelled
            if visit.state != State.CANCELLED:
                cancel_visit(visit=visit, by=by, note=off.note, now=now)
            facts.append({"kind": "visit_cancelled", "visit": visit.pk})
        for call in happened.urgent:
            need = _need_of_call(call, by, now)
            facts.append({"kind": "urgent_call", "unit": call.unit.pk, "need": need.pk})
        if happened.urgent:
            propose_visits(company=moment.company, now=now)
    return facts


def _store_absence(out: InstallerIsOut, through: date, by: Membership, now: datetime) -> dict[str, Any]:
    """Who is out stays out for every plan to come."""
    installer, begins = out.installer, out.from_at or now
    local = begins.astimezone(ZoneInfo(installer.time_zone))
    whole_day = local.time() <= installer.shift_starts
    record_absence(
        installer=installer,
        by=by,
        now=now,
        first_day=local.date(),
        last_day=through,
        from_time=None if whole_day else local.time().replace(microsecond=0),
    )
    return {
        "kind": "installer_out",
        "installer": installer.pk,
        "from_at": begins.isoformat(),
        "through": through.isoformat(),
    }


def _need_of_call(call: UrgentCall, by: Membership, now: datetime) -> Need:
    """The need that a call opens; the same call made again, because its answer was lost, finds it open."""
    open_need = Need.objects.filter(
        unit=call.unit,
        kind=call.kind,
        position=call.position,
        reason=call.reason,
        source=Need.Source.PERSON,
        state=Need.State.OPEN,
        is_urgent=True,
    ).first()
    return open_need or add_need(
        by=by,
        unit=call.unit,
        kind=call.kind,
        position=call.position,
        reason=call.reason,
        is_urgent=True,
        now=now,
    )


class _Moment:
    """A published plan at a moment: its clock, and which of its stops have begun."""

    def __init__(self, plan: Plan, now: datetime) -> None:
        if plan.state != Plan.State.PUBLISHED:
            raise Conflict(
                "plan_is_not_published",
                f"The plan is {plan.get_state_display()}; only a published plan can be repaired.",
            )
        self.plan, self.company, self.now = plan, plan.company, now
        self.clock = PlanningClock(plan.first_day, plan.company.zone)
        day, second = self.clock.place(now)
        if day >= plan.days:
            raise Conflict("plan_has_gone_by", "The plan has ended; make a new one.")
        # before the first day nothing has begun
        self.day, self.second = (day, min(max(second, 0), SECONDS_PER_DAY)) if day >= 0 else (0, 0)
        self.today = plan.first_day + timedelta(days=self.day)
        self.rounds = list(Round.objects.filter(plan=plan).select_related("installer").order_by("pk"))
        stops = Stop.objects.filter(round__plan=plan).select_related("visit__site", "round__installer")
        self.stops = list(stops.order_by("round_id", "order"))

    def days_that_do_not_fit(self) -> int:
        """How many days are planned again where nobody says: the usual, and all on which something does not fit."""
        faults = faults_of_plan(plan=self.plan, now=self.now)
        return max([_USUAL_DAYS, *(fault.day - self.day + 1 for fault in faults if fault.day is not None)])

    def under_way(self, stop: Stop) -> bool:
        """Whether the installer has departed for it, as reported or by the times of the plan."""
        if stop.visit.state in Visit.UNDER_WAY:
            return True
        return stop.arrives_at - timedelta(minutes=stop.driving_minutes) <= self.now

    def last_day_of(self, out: InstallerIsOut) -> date:
        """The last day on which somebody is out."""
        return out.through or self._day_of(out)

    def _day_of(self, out: InstallerIsOut) -> date:
        return max(self.today, self.company.day_at(out.from_at or self.now))

    def check(self, happened: Happened) -> None:
        """Refuse what cannot have happened."""
        faults = []
        for number, out in enumerate(happened.installers_out):
            if out.through is not None and out.through < self._day_of(out):
                at = f"/installers_out/{number}/through"
                faults.append(Fault(at, f"through {out.through} lies before {self._day_of(out)}, when it begins."))
            begins = self.company.day_at(out.from_at or self.now)
            if (self.last_day_of(out) - begins).days >= LONGEST_DAYS - 1:
                at = f"/installers_out/{number}/{'through' if out.through is not None else 'from_at'}"
                fault_sentence = f"lasts from {begins} to {self.last_day_of(out)}; report an absence of a year at most."
                faults.append(Fault(at, fault_sentence))
        for number, over in enumerate(happened.overruns):
            fault = self._cannot_overrun(over, f"/overruns/{number}/visit")
            if fault is not None:
                faults.append(fault)
            if not 1 <= over.minutes <= 720:
                at = f"/overruns/{number}/minutes"
                faults.append(Fault(at, f"minutes must be 1 to 720, not {over.minutes}."))
        for number, off in enumerate(happened.cancelled):
            if State.CANCELLED not in {off.visit.state, *LEGAL_MOVES[off.visit.state]}:
                fault_sentence = f"The visit {off.visit.state_words} and cannot be cancelled."
                faults.append(Fault(f"/cancelled_visits/{number}/visit", fault_sentence))
        for number, call in enumerate(happened.urgent):
            if call.position is not None and call.position.unit_id != call.unit.pk:
                at = f"/urgent_calls/{number}/position"
                faults.append(Fault(at, "position belongs to another unit; name one of this unit."))
            elif call.position is None and call.kind in {Need.Kind.REPLACE, Need.Kind.ROTATE}:
                at = f"/urgent_calls/{number}/position"
                faults.append(Fault(at, f"position is required to {call.kind} a cartridge."))
        if faults:
            raise InvalidInput("cannot_have_happened", "The reported events contradict what is stored.", faults=faults)

    def _cannot_overrun(self, over: VisitOverruns, at: str) -> Fault | None:
        stop = next((s for s in self.stops if s.visit_id == over.visit.pk), None)
        if stop is None or stop.round.day != self.today:
            return Fault(at, "visit is not in today's rounds of this plan.")
        if not self.under_way(stop):
            starts = f"{stop.starts_at.astimezone(self.clock.zone):%H:%M}"
            return Fault(at, f"visit is planned for {starts} and nobody has departed for it.")
        if any(s.round_id == stop.round_id and s.order > stop.order and self.under_way(s) for s in self.stops):
            return Fault(at, "visit is not the installer's present visit by the plan; name the visit they are at.")
        return None


class _Repair:
    """One repair: the question, the answer, the new plan."""

    def __init__(self, moment: _Moment, happened: Happened, provider: TravelProvider | None) -> None:
        self.moment, self.happened = moment, happened
        self.plan, self.clock = moment.plan, moment.clock
        for stop in moment.stops:
            stop.visit.refresh_from_db(fields=["state", "closed_at"])
        self.policy = read_policy(company=moment.company)
        self.provider = provider or provider_for(company=moment.company, policy=self.policy)
        self.ends = self._ends()
        self.question = self._ask()

    def _ends(self) -> dict[int, datetime]:
        """Visit to when its work ends, for those that overrun."""
        planned = {s.visit_id: s.leaves_at for s in self.moment.stops}
        return {o.visit.pk: planned[o.visit.pk] + timedelta(minutes=o.minutes) for o in self.happened.overruns}

    def _ask(self) -> PlanQuestion:
        plan, moment = self.plan, self.moment
        past = {s.visit_id for s in moment.stops if s.round.day < moment.today}
        begun = {
            s.visit_id
            for s in moment.stops
            if s.round.day == moment.today and moment.under_way(s) and s.visit.state != State.CANCELLED
        }
        live = {s.visit_id for s in moment.stops if s.visit.state in Visit.UNCONFIRMED}
        gone_by = Visit.objects.of_company(moment.company).filter(
            state=State.CONFIRMED, appointment_at__lt=self.clock.moment(moment.day, 0)
        )
        elsewhere = planned_on_other_days(
            company=moment.company, first_day=plan.first_day, days=plan.days, now=moment.now
        )
        return ask(
            company=moment.company,
            policy=self.policy,
            first_day=plan.first_day,
            days=plan.days,
            provider=self.provider,
            visits=AskedVisits(
                also=(begun | live) - past,
                # what was to be made on an earlier day waits for its record of work, not for another visit
                without=(past | set(gone_by.values_list("pk", flat=True)) | elsewhere | self._cancelled_here()) - begun,
            ),
            parts=PartsWaitedFor(
                loaded={s.visit_id for s in moment.stops},
                ordered=max(plan.first_day - timedelta(days=1), plan.company.day_at(moment.now)),
            ),
        )

    def _cancelled_here(self) -> set[int]:
        """Visits proposed anew where a client has just called one off, unless the same site calls for somebody."""
        cancelled_visits = {fact["visit"] for fact in self.plan.happened if fact["kind"] == "visit_cancelled"}
        cancelled_visits |= {off.visit.pk for off in self.happened.cancelled}
        sites = Visit.objects.of_company(self.plan.company).filter(pk__in=cancelled_visits).values("site")
        again = Visit.objects.of_company(self.plan.company).filter(site__in=sites, state=State.PROPOSED)
        calling = [call.unit.site_id for call in self.happened.urgent]
        planned = {stop.visit_id for stop in self.moment.stops}
        return set(again.exclude(site__in=calling).values_list("pk", flat=True)) - planned

    def solve(self, effort: Effort, days: int) -> rounds.Replanned:
        """Ask the planner."""
        problem = self.question.problem
        published: dict[tuple[int, int], tuple[int, ...]] = {}
        published_routes = []
        for day in self.moment.rounds:
            index = problem.installer_index.get(day.installer.name)
            stops = [s for s in self.moment.stops if s.round_id == day.pk and str(s.visit_id) in self.question.visits]
            offset = (day.day - self.plan.first_day).days
            if index is None or offset < self.moment.day or not stops:
                continue
            published[index, offset] = tuple(problem.candidate_index[str(s.visit_id)] for s in stops)
            published_routes.append(self._published_route(day, stops, offset))
        return rounds.replan(
            problem,
            published,
            self._changes(),
            now=rounds.Moment(self.moment.day, self.moment.second),
            provider=self.provider,
            published_routes=published_routes,
            days=days,
            **effort.as_stored,
        )

    def _published_route(self, day: Round, stops: Sequence[Stop], offset: int) -> rounds.Route:
        """A stored round in the planner's words."""

        def second(moment: datetime) -> int:
            return self.clock.second(offset, moment)

        eaten = day.lunch_at
        return rounds.Route(
            installer=day.installer.name,
            day=offset,
            date=day.day,
            leaves_s=second(day.leaves_at),
            returns_s=second(day.returns_at),
            stops=tuple(
                rounds.Stop(
                    visit=str(s.visit_id),
                    arrival_s=self._arrival(s, second(s.arrives_at)),
                    start_s=second(s.starts_at),
                    end_s=second(s.leaves_at),
                    drive_s=round(s.driving_minutes * 60),
                    drive_m=round(s.driving_km * 1_000),
                )
                for s in stops
            ),
            lunch_start_s=None if eaten is None else second(eaten),
            lunch_after=None if eaten is None else sum(s.leaves_at <= eaten for s in stops),
            drive_s=round(day.driving_minutes * 60),
            drive_m=round(day.driving_km * 1_000),
            driving_cents=0,
            overtime_s=0,
        )

    def _arrival(self, stop: Stop, planned: int) -> int:
        """Somebody who departed earlier than planned has departed."""
        if stop.visit.state not in Visit.UNDER_WAY:
            return planned
        return min(planned, self.moment.second + round(stop.driving_minutes * 60))

    def _changes(self) -> list[rounds.InstallerOut | rounds.FreeLater]:
        names = {installer.pk: name for name, installer in self.question.installers.items()}
        out = self._out()
        free: dict[str, int] = {}
        for stop in self.moment.stops:
            if stop.visit_id in self.ends and stop.round.installer_id in names:
                end = self.clock.second(self.moment.day, self.ends[stop.visit_id])
                free[stop.round.installer.name] = max(end, self.moment.second)
        return [
            *(rounds.InstallerOut(name, day, from_s) for (name, day), from_s in out.items()),
            *(rounds.FreeLater(name, free_s) for name, free_s in free.items()),
        ]

    def _out(self) -> dict[tuple[str, int], int]:
        """(Installer, day of the plan) to the second from which they are away for the rest of that day."""
        absent_from: dict[tuple[str, int], int] = {}
        people = self.question.installers
        last = self.plan.last_day
        absences = absences_of(people.values(), self.moment.today, last)
        for name, installer in people.items():
            zone = ZoneInfo(installer.time_zone)
            for absence in absences.get(installer.pk, ()):
                for day in range(self.moment.day, self.plan.days):
                    away = away_on(absence, self.plan.first_day + timedelta(days=day))
                    span = self.clock.span(day, *away, zone) if away is not None else None
                    if span is not None and away is not None and away[1] >= installer.shift_ends:
                        absent_from[name, day] = min(span[0], absent_from.get((name, day), SECONDS_PER_DAY))
        return absent_from

    def store(self, answer: rounds.Replanned, effort: Effort, facts: Sequence[dict[str, Any]]) -> Plan:
        """Write the new plan: what has begun and the days not planned again as they were, the rest as answered."""
        moment = self.moment
        planned = range(moment.day, moment.day + answer.problem.days)
        plan = Plan.objects.create(
            company=moment.company,
            first_day=self.plan.first_day,
            days=self.plan.days,
            created_at=moment.now,
            based_on=self.plan,
            effort=effort.as_stored,
            travel_source=answer.plan.travel_source,
            faults=[
                {
                    "code": f.code,
                    "sentence": f.sentence,
                    "installer": f.installer,
                    "day": None if f.day is None else f.day + moment.day,
                    "visit": f.visit,
                }
                for f in answer.plan.evaluation.faults
            ],
            happened=[
                *(fact for fact in facts if fact["kind"] == "installer_out"),
                *({"kind": "overrun", "visit": o.visit.pk, "minutes": o.minutes} for o in self.happened.overruns),
                *(fact for fact in facts if fact["kind"] != "installer_out"),
            ],
        )
        begun = {int(stop.visit) for stops in answer.begun.values() for stop in stops}
        routes = {
            (self.question.installers[r.installer].pk, r.date): dataclasses.replace(r, day=r.day + moment.day)
            for r in answer.plan.routes
        }
        self.reasons = rounds.reasons_of(answer.problem, answer.plan.routes)
        self.earlier = earlier_reasons(moment.stops)
        written: list[Stop] = []
        for old in moment.rounds:
            round_stops = [s for s in moment.stops if s.round_id == old.pk]
            if (old.day - self.plan.first_day).days not in planned:
                kept_stops = [s for s in round_stops if old.day < moment.today or s.visit.state not in Visit.CLOSED]
                written += self._take_over(plan, old, kept_stops, None) if kept_stops else []
            elif old.day == moment.today:
                kept_stops = [s for s in round_stops if s.visit_id in begun or self._was_made(s)]
                route = routes.pop((old.installer_id, old.day), None) if kept_stops else None
                written += self._take_over(plan, old, kept_stops, route) if kept_stops else []
        for route in routes.values():
            if route.stops:
                row = round_row(plan, route, self.question)
                row.save()
                written += stop_rows(row, route, self.question, self.reasons, earlier=self.earlier)
        Stop.objects.bulk_create(written)
        self._store_left_out(plan, answer, {s.visit_id for s in written})
        plan.differences = self._differences(written, begun)
        plan.costs = {**costs_of_plan(plan), "disturbance": answer.disturbance_cents / 100}
        plan.save(update_fields=["differences", "costs"])
        return plan

    def _was_made(self, stop: Stop) -> bool:
        """A stop of somebody who is no installer any more, or one that was closed when its time had come."""
        return stop.starts_at <= self.moment.now and (
            stop.round.installer.name not in self.question.installers or stop.visit.state in Visit.VISITED
        )

    def _take_over(self, plan: Plan, old: Round, kept_stops: Sequence[Stop], route: rounds.Route | None) -> list[Stop]:
        """Copy a round as far as it stands; today's goes on with what was planned again."""
        more = [] if route is None else list(route.stops)
        driven = sum(s.driving_minutes for s in kept_stops), sum(s.driving_km for s in kept_stops)
        is_whole_day = old.day != self.moment.today
        row = Round(
            plan=plan,
            installer=old.installer,
            day=old.day,
            leaves_at=old.leaves_at,
            returns_at=old.returns_at if is_whole_day else max(self._end(s) for s in kept_stops),
            lunch_at=old.lunch_at if is_whole_day or (old.lunch_at and old.lunch_at <= self.moment.now) else None,
            driving_minutes=old.driving_minutes if is_whole_day else round(driven[0], 1),
            driving_km=old.driving_km if is_whole_day else round(driven[1], 1),
            costs=add_up((cents_of_round if is_whole_day else cents_of_part)(old, kept_stops, self.policy.planning)),
        )
        if route is not None:
            after = round_row(plan, route, self.question)
            row.costs = {kind: round(row.costs[kind] + more, 2) for kind, more in after.costs.items()}
            row.returns_at, row.lunch_at = after.returns_at, after.lunch_at or row.lunch_at
            row.driving_minutes = round(row.driving_minutes + after.driving_minutes, 1)
            row.driving_km = round(row.driving_km + after.driving_km, 1)
        row.save()
        stops = [
            Stop(
                round=row,
                visit=s.visit,
                order=order,
                arrives_at=s.arrives_at,
                starts_at=s.starts_at,
                leaves_at=self._end(s),
                driving_minutes=s.driving_minutes,
                driving_km=s.driving_km,
                day_reason=s.day_reason,
                place_reason=s.place_reason,
            )
            for order, s in enumerate(kept_stops, start=1)
        ]
        if route is None or not more:
            return stops
        first = len(kept_stops) + 1
        return stops + stop_rows(row, route, self.question, self.reasons, first=first, earlier=self.earlier)

    def _end(self, stop: Stop) -> datetime:
        return max(stop.leaves_at, self.ends.get(stop.visit_id, stop.leaves_at))

    def _store_left_out(self, plan: Plan, answer: rounds.Replanned, served: set[int]) -> None:
        end = self.moment.today + timedelta(days=answer.problem.days)
        rows = unserved_rows(plan, answer.plan, self.question, end=end)
        unserved_of = {row.visit_id: row for row in rows}
        for old in UnservedVisit.objects.filter(plan=self.plan).exclude(visit__state__in=Visit.CLOSED):
            row = unserved_of.get(old.visit_id)
            # of a visit that the days planned again are closed to, the reason for the whole plan still holds
            if old.visit_id not in served and (row is None or row.reason == rounds.UnservedReason.NO_OPEN_DAY):
                old.pk, old.plan = None, plan
                unserved_of[old.visit_id] = old
        UnservedVisit.objects.bulk_create(unserved_of.values())

    def _differences(self, written: Sequence[Stop], begun: set[int]) -> list[dict[str, Any]]:
        def matters(stop: Stop) -> bool:
            closed = stop.visit.state in Visit.VISITED or stop.visit_id in begun
            return stop.round.day >= self.moment.today and not closed and not self._was_made(stop)

        return compare_stops(
            company=self.moment.company,
            before=[s for s in self.moment.stops if matters(s)],
            after=[s for s in written if matters(s)],
            first_day=self.plan.first_day,
        )
