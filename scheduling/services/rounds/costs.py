"""What rounds cost: priced by the evaluator when planned, by the clock and the road where they have begun."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from scheduling.models import Plan, Round, Stop, Visit
from scheduling.planning import rounds
from scheduling.planning.policy import Policy
from scheduling.planning.rounds.evaluate import overtime_cents
from scheduling.services.visits.costs import day_costs

#: Kind of cost to whole cents.
Cents = Mapping[str, int]


def cents_of_route(problem: rounds.RoundProblem, route: rounds.Route, visits: Iterable[Visit]) -> Cents:
    """A round as the evaluator priced it, with what its visits cost on its day."""
    return {
        "driving": route.driving_cents,
        "overtime": overtime_cents(problem, route.overtime_s),
        "visits": cents_of_visits(visits, route.date),
    }


def cents_of_round(row: Round, stops: Sequence[Stop], policy: Policy) -> Cents:
    """A stored round with these of its stops."""
    if not row.costs:
        return cents_of_part(row, stops, policy)
    driven = {kind: _cents(row.costs[kind]) for kind in ("driving", "overtime")}
    return {**driven, "visits": cents_of_visits([stop.visit for stop in stops], row.day)}


def cents_of_part(row: Round, stops: Sequence[Stop], policy: Policy) -> Cents:
    """The first stops of a round as they were driven: by their minutes and kilometres."""
    minutes = sum(stop.driving_minutes for stop in stops)
    km = sum(stop.driving_km for stop in stops)
    return {
        "driving": _cents(minutes * policy.driving_cost_per_minute + km * policy.driving_cost_per_km),
        "overtime": 0,
        "visits": cents_of_visits([stop.visit for stop in stops], row.day),
    }


def cents_of_visits(visits: Iterable[Visit], day: date) -> int:
    """What visits cost on a day, driving left out; a day that one of them has no price for costs nothing."""
    costs = (day_costs(visit, first_day=day, days=1)[0][0] for visit in visits)
    return sum(_cents(cost) for cost in costs if cost is not None)


def add_up(*costs: Cents) -> dict[str, float]:
    """The sum of some rounds, as money."""
    return {kind: sum(c.get(kind, 0) for c in costs) / 100 for kind in ("driving", "overtime", "visits")}


def costs_of_plan(plan: Plan) -> dict[str, float]:
    """A plan by its rows: every round of it, and every visit that it leaves out."""
    driven = add_up(
        *({kind: _cents(money) for kind, money in row.costs.items()} for row in Round.objects.filter(plan=plan))
    )
    unserved_cents = sum(
        _cents(day_costs(row.visit, first_day=plan.first_day, days=plan.days)[1])
        for row in plan.unserved.select_related("visit")
    )
    cents = sum(_cents(money) for money in driven.values()) + unserved_cents
    return {**driven, "left": unserved_cents / 100, "total": cents / 100}


def _cents(money: float) -> int:
    return round(100.0 * money)
