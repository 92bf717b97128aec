"""Why a stop is on its day, with its installer, in its place: what the question itself says, tried by taking it away.

The planner weighs everything at once and keeps no reasons. These are found afterwards, each by asking what else could
have been: on which other days somebody could serve the visit, who else could on this day, and whether the stop could
stand one place earlier or later.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from scheduling.planning.rounds.evaluate import Route
from scheduling.planning.rounds.problem import RoundProblem


class DayReason(Enum):
    """Why a stop is on its day."""

    CONFIRMED = "confirmed"
    ONLY_DAY = "only_day"
    URGENT = "urgent"
    CHEAPEST = "cheapest"
    ON_THE_WAY = "on_the_way"


class InstallerReason(Enum):
    """Why an installer makes a stop."""

    CONFIRMED = "confirmed"
    ONLY_ONE = "only_one"
    SHORTEST_WAY = "shortest_way"
    WHOLE = "whole"


class PlaceReason(Enum):
    """Why a stop stands where it does in its round."""

    CONFIRMED = "confirmed"
    WINDOW_OPENS = "window_opens"
    WINDOW_CLOSES = "window_closes"
    DRIVING = "driving"


@dataclass(frozen=True, slots=True)
class Why:
    """What speaks for a stop.

    Attributes
    ----------
    day, installer, place
        The reasons.
    other_day
        CHEAPEST: the day that comes next in cost; ON_THE_WAY: the day on which the visit alone would cost least;
        None where there is no other.
    other_day_cents
        How much less the visit alone costs on this day than on the other one; negative on the way.
    window_s
        When the window opens, or closes for the start of the work, in seconds of the day; None where no window decides.
    detour_s
        Driving that the stop adds to its round.
    drive_s
        Driving from the stop before, or from where the round starts.
    is_first
        Whether it is the first stop of its round.
    """

    day: DayReason
    installer: InstallerReason
    place: PlaceReason
    other_day: datetime.date | None
    other_day_cents: int
    window_s: int | None
    detour_s: int
    drive_s: int
    is_first: bool


def reasons_of(problem: RoundProblem, routes: Sequence[Route]) -> dict[str, Why]:
    """Why each stop of an answer is where it is, by the key of its visit."""
    return {stop.visit: why(problem, routes, route, k) for route in routes for k, stop in enumerate(route.stops)}


def why(problem: RoundProblem, routes: Sequence[Route], route: Route, index: int) -> Why:
    """Why a stop of a round is there.

    Parameters
    ----------
    problem
        What was asked.
    routes
        All rounds of the answer.
    route
        One of them.
    index
        Which of its stops, from 0.
    """
    stop = route.stops[index]
    c = problem.candidate_index[stop.visit]
    day, other, cents = _day(problem, c, route.day)
    stops = _stops(problem, route)
    place, window_s = _place(problem, route, stops, index)
    detour = _detour_s(problem, problem.installer_index[route.installer], route.day, [k for k in stops if k != c], c)
    return Why(
        day=day,
        installer=_installer(problem, c, routes, route, detour),
        place=place,
        other_day=None if other is None else problem.first_day + datetime.timedelta(days=other),
        other_day_cents=cents,
        window_s=window_s,
        detour_s=detour,
        drive_s=stop.drive_s,
        is_first=index == 0,
    )


def _day(problem: RoundProblem, c: int, day: int) -> tuple[DayReason, int | None, int]:
    candidate = problem.candidates[c]
    if candidate.appointment is not None:
        return DayReason.CONFIRMED, None, 0
    others = [d for d in problem.starts[c] if d != day and _could(problem, c, d)]
    if not others:
        return DayReason.ONLY_DAY, None, 0
    if candidate.urgent and day < min(others):
        return DayReason.URGENT, None, 0
    costs = candidate.cost_by_day_cents
    other = min(others, key=lambda d: (costs[d], d))
    less = costs[other] - costs[day]
    return (DayReason.CHEAPEST if less >= 0 else DayReason.ON_THE_WAY), other, less


def _installer(problem: RoundProblem, c: int, routes: Sequence[Route], route: Route, detour: int) -> InstallerReason:
    appointment = problem.candidates[c].appointment
    if appointment is not None and appointment.installer is not None:
        return InstallerReason.CONFIRMED
    others = [k for k in _could(problem, c, route.day) if k != problem.installer_index[route.installer]]
    if not others:
        return InstallerReason.ONLY_ONE
    rounds = {problem.installer_index[r.installer]: _stops(problem, r) for r in routes if r.day == route.day}
    least = min(_detour_s(problem, k, route.day, rounds.get(k, []), c) for k in others)
    return InstallerReason.SHORTEST_WAY if detour <= least else InstallerReason.WHOLE


def _stops(problem: RoundProblem, route: Route) -> list[int]:
    return [problem.candidate_index[stop.visit] for stop in route.stops]


def _detour_s(problem: RoundProblem, installer: int, day: int, stops: Sequence[int], c: int) -> int:
    """Driving that a visit adds to a round at least, on free roads, in the best of its places."""
    path, here, table = problem.path(installer, day, stops), problem.node(c), problem.seconds_rows
    return min(table[a][here] + table[here][b] - table[a][b] for a, b in pairwise(path))


def _place(problem: RoundProblem, route: Route, stops: Sequence[int], index: int) -> tuple[PlaceReason, int | None]:
    """A window decides when the stop could not start in it one place earlier, or one place later."""
    candidate = problem.candidates[stops[index]]
    if candidate.appointment is not None:
        return PlaceReason.CONFIRMED, None
    start = route.stops[index].start_s
    spans = problem.starts[stops[index]].get(route.day, ())
    opens, latest = next((span for span in spans if span[0] <= start <= span[1]), (start, start))
    here = problem.node(stops[index])
    if index > 0:
        before = _leaves(problem, route, stops, index - 1)
        could_arrive = before[1] + problem.drive_s(before[0], here, before[1])
        if could_arrive + candidate.service_s < opens:
            return PlaceReason.WINDOW_OPENS, opens
    if index + 1 < len(stops):
        follower = problem.node(stops[index + 1])
        node, departs = _leaves(problem, route, stops, index)
        following = problem.candidates[stops[index + 1]]
        reached = departs + problem.drive_s(node, follower, departs)
        spans_there = problem.starts[stops[index + 1]].get(route.day, ())
        begins = min((max(reached, first) for first, last in spans_there if reached <= last), default=None)
        if begins is not None:
            ended = begins + following.service_s
            if ended + problem.drive_s(follower, here, ended) > latest:
                return PlaceReason.WINDOW_CLOSES, latest
    return PlaceReason.DRIVING, None


def _leaves(problem: RoundProblem, route: Route, stops: Sequence[int], index: int) -> tuple[int, int]:
    """Where the installer is before a stop, as a row of the table of trips, and when they set out from there."""
    if index == 0:
        installer = problem.installer_index[route.installer]
        return problem.start_node(installer, route.day), route.leaves_s
    return problem.node(stops[index - 1]), route.stops[index - 1].end_s


def _could(problem: RoundProblem, c: int, day: int) -> list[int]:
    """Installers at work on a day who may serve a visit and have its parts."""
    candidate = problem.candidates[c]
    if not problem.starts[c].get(day):
        return []
    found = []
    for k, person in enumerate(problem.installers):
        if c not in problem.servable[k] or person.shift_on(day) is None:
            continue
        stock = person.stock_on(day)
        if stock is None or all(stock.get(item, 0) >= quantity for item, quantity in candidate.parts.items()):
            found.append(k)
    return found
