"""Timing one round: when the installer leaves, arrives, works, eats and is home again.

With waiting allowed, earlier is never worse, so the earliest schedule decides whether a round can be driven at all.
Two clocks are carried along the stops, one for 'lunch still to come' and one for 'lunch had', which covers every place
the break can be put in one pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from scheduling.planning.rounds.problem import Installer, Lunch, RoundProblem, Shift

_NEVER = 1 << 60

#: Where lunch is taken, when not after a stop.
LUNCH_BEFORE_LEAVING = -1


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of one round, seconds of the day.

    Attributes
    ----------
    leaves_s, returns_s
        From and to home.
    arrivals_s, starts_s
        At each stop; work ends ``service_s`` after its start.
    drives_s
        To each stop, then home.
    lunch_start_s
        None when no break is due.
    lunch_after
        Position of the stop after which it is taken; -1: at home before leaving; the number of stops: at home after.
    """

    leaves_s: int
    returns_s: int
    arrivals_s: tuple[int, ...]
    starts_s: tuple[int, ...]
    drives_s: tuple[int, ...]
    lunch_start_s: int | None
    lunch_after: int | None


def _start(arrival: int, spans: Sequence[tuple[int, int]]) -> int:
    """Earliest start of service at or after arrival, or never."""
    for earliest, latest in spans:
        if arrival <= latest:
            return max(arrival, earliest)
    return _NEVER


def _eat(ready: int, lunch: Lunch) -> int:
    """When lunch is over if it may start from ``ready``, or never."""
    start = max(ready, lunch.earliest_start_s)
    return start + lunch.duration_s if start <= lunch.latest_start_s else _NEVER


def time_round(
    problem: RoundProblem, installer: int, day: int, stops: Sequence[int], *, with_lunch: bool = True
) -> Timing | None:
    """The earliest schedule of a round, or None when it cannot be driven.

    Skills, stock and who was confirmed are not looked at here: only the clock.

    Parameters
    ----------
    problem
        What is asked.
    installer, day
        Whose round, on which day.
    stops
        Candidates in order of visit.
    with_lunch
        False leaves the break out, to find out whether it is the break that does not fit.
    """
    person: Installer = problem.installers[installer]
    shift: Shift | None = person.shift_on(day)
    if shift is None:
        return None
    lunch = person.lunch if with_lunch and person.lunch is not None and person.lunch.is_due(shift) else None
    latest_home = shift.end_s + person.overtime_on(shift)
    n = len(stops)

    # fasting[k], fed[k]: when the installer is ready to leave position k (0 is home) before and after the break
    fasting = [shift.start_s]
    fed = [_eat(shift.start_s, lunch) if lunch else _NEVER]
    eaten_here = [lunch is not None]
    here = problem.start_node(installer, day)
    for candidate in stops:
        there = problem.node(candidate)
        spans = problem.starts[candidate].get(day, ())
        service = problem.candidates[candidate].service_s
        plain, after = (
            _start(ready + problem.drive_s(here, there, ready), spans) + service for ready in (fasting[-1], fed[-1])
        )
        eaten = _eat(plain, lunch) if lunch else _NEVER
        if plain >= _NEVER and after >= _NEVER:
            return None
        fasting.append(min(plain, _NEVER))
        eaten_here.append(eaten < after)
        fed.append(min(after, eaten, _NEVER))
        here = there
    home_fasting, home_fed = (ready + problem.drive_s(here, installer, ready) for ready in (fasting[-1], fed[-1]))
    if lunch is None:
        if home_fasting > latest_home:
            return None
        lunch_after: int | None = None
        returns = home_fasting
    else:
        at_home_after = home_fasting <= latest_home and _eat(home_fasting, lunch) < _NEVER
        if home_fed > latest_home and not at_home_after:
            return None
        # eating at home afterwards brings the installer home first, so it is taken whenever it is allowed
        if at_home_after:
            lunch_after, returns = n, home_fasting
        else:
            lunch_after = next(k for k in range(n, -1, -1) if eaten_here[k]) - 1
            returns = home_fed
    return _write_out(problem, installer, day, stops, shift, lunch, lunch_after, returns)


def keeps_time(problem: RoundProblem, installer: int, day: int, stops: Sequence[int]) -> bool:
    """Whether :func:`time_round` would find a schedule; made for searching, which asks this a million times."""
    rules = problem.working_days.get((installer, day))
    if rules is None:
        return False
    shift, lunch, latest_home = rules
    first_eat, last_eat, eat_s = (
        (lunch.earliest_start_s, lunch.latest_start_s, lunch.duration_s) if lunch is not None else (0, -1, 0)
    )
    rows, all_starts, candidates = problem.seconds_rows, problem.starts, problem.candidates
    traffic = problem.traffic
    base = len(problem.installers)
    fasting = shift.start_s
    fed = max(fasting, first_eat) + eat_s if fasting <= last_eat else _NEVER
    here = problem.start_node(installer, day)
    for candidate in stops:
        spans = all_starts[candidate].get(day, ())
        service = candidates[candidate].service_s
        free = rows[here][base + candidate]
        if traffic is None:
            arrival, arrival_fed = fasting + free, fed + free
        else:
            arrival, arrival_fed = fasting + traffic.drive_s(free, fasting), fed + traffic.drive_s(free, fed)
        fasting = fed = _NEVER
        for early, late in spans:
            if arrival <= late:
                fasting = (arrival if arrival > early else early) + service
                break
        for early, late in spans:
            if arrival_fed <= late:
                fed = (arrival_fed if arrival_fed > early else early) + service
                break
        begin = fasting if fasting > first_eat else first_eat
        if begin <= last_eat and begin + eat_s < fed:
            fed = begin + eat_s
        if fasting == _NEVER and fed == _NEVER:
            return False
        here = base + candidate
    free = rows[here][installer]
    home, home_fed = fasting + free, fed + free
    if traffic is not None:
        home, home_fed = fasting + traffic.drive_s(free, fasting), fed + traffic.drive_s(free, fed)
    if lunch is None:
        return home <= latest_home
    return home_fed <= latest_home or (home <= latest_home and home <= last_eat)


def spare_s(problem: RoundProblem, installer: int, day: int, stops: Sequence[int]) -> int:
    """Seconds of a working day that driving and working leave over, however it is timed: waiting left out.

    What takes longer than that fits nowhere into the round, so that searching need not time it.
    """
    rows, path = problem.seconds_rows, problem.path(installer, day, stops)
    driving = sum(rows[here][there] for here, there in pairwise(path))
    return left_of_day_s(problem, installer, day, driving + sum(problem.candidates[stop].service_s for stop in stops))


def left_of_day_s(problem: RoundProblem, installer: int, day: int, busy_s: int) -> int:
    """Seconds of a working day beside those of driving and working, and of lunch unless they may come home to it."""
    shift, lunch, latest_home = problem.working_days[installer, day]
    left = latest_home - shift.start_s - busy_s
    if lunch is None:
        return left
    until_lunch_at_home = lunch.latest_start_s - shift.start_s - busy_s
    return max(left - lunch.duration_s, min(left, until_lunch_at_home))


def _write_out(
    problem: RoundProblem,
    installer: int,
    day: int,
    stops: Sequence[int],
    shift: Shift,
    lunch: Lunch | None,
    lunch_after: int | None,
    returns: int,
) -> Timing:
    arrivals: list[int] = []
    drives: list[int] = []
    starts: list[int] = []
    lunch_start: int | None = None
    ready = shift.start_s
    if lunch is not None and lunch_after == LUNCH_BEFORE_LEAVING:
        lunch_start = max(ready, lunch.earliest_start_s)
        ready = lunch_start + lunch.duration_s
    here = problem.start_node(installer, day)
    leaves = ready
    for k, candidate in enumerate(stops):
        there = problem.node(candidate)
        drive = problem.drive_s(here, there, ready)
        arrival = ready + drive
        start = _start(arrival, problem.starts[candidate].get(day, ()))
        if k == 0:
            # nobody sits in front of a closed door: leave home just in time for the first stop
            free = problem.seconds_rows[here][there]
            leaves = start - free if problem.traffic is None else problem.traffic.departs_s(free, start)
            drive = start - leaves
            arrival = start
        arrivals.append(arrival)
        drives.append(drive)
        starts.append(start)
        ready = start + problem.candidates[candidate].service_s
        if lunch is not None and lunch_after == k:
            lunch_start = max(ready, lunch.earliest_start_s)
            ready = lunch_start + lunch.duration_s
        here = there
    if lunch is not None and lunch_after == len(stops):
        lunch_start = max(returns, lunch.earliest_start_s)
    drives.append(problem.drive_s(here, installer, ready))
    return Timing(leaves, returns, tuple(arrivals), tuple(starts), tuple(drives), lunch_start, lunch_after)
