"""A start plan by OR-Tools' routing library, to see whether a second solver pays."""

from __future__ import annotations

import itertools

import numpy as np
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.insertion import PlanDict, repair_round, working_cells
from scheduling.planning.rounds.problem import RoundProblem


def prefilter(problem: RoundProblem, fill: float = 1.6) -> list[int]:
    """What must be served, then the best value for its time, up to ``fill`` times the shifts."""
    room = fill * sum(shift.end_s - shift.start_s for person in problem.installers for shift in person.shifts)
    chosen = [k for k, c in enumerate(problem.candidates) if c.must]
    room -= sum(problem.candidates[k].service_s + 900 for k in chosen)
    scored = []
    for k, c in enumerate(problem.candidates):
        if c.must or not problem.starts[k]:
            continue
        worth = max(c.value_cents(day) for day in problem.starts[k])
        if worth > 0:
            scored.append((-worth / (c.service_s + 900), k))
    for _, k in sorted(scored):
        cost = problem.candidates[k].service_s + 900
        if cost > room:
            break
        room -= cost
        chosen.append(k)
    return sorted(chosen)


def ortools_plan(problem: RoundProblem, *, seconds: float) -> PlanDict:
    """A plan by guided local search; rounds the judge does not accept are repaired."""
    cells = working_cells(problem)
    chosen = prefilter(problem)
    people = len(problem.installers)
    manager = pywrapcp.RoutingIndexManager(
        people + len(chosen), len(cells), [cell[0] for cell in cells], [cell[0] for cell in cells]
    )
    routing = pywrapcp.RoutingModel(manager)
    nodes = np.array([*range(people), *(problem.node(k) for k in chosen)])
    seconds_table = problem.travel.seconds[np.ix_(nodes, nodes)]
    cents = problem.driving_cents[np.ix_(nodes, nodes)]
    service = np.array([0] * people + [problem.candidates[k].service_s for k in chosen])
    cheapest = {
        k: min(problem.candidates[k].cost_by_day_cents[day] for day in problem.starts[k])
        for k in chosen
        if problem.starts[k]
    }
    by_day = {}
    for number, (_, day) in enumerate(cells):
        if day not in by_day:
            # a visit's extra cost on this day over its cheapest sits on the arcs into it
            extra = [0] * people + [problem.candidates[k].cost_by_day_cents[day] - cheapest.get(k, 0) for k in chosen]
            table = cents + np.array(extra)[None, :]
            np.fill_diagonal(table, 0)
            by_day[day] = routing.RegisterTransitMatrix(np.maximum(table, 0).tolist())
        routing.SetArcCostEvaluatorOfVehicle(by_day[day], number)
    transit = routing.RegisterTransitMatrix((seconds_table + service[:, None]).tolist())
    horizon = problem.days * SECONDS_PER_DAY
    routing.AddDimension(transit, horizon, horizon, False, "time")
    clock = routing.GetDimensionOrDie("time")
    solver = routing.solver()
    visit_times = [0] * routing.Size()
    for index in range(routing.Size()):
        visit_times[index] = int(service[manager.IndexToNode(index)])
    for number, (installer, day) in enumerate(cells):
        person = problem.installers[installer]
        shift = person.shift_on(day)
        opens, closes = day * SECONDS_PER_DAY + shift.start_s, day * SECONDS_PER_DAY + shift.end_s
        clock.CumulVar(routing.Start(number)).SetRange(opens, closes)
        clock.CumulVar(routing.End(number)).SetRange(opens, closes)
        if person.lunch is not None and person.lunch.is_due(shift):
            lunch = solver.FixedDurationIntervalVar(
                day * SECONDS_PER_DAY + person.lunch.earliest_start_s,
                day * SECONDS_PER_DAY + person.lunch.latest_start_s,
                person.lunch.duration_s,
                False,
                f"lunch {number}",
            )
            clock.SetBreakIntervalsOfVehicle([lunch], number, visit_times)
    for position, k in enumerate(chosen):
        c = problem.candidates[k]
        index = manager.NodeToIndex(people + position)
        allowed = [
            number
            for number, (installer, day) in enumerate(cells)
            if day in problem.starts[k] and problem.may_serve(problem.installers[installer], c)
        ]
        spans = sorted(
            (day * SECONDS_PER_DAY + early, day * SECONDS_PER_DAY + late)
            for day, list_ in problem.starts[k].items()
            for early, late in list_
        )
        bonus = 300_000 if c.appointment is not None else 100_000 * c.urgent
        if not allowed or not spans:
            routing.AddDisjunction([index], 0)
            routing.VehicleVar(index).SetValues([-1])
            continue
        routing.VehicleVar(index).SetValues([-1, *allowed])
        variable = clock.CumulVar(index)
        variable.SetRange(spans[0][0], spans[-1][1])
        for (_, late), (early, _) in itertools.pairwise(spans):
            if early > late + 1:
                variable.RemoveInterval(late + 1, early - 1)
        routing.AddDisjunction([index], max(0, c.cost_if_unserved_cents - cheapest[k]) + bonus)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.FromMilliseconds(int(seconds * 1_000))
    solution = routing.SolveWithParameters(search)
    plan: PlanDict = {}
    if solution is None:
        return plan
    for number, cell in enumerate(cells):
        stops = []
        index = routing.Start(number)
        while not routing.IsEnd(index):
            node = manager.IndexToNode(index)
            if node >= people:
                stops.append(chosen[node - people])
            index = solution.Value(routing.NextVar(index))
        round_stops = tuple(stops)
        if round_stops and not may_be_driven(problem, *cell, round_stops):
            round_stops = repair_round(problem, *cell, round_stops)
        if round_stops:
            plan[cell] = round_stops
    return plan
