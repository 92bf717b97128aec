"""Why a visit is not in the plan: found out afterwards, without the solver."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from scheduling.planning.rounds.evaluate import Plan, may_be_driven
from scheduling.planning.rounds.insertion import (
    cheapest_insertion,
    round_total_cents,
    working_cells,
)
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import time_round


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
    return tuple(_explain(problem, plan, k) for k in range(len(problem.candidates)) if k not in served)


def _money(cents: int) -> str:
    return f"{cents / 100:,.2f}"


def _explain(problem: RoundProblem, plan: Plan, k: int) -> Unserved:
    c = problem.candidates[k]
    able = [p for p, person in enumerate(problem.installers) if problem.may_serve(person, c)]
    if not able:
        promised = c.appointment.installer if c.appointment is not None else None
        need = ", ".join(sorted(c.skills)) or "no special skill"
        sentence = (
            f"{c.name}: {promised}, who was promised, may not do it (it takes {need})."
            if promised is not None
            else f"{c.name}: no installer may do it (it takes {need})."
        )
        return Unserved(c.key, UnservedReason.NO_SKILLED_INSTALLER, sentence)
    cells = [cell for cell in working_cells(problem) if cell[0] in able and cell[1] in problem.starts[k]]
    if not cells:
        return Unserved(
            c.key,
            UnservedReason.NO_OPEN_DAY,
            f"{c.name}: on none of the {problem.days} days is the site open long enough while someone who may do it is "
            "at work.",
        )
    on_the_clock = [cell for cell in cells if time_round(problem, *cell, (k,)) is not None]
    if not on_the_clock:
        return Unserved(
            c.key,
            UnservedReason.CANNOT_BE_REACHED,
            f"{c.name}: even alone in a day it cannot be reached, served and left again within a shift.",
        )
    alone = [cell for cell in on_the_clock if may_be_driven(problem, *cell, (k,))]
    if not alone:
        items = ", ".join(f"{quantity} of {item}" for item, quantity in sorted(c.parts.items()))
        return Unserved(
            c.key, UnservedReason.VAN_STOCK, f"{c.name}: no van that could come carries what it takes ({items})."
        )
    if not c.must and all(problem.worth_cents(p, k, day) <= 0 for p, day in alone):
        best = max(problem.worth_cents(p, k, day) for p, day in alone)
        return Unserved(
            c.key,
            UnservedReason.NOT_WORTH_IT,
            f"{c.name}: it is not due yet; doing it now would cost {_money(-best)} more than waiting, before driving.",
            extra_cents=-best,
        )
    found = cheapest_insertion(problem, plan, k, alone)
    if found is not None and found.extra_cents >= 0:
        date = problem.date_of(found.day)
        return Unserved(
            c.key,
            UnservedReason.DEARER_THAN_WAITING,
            f"{c.name}: the cheapest way, {date:%a} {date.day} {date:%b} with "
            f"{problem.installers[found.installer].key}, costs {_money(found.extra_cents)} more than waiting.",
            extra_cents=found.extra_cents,
        )
    if found is not None:
        return Unserved(
            c.key,
            UnservedReason.NOT_FOUND,
            f"{c.name}: it would fit and save {_money(-found.extra_cents)}; plan again with more effort.",
            extra_cents=found.extra_cents,
        )
    return _full(problem, plan, k, alone)


def _full(problem: RoundProblem, plan: Plan, k: int, cells: list[tuple[int, int]]) -> Unserved:
    """Every suitable day is full: name the visit it would displace most cheaply, and by how much."""
    c = problem.candidates[k]
    best: tuple[int, int, tuple[int, int]] | None = None
    for cell in cells:
        stops = plan.get(cell, ())
        before = round_total_cents(problem, *cell, stops)
        for position, gone in enumerate(stops):
            if problem.candidates[gone].must and not c.must:
                continue
            if problem.candidates[gone].appointment is not None:
                continue
            rest = stops[:position] + stops[position + 1 :]
            found = cheapest_insertion(problem, {cell: rest}, k, [cell])
            if found is None:
                continue
            extra = round_total_cents(problem, *cell, found.stops) - before
            if best is None or extra < best[0]:
                best = (extra, gone, cell)
    if best is None:
        return Unserved(
            c.key,
            UnservedReason.DAYS_ARE_FULL,
            f"{c.name}: every suitable day is full, and no single visit of them could make room for it.",
        )
    extra, gone, (installer, day) = best
    date = problem.date_of(day)
    other = problem.candidates[gone]
    compared = (
        f"the plan would cost {_money(extra)} more"
        if extra >= 0
        else f"the plan would cost {_money(-extra)} less; plan again with more effort"
    )
    return Unserved(
        c.key,
        UnservedReason.DAYS_ARE_FULL,
        f"{c.name}: every suitable day is full; it could take the place of {other.name} on {date:%a} {date.day} "
        f"{date:%b} with {problem.installers[installer].key}, and {compared}.",
        displaces=other.key,
        extra_cents=extra,
    )
