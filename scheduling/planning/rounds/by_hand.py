"""One stop moved by a person: the rest re-timed, what it costs, what forbids it and what a person may override.

Nobody argues with a dispatcher who has telephoned. So what depends on other people's goodwill (hours of access, lunch,
overtime, what is in the van) is a warning to be acknowledged; what cannot be done (a day off, a missing skill, another
client's confirmed time) is a refusal.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.evaluate import Fault, Plan, Route, check_round, make_route, overtime_cents
from scheduling.planning.rounds.problem import Candidate, Installer, RoundProblem, Window
from scheduling.planning.rounds.schedule import time_round
from scheduling.planning.words import rounds as words

Cell = tuple[int, int]

#: What a person may override, mildest first.
_RELAXED = ("closed", "no_lunch", "overtime")
#: Findings of the judge that nobody can override.
_HARD = frozenset({"day_off", "not_allowed", "not_apart"})


@dataclass(frozen=True, slots=True)
class MovedByHand:
    """What a move by hand would do.

    Attributes
    ----------
    before, after
        Rounds concerned, with their times; empty rounds are left out. ``after`` is empty when the move is refused.
    refusals
        What forbids the move.
    warnings
        What the move breaks that was not broken before; a person may override it.
    driving_cents, overtime_cents, visits_cents
        What the plan would cost more; negative: less.
    drive_s, drive_m
        How much more driving.
    """

    before: tuple[Route, ...]
    after: tuple[Route, ...]
    refusals: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    driving_cents: int = 0
    overtime_cents: int = 0
    visits_cents: int = 0
    drive_s: int = 0
    drive_m: int = 0

    @property
    def total_cents(self) -> int:
        """All the money together."""
        return self.driving_cents + self.overtime_cents + self.visits_cents


def move_by_hand(
    problem: RoundProblem, plan: Plan, visit: str, *, installer: str, day: int, place: int | None = None
) -> MovedByHand:
    """Take a visit out of its round and put it somewhere else.

    Parameters
    ----------
    problem, plan
        What was asked, and the rounds as they stand; the visit is in one of them.
    visit
        Key of the visit. Its appointment, if it has one, holds: leave it out of the problem for a visit that is to
        start at another time.
    installer, day
        Whose round it joins, on which day of the horizon.
    place
        Its place among the stops of that round, from 1; None: where it costs least.

    Raises
    ------
    PlanningError
        When the visit is in no round, the installer is unknown, or there is no such place or day.
    """
    candidate = problem.candidate_index.get(visit)
    source = next((cell for cell, stops in plan.items() if candidate in stops), None)
    if candidate is None or source is None:
        raise PlanningError("visit", f"{visit!r} is in no round of the plan.")
    if installer not in problem.installer_index:
        raise PlanningError("installer", f"{installer!r} is no installer of the plan.")
    if not 0 <= day < problem.days:
        raise PlanningError("day", f"must be 0 to {problem.days - 1}, not {day}.")
    target = (problem.installer_index[installer], day)
    remaining = {cell: tuple(c for c in plan.get(cell, ()) if c != candidate) for cell in {source, target}}
    last = len(remaining[target]) + 1
    if place is not None and not 1 <= place <= last:
        raise PlanningError("place", f"must be 1 to {last}, not {place}.")
    tried = [
        _weigh(
            problem,
            plan,
            {**remaining, target: (*remaining[target][:k], candidate, *remaining[target][k:])},
            target,
            visit,
        )
        for k in (range(last) if place is None else [place - 1])
    ]
    return min(tried, key=lambda weighed: (len(weighed.refusals), len(weighed.warnings), weighed.total_cents))


def take_out(problem: RoundProblem, plan: Plan, visit: str) -> MovedByHand:
    """Take a visit out of its round; the rest of the round is timed anew.

    Parameters
    ----------
    problem, plan
        What was asked, and the rounds as they stand; the visit is in one of them.
    visit
        Key of the visit.

    Raises
    ------
    PlanningError
        When the visit is in no round.
    """
    candidate = problem.candidate_index.get(visit)
    source = next((cell for cell, stops in plan.items() if candidate in stops), None)
    if candidate is None or source is None:
        raise PlanningError("visit", f"{visit!r} is in no round of the plan.")
    return _weigh(problem, plan, {source: tuple(c for c in plan[source] if c != candidate)}, None, visit)


def _weigh(problem: RoundProblem, plan: Plan, moved: Plan, target: Cell | None, visit: str) -> MovedByHand:
    candidate = problem.candidate_index[visit]
    old = [_judge(problem, cell, plan.get(cell, ()), candidate) for cell in sorted(moved)]
    new = [_judge(problem, cell, stops, candidate) for cell, stops in sorted(moved.items())]
    # of the visit itself everything is said: somebody has to answer for where it goes
    earlier_faults = {
        (f.code, f.visit or (f.installer, f.day)) for one in old for f in (*one.hard, *one.soft) if f.visit != visit
    }

    def fresh(faults: Sequence[Fault]) -> tuple[Fault, ...]:
        return tuple(f for f in faults if (f.code, f.visit or (f.installer, f.day)) not in earlier_faults)

    before = tuple(one.route for one in old if one.route is not None)
    # of the round that is joined every fault counts, of the one that is left only what the move brings about
    refusals = [f for one in new for f in (one.hard if one.cell == target else fresh(one.hard))]
    warnings = [f for one in new for f in fresh(one.soft)]
    if refusals:
        return MovedByHand(before, (), tuple(refusals), tuple(warnings))
    after = tuple(one.route for one in new if one.route is not None)
    money = [
        new_ - old_ for new_, old_ in zip(_money(problem, moved, after), _money(problem, plan, before), strict=True)
    ]
    return MovedByHand(
        before,
        after,
        (),
        tuple(warnings),
        driving_cents=money[0],
        overtime_cents=money[1],
        visits_cents=money[2],
        drive_s=sum(r.drive_s for r in after) - sum(r.drive_s for r in before),
        drive_m=sum(r.drive_m for r in after) - sum(r.drive_m for r in before),
    )


def _money(problem: RoundProblem, plan: Plan, routes: Sequence[Route]) -> tuple[int, int, int]:
    cells = [(problem.installer_index[route.installer], route.day) for route in routes]
    return (
        sum(route.driving_cents for route in routes),
        sum(overtime_cents(problem, route.overtime_s) for route in routes),
        sum(problem.visit_cents(cell[0], c, cell[1]) for cell in cells for c in plan[cell]),
    )


@dataclass(frozen=True, slots=True)
class _Judged:
    """A round, timed with as little overridden as can be."""

    cell: Cell
    route: Route | None
    hard: tuple[Fault, ...] = ()
    soft: tuple[Fault, ...] = ()


def _judge(problem: RoundProblem, cell: Cell, stops: tuple[int, ...], moved: int) -> _Judged:
    if not stops and cell not in problem.begun:
        return _Judged(cell, None)
    faults = check_round(problem, *cell, stops)
    hard = tuple(f for f in faults if f.code in _HARD)
    soft = tuple(f for f in faults if f.code == "van_stock")
    if problem.installers[cell[0]].shift_on(cell[1]) is None:
        return _Judged(cell, None, hard)
    for size in range(len(_RELAXED) + 1):
        for relaxed in itertools.combinations(_RELAXED, size):
            route = make_route(_relax(problem, cell, stops, relaxed), *cell, stops)
            if route is not None:
                if "closed" in relaxed:
                    route = _keep_hours(problem, cell, stops, relaxed, route, moved)
                broken = [f for rule in relaxed for f in _broken(problem, cell, stops, route, rule)]
                return _Judged(cell, route, hard, (*soft, *broken))
    return _Judged(cell, None, (*hard, _clash(problem, cell, stops)), soft)


def _keep_hours(
    problem: RoundProblem, cell: Cell, stops: tuple[int, ...], relaxed: Sequence[str], route: Route, moved: int
) -> Route:
    """The same round with the hours of as many sites kept as can be, one after another, of the moved visit last."""
    ignored = stops
    for c in sorted(stops, key=lambda k: k == moved):
        fewer = tuple(k for k in ignored if k != c)
        route_kept = make_route(_relax(problem, cell, fewer, relaxed), *cell, stops)
        if route_kept is not None:
            ignored, route = fewer, route_kept
    return route


def _relax(problem: RoundProblem, cell: Cell, ignored: tuple[int, ...], relaxed: Sequence[str]) -> RoundProblem:
    """The same problem with some of its rules left out for one round, hours of access for the visits ``ignored``."""

    def candidate(k: int, c: Candidate) -> Candidate:
        if k not in ignored or c.appointment is not None:
            return c
        return dataclasses.replace(c, windows=(Window(cell[1], 0, SECONDS_PER_DAY),))

    def person(k: int, one: Installer) -> Installer:
        if k != cell[0]:
            return one
        if "no_lunch" in relaxed:
            one = dataclasses.replace(one, lunch=None)
        if "overtime" in relaxed:
            shifts = tuple(dataclasses.replace(s, may_run_over=True) for s in one.shifts)
            one = dataclasses.replace(one, shifts=shifts, max_overtime_s=SECONDS_PER_DAY)
        return one

    candidates = problem.candidates
    if "closed" in relaxed:
        candidates = tuple(candidate(k, c) for k, c in enumerate(candidates))
    installers = tuple(person(k, one) for k, one in enumerate(problem.installers))
    return dataclasses.replace(problem, candidates=candidates, installers=installers)


def _broken(problem: RoundProblem, cell: Cell, stops: tuple[int, ...], route: Route, rule: str) -> list[Fault]:
    """What an override breaks, in sentences."""
    name, date = problem.installers[cell[0]].key, problem.date_of(cell[1])
    if rule == "no_lunch":
        return [Fault("no_lunch", words.no_lunch(name, date), name, cell[1])]
    if rule == "overtime":
        shift = problem.installers[cell[0]].shift_on(cell[1])
        late = 0 if shift is None else route.returns_s - shift.end_s
        return [Fault("overtime", words.home_late(name, late // 60, date), name, cell[1])]
    faults = []
    for c, stop in zip(stops, route.stops, strict=True):
        spans = problem.starts[c].get(cell[1], ())
        if not any(early <= stop.start_s <= late for early, late in spans):
            sentence = words.closed_at(problem.candidates[c].name, stop.start_s, date)
            faults.append(Fault("closed", sentence, name, cell[1], problem.candidates[c].key))
    return faults


def _clash(problem: RoundProblem, cell: Cell, stops: tuple[int, ...]) -> Fault:
    """Why a round cannot be timed even with everything overridden: a fixed time, or the end of the day."""
    name, date = problem.installers[cell[0]].key, problem.date_of(cell[1])
    easiest = _relax(problem, cell, stops, _RELAXED)
    for n in range(1, len(stops) + 1):
        c = problem.candidates[stops[n - 1]]
        if c.appointment is not None and time_round(easiest, *cell, stops[:n]) is None:
            sentence = words.misses_fixed_time(name, c.name, c.appointment.start_s, date)
            return Fault("fixed_time", sentence, name, cell[1], c.key)
    return Fault("too_late", words.longer_than_a_day(name, date), name, cell[1])
