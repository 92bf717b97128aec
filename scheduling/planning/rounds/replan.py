"""When the day goes wrong: the rest of today and tomorrow planned again, changing as little as possible.

What has begun stays: an installer is where the last visit begun ends, with what is left in the van. What clients and
installers have been told has a price of its own, so that a visit moves to another person or day, or is dropped, only
when that is worth the trouble. Confirmed appointments keep their time, if need be with somebody else; one that nobody
can keep is set for the nearest other time.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Unpack

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.changes import (
    Change,
    Disturbance,
    FreeLater,
    InstallerOut,
    Moment,
    VisitAdded,
    VisitCancelled,
    VisitNotDone,
)
from scheduling.planning.rounds.differences import Difference, DifferenceKind, Slot, list_differences
from scheduling.planning.rounds.evaluate import Plan, Route, Stop, evaluate, make_route
from scheduling.planning.rounds.insertion import place_the_musts, polish
from scheduling.planning.rounds.pairs import merge_pairs
from scheduling.planning.rounds.problem import Candidate, Installer, RoundProblem, Shift, Window
from scheduling.planning.rounds.solve import RoundPlan, SearchEffort, drivable, plan_rounds, why_unserved
from scheduling.planning.rounds.stability import Stability
from scheduling.planning.travel.trips import TravelProvider


@dataclass(frozen=True, slots=True, eq=False)
class Replanned:
    """The answer.

    Attributes
    ----------
    plan
        Rounds of the days planned again, from now on: today's start where the installers are. Days count from the
        present one.
    problem
        What was solved; its day 0 is the present day.
    begun
        Stops of today that have begun and stay as they are, by installer.
    differences
        Every visit that is not as published.
    disturbance_cents
        What of the plan's total is the price of disturbing what was published.
    """

    plan: RoundPlan
    problem: RoundProblem
    begun: Mapping[str, tuple[Stop, ...]]
    differences: tuple[Difference, ...]
    disturbance_cents: int


def replan(
    problem: RoundProblem,
    published: Plan,
    changes: Sequence[Change],
    *,
    now: Moment,
    provider: TravelProvider,
    published_routes: Sequence[Route] | None = None,
    days: int = 2,
    disturbance: Disturbance | None = None,
    **effort: Unpack[SearchEffort],
) -> Replanned:
    """Plan the present day and those after it again.

    Parameters
    ----------
    problem, published
        The problem whose plan was published, and that plan; what it holds for later days stays as it is.
    changes
        What has gone wrong.
    now
        The present moment.
    provider
        Asked for the trips, since rounds now start on the road.
    published_routes
        The published rounds with the times people were told; None: the times that ``problem`` gives them. Rounds that
        were repaired before, on the day itself, have times of their own.
    days
        How many days are planned again, today included.
    disturbance
        What breaking the published plan costs; None: the defaults.
    effort
        As :func:`plan_rounds` takes it; some thousand iterations do for four installers and sixty visits. When a
        confirmed appointment cannot be kept by anybody, the effort is spent a second time.

    Raises
    ------
    PlanningError
        When a change names an unknown installer or visit, or ``now`` lies outside the horizon.
    """
    price = disturbance or Disturbance()
    if not 0 <= now.day < problem.days:
        raise PlanningError("now.day", f"must lie between 0 and {problem.days - 1}, not {now.day}.")
    if days < 1:
        raise PlanningError("days", f"must be at least 1, not {days}.")
    _check(problem, changes)
    task = _Replanning(
        problem, published, tuple(changes), now, min(problem.days, now.day + days), price, published_routes
    )
    shaken: frozenset[str] = frozenset()
    for _ in range(2):
        remaining = task.problem_from_now(provider, shaken)
        plan = plan_rounds(remaining, start=task.carry_over, **effort)
        if not plan.evaluation.missed_appointments:
            break
        shaken = frozenset(plan.evaluation.missed_appointments)
    remaining, plan = task.settle(remaining, plan)
    return Replanned(
        plan=plan,
        problem=remaining,
        begun=task.begun,
        differences=task.differences(plan.routes),
        disturbance_cents=task.disturbance_cents(remaining, plan),
    )


def _check(problem: RoundProblem, changes: Sequence[Change]) -> None:
    for number, change in enumerate(changes):
        name = f"changes[{number}]"
        if isinstance(change, InstallerOut | FreeLater) and change.installer not in problem.installer_index:
            raise PlanningError(f"{name}.installer", f"{change.installer!r} is no installer of the plan.")
        if isinstance(change, VisitCancelled | VisitNotDone) and change.visit not in problem.candidate_index:
            raise PlanningError(f"{name}.visit", f"{change.visit!r} is no visit of the plan.")
        if isinstance(change, VisitAdded):
            if change.candidate.key in problem.candidate_index:
                raise PlanningError(f"{name}.candidate", f"{change.candidate.key!r} is in the plan already.")
            if len(change.candidate.cost_by_day_cents) != problem.days:
                raise PlanningError(
                    f"{name}.candidate", f"must have a cost for each of the {problem.days} days of the plan."
                )


class _Replanning:
    """One replanning: who is where, what is open, and at what price it may move."""

    def __init__(
        self,
        problem: RoundProblem,
        published: Plan,
        changes: tuple[Change, ...],
        now: Moment,
        last: int,
        price: Disturbance,
        published_routes: Sequence[Route] | None = None,
    ) -> None:
        self.problem, self.published, self.changes = problem, published, changes
        self.now, self.last, self.price = now, last, price
        self.out = {(c.installer, c.day): c.from_s for c in changes if isinstance(c, InstallerOut)}
        self.late = {c.installer: c.free_s for c in changes if isinstance(c, FreeLater)}
        self.cancelled = frozenset(c.visit for c in changes if isinstance(c, VisitCancelled))
        self.reopened = frozenset(c.visit for c in changes if isinstance(c, VisitNotDone))
        self.added = {c.candidate.key: c.candidate for c in changes if isinstance(c, VisitAdded)}
        self.routes: dict[tuple[str, int], Route] = {}
        for (installer, day), stops in published.items() if published_routes is None else ():
            route = make_route(problem, installer, day, stops) if stops else None
            if route is not None:
                self.routes[route.installer, day] = route
        self.routes.update({(route.installer, route.day): route for route in published_routes or ()})
        self.begun = {
            route.installer: tuple(stop for stop in route.stops if self._has_begun(route, stop))
            for (_, day), route in self.routes.items()
            if day == now.day
        }
        finished = {stop.visit for stops in self.begun.values() for stop in stops}
        self.finished = frozenset(finished - self.reopened)
        self.before: dict[str, Slot] = {
            stop.visit: (route.installer, day, stop.start_s)
            for (_, day), route in self.routes.items()
            if now.day <= day < last
            for stop in route.stops
            if stop.visit not in self.finished
        }
        self._untouched: dict[str, Candidate] = {}

    def _has_begun(self, route: Route, stop: Stop) -> bool:
        """Under way counts, except for someone who was out before the work began."""
        out = self.out.get((route.installer, route.day))
        if out is not None and out <= self.now.second:
            return stop.start_s < out
        return stop.arrival_s - stop.drive_s <= self.now.second

    def problem_from_now(self, provider: TravelProvider, shaken: frozenset[str]) -> RoundProblem:
        """What is left to plan; the confirmed times of the ``shaken`` are given up."""
        candidates = [self._candidate(c, shaken) for c in self._open()]
        keys = {c.key for c in candidates}
        return RoundProblem.build(
            first_day=self.problem.date_of(self.now.day),
            days=self.last - self.now.day,
            installers=[self._installer(person) for person in self.problem.installers],
            candidates=candidates,
            rates=self.problem.rates,
            provider=provider,
            apart=[pair for pair in self.problem.apart if keys.issuperset(pair)],
            together=[pair for pair in self.problem.together if keys.issuperset(pair)],
            traffic=self.problem.traffic,
        )

    def _open(self) -> list[Candidate]:
        later = {
            self.problem.candidates[c].key
            for (_, day), stops in self.published.items()
            if not self.now.day <= day < self.last
            for c in stops
        }
        closed = self.finished | self.cancelled | (later - self.reopened)
        return [
            c
            for c in (*self.problem.candidates, *self.added.values())
            if c.key not in closed and (c.appointment is None or c.appointment.day < self.last)
        ]

    def _candidate(self, c: Candidate, shaken: frozenset[str]) -> Candidate:
        """The visit on the days that are left, with the price of moving it."""
        first, price = self.now.day, self.price
        slot = self.before.get(c.key)
        appointment = c.appointment
        urgent = c.urgent
        windows = tuple(Window(w.day - first, w.opens_s, w.closes_s) for w in c.windows if first <= w.day < self.last)
        missed = appointment is not None and (appointment.day, appointment.start_s) < (first, self.now.second)
        if appointment is not None and (c.key in shaken or missed):
            # the confirmed time cannot be kept: the visit is made as soon as may be, when the site is open
            appointment, urgent = None, True
            windows = windows or tuple(Window(day, 0, SECONDS_PER_DAY) for day in range(self.last - first))
        confirmed_installer = None
        if appointment is not None:
            confirmed_installer = appointment.installer
            appointment = dataclasses.replace(appointment, day=appointment.day - first, installer=None)
        only = c.installers
        if only is not None and c.appointment is not None and all((k, c.appointment.day) in self.out for k in only):
            # those it is bound to cannot come that day: the client matters more than the bond
            only = None
        cost = c.cost_by_day_cents[first : self.last]
        untouched = dataclasses.replace(
            c, windows=windows, cost_by_day_cents=cost, appointment=appointment, urgent=urgent, installers=only
        )
        self._untouched[c.key] = untouched
        other = dict(c.cost_by_installer_cents)
        usual = confirmed_installer or (slot[0] if slot is not None else None)
        if usual is not None:
            extra = price.other_confirmed_installer_cents if confirmed_installer else price.other_installer_cents
            for person in self.problem.installers:
                if person.key != usual:
                    other[person.key] = other.get(person.key, 0) + extra
        unserved_cents = c.cost_if_unserved_cents
        if slot is not None:
            cost = tuple(x + (price.other_day_cents if day != slot[1] - first else 0) for day, x in enumerate(cost))
            unserved_cents += price.dropped_cents
        elif c.key not in self.added:
            cost = tuple(x + price.added_cents for x in cost)
        return dataclasses.replace(
            untouched, cost_by_day_cents=cost, cost_if_unserved_cents=unserved_cents, cost_by_installer_cents=other
        )

    def _installer(self, person: Installer) -> Installer:
        """The shifts that are left, from where the installer is."""
        shifts = []
        for shift in person.shifts:
            if not self.now.day <= shift.day < self.last:
                continue
            out = self.out.get((person.key, shift.day))
            end = shift.end_s if out is None else min(shift.end_s, out)
            if shift.day == self.now.day:
                shifts.extend(self._rest_of_today(person, shift, end))
            elif end > shift.start_s:
                day = shift.day - self.now.day
                over = shift.may_run_over and out is None
                shifts.append(dataclasses.replace(shift, day=day, end_s=end, may_run_over=over))
        return dataclasses.replace(person, shifts=tuple(shifts))

    def _rest_of_today(self, person: Installer, shift: Shift, end: int) -> list[Shift]:
        route = self.routes.get((person.key, self.now.day))
        begun = self.begun.get(person.key, ())
        free = max([shift.start_s, self.now.second, *(stop.end_s for stop in begun)])
        free = max(free, self.late.get(person.key, 0))
        lunch = person.lunch if person.lunch is not None and person.lunch.is_due(shift) else None
        had_lunch = lunch is None
        if lunch is not None and route is not None and route.lunch_start_s is not None:
            working_on = person.key in self.late and route.lunch_after == len(begun)
            if route.lunch_start_s <= self.now.second and not working_on:
                had_lunch = True
                free = max(free, route.lunch_start_s + lunch.duration_s)
        if lunch is not None and not had_lunch and free > lunch.latest_start_s:
            # too late for lunch in its hours: it is had at once
            had_lunch = True
            free += lunch.duration_s
        if free >= end:
            return []
        stock = person.stock_on(self.now.day)
        if stock is not None:
            used: Counter[str] = Counter()
            for stop in begun:
                if stop.visit in self.finished:
                    used.update(self.problem.candidates[self.problem.candidate_index[stop.visit]].parts)
            stock = {item: max(0, quantity - used[item]) for item, quantity in stock.items()}
        place = shift.starts_at
        if begun:
            place = self.problem.candidates[self.problem.candidate_index[begun[-1].visit]].place
        over = shift.may_run_over and end == shift.end_s
        return [Shift(0, free, end, starts_at=place, had_lunch=had_lunch, van_stock=stock, may_run_over=over)]

    def carry_over(self, remaining: RoundProblem) -> Plan:
        """The published rounds without what is done or cancelled, to start the search from."""
        here = remaining.candidate_index
        start: dict[tuple[int, int], tuple[int, ...]] = {}
        for (installer, day), stops in self.published.items():
            if not self.now.day <= day < self.last:
                continue
            keys = (self.problem.candidates[c].key for c in stops)
            open_stops = tuple(here[key] for key in keys if key in here)
            if open_stops and remaining.installers[installer].shift_on(day - self.now.day) is not None:
                start[installer, day - self.now.day] = open_stops
        return start

    def settle(self, remaining: RoundProblem, plan: RoundPlan) -> tuple[RoundProblem, RoundPlan]:
        """The plan, or one nearer to what was published where its gain is not worth the people it would disturb.

        The search knows no price of a time of day. So its answer and a bare repair of the published plan are both
        carried on with one, the cheaper is taken, and nobody comes earlier than told who can as well be waited for.

        Returns
        -------
        The problem with the times that are held, and the plan in it.
        """
        merged = merge_pairs(remaining)
        merged_problem = merged.problem
        repaired = polish(
            merged_problem, place_the_musts(merged_problem, drivable(merged_problem, self.carry_over(merged_problem)))
        )
        first = self.now.day
        published = {
            remaining.candidate_index[key]: ((remaining.installer_index[installer_key], day - first), start)
            for key, (installer_key, day, start) in self.before.items()
            if key in remaining.candidate_index
        }
        stability = Stability(
            remaining, published, retimed_cents=self.price.retimed_cents, tolerance_s=self.price.tolerance_s
        )
        choices = [dict(plan.plan), *(stability.descend(c) for c in (plan.plan, merged.expand(repaired)))]
        best = min(choices, key=lambda choice: self._rank(stability.held(choice), choice))
        held = stability.held(best)
        judged = evaluate(held, best)
        return held, dataclasses.replace(
            plan, plan=best, routes=judged.routes, evaluation=judged, unserved=why_unserved(held, best)
        )

    def _rank(self, remaining: RoundProblem, plan: Plan) -> tuple[int, int, int, int]:
        judged = evaluate(remaining, plan)
        retimed = sum(d.kind is DifferenceKind.RETIMED for d in self.differences(judged.routes))
        return (*judged.rank[:-1], judged.rank[-1] + self.price.retimed_cents * retimed)

    def differences(self, routes: Sequence[Route]) -> tuple[Difference, ...]:
        after = {
            stop.visit: (route.installer, route.day + self.now.day, stop.start_s)
            for route in routes
            for stop in route.stops
        }
        everything = [*self.problem.candidates, *self.added.values()]
        return list_differences(
            self.before,
            after,
            names={c.key: c.name for c in everything},
            cancelled=self.cancelled,
            with_named_installer={
                c.key for c in everything if c.appointment is not None and c.appointment.installer is not None
            },
            first_day=self.problem.first_day,
            tolerance_s=self.price.tolerance_s,
        )

    def disturbance_cents(self, remaining: RoundProblem, plan: RoundPlan) -> int:
        total = 0
        served: set[int] = set()
        for (installer, day), stops in plan.plan.items():
            for c in stops:
                served.add(c)
                before = self._untouched[remaining.candidates[c].key]
                plain = before.cost_by_day_cents[day] + before.cost_by_installer_cents.get(
                    remaining.installers[installer].key, 0
                )
                total += remaining.visit_cents(installer, c, day) - plain
        for k, candidate in enumerate(remaining.candidates):
            if k not in served:
                total += candidate.cost_if_unserved_cents - self._untouched[candidate.key].cost_if_unserved_cents
        return total
