"""The judge: what a plan costs and whether it may be carried out, worked out without the solver.

Every plan that leaves this package has passed here. A solver's own idea of cost or feasibility is never taken on trust.
"""

from __future__ import annotations

import datetime
import itertools
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import keeps_time, time_round
from scheduling.planning.words import rounds as words

#: (installer position, day) to candidates in order of visit.
Plan = Mapping[tuple[int, int], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Stop:
    """One visit in a round; times are seconds of the day."""

    visit: str
    arrival_s: int
    start_s: int
    end_s: int
    drive_s: int
    drive_m: int

    @property
    def wait_s(self) -> int:
        """Seconds between arriving and starting."""
        return self.start_s - self.arrival_s


@dataclass(frozen=True, slots=True)
class Route:
    """One installer's day.

    ``lunch_after`` counts stops: the break follows that many of them, at the last of these; 0 is where the round
    starts, before leaving, and one more than there are stops is at home afterwards.
    """

    installer: str
    day: int
    date: datetime.date
    leaves_s: int
    returns_s: int
    stops: tuple[Stop, ...]
    lunch_start_s: int | None
    lunch_after: int | None
    drive_s: int
    drive_m: int
    driving_cents: int
    overtime_s: int


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a plan may not be carried out."""

    code: str
    sentence: str
    installer: str = ""
    day: int | None = None
    visit: str = ""


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What the judge found.

    Attributes
    ----------
    routes
        Every round that can be driven, with its times; by day, then by installer.
    faults
        Empty when the plan may be carried out.
    served, unserved
        Keys of the visits in the plan and of those left out.
    missed_appointments, missed_urgent
        Keys of those left out that should not be.
    driving_cents, overtime_cents, visits_cents, unserved_cents
        Driving, overtime, what the served visits cost on their days, what the others cost by waiting.
    drive_s, drive_m
        Totals.
    """

    routes: tuple[Route, ...]
    faults: tuple[Fault, ...]
    served: tuple[str, ...]
    unserved: tuple[str, ...]
    missed_appointments: tuple[str, ...]
    missed_urgent: tuple[str, ...]
    driving_cents: int
    overtime_cents: int
    visits_cents: int
    unserved_cents: int
    drive_s: int
    drive_m: int

    @property
    def total_cents(self) -> int:
        """All money together; misses are not in it, see :attr:`rank`."""
        return self.driving_cents + self.overtime_cents + self.visits_cents + self.unserved_cents

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """Smaller is better: faults, missed appointments, missed urgent visits, then money."""
        return (len(self.faults), len(self.missed_appointments), len(self.missed_urgent), self.total_cents)


def evaluate(problem: RoundProblem, plan: Plan) -> Evaluation:
    """Time, price and check a plan.

    Parameters
    ----------
    problem
        What was asked.
    plan
        (installer position, day) to candidate positions in order of visit; empty rounds may be left out.
    """
    faults: list[Fault] = []
    routes: list[Route] = []
    times = Counter(candidate for stops in plan.values() for candidate in stops)
    for candidate, count in times.items():
        if count > 1:
            name = problem.candidates[candidate].name
            faults.append(Fault("served_twice", words.served_twice(name, count), visit=name))
    visits_cents = 0
    # an installer who is on the road already comes home, with or without another stop
    rounds = {**dict.fromkeys(problem.begun, ()), **plan}
    for (installer, day), stops in sorted(rounds.items(), key=lambda entry: (entry[0][1], entry[0][0])):
        if not stops and (installer, day) not in problem.begun:
            continue
        faults.extend(check_round(problem, installer, day, stops))
        visits_cents += sum(problem.visit_cents(installer, c, day) for c in stops)
        route = make_route(problem, installer, day, stops)
        if route is not None:
            routes.append(route)
    faults.extend(_parted(problem, plan))
    unserved = [k for k in range(len(problem.candidates)) if k not in times]
    return Evaluation(
        routes=tuple(routes),
        faults=tuple(faults),
        served=tuple(problem.candidates[k].key for k in sorted(times)),
        unserved=tuple(problem.candidates[k].key for k in unserved),
        missed_appointments=tuple(
            problem.candidates[k].key for k in unserved if problem.candidates[k].appointment is not None
        ),
        missed_urgent=tuple(
            problem.candidates[k].key
            for k in unserved
            if problem.candidates[k].urgent and problem.candidates[k].appointment is None
        ),
        driving_cents=sum(r.driving_cents for r in routes),
        overtime_cents=sum(overtime_cents(problem, r.overtime_s) for r in routes),
        visits_cents=visits_cents,
        unserved_cents=sum(problem.candidates[k].cost_if_unserved_cents for k in unserved),
        drive_s=sum(r.drive_s for r in routes),
        drive_m=sum(r.drive_m for r in routes),
    )


def _parted(problem: RoundProblem, plan: Plan) -> list[Fault]:
    """Pairs that belong together and are not made one straight after the other."""
    faults = []
    where = {c: (cell, position) for cell, stops in plan.items() for position, c in enumerate(stops)}
    for one, other in problem.together:
        first, second = (where.get(problem.candidate_index[key]) for key in (one, other))
        if first is None and second is None:
            continue
        if first is None or second is None or first[0] != second[0] or abs(first[1] - second[1]) != 1:
            names = (problem.candidates[problem.candidate_index[key]].name for key in (one, other))
            faults.append(Fault("not_together", words.not_together(*names), visit=one))
    return faults


def overtime_cents(problem: RoundProblem, overtime_s: int) -> int:
    """Price of overtime, charged by the second at a whole number of cents."""
    return overtime_s * problem.rates.overtime_hour_cents // 3_600


def round_cents(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> int:
    """Driving money of a round on free roads, all the way home."""
    path = problem.path(installer, day, stops)
    return int(sum(problem.driving_cents[a, b] for a, b in itertools.pairwise(path)))


def make_route(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> Route | None:
    """The round with its times, or None when the clock does not allow it."""
    timing = time_round(problem, installer, day, stops)
    person = problem.installers[installer]
    shift = person.shift_on(day)
    if timing is None or shift is None:
        return None
    path = problem.path(installer, day, stops)
    legs = list(itertools.pairwise(path))
    metres = problem.travel.metres
    drive_s = sum(timing.drives_s)
    slowed_s = drive_s - sum(problem.seconds_rows[a][b] for a, b in legs)
    return Route(
        installer=person.key,
        day=day,
        date=problem.date_of(day),
        leaves_s=timing.leaves_s,
        returns_s=timing.returns_s,
        stops=tuple(
            Stop(
                visit=problem.candidates[c].key,
                arrival_s=timing.arrivals_s[k],
                start_s=timing.starts_s[k],
                end_s=timing.starts_s[k] + problem.candidates[c].service_s,
                drive_s=timing.drives_s[k],
                drive_m=int(metres[legs[k]]),
            )
            for k, c in enumerate(stops)
        ),
        lunch_start_s=timing.lunch_start_s,
        lunch_after=None if timing.lunch_after is None else timing.lunch_after + 1,
        drive_s=drive_s,
        drive_m=int(sum(metres[a, b] for a, b in legs)),
        driving_cents=round_cents(problem, installer, day, stops)
        + round(slowed_s * problem.rates.driving_minute_cents / 60.0),
        overtime_s=max(0, timing.returns_s - shift.end_s),
    )


def check_round(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> list[Fault]:
    """Everything that forbids a round, in sentences."""
    person, date = problem.installers[installer], problem.date_of(day)
    faults: list[Fault] = []

    def fault(code: str, sentence: str, visit: str = "") -> None:
        faults.append(Fault(code, sentence, person.key, day, visit))

    shift = person.shift_on(day)
    if shift is None:
        fault("day_off", words.day_off(person.key, date))
        return faults
    for c in stops:
        candidate = problem.candidates[c]
        if not problem.may_serve(person, candidate):
            fault("not_allowed", words.not_allowed(person.key, candidate.name), candidate.key)
        if day not in problem.starts[c]:
            fault("closed", words.closed_all_day(candidate.name, date), candidate.key)
    for c in stops:
        for other in sorted(problem.apart_of.get(c, frozenset()).intersection(stops)):
            if c < other:
                one, two = problem.candidates[c], problem.candidates[other]
                fault("not_apart", words.not_apart(one.name, two.name), one.key)
    stock = person.stock_on(day)
    if stock is not None:
        for item, quantity in load_of(problem, stops).items():
            carried = stock.get(item, 0)
            if quantity > carried:
                fault("van_stock", words.van_lacks(person.key, carried, item, quantity))
    if not faults and time_round(problem, installer, day, stops) is None:
        if time_round(problem, installer, day, stops, with_lunch=False) is not None:
            fault("no_lunch", words.no_lunch(person.key, date))
        else:
            fault("too_late", words.too_late(person.key, date))
    return faults


def load_of(problem: RoundProblem, stops: tuple[int, ...]) -> Counter[str]:
    """Items a round takes from the van."""
    load: Counter[str] = Counter()
    for c in stops:
        load.update(problem.candidates[c].parts)
    return load


def may_be_driven(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> bool:
    """Whether :func:`check_round` would find no fault; quick, for searching."""
    person = problem.installers[installer]
    if not problem.servable[installer].issuperset(stops):
        return False
    if problem.apart and any(problem.apart_of.get(c, frozenset()).intersection(stops) for c in stops):
        return False
    stock = person.stock_on(day)
    if stock is not None and any(n > stock.get(item, 0) for item, n in load_of(problem, stops).items()):
        return False
    return keeps_time(problem, installer, day, stops)
