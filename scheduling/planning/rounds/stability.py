"""Keeping to what people were told: moves one visit at a time, with a price on every start that changes.

The solver knows no price of a time of day. Here every round costs what its driving, overtime and visits cost, and a
call to each client whose visit starts later than told. Who would be early waits, where waiting makes nobody late.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from scheduling.planning.rounds.evaluate import Plan, may_be_driven
from scheduling.planning.rounds.insertion import PlanDict, round_total_cents, working_cells
from scheduling.planning.rounds.problem import Candidate, RoundProblem, Window
from scheduling.planning.rounds.schedule import time_round

Cell = tuple[int, int]
#: Candidate to the (installer, day) and the second at which its client was told to expect the work to start.
Published = Mapping[int, tuple[Cell, int]]

# nearly all is found in the first two
_PASSES = 4


class Stability:
    """One problem with what was told of its visits.

    Parameters
    ----------
    problem, published
        What is asked, and what people were told.
    retimed_cents, tolerance_s
        What a start costs that is later than told by more than the tolerance.
    """

    def __init__(self, problem: RoundProblem, published: Published, *, retimed_cents: int, tolerance_s: int) -> None:
        self.problem, self.published = problem, published
        self.retimed_cents, self.tolerance_s = retimed_cents, tolerance_s
        self._prices: dict[tuple[Cell, tuple[int, ...]], int | None] = {}
        index = problem.candidate_index
        self._partner = {index[a]: index[b] for pair in problem.together for a, b in (pair, pair[::-1])}

    def cents(self, cell: Cell, stops: tuple[int, ...]) -> int | None:
        """What a round costs, calls to clients included, less what leaving its visits costs; None: not drivable."""
        key = cell, stops
        if key not in self._prices:
            self._prices[key] = self._price(cell, stops)
        return self._prices[key]

    def _price(self, cell: Cell, stops: tuple[int, ...]) -> int | None:
        for position, c in enumerate(stops):
            partner = self._partner.get(c)
            if partner is not None and partner not in stops[max(position - 1, 0) : position + 2]:
                return None
        if stops and not may_be_driven(self.problem, *cell, stops):
            return None
        cents = round_total_cents(self.problem, *cell, stops)
        here = [
            (k, self.published[c][1])
            for k, c in enumerate(stops)
            if c in self.published and self.published[c][0] == cell
        ]
        if here and self.retimed_cents:
            timing = time_round(self.problem, *cell, stops)
            if timing is None:
                return None
            cents += self.retimed_cents * sum(timing.starts_s[k] > at + self.tolerance_s for k, at in here)
        return cents

    def descend(self, plan: Plan) -> PlanDict:
        """The plan after every move of one visit that makes it cheaper: to another place, in, or out."""
        result: PlanDict = {cell: stops for cell, stops in plan.items() if stops}
        cells = working_cells(self.problem)
        movable = [c for c in range(len(self.problem.candidates)) if c not in self._partner]
        for _ in range(_PASSES):
            moved = [self._move(result, c, cells) for c in movable]
            if not any(moved):
                break
        return result

    def _move(self, plan: PlanDict, c: int, cells: list[Cell]) -> bool:
        source = next((cell for cell, stops in plan.items() if c in stops), None)
        without_visit: tuple[int, ...] = ()
        saved = 0
        if source is not None:
            without_visit = tuple(s for s in plan[source] if s != c)
            now, then = self.cents(source, plan[source]), self.cents(source, without_visit)
            if now is None or then is None:
                return False
            saved = now - then
        best: tuple[int, Cell | None, tuple[int, ...]] = (0, None, ())
        if source is not None and saved > 0 and not self.problem.candidates[c].must:
            best = -saved, source, without_visit
        for cell in cells:
            if cell[1] not in self.problem.starts[c] or c not in self.problem.servable[cell[0]]:
                continue
            stops = without_visit if cell == source else plan.get(cell, ())
            before = self.cents(cell, stops)
            if before is None:
                continue
            for position in range(len(stops) + 1):
                tried = (*stops[:position], c, *stops[position:])
                after = self.cents(cell, tried)
                if after is not None and after - before - saved < best[0]:
                    best = after - before - saved, cell, tried
        if best[1] is None:
            return False
        for changed, stops in ((source, without_visit), (best[1], best[2])):
            if changed is not None and stops:
                plan[changed] = stops
            elif changed is not None:
                plan.pop(changed, None)
        return True

    def held(self, plan: Plan) -> RoundProblem:
        """The problem in which nobody comes earlier than told, in rounds that this makes neither late nor longer."""
        candidates = list(self.problem.candidates)
        for cell, stops in plan.items():
            cut = {c: self._not_before(c, cell) for c in stops if c in self.published and self.published[c][0] == cell}
            tried = dataclasses.replace(
                self.problem, candidates=tuple(cut.get(k, c) for k, c in enumerate(self.problem.candidates))
            )
            free, held = time_round(self.problem, *cell, stops), time_round(tried, *cell, stops)
            if free is None or held is None:
                continue
            shift_end = self.problem.working_days[cell][0].end_s
            late = [
                sum(t.starts_s[k] > self.published[c][1] + self.tolerance_s for k, c in enumerate(stops) if c in cut)
                for t in (free, held)
            ]
            if late[1] <= late[0] and max(held.returns_s, shift_end) <= max(free.returns_s, shift_end):
                for c, candidate in cut.items():
                    candidates[c] = candidate
        return dataclasses.replace(self.problem, candidates=tuple(candidates))

    def _not_before(self, c: int, cell: Cell) -> Candidate:
        candidate, earliest = self.problem.candidates[c], self.published[c][1] - self.tolerance_s
        if candidate.appointment is not None:
            return candidate
        windows = tuple(
            Window(w.day, min(max(w.opens_s, earliest), max(w.opens_s, w.closes_s - candidate.service_s)), w.closes_s)
            if w.day == cell[1]
            else w
            for w in candidate.windows
        )
        return dataclasses.replace(candidate, windows=windows)
