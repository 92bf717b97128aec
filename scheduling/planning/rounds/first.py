"""The plan the search starts from: the better of the one by value for time and the one made by hand.

With few visits the first is nearly always better. Where the days are full of visits that are all worth going, whoever
drives on to the next open door packs more of them into a day.
"""

from __future__ import annotations

from scheduling.planning.rounds.evaluate import Plan, evaluate
from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import PlanDict, place_the_musts
from scheduling.planning.rounds.problem import RoundProblem


def first_plan(problem: RoundProblem, by_hand: Plan) -> PlanDict:
    """The better of the two by the judge, every confirmed and urgent visit in it that can be put in."""
    begun = (greedy_plan(problem), place_the_musts(problem, by_hand))
    return min(begun, key=lambda plan: evaluate(problem, plan).rank)
