"""How to learn more of a unit's cartridges before they are replaced: what each way costs, and what it is worth."""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from scheduling.planning.needs.gauges import Gauge
from scheduling.planning.needs.need import FloatArray, support_points
from scheduling.planning.needs.value_of_reading import value_of_answer

#: Days on which work may be done: each of two weeks, weeks for half a year, then four weeks each up to two years.
DAYS: FloatArray = np.concatenate([np.arange(14.0), np.arange(14.0, 182.0, 7.0), np.arange(182.0, 735.0, 28.0)])


class Way(enum.StrEnum):
    """How a reading is had."""

    ASK_CLIENT = "ask_client"
    NEXT_VISIT = "next_visit"
    SEND = "send"


@dataclass(frozen=True, slots=True)
class Unknown:
    """A cartridge of which a distribution is known, with the money of its need.

    Attributes
    ----------
    position
        The caller's key of its position.
    gauge
        What tells of it.
    quantile_days
        When it is late, at DISTRIBUTION_LEVELS, days from today.
    exhausted_quantile_days
        When it is exhausted itself, where that is earlier; empty: the same.
    used_days
        Days it has served so far; NaN: not known.
    waste
        What is expected to be thrown away by replacing it today.
    late_cost_per_day, exhausted_cost_per_day
        Of a late day, and of one exhausted and not yet late.
    least_probability
        0-1; from which probability of being exhausted on it may be replaced.
    visit_price, interval_days
        Its share of the price of a visit, and the days that such a visit lasts.
    next_visit_day
        Day from today of a visit that comes without it; None: no such visit.
    """

    position: int
    gauge: Gauge
    quantile_days: tuple[float, ...]
    used_days: float
    waste: float
    late_cost_per_day: float
    exhausted_quantile_days: tuple[float, ...] = ()
    exhausted_cost_per_day: float = 0.0
    least_probability: float = 0.0
    visit_price: float = 0.0
    interval_days: float = math.inf
    next_visit_day: float | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """A way to have a reading of a unit.

    Attributes
    ----------
    way
        How.
    known_from_day
        Day from today on which the answer is there.
    price
        What it costs, whatever the answer.
    reads
        Names of the quantities that can be read that way.
    answered
        Probability (0-1) that there is an answer.
    """

    way: Way
    known_from_day: float
    price: float
    reads: frozenset[str]
    answered: float = 1.0


@dataclass(frozen=True, slots=True)
class ReadingWanted:
    """A reading that somebody should take.

    Attributes
    ----------
    way
        How it is had.
    position
        The one it tells most of; None: it is wanted because the unit was never read.
    reads
        Names of the quantities.
    saves, price
        What knowing is expected to save, and what it costs to have it, in money.
    saves_at
        Position to its part of what is saved.
    """

    way: Way
    position: int | None
    reads: tuple[str, ...]
    saves: float
    price: float
    saves_at: Mapping[int, float]

    @property
    def net(self) -> float:
        """What is gained in the end."""
        return self.saves - self.price


def best_way(unknowns: Sequence[Unknown], offers: Sequence[Offer]) -> ReadingWanted | None:
    """The way that gains most, of those that gain anything.

    One reading tells of all cartridges whose gauges are read: what it saves at each of them adds up.

    Parameters
    ----------
    unknowns
        Cartridges of one unit.
    offers
        Ways to read the unit; the first wins where two gain the same.

    Returns
    -------
    ReadingWanted or None
        None: what is known is enough to act on.
    """
    most = {unknown.position: _most_saved(unknown) for unknown in unknowns}
    # a perfect answer is worth most: what that would not pay for is not weighed
    worth_weighing = [
        offer
        for offer in offers
        if offer.answered * math.fsum(most[u.position] for u in unknowns if offer.reads.issuperset(u.gauge.reads))
        > offer.price
    ]
    ways = [_weigh(unknowns, offer) for offer in worth_weighing]
    best = max(ways, key=lambda wanted: wanted.net, default=None)
    return best if best is not None and best.net > 0.0 else None


def _most_saved(unknown: Unknown) -> float:
    """More than any reading of a cartridge saves: its day is known today, and every visit comes anyway."""
    cost, probability, end = costs_by_state(unknown)
    expected = probability @ (cost + _visits(unknown))
    if unknown.least_probability > 0.0:
        allowed = probability @ (end[:, None] <= DAYS[None, :]) >= unknown.least_probability
        least = expected[allowed].min(initial=expected[-1])
    else:
        least = expected.min()
    return float(least - probability @ cost.min(axis=1))


def best_day(unknown: Unknown) -> float:
    """Day from today on which it is replaced at least cost while nothing more is known."""
    cost, probability, _ = costs_by_state(unknown)
    return float(DAYS[int(np.argmin(probability @ (cost + _visits(unknown))))])


def _visits(unknown: Unknown) -> FloatArray:
    """What the visit costs on which it is replaced, by day: nothing where one comes without it."""
    visits = np.maximum(unknown.visit_price * (1.0 - DAYS / unknown.interval_days), 0.0)
    if unknown.next_visit_day is not None:
        visits[_column(unknown.next_visit_day)] = 0.0
    return visits


def _column(day: float) -> int:
    return min(int(np.searchsorted(DAYS, day)), DAYS.size - 1)


def _weigh(unknowns: Sequence[Unknown], offer: Offer) -> ReadingWanted:
    saves_at: dict[int, float] = {}
    reads: dict[str, None] = {}
    for unknown in unknowns:
        if not offer.reads.issuperset(unknown.gauge.reads):
            continue
        money = offer.answered * value_of_reading(unknown, offer.way, known_from_day=offer.known_from_day)
        if money > 0.0:
            saves_at[unknown.position] = saves_at.get(unknown.position, 0.0) + money
            reads |= dict.fromkeys(unknown.gauge.reads)
    most = max(saves_at, key=lambda position: saves_at[position], default=None)
    return ReadingWanted(offer.way, most, tuple(reads), math.fsum(saves_at.values()), offer.price, saves_at)


def value_of_reading(unknown: Unknown, way: Way, *, known_from_day: float) -> float:
    """What a reading whose answer is there from a day on is expected to save at one cartridge, at least 0.

    Replacing it takes a visit, unless one comes without it. Whoever is sent to read is there on that day and may
    replace it at once: what is saved holds the visit that is then not made.
    """
    cost, probability, end = costs_by_state(unknown)
    column, visits = _column(known_from_day), _visits(unknown)
    with_answer = visits.copy()
    if way == Way.SEND:
        with_answer[column] = 0.0
    answers = unknown.gauge.answers(end, used_days=unknown.used_days, day=float(DAYS[column]))
    return value_of_answer(
        cost + visits,
        probability,
        answers,
        first_column=column,
        cost_with_answer=cost + with_answer,
        is_exhausted=end[:, None] <= DAYS[None, :] if unknown.least_probability > 0.0 else None,
        least_probability=unknown.least_probability,
    )


def costs_by_state(unknown: Unknown) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``(states, days)`` what replacing it on each day costs in each state, each state's probability, and its date.

    Together they are the need's own curve, see `need.cost_curves`: its waste falls with what is left of the life, its
    lateness rises from the day of the state on. Nobody may write to them.
    """
    return _costs_by_state(
        unknown.quantile_days,
        unknown.exhausted_quantile_days,
        unknown.waste,
        unknown.late_cost_per_day,
        unknown.exhausted_cost_per_day,
    )


# every way to read a unit asks it of the same few cartridges
@lru_cache(maxsize=32)
def _costs_by_state(
    quantile_days: tuple[float, ...],
    exhausted_quantile_days: tuple[float, ...],
    waste: float,
    late_cost_per_day: float,
    exhausted_cost_per_day: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    late, mass = support_points(quantile_days)
    end = support_points(exhausted_quantile_days)[0] if exhausted_quantile_days else late
    t, left = DAYS[None, :], np.maximum(end, 0.0)[:, None]
    expected_left = float(mass @ left[:, 0])
    money = np.zeros((late.size, DAYS.size))
    if expected_left > 0.0:
        money += waste * np.maximum(left - t, 0.0) / expected_left
    days_late = np.maximum(t - np.maximum(late, 0.0)[:, None], 0.0)
    days_exhausted = np.maximum(t - left, 0.0)
    money += late_cost_per_day * days_late
    money += exhausted_cost_per_day * np.maximum(days_exhausted - days_late, 0.0)
    for table in (money, mass, end):
        table.flags.writeable = False
    return money, mass, end
