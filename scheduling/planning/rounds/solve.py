"""Making the rounds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.evaluate import Evaluation, Plan, Route, evaluate
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.unserved import Unserved


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the planner has come.

    Attributes
    ----------
    share
        Share of the effort spent, 0-1.
    best_cents
        Cost of the best plan so far, by the judge.
    doing
        What it is at, in words.
    """

    share: float
    best_cents: int
    doing: str


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """The answer.

    Attributes
    ----------
    routes
        Rounds by day, then installer.
    unserved
        Every candidate that is not in them, and why.
    evaluation
        What the judge says of it; it has no faults.
    naive_total_cents
        What the plan made by hand would have cost, to compare with.
    travel_source
        Which maker gave the driving times.
    stopped
        Whether it was stopped before its effort was spent.
    plan
        (installer position, day) to candidate positions, for evaluating or replanning.
    """

    routes: tuple[Route, ...]
    unserved: tuple[Unserved, ...]
    evaluation: Evaluation
    naive_total_cents: int
    travel_source: str
    stopped: bool
    plan: Plan


def plan_rounds(
    problem: RoundProblem,
    *,
    seconds: float | None = None,
    iterations: int | None = None,
    seed: int = 0,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> RoundPlan:
    """Plan the rounds of a horizon.

    Parameters
    ----------
    problem
        What is asked.
    seconds, iterations
        Effort: exactly one of the two. The same problem, iterations and seed give the same plan; seconds do not.
    seed
        Starts the random choices.
    on_progress
        Called now and then, in this thread.
    should_stop
        Asked now and then; on True the best plan so far is returned.

    Raises
    ------
    PlanningError
        When not exactly one effort is given, or it is not above 0.
    """
    if (seconds is None) == (iterations is None):
        raise PlanningError("seconds", "give either seconds or iterations, not both and not neither.")
    if seconds is not None and not seconds > 0.0:
        raise PlanningError("seconds", f"must be above 0, not {seconds!r}.")
    if iterations is not None and iterations < 1:
        raise PlanningError("iterations", f"must be at least 1, not {iterations!r}.")
    plan = naive_plan(problem)
    judged = evaluate(problem, plan)
    if on_progress is not None:
        on_progress(Progress(1.0, judged.total_cents, "first plan"))
    return RoundPlan(
        routes=judged.routes,
        unserved=(),
        evaluation=judged,
        naive_total_cents=judged.total_cents,
        travel_source=problem.travel.source,
        stopped=bool(should_stop and should_stop()),
        plan=plan,
    )
