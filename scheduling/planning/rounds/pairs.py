"""Visits that belong together, told to the search as one.

A pair is made one straight after the other, without waiting in between, so it can stand as a single visit that is
entered at one place and left at the other; the table of trips need not be the same in both directions.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from dataclasses import dataclass

import numpy as np

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.rounds.evaluate import Plan
from scheduling.planning.rounds.problem import Appointment, Candidate, RoundProblem, Window
from scheduling.planning.travel.trips import Travel


@dataclass(frozen=True, eq=False)
class Merged:
    """A problem without pairs, and what each of its candidates stands for in the one with them."""

    problem: RoundProblem
    members: tuple[tuple[int, ...], ...]

    def expand(self, plan: Plan) -> dict[tuple[int, int], tuple[int, ...]]:
        """The plan in terms of the problem with pairs."""
        return {cell: tuple(c for k in stops for c in self.members[k]) for cell, stops in plan.items()}

    def contract(self, plan: Plan) -> dict[tuple[int, int], tuple[int, ...]]:
        """The plan in terms of the problem without pairs."""
        merged_index = {m[0]: k for k, m in enumerate(self.members)} | {m[-1]: k for k, m in enumerate(self.members)}
        return {cell: tuple(dict.fromkeys(merged_index[c] for c in stops)) for cell, stops in plan.items()}


def merge_pairs(problem: RoundProblem) -> Merged:
    """Make one visit of every pair that belongs together, in the order given where that is possible, else the other.

    A pair that cannot be made in either order has no window, and is left out for that reason.
    """
    if not problem.together:
        return Merged(problem, tuple((k,) for k in range(len(problem.candidates))))
    partner = {}
    for one, other in problem.together:
        a, b = problem.candidate_index[one], problem.candidate_index[other]
        partner[a], partner[b] = (a, b), (a, b)
    members: list[tuple[int, ...]] = []
    merged_candidates: list[Candidate] = []
    for k, c in enumerate(problem.candidates):
        if k not in partner:
            members.append((k,))
            merged_candidates.append(c)
        elif partner[k][0] == k:
            a, b = partner[k]
            forward, backward = _join(problem, a, b), _join(problem, b, a)
            swap = not forward.windows and forward.appointment is None and (backward.windows or backward.appointment)
            members.append((b, a) if swap else (a, b))
            merged_candidates.append(backward if swap else forward)
    people = len(problem.installers)
    n_places = problem.travel.seconds.shape[0]
    away = list(range(people + len(problem.candidates), n_places))
    enter = np.array([*range(people), *(problem.node(m[0]) for m in members), *away])
    leave = np.array([*range(people), *(problem.node(m[-1]) for m in members), *away])

    def table(old: np.ndarray) -> np.ndarray:
        new = old[np.ix_(leave, enter)].copy()
        np.fill_diagonal(new, 0)
        return new

    key_of = {problem.candidates[c].key: merged_candidates[k].key for k, m in enumerate(members) for c in m}
    merged = dataclasses.replace(
        problem,
        candidates=tuple(merged_candidates),
        travel=Travel(table(problem.travel.metres), table(problem.travel.seconds), problem.travel.source),
        apart=tuple((key_of[one], key_of[other]) for one, other in problem.apart),
        together=(),
    )
    return Merged(merged, tuple(members))


def _join(problem: RoundProblem, a: int, b: int) -> Candidate:
    """The two as one, first a and then b."""
    one, two = problem.candidates[a], problem.candidates[b]
    between = int(problem.travel.seconds[problem.node(a), problem.node(b)])
    drive = int(problem.driving_cents[problem.node(a), problem.node(b)])
    lag = one.service_s + between
    service = lag + two.service_s
    windows: list[Window] = []
    for day, spans in problem.starts[a].items():
        for early, late in spans:
            for early_b, late_b in problem.starts[b].get(day, ()):
                first, last = max(early, early_b - lag), min(late, late_b - lag)
                if first <= last and last + service <= SECONDS_PER_DAY:
                    windows.append(Window(day, first, last + service))
    appointment = None
    fixed = one.appointment or two.appointment
    if fixed is not None:
        confirmed = {x.appointment.installer for x in (one, two) if x.appointment is not None} - {None}
        if len(windows) == 1 and len(confirmed) <= 1:
            only = windows[0]
            slack_s = only.closes_s - service - only.opens_s
            appointment = Appointment(only.day, only.opens_s, next(iter(confirmed), None), slack_s)
        windows = []
    allowed = [x.installers for x in (one, two) if x.installers is not None]
    return Candidate(
        key=f"{one.key} + {two.key}",
        place=one.place,
        windows=tuple(windows),
        service_s=min(service, SECONDS_PER_DAY),
        # the drive between the two is money that no table of trips shows any more
        cost_by_day_cents=tuple(
            x + y + drive for x, y in zip(one.cost_by_day_cents, two.cost_by_day_cents, strict=True)
        ),
        cost_if_unserved_cents=one.cost_if_unserved_cents + two.cost_if_unserved_cents,
        urgent=one.urgent or two.urgent or fixed is not None,
        appointment=appointment,
        skills=one.skills | two.skills,
        parts=dict(Counter(one.parts) + Counter(two.parts)),
        installers=frozenset.intersection(*allowed) if allowed else None,
        cost_by_installer_cents=dict(Counter(one.cost_by_installer_cents) + Counter(two.cost_by_installer_cents)),
        label=f"{one.name} and {two.name}",
    )
