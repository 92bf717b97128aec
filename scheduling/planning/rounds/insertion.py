"""Putting single visits into rounds: the cheapest place, and room made for what must be served."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain

import numpy as np

from scheduling.planning.rounds.evaluate import Plan, make_route, may_be_driven, overtime_cents, round_cents
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import spare_s

PlanDict = dict[tuple[int, int], tuple[int, ...]]

#: How many of the shortest detours of a round are tried before it is held to have no room.
TRIED_POSITIONS = 3
_TRIED_EXCHANGES = 400


@dataclass(frozen=True, slots=True)
class Insertion:
    """Where a visit could go, and what the plan would then cost more (driving, overtime, the visit, less waiting)."""

    installer: int
    day: int
    stops: tuple[int, ...]
    extra_cents: int


def working_cells(problem: RoundProblem) -> list[tuple[int, int]]:
    """Every (installer, day) that is worked, by day."""
    return sorted(
        ((k, shift.day) for k, person in enumerate(problem.installers) for shift in person.shifts),
        key=lambda cell: (cell[1], cell[0]),
    )


def round_total_cents(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> int:
    """Driving, overtime and visits of a round that can be driven, less what leaving its visits would have cost."""
    if not stops:
        return round_cents(problem, installer, day, ())
    cents = round_cents(problem, installer, day, stops) - sum(problem.worth_cents(installer, c, day) for c in stops)
    if problem.installers[installer].max_overtime_s:
        route = make_route(problem, installer, day, stops)
        if route is not None:
            cents += overtime_cents(problem, route.overtime_s)
    return cents


class Rooms:
    """The rounds of a plan with the time that they leave over, asked by one visit after another where it might fit.

    Where a round of the plan is changed, they are told (`changed`).
    """

    def __init__(self, problem: RoundProblem, plan: Plan, cells: Iterable[tuple[int, int]] | None = None) -> None:
        self._problem = problem
        self.cells = working_cells(problem) if cells is None else list(cells)
        self._number = {cell: number for number, cell in enumerate(self.cells)}
        self._legs = [self._legs_of(cell, plan.get(cell, ())) for cell in self.cells]
        self._together()

    def _legs_of(self, cell: tuple[int, int], stops: tuple[int, ...]) -> tuple[list[int], list[int], int]:
        """Where each leg of a round begins and ends, and the seconds that the round leaves over."""
        path = self._problem.path(*cell, stops)
        return path[:-1], path[1:], spare_s(self._problem, *cell, stops)

    def _together(self) -> None:
        sizes = [len(before) for before, _, _ in self._legs]
        self._before = np.fromiter(chain.from_iterable(before for before, _, _ in self._legs), np.int64, sum(sizes))
        self._after = np.fromiter(chain.from_iterable(after for _, after, _ in self._legs), np.int64, sum(sizes))
        self._owner = np.repeat(np.arange(len(self.cells), dtype=np.int64), sizes)
        spare = np.array([spare for _, _, spare in self._legs], dtype=np.int64)
        # seconds of a visit and of the way to it that the round of each leg still has, the leg itself given up
        self._over = spare[self._owner] + self._problem.travel.seconds[self._before, self._after]

    def changed(self, cell: tuple[int, int], stops: tuple[int, ...]) -> None:
        """One of the rounds is another one now."""
        self._legs[self._number[cell]] = self._legs_of(cell, stops)
        self._together()

    def that_may_hold(self, k: int, cells: Iterable[tuple[int, int]] | None = None) -> list[tuple[int, int]]:
        """Those of the rounds that have a place for a visit by the time it takes, windows and lunch left out.

        With `cells`, those of these.
        """
        seconds, new = self._problem.travel.seconds, self._problem.node(k)
        takes = seconds[self._before, new] + seconds[new, self._after] + self._problem.candidates[k].service_s
        roomy = sorted(set(self._owner[takes <= self._over].tolist()))
        found = [self.cells[number] for number in roomy]
        if cells is None:
            return found
        held = set(found)
        return [cell for cell in cells if cell in held]


def cheapest_insertion(
    problem: RoundProblem,
    plan: Plan,
    candidate: int,
    cells: Iterable[tuple[int, int]] | None = None,
    *,
    positions: int = TRIED_POSITIONS,
) -> Insertion | None:
    """The place that makes the plan least dear, among the shortest detours of every round; None when none fits."""
    new = problem.node(candidate)
    service = problem.candidates[candidate].service_s
    cents, seconds = problem.driving_cents, problem.travel.seconds
    best: Insertion | None = None
    for installer, day in working_cells(problem) if cells is None else cells:
        if day not in problem.starts[candidate] or candidate not in problem.servable[installer]:
            continue
        stops = plan.get((installer, day), ())
        path = np.array(problem.path(installer, day, stops))
        before, after = path[:-1], path[1:]
        detour = cents[before, new] + cents[new, after] - cents[before, after]
        spare = spare_s(problem, installer, day, stops) - service
        # lunch at home after an early end costs no time before it
        fits = seconds[before, new] + seconds[new, after] - seconds[before, after] <= spare
        for position in np.argsort(detour, kind="stable")[:positions]:
            extra = int(detour[position]) - problem.worth_cents(installer, candidate, day)
            if best is not None and extra >= best.extra_cents:
                break
            if not fits[position]:
                continue
            tried = (*stops[:position], candidate, *stops[position:])
            if not may_be_driven(problem, installer, day, tried):
                continue
            if problem.installers[installer].max_overtime_s:
                extra = round_total_cents(problem, installer, day, tried) - round_total_cents(
                    problem, installer, day, stops
                )
                if best is not None and extra >= best.extra_cents:
                    continue
            best = Insertion(installer, day, tried, extra)
    return best


def make_room(problem: RoundProblem, plan: Plan, candidate: int) -> tuple[Insertion, tuple[int, ...]] | None:
    """Put a visit that must be served into a round by giving up optional ones.

    In every round the visits that must stay are kept, the new one is put in, and the optional ones come back one after
    another, dearest first, as long as they fit.

    Returns
    -------
    The new round and the visits given up, cheapest over all rounds; None when it fits into none.
    """
    best: tuple[Insertion, tuple[int, ...]] | None = None
    for installer, day in working_cells(problem):
        if day not in problem.starts[candidate] or candidate not in problem.servable[installer]:
            continue
        stops = plan.get((installer, day), ())
        musts = tuple(s for s in stops if problem.candidates[s].must)
        cell = [(installer, day)]
        placed = cheapest_insertion(problem, {(installer, day): musts}, candidate, cell, positions=len(musts) + 1)
        if placed is None:
            continue
        current = placed.stops
        optional = [(-problem.worth_cents(installer, s, day), s) for s in set(stops) - set(musts)]
        for _, s in sorted(optional):
            again = cheapest_insertion(problem, {(installer, day): current}, s, cell, positions=len(current) + 1)
            if again is not None and again.extra_cents < 0:
                current = again.stops
        extra = round_total_cents(problem, installer, day, current) - round_total_cents(problem, installer, day, stops)
        if best is None or extra < best[0].extra_cents:
            best = Insertion(installer, day, current, extra), tuple(s for s in stops if s not in current)
    return best


def place_the_musts(problem: RoundProblem, plan: Plan) -> PlanDict:
    """The plan with every confirmed and urgent visit in it that can be put in by giving up optional ones."""
    result: PlanDict = dict(plan)
    served = {c for stops in result.values() for c in stops}
    waiting = [k for k, c in enumerate(problem.candidates) if c.must and k not in served]
    waiting.sort(key=lambda k: (problem.candidates[k].appointment is None, k))
    rooms = Rooms(problem, result)
    for k in waiting:
        insertion = cheapest_insertion(problem, result, k, rooms.that_may_hold(k))
        if insertion is None:
            room = make_room(problem, result, k)
            if room is None:
                continue
            insertion = room[0]
        result[insertion.installer, insertion.day] = insertion.stops
        rooms.changed((insertion.installer, insertion.day), insertion.stops)
    return result


def repair_round(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> tuple[int, ...]:
    """The round with as little given up as makes it drivable: the least valuable optional visits first."""
    current = stops
    while current and not may_be_driven(problem, installer, day, current):
        without = [(current[:k] + current[k + 1 :], current[k]) for k in range(len(current))]

        def loss(entry: tuple[tuple[int, ...], int]) -> tuple[bool, bool, int]:
            remaining, removed = entry
            c = problem.candidates[removed]
            return (
                c.must,
                not may_be_driven(problem, installer, day, remaining),
                problem.worth_cents(installer, removed, day) + round_cents(problem, installer, day, remaining),
            )

        current = min(without, key=loss)[0]
    return current


def polish(problem: RoundProblem, plan: Plan, cells: Iterable[tuple[int, int]] | None = None) -> PlanDict:
    """The plan after every single step that makes it cheaper: put a visit in, or put it in place of another.

    The solver works with thousands of exclusive copies of the visits and can overlook such a plain exchange.
    """
    result: PlanDict = {cell: stops for cell, stops in plan.items() if stops}
    open_cells = working_cells(problem) if cells is None else sorted(cells, key=lambda cell: (cell[1], cell[0]))
    while (better := _one_exchange(problem, result, open_cells)) is not None:
        cell, stops = better
        result[cell] = stops
    served = {c for stops in result.values() for c in stops}
    waiting = [k for k in range(len(problem.candidates)) if k not in served]
    most = problem.values_cents.max(axis=0) if waiting else problem.values_cents
    rooms = Rooms(problem, result, open_cells)
    for k in sorted(waiting, key=lambda k: (-int(most[k]), k)):
        insertion = cheapest_insertion(problem, result, k, rooms.that_may_hold(k))
        if insertion is not None and insertion.extra_cents < 0:
            result[insertion.installer, insertion.day] = insertion.stops
            rooms.changed((insertion.installer, insertion.day), insertion.stops)
    return result


def _one_exchange(
    problem: RoundProblem, plan: PlanDict, cells: list[tuple[int, int]]
) -> tuple[tuple[int, int], tuple[int, ...]] | None:
    """The exchange of a visit in a round for one left out, in the same place of the order, that saves most."""
    served = {c for stops in plan.values() for c in stops}
    waiting = [k for k in range(len(problem.candidates)) if k not in served]
    cents, new = problem.driving_cents, len(problem.installers) + np.array(waiting, dtype=np.int64)
    # what must be served stands above any money
    above = 10**9 * problem.musts
    steps: list[tuple[int, tuple[int, int], int, int]] = []
    for installer, day in cells:
        stops = plan.get((installer, day), ())
        if not stops or not waiting:
            continue
        path = np.array(problem.path(installer, day, stops))
        before, here, after = path[:-2], path[1:-1], path[2:]
        worth = problem.worths_cents(installer, day) + above
        removed_worth, gained = worth[list(stops)], worth[waiting]
        step = (
            cents[before[:, None], new[None, :]]
            + cents[new[None, :], after[:, None]]
            - (cents[before, here] + cents[here, after])[:, None]
            + removed_worth[:, None]
            - gained[None, :]
        )
        for position, number in zip(*np.nonzero(step < 0), strict=True):
            steps.append((int(step[position, number]), (installer, day), int(position), waiting[int(number)]))
    # the list is long when the days are full; what saves most is nearly always possible
    for _, cell, position, k in sorted(steps)[:_TRIED_EXCHANGES]:
        stops = plan[cell]
        if problem.candidates[stops[position]].appointment is not None:
            continue
        tried = (*stops[:position], k, *stops[position + 1 :])
        if not may_be_driven(problem, *cell, tried):
            continue
        if not problem.installers[cell[0]].max_overtime_s or (
            round_total_cents(problem, *cell, tried) < round_total_cents(problem, *cell, stops)
        ):
            return cell, tried
    return None
