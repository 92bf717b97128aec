"""The rounds as PyVRP understands them, and back.

One vehicle for each installer and day, one client for each window a visit could be made in (a group lets at most one of
them be served), whole seconds on one clock for the horizon, whole cents in the 'distance' matrix. A client's prize is
what serving it then saves over leaving it.

Lunch, which the solver does not know, is a load: every vehicle can carry one. Each client has a twin that is 'visit,
then lunch', and every installer has a client at home that is lunch alone, for days that begin or end around noon. Lunch
earns a bonus, and using a vehicle costs the same bonus, so that a round with lunch is neither rewarded nor punished.
"""

from __future__ import annotations

from dataclasses import dataclass

import pyvrp

from scheduling.planning.rounds.evaluate import Plan, round_cents
from scheduling.planning.rounds.insertion import repair_round
from scheduling.planning.rounds.problem import Lunch, RoundProblem
from scheduling.planning.rounds.schedule import LUNCH_BEFORE_LEAVING, time_round


class WarmStartError(RuntimeError):
    """A plan the judge accepts could not be told to the solver: a fault in the model, never to be passed over."""


@dataclass(frozen=True, slots=True)
class Copy:
    """What a client of the model stands for; a negative candidate is lunch alone, or the way home."""

    candidate: int
    day: int


@dataclass(frozen=True, eq=False)
class RoundModel:
    """A problem, or the part of it in some cells, ready for the solver.

    Attributes
    ----------
    problem
        The whole problem.
    data
        The part of it as the solver takes it.
    vehicles
        For each vehicle type the (installer, day) cells that are alike to the solver.
    copies
        What each client stands for.
    plain, with_lunch
        (candidate, day, number of the span[, break]) to the client that is the visit, or the visit and then lunch.
    home_lunch, first_lunch
        Cell to the client that is lunch at home, and lunch where the round starts.
    going_home
        Cell of someone on the road to the client that is the way home.
    scale
        Units of the model in a cent.
    """

    problem: RoundProblem
    data: pyvrp.ProblemData
    vehicles: tuple[tuple[tuple[int, int], ...], ...]
    copies: tuple[Copy, ...]
    plain: dict[tuple[int, int, int], int]
    with_lunch: dict[tuple[int, int, int, Lunch], int]
    home_lunch: dict[tuple[int, int], int]
    first_lunch: dict[tuple[int, int], int]
    going_home: dict[tuple[int, int], int]
    scale: int

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
        number = {cell: k for k, alike in enumerate(self.vehicles) for cell in alike}
        for cell, stops in plan.items():
            if cell not in number:
                continue
            offered = {c for c, day, _ in self.plain if day == cell[1]}
            feasible = tuple(c for c in stops if c in offered)
            if len(feasible) < len(stops):
                feasible = repair_round(
                    self.problem, *cell, feasible
                )  # where roads are odd, fewer stops can take longer
            dropped.extend(c for c in stops if c not in feasible)
            if not feasible:
                continue
            timing = time_round(self.problem, *cell, feasible)
            if timing is None:
                raise WarmStartError(f"the round of cell {cell} cannot be driven: {feasible}")
            lunch = self.problem.installers[cell[0]].lunch
            visits: list[int] = []
            if timing.lunch_after == LUNCH_BEFORE_LEAVING:
                visits.append(self.first_lunch[cell])
            for k, c in enumerate(feasible):
                spans = self.problem.starts[c][cell[1]]
                span = next(n for n, (early, late) in enumerate(spans) if early <= timing.starts_s[k] <= late)
                if timing.lunch_after == k and lunch is not None:
                    visits.append(self.with_lunch[c, cell[1], span, lunch])
                else:
                    visits.append(self.plain[c, cell[1], span])
            if timing.lunch_after == len(feasible):
                visits.append(self.home_lunch[cell])
            if cell in self.going_home:
                visits.append(self.going_home[cell])
            routes.append(pyvrp.Route(self.data, visits, number[cell]))
        solution = pyvrp.Solution(self.data, routes)
        if not solution.is_feasible():
            raise WarmStartError("the solver does not accept a plan that can be driven")
        expected = 0
        for cell, stops in plan.items():
            feasible = tuple(c for c in stops if c not in dropped)
            if cell in number and feasible:
                expected += round_cents(self.problem, *cell, feasible)
                expected += sum(self.problem.visit_cents(cell[0], c, cell[1]) for c in feasible)
                expected -= sum(self.problem.candidates[c].cost_by_day_cents[cell[1]] for c in feasible)
        expected *= self.scale
        if solution.distance_cost() != expected:
            raise WarmStartError(f"the solver prices the driving {solution.distance_cost()} and not {expected}")
        return solution, tuple(dropped)

    def decode(self, solution: pyvrp.Solution, near: Plan) -> dict[tuple[int, int], tuple[int, ...]]:
        """The rounds of a solution; lunch is left to the judge.

        Of vehicles that are all alike to the solver, each round goes to the installer who has most of it in ``near``.
        """
        rounds_by_type: dict[int, list[tuple[int, ...]]] = {}
        for route in solution.routes():
            stops = tuple(self.copies[activity.idx].candidate for activity in route if activity.is_client())
            rounds_by_type.setdefault(route.vehicle_type(), []).append(tuple(c for c in stops if c >= 0))
        plan = {}
        for number, rounds in rounds_by_type.items():
            free = list(self.vehicles[number])
            pairs = sorted(
                (-len(set(stops).intersection(near.get(cell, ()))), cell, stops)
                for stops in rounds
                for cell in free
                if stops
            )
            placed_rounds: set[tuple[int, ...]] = set()
            for _, cell, stops in pairs:
                if cell in free and stops not in placed_rounds:
                    plan[cell] = stops
                    placed_rounds.add(stops)
                    free.remove(cell)
        return plan
