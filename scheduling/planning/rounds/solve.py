"""Making the rounds: a first plan, improved block by block, every step checked by the judge."""

from __future__ import annotations

import dataclasses
import itertools
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypedDict

import numpy as np
import pyvrp

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.evaluate import Evaluation, Plan, Route, evaluate
from scheduling.planning.rounds.first import first_plan
from scheduling.planning.rounds.insertion import PlanDict, place_the_musts, polish, repair_round, working_cells
from scheduling.planning.rounds.model import RoundModel, WarmStartError
from scheduling.planning.rounds.model_build import build_model
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.pairs import Merged, merge_pairs
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.search import search
from scheduling.planning.rounds.unserved import Unserved, explain_unserved
from scheduling.planning.words import rounds as words

#: Up to this many candidates are searched whole, over any horizon and over a horizon of one block; more in blocks.
WHOLE_UP_TO = 60
WHOLE_BLOCK_UP_TO = 150
#: Up to this many are searched from several plans in turn: few visits leave a search where it began.
SMALL_UP_TO = 20
SMALL_SHARES = (0.25, 0.15, 0.15, 0.15, 0.15, 0.15)
#: Days of a block, and how many rounds it holds at most.
BLOCK_DAYS = 2
BLOCK_CELLS = 10
#: Visits left out that a block may take in.
BLOCK_POOL = 150
#: Effort of a block: no more than its share of the whole, so that none goes without; at most and at least so much.
BLOCK_SECONDS = (0.3, 4.0)
BLOCK_ITERATIONS = (200, 2_000)
#: What is usual: so many for each round, which is what lets the effort grow in step with the company.
ROUND_ITERATIONS = 100
LEAST_ITERATIONS = 3_000

#: Makes the plan the search starts from.
StartPlan = Callable[[RoundProblem], Plan]


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


class SearchEffort(TypedDict, total=False):
    """How hard :func:`plan_rounds` tries, who hears of it and who may stop it: its parameters of these names."""

    seconds: float | None
    iterations: int | None
    seed: int
    on_progress: Callable[[Progress], None] | None
    should_stop: Callable[[], bool] | None


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
    start: StartPlan | None = None,
) -> RoundPlan:
    """Plan the rounds of a horizon.

    Parameters
    ----------
    problem
        What is asked.
    seconds, iterations
        Effort: exactly one of the two. The same problem, iterations, seed and start give the same plan; seconds do
        not. A few thousand iterations do for a day or two, some ten thousand for a week.
    seed
        Starts the random choices.
    on_progress
        Called now and then, in this thread.
    should_stop
        Asked now and then; on True the best plan so far is returned.
    start
        Makes the first plan, the better of two (see `first`) when None; whatever in it cannot be driven is repaired
        before the search. Where visits belong together it is asked about a problem in which each pair is one.

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
    effort = _Effort(seconds, iterations, should_stop)
    merged = merge_pairs(problem)
    merged_problem = merged.problem
    by_hand = naive_plan(merged_problem)
    given = first_plan(merged_problem, by_hand) if start is None else start(merged_problem)
    first = drivable(merged_problem, given)

    def others() -> list[PlanDict]:
        begun: tuple[PlanDict, ...] = ({}, drivable(merged_problem, by_hand))
        return [place_the_musts(merged_problem, plan) for plan in begun]

    search_state = _Search(merged_problem, place_the_musts(merged_problem, first), effort, seed, on_progress, others)
    search_state.run()
    plan = merged.expand(search_state.best)
    judged = evaluate(problem, plan)
    return RoundPlan(
        routes=judged.routes,
        unserved=why_unserved(problem, plan),
        evaluation=judged,
        naive_total_cents=evaluate(problem, merged.expand(by_hand)).total_cents,
        travel_source=problem.travel.source,
        stopped=effort.stopped,
        plan=plan,
    )


def usual_iterations(problem: RoundProblem) -> int:
    """The effort that is usual for a problem: in step with its rounds."""
    return max(LEAST_ITERATIONS, ROUND_ITERATIONS * len(working_cells(problem)))


def why_unserved(problem: RoundProblem, plan: Plan) -> tuple[Unserved, ...]:
    """A reason for every candidate left out; the reason of a pair that belongs together is the reason of both."""
    merged = merge_pairs(problem)
    return _of_each(problem, merged, explain_unserved(merged.problem, merged.contract(plan)))


def _of_each(problem: RoundProblem, merged: Merged, unserved: tuple[Unserved, ...]) -> tuple[Unserved, ...]:
    """The reason of a pair is the reason of both."""
    members = {c.key: m for c, m in zip(merged.problem.candidates, merged.members, strict=True)}
    distinct = {
        member: dataclasses.replace(entry, visit=problem.candidates[member].key)
        for entry in unserved
        for member in members[entry.visit]
    }
    return tuple(distinct[k] for k in sorted(distinct))


def drivable(problem: RoundProblem, plan: Plan) -> PlanDict:
    """A plan from elsewhere with what cannot be driven taken out."""
    placed: set[int] = set()
    result: PlanDict = {}
    for (installer, day), stops in plan.items():
        once = tuple(c for c in dict.fromkeys(stops) if c not in placed)
        drivable_stops = repair_round(problem, installer, day, once)
        placed.update(drivable_stops)
        if drivable_stops:
            result[installer, day] = drivable_stops
    return result


class _Effort:
    """How much work is left, by the clock or by count."""

    def __init__(self, seconds: float | None, iterations: int | None, should_stop: Callable[[], bool] | None) -> None:
        self._began = time.monotonic()
        self._seconds = seconds
        self._iterations = iterations
        self._iterations_used = 0
        self._should_stop = should_stop
        self.stopped = False

    def asked_to_stop(self) -> bool:
        if not self.stopped and self._should_stop is not None and self._should_stop():
            self.stopped = True
        return self.stopped

    def share_with(self, running: int) -> float:
        """Share spent when the step at work has done ``running`` iterations."""
        if self._iterations is not None:
            return (self._iterations_used + running) / self._iterations
        return min(1.0, (time.monotonic() - self._began) / (self._seconds or 1.0))

    def next_step(self, *, share: float, is_block: bool = False) -> tuple[int | None, float | None] | None:
        """Iterations or seconds of the next step, a share of the whole; None: the effort is spent."""
        if self.asked_to_stop():
            return None
        if self._iterations is not None:
            iterations_left = self._iterations - self._iterations_used
            most = math.ceil(self._iterations * share)
            if is_block:
                most = min(max(most, BLOCK_ITERATIONS[0]), BLOCK_ITERATIONS[1])
            return None if iterations_left <= 0 else (min(iterations_left, most), None)
        left_s = (self._seconds or 0.0) - (time.monotonic() - self._began)
        if left_s <= 0.05:
            return None
        most_s = (self._seconds or 0.0) * share
        if is_block:
            most_s = min(max(most_s, BLOCK_SECONDS[0]), BLOCK_SECONDS[1])
        return None, min(left_s, most_s)

    def spend(self, iterations: int | None) -> None:
        self._iterations_used += iterations or 0


class _Search:
    """Fix-and-optimise: take some days, let the solver redo them with everything else fixed, keep what is better."""

    def __init__(
        self,
        problem: RoundProblem,
        start: PlanDict,
        effort: _Effort,
        seed: int,
        on_progress: Callable[[Progress], None] | None,
        others: Callable[[], Sequence[PlanDict]] = tuple,
    ) -> None:
        self.problem = problem
        self._others = others
        self.best = {cell: stops for cell, stops in start.items() if stops}
        self._rank = evaluate(problem, self.best).rank
        self._effort = effort
        self._rng = np.random.default_rng(seed)
        self._on_progress = on_progress

    def run(self) -> None:
        self._tell(words.FIRST_PLAN, 0)
        cells = working_cells(self.problem)
        if not cells or not self.problem.candidates:
            self._tell(words.DONE, 0)
            return
        one_block = len({day for _, day in cells}) <= BLOCK_DAYS
        fits_whole = len(self.problem.candidates) <= (WHOLE_BLOCK_UP_TO if one_block else WHOLE_UP_TO)
        if fits_whole:
            small = len(self.problem.candidates) <= SMALL_UP_TO
            starts = itertools.cycle((self.best, *self._others())) if small else itertools.repeat(None)
            for start, share in zip(starts, itertools.cycle(SMALL_SHARES if small else (1.0,)), strict=False):
                step = self._effort.next_step(share=share)
                if step is None:
                    break
                self._improve(cells, *step, start=start)
            self._tell(words.DONE, 0)
            return
        blocks: list[list[tuple[int, int]]] = []
        share = BLOCK_CELLS / len(cells)
        while (step := self._effort.next_step(share=share, is_block=True)) is not None:
            if not blocks:
                blocks = self._blocks(cells)
            self._improve(blocks.pop(), *step)
        self._tell(words.DONE, 0)

    def _blocks(self, cells: Sequence[tuple[int, int]]) -> list[list[tuple[int, int]]]:
        """A pass over all days, in pairs drawn at random; many installers are split by where they are at work."""
        days = sorted({day for _, day in cells})
        order = [days[k] for k in self._rng.permutation(len(days))]
        if len(order) % 2 and len(order) > 1:
            order.append(order[0])
        blocks: list[list[tuple[int, int]]] = []
        for k in range(0, len(order), BLOCK_DAYS):
            chosen = set(order[k : k + BLOCK_DAYS])
            block = [cell for cell in cells if cell[1] in chosen]
            blocks.extend(self._split(block))
        return blocks

    def _split(self, block: list[tuple[int, int]]) -> list[list[tuple[int, int]]]:
        if len(block) <= BLOCK_CELLS:
            return [block]
        remaining = list(block)
        parts = []
        while remaining:
            middle = remaining[int(self._rng.integers(len(remaining)))]
            remaining.sort(key=lambda cell: (self._apart(middle, cell), cell))
            parts.append(remaining[:BLOCK_CELLS])
            remaining = remaining[BLOCK_CELLS:]
        return parts

    def _apart(self, one: tuple[int, int], other: tuple[int, int]) -> float:
        """Mean drive between the stops of two rounds, homes included."""
        a, b = ([cell[0], *(self.problem.node(c) for c in self.best.get(cell, ()))] for cell in (one, other))
        return float(self.problem.travel.seconds[np.ix_(a, b)].mean())

    def _pool(self, cells: Sequence[tuple[int, int]]) -> list[int]:
        """Visits left out that are worth most for their time, by the nearest of the block's stops and homes."""
        problem = self.problem
        served = {c for stops in self.best.values() for c in stops}
        days = {day for _, day in cells}
        people = [problem.installers[k] for k in sorted({k for k, _ in cells})]
        near = [*{k for k, _ in cells}, *(problem.node(c) for cell in cells for c in self.best.get(cell, ()))]
        scored = []
        for k, c in enumerate(problem.candidates):
            if k in served:
                continue
            worth = max((c.value_cents(d) for d in problem.starts[k] if d in days), default=None)
            if worth is None or not any(problem.may_serve(p, c) for p in people):
                continue
            if c.must:
                scored.append((-1.0, k))
                continue
            if worth <= 0:
                continue
            detour = int(problem.travel.seconds[near, problem.node(k)].min())
            scored.append((1.0 / (worth / (c.service_s + 2 * detour + 300)), k))
        scored.sort()
        return [k for _, k in scored[:BLOCK_POOL]]

    def _improve(
        self,
        cells: list[tuple[int, int]],
        iterations: int | None,
        seconds: float | None,
        start: PlanDict | None = None,
    ) -> None:
        """Let the solver redo some rounds, from what stands or from another plan for them."""
        problem = self.problem
        inside = [c for cell in cells for c in self.best.get(cell, ())]
        candidates = sorted({*inside, *self._pool(cells)})
        if not candidates:
            self._effort.spend(iterations)
            if seconds is not None:
                time.sleep(min(seconds, 0.01))
            return
        stands = self.best if start is None else start
        began = {cell: stands[cell] for cell in cells if stands.get(cell)}
        built = self._model(cells, candidates, began)
        if built is None:
            self._effort.spend(iterations)
            return
        model, solution = built
        outcome = search(
            model,
            solution,
            seed=int(self._rng.integers(2**31)),
            iterations=iterations,
            seconds=seconds,
            should_stop=self._effort.asked_to_stop,
            on_iteration=(lambda n: self._tell(words.IMPROVING, n)) if self._on_progress else None,
        )
        self._effort.spend(iterations)
        tried = {cell: stops for cell, stops in self.best.items() if cell not in set(cells)}
        for cell, stops in model.decode(outcome, began).items():
            drivable_stops = repair_round(problem, *cell, stops)
            if drivable_stops:
                tried[cell] = drivable_stops
        tried = polish(problem, tried, cells)
        rank = evaluate(problem, tried).rank
        if rank <= self._rank:
            self.best, self._rank = tried, rank
        self._tell(words.IMPROVING, 0)

    def _model(
        self, cells: list[tuple[int, int]], candidates: list[int], began: PlanDict
    ) -> tuple[RoundModel, pyvrp.Solution] | None:
        """The block for the solver, with what stands as its start; None when there is nothing to decide.

        With traffic the drives are slowed by its mean over the shifts. Should the present rounds not fit that, having
        been laid around the rush, the roads are told as free, which they always fit.
        """
        problem = self.problem
        factors = [1.0]
        if problem.traffic is not None:
            shifts = [problem.working_days[cell][0] for cell in cells]
            factors = [float(np.mean([problem.traffic.mean_factor(s.start_s, s.end_s) for s in shifts])), 1.0]
        for factor in factors:
            model = build_model(problem, cells=cells, candidates=candidates, slowed=factor)
            if not model.plain:
                return None
            try:
                return model, model.encode(began)[0]
            except WarmStartError:
                if factor == factors[-1]:
                    raise
        return None

    def _tell(self, doing: str, running: int) -> None:
        if self._on_progress is not None:
            share = 1.0 if doing == words.DONE else self._effort.share_with(running)
            self._on_progress(Progress(share, self._rank[-1], doing))
