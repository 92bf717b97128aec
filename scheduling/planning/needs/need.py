"""A need: one task at one unit, with what it costs by date to do it early and to do it late."""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.forecasting.distribution import GRID_LEVELS
from scheduling.planning.errors import PlanningError

FloatArray = NDArray[np.float64]

#: Probabilities of a short row of quantiles.
QUANTILE_LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)

#: Probabilities of a whole distribution, as a forecast stores it from 5 % on. What it stores below is the date it knows
#: least; at the price of a late day it would bring work forward by weeks, so there the outer line goes on instead.
DISTRIBUTION_LEVELS = tuple(float(level) for level in GRID_LEVELS if level >= QUANTILE_LEVELS[0] - 1e-9)

_LEVELS_BY_WIDTH = {len(levels): levels for levels in (QUANTILE_LEVELS, DISTRIBUTION_LEVELS)}

#: Quantiles closer than this are one date; a life shorter than a minute and a half counts as exhausted. Both keep
#: rounding out.
_INSTANT_DAYS = 1e-9
_EXHAUSTED_DAYS = 1e-3


class NeedKind(enum.StrEnum):
    """What is to be done."""

    REPLACE = "replace"
    ROTATE = "rotate"
    INSPECT = "inspect"
    SANITISE = "sanitise"
    FIT_BOOSTER_PUMP = "fit_booster_pump"
    REPLACE_RESTRICTOR = "replace_restrictor"
    REPAIR = "repair"
    TAKE_READING = "take_reading"
    COMMISSION = "commission"
    VERIFY_INSTRUMENTS = "verify_instruments"


@dataclass(frozen=True, slots=True)
class Need:
    """One task at one unit.

    Attributes
    ----------
    key
        Unique among the needs handed over together.
    site, unit, position
        Keys of the caller; ``position`` is empty for a task at the unit as a whole.
    kind
        What is to be done.
    label
        How a sentence names the thing: 'lead resin', 'sediment', 'booster pump'.
    minutes
        Minutes at the unit.
    skills
        Skills the installer must have.
    urgent
        Must be in the plan whatever it costs.
    not_before_day
        First day it may be done, counted from today (0); None: today.
    deadline_day
        Last day it may be done (a legal or hygienic limit, hard); None: no limit. Negative: it has gone by, and the
        task is done in the days that are routed now.
    quantile_days
        Exhaustion date at QUANTILE_LEVELS or DISTRIBUTION_LEVELS, days from today, may be negative; empty: no forecast,
        see ``late_cost``.
    remaining_share
        Share of the cartridge's life expected to be left today, 0-1; NaN: not known, taken as 1.
    price
        Price of what is thrown away when going early.
    late_cost_per_day
        Money a day with the thing exhausted (or the task undone) costs.
    parts
        Item key to quantity that the task takes.
    fresh_life_days
        How long a new cartridge lasts here; NaN: longer than the horizon. Lets a short-lived one be changed twice.
    exhausted_quantile_days
        Date, at the same levels, on which what is thrown away is exhausted, where that is not yet late: an
        exhausted lead harms the water only when its lag is exhausted too. Empty: ``quantile_days`` says both.
    exhausted_cost_per_day
        Money a day with it exhausted and not yet late costs.
    """

    key: str
    site: str
    unit: str
    kind: NeedKind
    position: str = ""
    label: str = ""
    minutes: float = 0.0
    skills: frozenset[str] = frozenset()
    urgent: bool = False
    not_before_day: int | None = None
    deadline_day: int | None = None
    quantile_days: tuple[float, ...] = ()
    remaining_share: float = float("nan")
    price: float = 0.0
    late_cost_per_day: float = 0.0
    parts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    fresh_life_days: float = float("nan")
    exhausted_quantile_days: tuple[float, ...] = ()
    exhausted_cost_per_day: float = 0.0

    @property
    def used_days(self) -> float:
        """Days of a whole life that are used up today; NaN where a whole life is not known."""
        return self.fresh_life_days * (1.0 - self.remaining_share)

    def __post_init__(self) -> None:
        for name in ("minutes", "price", "late_cost_per_day", "exhausted_cost_per_day"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0.0):
                raise PlanningError(f"{self.key}.{name}", f"must be a number of at least 0, not {value!r}.")
        for name in ("quantile_days", "exhausted_quantile_days"):
            days = getattr(self, name)
            if days and len(days) not in _LEVELS_BY_WIDTH:
                raise PlanningError(
                    f"{self.key}.{name}",
                    f"must hold {len(QUANTILE_LEVELS)} days, one for each of {QUANTILE_LEVELS}, or "
                    f"{len(DISTRIBUTION_LEVELS)} for a whole distribution, not {len(days)}.",
                )
        if (
            self.not_before_day is not None
            and self.deadline_day is not None
            and self.deadline_day < self.not_before_day
        ):
            raise PlanningError(
                f"{self.key}.deadline_day",
                f"is day {self.deadline_day}, before the first allowed day {self.not_before_day}.",
            )


@dataclass(frozen=True, slots=True, eq=False)
class CostCurves:
    """What doing each need on each day is expected to cost, ``needs x days``, in money.

    Attributes
    ----------
    waste
        Price of the life expected to be thrown away.
    late
        Cost of the days expected to have been spent exhausted.
    probability
        Probability (0-1) that it is late by then: exhausted, or a lead whose lag is exhausted too.
    exhausted_probability
        Probability (0-1) that what is thrown away is exhausted by then; for a lead, before its lag is.
    """

    waste: FloatArray
    late: FloatArray
    probability: FloatArray
    exhausted_probability: FloatArray

    @property
    def total(self) -> FloatArray:
        """Waste and lateness together."""
        return self.waste + self.late


def levels_of(width: int) -> tuple[float, ...]:
    """Probabilities of the columns of a table that is so many wide.

    Raises
    ------
    PlanningError
        When it is neither a short row of quantiles nor a whole distribution.
    """
    levels = _LEVELS_BY_WIDTH.get(width)
    if levels is None:
        raise PlanningError(
            "quantile_days", f"must have {' or '.join(map(str, _LEVELS_BY_WIDTH))} columns, not {width}."
        )
    return levels


def quantile_table(rows: Sequence[Sequence[float]], *, width: int | None = None) -> FloatArray:
    """Rows of quantiles as one table, all at the same levels; an empty row has no date and becomes NaN.

    Parameters
    ----------
    rows
        Each empty, or at QUANTILE_LEVELS or DISTRIBUTION_LEVELS.
    width
        Columns at least; short rows are drawn out where any row is a whole distribution, which leaves the straight
        lines between their quantiles as they are.

    Returns
    -------
    array ``(rows, levels)``.
    """
    widest = max([width or len(QUANTILE_LEVELS), *map(len, rows)])
    table = np.full((len(rows), widest), np.nan)
    for index, row in enumerate(rows):
        if len(row) == widest:
            table[index] = row
        elif row:
            table[index] = _drawn_out(np.asarray(row, dtype=np.float64), levels_of(len(row)), levels_of(widest))
    return table


def _drawn_out(days: FloatArray, levels: Sequence[float], wanted_levels: Sequence[float]) -> FloatArray:
    knots, mass = _support(days[None, :], np.asarray(levels))
    return np.interp(wanted_levels, np.concatenate([[0.0], np.cumsum(mass)]), knots[0])


def quantile_knots(quantile_days: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """Days and probabilities between which the quantile function of a row is straight, from probability 0 to 1.

    Examples
    --------
    >>> days, probabilities = quantile_knots([1.0, 2.0, 5.0, 10.0, 15.0, 18.0, 19.0])
    >>> float(days[0]), float(days[-1]), float(probabilities[4])
    (0.0, 20.0, 0.5)
    """
    levels = _usual_levels(len(quantile_days))
    knots, mass = _support(np.asarray(quantile_days, dtype=np.float64)[None, :], levels)
    return knots[0], np.minimum(np.append(0.0, np.cumsum(mass)), 1.0)


def support_points(quantile_days: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """A row of quantiles as points with their probabilities: the middles between neighbouring knots.

    Examples
    --------
    >>> days, probabilities = support_points([1.0, 2.0, 5.0, 10.0, 15.0, 18.0, 19.0])
    >>> float(days[0]), float(probabilities[0]), float(days @ probabilities)
    (0.5, 0.05, 10.0)
    """
    days, probabilities = quantile_knots(quantile_days)
    return (days[:-1] + days[1:]) / 2.0, np.diff(probabilities)


def median_days(quantile_days: Sequence[float]) -> float:
    """The median of a row of quantiles, at either levels."""
    return float(quantile_days[median_column(len(quantile_days))])


@cache
def median_column(width: int) -> int:
    """Column of the median in a table of quantiles that is so many wide."""
    return int(np.argmin(np.abs(np.asarray(levels_of(width)) - 0.5)))


@cache
def _usual_levels(width: int) -> FloatArray:
    """`levels_of` as an array that nobody writes to."""
    levels = np.asarray(levels_of(width))
    levels.flags.writeable = False
    return levels


@cache
def _masses(levels: bytes) -> FloatArray:
    """Probability between neighbouring knots, of levels given as the bytes of their array; nobody writes to it."""
    mass = np.diff(np.concatenate([[0.0], np.frombuffer(levels), [1.0]]))
    mass.flags.writeable = False
    return mass


def _support(quantile_days: FloatArray, levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Knots of the distribution and the probability mass between neighbours.

    Between the given quantiles the quantile function is a straight line; beyond the outer ones the outer line goes on
    to probability 0 and 1, which gives the distribution an end without inventing a long tail. It does not go on into
    the past: what most likely still stands is not taken to have been exhausted weeks ago.
    """
    q = np.maximum.accumulate(quantile_days, axis=1)
    slope_low = (q[:, 1] - q[:, 0]) / (levels[1] - levels[0])
    slope_high = (q[:, -1] - q[:, -2]) / (levels[-1] - levels[-2])
    first = q[:, 0] - slope_low * levels[0]
    first = np.where(q[:, 0] >= 0.0, np.maximum(first, 0.0), first)
    last = q[:, -1] + slope_high * (1.0 - levels[-1])
    knots = np.concatenate([first[:, None], q, last[:, None]], axis=1)
    return knots, _masses(levels.tobytes())


def _check_quantiles(quantile_days: ArrayLike, levels: ArrayLike | None) -> tuple[FloatArray, FloatArray]:
    q = np.asarray(quantile_days, dtype=np.float64)
    if levels is None and q.ndim == 2:
        return q, _usual_levels(q.shape[1])
    p = _usual_levels(q.shape[-1] if q.ndim else 0) if levels is None else np.asarray(levels, dtype=np.float64)
    if q.ndim != 2 or q.shape[1] != p.size:
        raise PlanningError("quantile_days", f"must have shape (needs, {p.size}), not {q.shape}.")
    if p.size < 2 or np.any(np.diff(p) <= 0.0) or p[0] <= 0.0 or p[-1] >= 1.0:
        raise PlanningError("levels", "must be at least two probabilities, rising, above 0 and below 1.")
    return q, p


def exhausted_probability(quantile_days: ArrayLike, days: ArrayLike, *, levels: ArrayLike | None = None) -> FloatArray:
    """Probability that each is exhausted by each day.

    Parameters
    ----------
    quantile_days
        ``(needs, levels)``, days from today, rising along a row; a row with NaN has no date: probability 0.
    days
        ``(days,)`` from today.
    levels
        Probabilities of the columns; None: as `levels_of` the width says.

    Returns
    -------
    array ``(needs, days)``, 0-1.

    Examples
    --------
    >>> exhausted_probability([[1.0, 2.0, 5.0, 10.0, 15.0, 18.0, 19.0]], [10.0, 0.0, 99.0])
    array([[0.5, 0. , 1. ]])
    """
    q, p = _check_quantiles(quantile_days, levels)
    reached, _ = _probability_and_excess(q, p, np.asarray(days, dtype=np.float64))
    return np.where(_no_date(q)[:, None], 0.0, reached)


def day_of_probability(quantile_days: Sequence[float], probability: float) -> float:
    """Day by which a cartridge is exhausted with this probability.

    Parameters
    ----------
    quantile_days
        Days from today, at QUANTILE_LEVELS or DISTRIBUTION_LEVELS.
    probability
        0-1.

    Returns
    -------
    float
        Days from today, may be negative.

    Examples
    --------
    >>> day_of_probability([1.0, 2.0, 5.0, 10.0, 15.0, 18.0, 19.0], 0.6)
    12.0
    """
    days, probabilities = quantile_knots(quantile_days)
    return float(np.interp(probability, probabilities, days))


def expected_days_exhausted(
    quantile_days: ArrayLike, days: ArrayLike, *, levels: ArrayLike | None = None
) -> FloatArray:
    """Days each is expected to have been exhausted by each day: the integral of the probability up to that day.

    Days before today do not count (they are gone whatever is decided): the integral starts at 0.

    Parameters, shapes and NaN as :func:`exhausted_probability`; the result is in days.
    """
    q, p = _check_quantiles(quantile_days, levels)
    _, excess = _probability_and_excess(q, p, np.append(0.0, np.asarray(days, dtype=np.float64)))
    return np.where(_no_date(q)[:, None], 0.0, np.maximum(excess[:, 1:] - excess[:, :1], 0.0))


def expected_share_left(
    quantile_days: ArrayLike, used_days: ArrayLike, *, levels: ArrayLike | None = None
) -> FloatArray:
    r"""Share of each life that is expected to be left today.

    With X days to exhaustion and U days used so far it is :math:`\mathrm{E}[X^+ / (X^+ + U)]`. What is more likely
    exhausted than not still has some of its life left in the cases in which it is not; its median share has none.

    Parameters
    ----------
    quantile_days, levels
        As of :func:`exhausted_probability`.
    used_days
        ``(needs,)`` days used so far, at least 0.

    Returns
    -------
    array ``(needs,)``, 0-1; NaN of a row without a date.

    Examples
    --------
    >>> expected_share_left([[30.0] * 7, [-5.0] * 7], [10.0, 90.0])
    array([0.75, 0.  ])
    """
    q, p = _check_quantiles(quantile_days, levels)
    used = _column("used_days", used_days, q.shape[0])
    if not np.all(np.isfinite(used) & (used >= 0.0)):
        raise PlanningError("used_days", "must be numbers of at least 0.")
    knots, mass = _support(q, p)
    begin, end = knots[:, :-1], knots[:, 1:]
    left, right, u = np.maximum(begin, 0.0), np.maximum(end, 0.0), used[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        at_once = np.where(right > 0.0, right / (right + u), 0.0)
        # the mean of x / (x + U) over a stretch on which x is uniform
        mean = 1.0 - np.where(u > 0.0, u * np.log((right + u) / (left + u)) / (right - left), 0.0)
        part = np.where(right - left > _INSTANT_DAYS, mean * (right - left) / (end - begin), at_once)
    return np.where(_no_date(q), np.nan, (part * mass).sum(axis=1))


def _probability_and_excess(q: FloatArray, p: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """P(X <= t) and E[(t - X)+], its integral, both ``(needs, days)``; exact for a straight-line quantile function."""
    knots, mass = _support(np.where(np.isnan(q), 0.0, q), p)
    width = np.diff(knots, axis=1)
    wide = width > _INSTANT_DAYS
    cumulative = np.append(0.0, np.cumsum(mass))
    steps = np.where(wide, width * (cumulative[:-1] + cumulative[1:]) / 2.0, 0.0)
    area = np.concatenate([np.zeros((len(q), 1)), np.cumsum(steps, axis=1)], axis=1)
    slope = np.concatenate([np.where(wide, mass / np.where(wide, width, 1.0), 0.0), np.zeros((len(q), 1))], axis=1)
    begun = _knots_reached(knots, t)
    at = np.maximum(begun - 1, 0)
    since = np.where(begun > 0, t[None, :] - np.take_along_axis(knots, at, axis=1), 0.0)
    before, rise = cumulative[at], np.take_along_axis(slope, at, axis=1)
    reached = np.where(begun > 0, before + rise * since, 0.0)
    excess = np.take_along_axis(area, at, axis=1) + before * since + 0.5 * rise * np.square(since)
    return np.minimum(reached, 1.0), np.where(begun > 0, excess, 0.0)


def _knots_reached(knots: FloatArray, t: FloatArray) -> NDArray[np.int64]:
    """How many knots of each row lie on or before each day: by rows where they are few, else by knots."""
    if len(knots) < knots.shape[1]:
        return np.array([np.searchsorted(row, t, side="right") for row in knots], dtype=np.int64).reshape(-1, t.size)
    begun = np.zeros((len(knots), t.size), dtype=np.int64)
    for knot in knots.T:
        begun += knot[:, None] <= t[None, :]
    return begun


def cost_curves(
    quantile_days: ArrayLike,
    *,
    remaining_share: ArrayLike,
    price: ArrayLike,
    late_cost_per_day: ArrayLike,
    days: ArrayLike,
    exhausted_quantile_days: ArrayLike | None = None,
    exhausted_cost_per_day: ArrayLike | None = None,
    levels: ArrayLike | None = None,
) -> CostCurves:
    r"""What replacing each cartridge on each day is expected to cost.

    Going early throws away what is left: with exhaustion on day X, remaining share r today, the share left on day t is
    :math:`r\,\mathrm{E}[(X-t)^+] / \mathrm{E}[X^+]`, times the price. Going late costs
    :math:`c \int_0^t P(X \le s)\,ds`. Both are convex in t, so their sum has one best day.

    Parameters
    ----------
    quantile_days
        ``(needs, levels)``, days from today; a row with NaN has no date: it is never late, and replacing it wastes its
        remaining share on any day.
    remaining_share
        ``(needs,)`` share of life left today, 0-1; NaN is taken as 1.
    price, late_cost_per_day
        ``(needs,)`` money, at least 0.
    days
        ``(days,)`` from today, at least 0.
    exhausted_quantile_days
        As ``quantile_days``, of the date on which what is thrown away is exhausted; None: the same date. A lead
        before a good lag is exhausted before the water goes bad, and between the two dates waiting wastes nothing.
    exhausted_cost_per_day
        ``(needs,)`` money a day between the two dates costs; None: nothing.

    Raises
    ------
    PlanningError
        On a wrong shape, a negative price or a share outside 0-1.

    Examples
    --------
    >>> curves = cost_curves(
    ...     [[10.0] * 7], remaining_share=[0.5], price=[40.0], late_cost_per_day=[3.0], days=[0, 5, 12]
    ... )
    >>> curves.waste, curves.late
    (array([[20., 10.,  0.]]), array([[0., 0., 6.]]))
    """
    q, p = _check_quantiles(quantile_days, levels)
    n = q.shape[0]
    share = _column("remaining_share", remaining_share, n)
    share = np.where(np.isnan(share), 1.0, share)
    if np.any((share < 0.0) | (share > 1.0)):
        raise PlanningError("remaining_share", "must lie between 0 and 1 (or be missing).")
    cost, rate = _money("price", price, n), _money("late_cost_per_day", late_cost_per_day, n)
    t = np.asarray(days, dtype=np.float64)
    if t.ndim != 1 or not np.all(np.isfinite(t)) or np.any(t < 0.0):
        raise PlanningError("days", "must be a row of day numbers of at least 0.")
    late, life_left, probability = _days_late_and_left(q, p, t)
    money, exhausted_probability = late * rate[:, None], probability
    if exhausted_quantile_days is not None:
        exhausted, _ = _check_quantiles(exhausted_quantile_days, p)
        extra = np.zeros(n)
        if exhausted_cost_per_day is not None:
            extra = _money("exhausted_cost_per_day", exhausted_cost_per_day, n)
        # most rows have one date for both, which is worked out once
        two = np.flatnonzero((exhausted != q).any(axis=1) & ~(_no_date(exhausted) & _no_date(q)))
        exhausted_days, left_share, exhausted_share = _days_late_and_left(exhausted[two], p, t)
        money[two] += np.maximum(exhausted_days - late[two], 0.0) * extra[two, None]
        exhausted_probability = probability.copy()
        life_left[two], exhausted_probability[two] = left_share, exhausted_share
    return CostCurves(
        waste=life_left * (share * cost)[:, None],
        late=money,
        probability=probability,
        exhausted_probability=exhausted_probability,
    )


def _money(name: str, values: ArrayLike, n: int) -> FloatArray:
    column = _column(name, values, n)
    if not np.all(np.isfinite(column) & (column >= 0.0)):
        raise PlanningError(name, "must be numbers of at least 0.")
    return column


def _days_late_and_left(q: FloatArray, p: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Days expected to have been exhausted by each day, share of today's life expected to be left then, probability."""
    has_date, t_row = ~_no_date(q)[:, None], t[None, :]
    reached, all_excess = _probability_and_excess(q, p, np.append(0.0, t))
    excess_today, excess = all_excess[:, :1], all_excess[:, 1:]
    knots, mass = _support(q, p)
    mean = ((knots[:, :-1] + knots[:, 1:]) / 2.0 @ mass)[:, None]
    life_left = np.maximum(mean - t_row + excess, 0.0)  # E[(X - t)+] = E[X] - t + E[(t - X)+]
    life_left_today = np.maximum(mean + excess_today, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        fraction = np.where(life_left_today > _EXHAUSTED_DAYS, life_left / life_left_today, 0.0)
    late = np.where(has_date, np.maximum(excess - excess_today, 0.0), 0.0)
    return late, np.where(has_date, fraction, 1.0), np.where(has_date, reached[:, 1:], 0.0)


def _no_date(quantile_days: FloatArray) -> NDArray[np.bool_]:
    return np.asarray(np.isnan(quantile_days).any(axis=1))


def _column(name: str, value: ArrayLike, n: int) -> FloatArray:
    column = np.asarray(value, dtype=np.float64)
    if column.shape != (n,):
        raise PlanningError(name, f"must have one value for each of the {n} needs, not shape {column.shape}.")
    return column
