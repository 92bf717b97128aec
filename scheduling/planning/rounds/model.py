"""The rounds as PyVRP understands them, and back.

One vehicle for each installer and day, one client for each window a visit could be made in (a group lets at most one of
them be served), whole seconds on one clock for the horizon, whole cents in the 'distance' matrix. A client's prize is
what serving it then saves over leaving it.

Lunch, which the solver does not know, is a load: every vehicle can carry one. Each client has a twin that is 'visit,
then lunch', and every installer has a client at home that is lunch alone, for days that begin or end around noon. Lunch
earns a bonus, and using a vehicle costs the same bonus, so that a round with lunch is neither rewarded nor punished.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyvrp
from pyvrp.search import NeighbourhoodParams, PerturbationParams
from pyvrp.stop import MaxIterations, MaxRuntime, MultipleCriteria, StoppingCriterion

from scheduling.planning.rounds.evaluate import Plan, round_cents
from scheduling.planning.rounds.insertion import mend_round
from scheduling.planning.rounds.problem import DAY_S, Lunch, RoundProblem
from scheduling.planning.rounds.schedule import LUNCH_BEFORE_LEAVING, time_round

LUNCH_BONUS_CENTS = 10_000
_FORBIDDEN_CENTS = 10**8
_FORBIDDEN_S = 30 * DAY_S
_PLENTY = 10**6

# measured on weeks of 150 to 1,000 candidates against the solver's defaults (50, 300, 500, 0.65, 25): thousands of
# exclusive copies want small perturbations, quick penalties and wide neighbourhoods
_NUM_NEIGHBOURS = 100
_HISTORY_LENGTH = 50
_SOLUTIONS_BETWEEN_UPDATES = 50
_TARGET_FEASIBLE = 0.9
_MAX_PERTURBATIONS = 5


class WarmStartError(RuntimeError):
    """A plan the judge accepts could not be told to the solver: a fault in the model, never to be passed over."""


@dataclass(frozen=True, slots=True)
class _Copy:
    """What a client of the model stands for; a negative candidate is lunch at home."""

    candidate: int
    day: int


@dataclass(frozen=True, eq=False)
class RoundModel:
    """A problem, or the part of it in some cells, ready for the solver."""

    problem: RoundProblem
    cells: tuple[tuple[int, int], ...]
    data: pyvrp.ProblemData
    copies: tuple[_Copy, ...]
    plain: dict[tuple[int, int, int], int]
    with_lunch: dict[tuple[int, int, int, Lunch], int]
    home_lunch: dict[tuple[int, int], int]
    first_lunch: dict[tuple[int, int], int]
    going_home: dict[tuple[int, int], int]
    scale: int

    @classmethod
    def build(
        cls,
        problem: RoundProblem,
        *,
        cells: Sequence[tuple[int, int]],
        candidates: Sequence[int],
        slowed: float = 1.0,
    ) -> RoundModel:
        """A model of the given (installer, day) cells and candidates only, with every drive ``slowed`` times as long.

        The solver knows no time of day, so traffic is told to it as one factor; 1 is too fast and accepts every round
        that can be driven.
        """
        people = sorted({installer for installer, _ in cells})
        shifts = {cell: problem.installers[cell[0]].shift_on(cell[1]) for cell in cells}
        lunch_of: dict[tuple[int, int], Lunch | None] = {}
        for cell, shift in shifts.items():
            lunch = problem.installers[cell[0]].lunch
            lunch_of[cell] = lunch if lunch is not None and shift is not None and lunch.is_due(shift) else None
        kinds = sorted({x for x in lunch_of.values() if x is not None}, key=repr)
        items: list[str] = []
        if any(problem.installers[k].stock_on(day) is not None for k, day in cells):
            items = sorted({item for c in candidates for item in problem.candidates[c].parts})
        # two visits that must not share a round are a load of which a van carries one
        apart = [(a, b) for a in candidates for b in sorted(problem.apart_of.get(a, ())) if a < b and b in candidates]
        scale = _scale(problem, people)

        place = {installer: k for k, installer in enumerate(people)}
        site = {c: len(people) + k for k, c in enumerate(candidates)}
        away = [cell for cell in cells if problem.start_node(*cell) != cell[0]]
        away_place = {cell: len(people) + len(candidates) + k for k, cell in enumerate(away)}
        nodes = np.array(
            [*people, *(problem.node(c) for c in candidates), *(problem.start_node(*cell) for cell in away)]
        )
        may = {
            (k, c): problem.may_serve(problem.installers[k], problem.candidates[c]) for k in people for c in candidates
        }

        clients: list[pyvrp.Client] = []
        copies: list[_Copy] = []
        groups: list[pyvrp.ClientGroup] = []
        plain: dict[tuple[int, int, int], int] = {}
        twins: dict[tuple[int, int, int, Lunch], int] = {}
        homes: dict[tuple[int, int], int] = {}
        starts: dict[tuple[int, int], int] = {}

        def load(candidate: int | None, lunch: Lunch | None) -> list[int]:
            parts = {} if candidate is None else problem.candidates[candidate].parts
            return [
                *(parts.get(item, 0) for item in items),
                *(int(candidate in pair) for pair in apart),
                *(int(kind == lunch) for kind in kinds),
            ]

        for c in candidates:
            visit = problem.candidates[c]
            bonus = (
                problem.rates.missed_appointment_cents
                if visit.appointment is not None
                else problem.rates.missed_urgent_cents * int(visit.urgent)
            )
            members: list[int] = []

            def add(
                day: int,
                early: int,
                late: int,
                service: int,
                lunch: Lunch | None,
                *,
                c: int = c,
                members: list[int] = members,
                bonus: int = bonus,
            ) -> int:
                prize = problem.candidates[c].value_cents(day) + bonus + (LUNCH_BONUS_CENTS if lunch else 0)
                clients.append(
                    pyvrp.Client(
                        location=site[c],
                        delivery=load(c, lunch),
                        service_duration=service,
                        tw_early=day * DAY_S + early,
                        tw_late=day * DAY_S + late,
                        prize=prize * scale,
                        required=False,
                        group=len(groups),
                    )
                )
                copies.append(_Copy(c, day))
                members.append(len(clients) - 1)
                return len(clients) - 1

            for day, spans in problem.starts[c].items():
                here = [cell for cell in cells if cell[1] == day and may[cell[0], c]]
                if not here or visit.value_cents(day) + bonus <= 0:
                    continue
                due = {lunch_of[cell] for cell in here}
                for number, (early, late) in enumerate(spans):
                    plain[c, day, number] = add(day, early, late, visit.service_s, None)
                    for lunch in kinds:
                        if lunch not in due:
                            continue
                        twin = _twin(early, late, visit.service_s, lunch)
                        if twin is not None:
                            twins[c, day, number, lunch] = add(day, *twin, lunch)
            if members:
                groups.append(pyvrp.ClientGroup(members, required=False))

        def lunch_alone(cell: tuple[int, int], location: int, eats: Lunch) -> int:
            clients.append(
                pyvrp.Client(
                    location=location,
                    delivery=load(None, eats),
                    service_duration=eats.duration_s,
                    tw_early=cell[1] * DAY_S + eats.earliest_start_s,
                    tw_late=cell[1] * DAY_S + eats.latest_start_s,
                    prize=LUNCH_BONUS_CENTS * scale,
                    required=False,
                )
            )
            copies.append(_Copy(-1, cell[1]))
            return len(clients) - 1

        for cell in cells:
            eats = lunch_of[cell]
            if eats is not None:
                homes[cell] = lunch_alone(cell, place[cell[0]], eats)
                # who is on the road can also have lunch where they are before they go on
                starts[cell] = lunch_alone(cell, away_place[cell], eats) if cell in away_place else homes[cell]

        # an installer who is on the road drives home even without another stop; what that costs is given back to those
        # who go on, so that going on costs its detour only
        going_home: dict[tuple[int, int], int] = {}
        for cell in away:
            shift = shifts[cell]
            if shift is None:
                continue
            going_home[cell] = len(clients)
            clients.append(
                pyvrp.Client(
                    location=place[cell[0]],
                    delivery=load(None, None),
                    tw_early=cell[1] * DAY_S,
                    tw_late=cell[1] * DAY_S + shift.end_s + problem.installers[cell[0]].max_overtime_s,
                    prize=round_cents(problem, *cell, ()) * scale,
                    required=False,
                )
            )
            copies.append(_Copy(-1, cell[1]))

        # installers who may go to the same places share a pair of tables; lunch at home makes every home a place apart
        at_home = sorted({cell[0] for cell in (*homes, *going_home)})
        profile_of = {
            k: (
                tuple(place[j] for j in at_home if j != k)
                + tuple(site[c] for c in candidates if not may[k, c])
                + tuple(away_place[cell] for cell in away if cell[0] != k),
                tuple(
                    (site[c], extra)
                    for c in candidates
                    if (extra := problem.candidates[c].cost_by_installer_cents.get(problem.installers[k].key, 0))
                ),
            )
            for k in people
        }
        profiles = sorted(set(profile_of.values()))

        depot_of_start = {cell: place[cell[0]] for cell in cells}
        depot_of_start.update({cell: len(people) + k for k, cell in enumerate(away)})
        vehicles = []
        for cell in cells:
            person, shift = problem.installers[cell[0]], shifts[cell]
            if shift is None:
                raise ValueError(f"{person.key} does not work on day {cell[1]}")
            stock = person.stock_on(cell[1])
            overtime: dict[str, Any] = {}
            if person.max_overtime_s:
                # overtime is counted from the start of the shift, so the clock starts there whenever the van leaves
                overtime = {
                    "start_late": cell[1] * DAY_S + shift.start_s,
                    "shift_duration": shift.end_s - shift.start_s,
                    "max_overtime": person.max_overtime_s,
                    "unit_overtime_cost": round(problem.rates.overtime_hour_cents * scale / 3_600),
                }
            vehicles.append(
                pyvrp.VehicleType(
                    num_available=1,
                    capacity=[_PLENTY if stock is None else stock.get(item, 0) for item in items]
                    + [1] * len(apart)
                    + [int(kind == lunch_of[cell]) for kind in kinds],
                    start_depot=depot_of_start[cell],
                    end_depot=place[cell[0]],
                    fixed_cost=LUNCH_BONUS_CENTS * scale if lunch_of[cell] else 0,
                    tw_early=cell[1] * DAY_S + shift.start_s,
                    tw_late=cell[1] * DAY_S + shift.end_s + person.max_overtime_s,
                    unit_distance_cost=1,
                    profile=profiles.index(profile_of[cell[0]]),
                    **overtime,
                )
            )

        cents = problem.driving_cents[np.ix_(nodes, nodes)] * scale
        seconds = np.rint(problem.travel.seconds[np.ix_(nodes, nodes)] * slowed).astype(np.int64)
        money_tables, time_tables = [], []
        for shut, extras in profiles:
            money, duration = cents.copy(), seconds.copy()
            for column, extra in extras:
                money[:, column] += extra * scale
            np.fill_diagonal(money, 0)
            if shut:
                money[:, list(shut)] = _FORBIDDEN_CENTS
                duration[:, list(shut)] = _FORBIDDEN_S
                np.fill_diagonal(money, 0)
                np.fill_diagonal(duration, 0)
            money_tables.append(money)
            time_tables.append(duration)

        data = pyvrp.ProblemData(
            locations=[pyvrp.Location(0, 0) for _ in nodes],
            clients=clients,
            depots=[pyvrp.Depot(place[k]) for k in people] + [pyvrp.Depot(away_place[cell]) for cell in away],
            vehicle_types=vehicles,
            distance_matrices=money_tables,
            duration_matrices=time_tables,
            groups=groups,
        )
        return cls(problem, tuple(cells), data, tuple(copies), plain, twins, homes, starts, going_home, scale)

    def encode(self, plan: Plan) -> tuple[pyvrp.Solution, tuple[int, ...]]:
        """A plan as a solution of the model, and the visits it had to drop.

        A visit that is worth nothing on its day has no client and is dropped, which never makes the plan dearer. Any
        other difference is a fault of the model.

        Raises
        ------
        WarmStartError
            When a plan the judge accepts is not one the solver accepts.
        """
        routes = []
        dropped: list[int] = []
        number = {cell: k for k, cell in enumerate(self.cells)}
        for cell, stops in plan.items():
            if cell not in number:
                continue
            offered = {c for c, day, _ in self.plain if day == cell[1]}
            kept = tuple(c for c in stops if c in offered)
            if len(kept) < len(stops):
                kept = mend_round(self.problem, *cell, kept)  # where roads are odd, fewer stops can take longer
            dropped.extend(c for c in stops if c not in kept)
            if not kept:
                continue
            timing = time_round(self.problem, *cell, kept)
            if timing is None:
                raise WarmStartError(f"the round of cell {cell} cannot be driven: {kept}")
            lunch = self.problem.installers[cell[0]].lunch
            visits: list[int] = []
            if timing.lunch_after == LUNCH_BEFORE_LEAVING:
                visits.append(self.first_lunch[cell])
            for k, c in enumerate(kept):
                spans = self.problem.starts[c][cell[1]]
                span = next(n for n, (early, late) in enumerate(spans) if early <= timing.starts_s[k] <= late)
                if timing.lunch_after == k and lunch is not None:
                    visits.append(self.with_lunch[c, cell[1], span, lunch])
                else:
                    visits.append(self.plain[c, cell[1], span])
            if timing.lunch_after == len(kept):
                visits.append(self.home_lunch[cell])
            if cell in self.going_home:
                visits.append(self.going_home[cell])
            routes.append(pyvrp.Route(self.data, visits, number[cell]))
        solution = pyvrp.Solution(self.data, routes)
        if not solution.is_feasible():
            raise WarmStartError("the solver does not accept a plan that can be driven")
        expected = 0
        for cell, stops in plan.items():
            kept = tuple(c for c in stops if c not in dropped)
            if cell in number and kept:
                expected += round_cents(self.problem, *cell, kept)
                expected += sum(self.problem.visit_cents(cell[0], c, cell[1]) for c in kept)
                expected -= sum(self.problem.candidates[c].cost_by_day_cents[cell[1]] for c in kept)
        expected *= self.scale
        if solution.distance_cost() != expected:
            raise WarmStartError(f"the solver prices the driving {solution.distance_cost()} and not {expected}")
        return solution, tuple(dropped)

    def decode(self, solution: pyvrp.Solution) -> dict[tuple[int, int], tuple[int, ...]]:
        """The rounds of a solution; lunch is left to the judge."""
        plan = {}
        for route in solution.routes():
            cell = self.cells[route.vehicle_type()]
            stops = tuple(self.copies[activity.idx].candidate for activity in route if activity.is_client())
            stops = tuple(c for c in stops if c >= 0)
            if stops:
                plan[cell] = stops
        return plan


def _twin(early: int, late: int, service: int, lunch: Lunch) -> tuple[int, int, int] | None:
    """Window and length of 'visit, then lunch', or None when lunch cannot follow.

    The window is cut so that the work ends inside the span in which lunch may start. A visit that must be over before
    then is drawn out by the wait.
    """
    cut_early = max(early, lunch.earliest_start_s - service)
    cut_late = min(late, lunch.latest_start_s - service)
    if cut_early <= cut_late:
        return cut_early, cut_late, service + lunch.duration_s
    if late + service < lunch.earliest_start_s:
        return late, late, lunch.earliest_start_s + lunch.duration_s - late
    return None


def _scale(problem: RoundProblem, people: Sequence[int]) -> int:
    """Model units in a cent: 1, or as many as make a second of overtime a whole number to within 3 %."""
    if not any(problem.installers[k].max_overtime_s for k in people):
        return 1
    exact = problem.rates.overtime_hour_cents / 3_600
    if exact == 0.0:
        return 1
    return next((s for s in range(1, 37) if abs(round(exact * s) / s - exact) <= 0.03 * exact), 36)


class _Asked:
    """Stops the search when its owner says so."""

    def __init__(self, should_stop: Callable[[], bool]) -> None:
        self._should_stop = should_stop

    def __call__(self, best_cost: int) -> bool:
        return self._should_stop()


class _Watch(pyvrp.IteratedLocalSearchCallbacks):
    """Passes the search's best plan on as it goes."""

    def __init__(self, every: int, tell: Callable[[int], None]) -> None:
        self._every, self._tell, self._count = every, tell, 0

    def on_iteration(self, current: object, candidate: object, best: object, cost_evaluator: object) -> None:
        self._count += 1
        if self._count % self._every == 0:
            self._tell(self._count)


def search(
    model: RoundModel,
    start: pyvrp.Solution,
    *,
    seed: int,
    iterations: int | None = None,
    seconds: float | None = None,
    should_stop: Callable[[], bool] | None = None,
    on_iteration: Callable[[int], None] | None = None,
) -> pyvrp.Solution:
    """Improve a solution of the model; the best found, never worse than the start by the solver's own measure."""
    criteria: list[StoppingCriterion] = []
    if iterations is not None:
        criteria.append(MaxIterations(iterations))
    if seconds is not None:
        criteria.append(MaxRuntime(seconds))
    if should_stop is not None:
        criteria.append(_Asked(should_stop))
    params = pyvrp.SolveParams(
        ils=pyvrp.IteratedLocalSearchParams(
            history_length=_HISTORY_LENGTH,
            callbacks=_Watch(500, on_iteration) if on_iteration else pyvrp.IteratedLocalSearchCallbacks(),
        ),
        penalty=pyvrp.PenaltyParams(
            solutions_between_updates=_SOLUTIONS_BETWEEN_UPDATES, target_feasible=_TARGET_FEASIBLE
        ),
        neighbourhood=NeighbourhoodParams(num_neighbours=_NUM_NEIGHBOURS),
        perturbation=PerturbationParams(1, _MAX_PERTURBATIONS),
    )
    result = pyvrp.solve(
        model.data,
        stop=MultipleCriteria(criteria),
        seed=seed,
        collect_stats=False,
        display=False,
        params=params,
        initial_solution=start,
    )
    return result.best if result.is_feasible() else start
