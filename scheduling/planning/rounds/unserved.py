"""Why a visit is not in the plan: found out afterwards, without the solver."""

from __future__ import annotations

import enum
import itertools
from dataclasses import dataclass

import numpy as np

from scheduling.planning.rounds.evaluate import Plan, may_be_driven, round_cents
from scheduling.planning.rounds.insertion import (
    Rooms,
    cheapest_insertion,
    round_total_cents,
)
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import keeps_time, left_of_day_s
from scheduling.planning.words import rounds as words


class UnservedReason(enum.StrEnum):
    """What kept a visit out."""

    NO_SKILLED_INSTALLER = "no_skilled_installer"
    NO_OPEN_DAY = "no_open_day"
    CANNOT_BE_REACHED = "cannot_be_reached"
    VAN_STOCK = "van_stock"
    NOT_WORTH_IT = "not_worth_it"
    DAYS_ARE_FULL = "days_are_full"
    DEARER_THAN_WAITING = "dearer_than_waiting"
    NOT_FOUND = "not_found"


@dataclass(frozen=True, slots=True)
class Unserved:
    """One visit that was left out.

    Attributes
    ----------
    visit
        Its key.
    reason
        What kept it out.
    sentence
        The same for a person to read.
    displaces
        The visit that would have to give way, when the days are full; else empty.
    extra_cents
        How much dearer the plan would be with it in; None when it cannot be put in at any price.
    """

    visit: str
    reason: UnservedReason
    sentence: str
    displaces: str = ""
    extra_cents: int | None = None


def explain_unserved(problem: RoundProblem, plan: Plan) -> tuple[Unserved, ...]:
    """A reason for every candidate that is not in the plan, in the order of the candidates."""
    served = {c for stops in plan.values() for c in stops}
    rooms, exchanges = Rooms(problem, plan), _Exchanges(problem, plan)
    return tuple(
        _explain(problem, plan, k, rooms, exchanges) for k in range(len(problem.candidates)) if k not in served
    )


def _explain(problem: RoundProblem, plan: Plan, k: int, rooms: Rooms, exchanges: _Exchanges) -> Unserved:
    c, currency = problem.candidates[k], problem.rates.currency
    able = [p for p, person in enumerate(problem.installers) if problem.may_serve(person, c)]
    if not able:
        confirmed = c.appointment.installer if c.appointment is not None else None
        skills = sorted(c.skills)
        sentence = (
            words.no_skilled_installer(c.name, skills)
            if confirmed is None
            else words.confirmed_installer_may_not(c.name, confirmed, skills)
        )
        return Unserved(c.key, UnservedReason.NO_SKILLED_INSTALLER, sentence)
    cells = [cell for cell in rooms.cells if cell[0] in able and cell[1] in problem.starts[k]]
    if not cells:
        return Unserved(c.key, UnservedReason.NO_OPEN_DAY, words.no_open_day(c.name, problem.days))
    # Where it is worth most comes first, since one round that it could have alone is enough to know.
    by_worth = sorted(cells, key=lambda cell: -problem.worth_cents(cell[0], k, cell[1]))
    alone = next((cell for cell in by_worth if may_be_driven(problem, *cell, (k,))), None)
    if alone is None:
        if not any(keeps_time(problem, *cell, (k,)) for cell in cells):
            return Unserved(c.key, UnservedReason.CANNOT_BE_REACHED, words.longer_than_a_shift(c.name))
        return Unserved(c.key, UnservedReason.VAN_STOCK, words.no_van_carries(c.name, c.parts))
    worth = problem.worth_cents(alone[0], k, alone[1])
    if not c.must and worth <= 0:
        sentence = words.not_worth_going(c.name, -worth, currency)
        return Unserved(c.key, UnservedReason.NOT_WORTH_IT, sentence, extra_cents=-worth)
    insertion = cheapest_insertion(problem, plan, k, rooms.that_may_hold(k, cells))
    if insertion is None:
        return _full(problem, k, cells, exchanges)
    extra = insertion.extra_cents
    if extra < 0:
        return Unserved(c.key, UnservedReason.NOT_FOUND, words.would_fit(c.name, -extra, currency), extra_cents=extra)
    day, installer = problem.date_of(insertion.day), problem.installers[insertion.installer].key
    sentence = words.dearer_than_waiting(c.name, day, installer, extra, currency)
    return Unserved(c.key, UnservedReason.DEARER_THAN_WAITING, sentence, extra_cents=extra)


def _full(problem: RoundProblem, k: int, cells: list[tuple[int, int]], exchanges: _Exchanges) -> Unserved:
    """Every suitable day is full: name the visit it would displace most cheaply, and by how much."""
    c = problem.candidates[k]
    best = exchanges.cheapest(k, cells)
    if best is None:
        return Unserved(c.key, UnservedReason.DAYS_ARE_FULL, words.days_are_full(c.name))
    extra, removed, (installer, day) = best
    other = problem.candidates[removed]
    sentence = words.could_displace(
        c.name,
        other.name,
        problem.date_of(day),
        problem.installers[installer].key,
        extra,
        problem.rates.currency,
    )
    return Unserved(c.key, UnservedReason.DAYS_ARE_FULL, sentence, displaces=other.key, extra_cents=extra)


class _Exchanges:
    """Every visit that could be given up, with every place its round then offers: priced for one visit after another.

    The rounds stay the same while all the visits left out are explained, so what they offer is worked out once.
    """

    def __init__(self, problem: RoundProblem, plan: Plan) -> None:
        self._problem, self._plan = problem, plan
        self._removed: list[tuple[tuple[int, int], int]] = []
        before: list[int] = []
        after: list[int] = []
        owner: list[int] = []
        place: list[int] = []
        lost: list[int] = []
        spare: list[int] = []
        seconds = problem.seconds_rows
        for cell, stops in sorted(plan.items()):
            whole_cents = round_cents(problem, *cell, stops)
            for position, removed in enumerate(stops):
                if problem.candidates[removed].appointment is not None:
                    continue
                remaining = stops[:position] + stops[position + 1 :]
                path = problem.path(*cell, remaining)
                legs = list(itertools.pairwise(path))
                busy = sum(seconds[a][b] for a, b in legs) + sum(problem.candidates[c].service_s for c in remaining)
                lost.append(
                    problem.worth_cents(cell[0], removed, cell[1])
                    - whole_cents
                    + round_cents(problem, *cell, remaining)
                )
                spare.append(left_of_day_s(problem, *cell, busy))
                before.extend(a for a, _ in legs)
                after.extend(b for _, b in legs)
                owner.extend([len(self._removed)] * len(legs))
                place.extend(range(len(legs)))
                self._removed.append((cell, removed))
        self._before, self._after = np.array(before, dtype=np.int64), np.array(after, dtype=np.int64)
        self._owner, self._place = np.array(owner, dtype=np.int64), np.array(place, dtype=np.int64)
        self._lost, self._spare = np.array(lost, dtype=np.int64), np.array(spare, dtype=np.int64)
        self._cells = sorted({cell for cell, _ in self._removed})
        self._worths = np.array([problem.worths_cents(*cell) for cell in self._cells])
        number = {cell: place for place, cell in enumerate(self._cells)}
        self._cell_of = np.array([number[cell] for cell, _ in self._removed], dtype=np.int64)
        self._optional = np.array([not problem.candidates[g].must for _, g in self._removed], dtype=np.bool_)

    def cheapest(self, k: int, cells: list[tuple[int, int]]) -> tuple[int, int, tuple[int, int]] | None:
        """What the plan would cost more with ``k`` in it for another visit, that visit, and whose day it is."""
        problem, new = self._problem, self._problem.node(k)
        if not self._removed:
            return None
        must = problem.candidates[k].must
        offered = set(cells)
        worth = self._worths[self._cell_of, k]
        is_offered = np.array([cell in offered for cell in self._cells])[self._cell_of]
        allowed = is_offered & (self._optional | must)
        cents, seconds = problem.driving_cents, problem.travel.seconds
        a, b, owner = self._before, self._after, self._owner
        extra = cents[a, new] + cents[new, b] - cents[a, b] + (self._lost - worth)[owner]
        takes = seconds[a, new] + seconds[new, b] - seconds[a, b] + problem.candidates[k].service_s
        possible = np.flatnonzero(allowed[owner] & (takes <= self._spare[owner]))
        for index in possible[np.argsort(extra[possible], kind="stable")]:
            cell, removed = self._removed[int(owner[index])]
            stops = self._plan[cell]
            remaining = tuple(c for c in stops if c != removed)
            place = int(self._place[index])
            tried = (*remaining[:place], k, *remaining[place:])
            if may_be_driven(problem, *cell, tried):
                more = int(extra[index])
                if problem.installers[cell[0]].max_overtime_s:
                    more = round_total_cents(problem, *cell, tried) - round_total_cents(problem, *cell, stops)
                return more, removed, cell
        return None
