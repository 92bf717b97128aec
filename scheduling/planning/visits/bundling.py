r"""Which needs of a site are done together, on which visits of the coming weeks.

The choice is between *visit patterns*: any set of weeks. A pattern costs its visits, plus each need's expected waste
and lateness in the week of the pattern that suits it best. Every one of the 2^weeks patterns is weighed, not by listing
them (26 weeks have 67 million) but by a shortest path from visit to visit, which finds the same least-cost pattern: a
need whose cost falls towards one best week and rises after it is always met by one of the two visits around that week.
So the answer is exact

* for every pattern of weekly visits, with any number of visits,
* as long as each need's cost has one valley (the curves of :mod:`scheduling.planning.needs` are convex, deadlines and
  first allowed days keep them so),
* and each need is met once. A cartridge that will not last to the end of the weeks is met again by a successor whose
  date is counted from the best week of the one before it. Who goes earlier than that pays for the time by which all
  that follows comes sooner (:mod:`scheduling.planning.visits.early`); that price is an approximation, and the only one.

A visit is paid for by the time it lasts: with V the price of a visit and T the usual interval between visits (the life
of what wears out first at the site), waiting a week saves V/T. Otherwise putting everything off past the last week
would look free.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fleet.forecasting.distribution import percent_text
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import (
    CostCurves,
    FloatArray,
    Need,
    NeedKind,
    cost_curves,
    median_column,
    quantile_table,
)
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import EARTH_RADIUS_M, Place, RoadModel, great_circle_m
from scheduling.planning.visits.early import cost_of_going_early

IntArray = NDArray[np.int64]

#: Quantiles of a cartridge that is not there yet, as shares of its expected life; common practice, no source.
_FRESH_SPREAD = (0.55, 0.65, 0.80, 1.0, 1.20, 1.40, 1.55)

#: How long past the weighed weeks a need may still find its cheapest date.
_LATER_WEEKS = 26


@dataclass(frozen=True, slots=True)
class BundlingSite:
    """A site, as far as choosing visits goes.

    Attributes
    ----------
    key
        As in ``Need.site``.
    place
        Where.
    """

    key: str
    place: Place


@dataclass(frozen=True, slots=True)
class NeedChoice:
    """Why a need is on a visit, in money.

    Attributes
    ----------
    need
        Its key.
    best_day
        The day its own waste and lateness are least, days from today.
    cost_on_visit
        Expected waste and lateness on the visit's best day.
    waste_on_visit
        The part of it that is life thrown away.
    cost_of_waiting
        How much dearer its waste and lateness get in four more weeks; negative when waiting helps.
    saving
        What doing it on this visit saves over the cheapest other way: another visit of the site, or its own.
    exhausted_probability
        Probability (0-1) that it is exhausted by the visit; of a lead, that its lag is exhausted too.
    sentence
        The same for a person to read.
    """

    need: str
    best_day: int
    cost_on_visit: float
    waste_on_visit: float
    cost_of_waiting: float
    saving: float
    exhausted_probability: float
    sentence: str


@dataclass(frozen=True, slots=True)
class VisitProposal:
    """One visit a site should get.

    Attributes
    ----------
    site
        Its key.
    number
        0 for the site's next visit, 1 for the one after it. Only the next visit is one to route now.
    week
        Week it falls in, from today's (0).
    earliest_day, best_day, latest_day
        The due window and its cheapest day, days from today.
    needs
        Keys of what is done.
    choices
        Why, one for each need.
    urgent
        Whether any of them is, or has its deadline within the routed days.
    minutes
        Minutes on site.
    skills
        All that are needed.
    cost_by_day
        Expected cost (visit, waste, lateness; no driving) of making it on each day from today; infinite on a day on
        which it is not allowed.
    cost_if_unserved
        Expected cost, estimated driving included, of making it after those days instead.
    travel_cost
        Estimated driving money of the visit in a usual round.
    sentence
        Why now, for a person to read.
    """

    site: str
    number: int
    week: int
    earliest_day: int
    best_day: int
    latest_day: int
    needs: tuple[str, ...]
    choices: tuple[NeedChoice, ...]
    urgent: bool
    minutes: float
    skills: frozenset[str]
    cost_by_day: tuple[float, ...]
    cost_if_unserved: float
    travel_cost: float
    sentence: str


def bundle_visits(
    needs: Sequence[Need],
    sites: Sequence[BundlingSite],
    *,
    policy: Policy,
    bases: Sequence[Place] = (),
    days: int | None = None,
    cost_days: int | None = None,
    road: RoadModel | None = None,
) -> list[VisitProposal]:
    """Choose each site's visits of the coming weeks and what is done on each.

    Parameters
    ----------
    needs
        All needs of all sites, keys unique.
    sites
        Every site named by a need; sites without needs still count as neighbours.
    policy
        Prices and thresholds.
    bases
        Where rounds start; without any, only the drive between neighbours is counted.
    days
        How many days are routed; None: the policy's horizon.
    cost_days
        How many days ``cost_by_day`` tells of, within the weeks and four more; None: those that are routed.
    road
        How driving is estimated; None: the default model.

    Returns
    -------
    Proposals ordered by site as given, then week. A site whose needs are all best left alone has none.

    Raises
    ------
    PlanningError
        On a need of an unknown site, or a key given twice.
    """
    routed_days = policy.horizon_days if days is None else days
    if routed_days < 1:
        raise PlanningError("days", f"must be at least 1, not {routed_days}.")
    site_number = {site.key: k for k, site in enumerate(sites)}
    if len(site_number) != len(sites):
        raise PlanningError("sites", "a site key appears twice; give each site once.")
    if len({need.key for need in needs}) != len(needs):
        raise PlanningError("needs", "a need key appears twice; give each need once.")
    for need in needs:
        if need.site not in site_number:
            raise PlanningError(f"{need.key}.site", f"{need.site!r} is not among the sites.")
    if not needs:
        return []
    ordered = sorted(needs, key=lambda need: site_number[need.site])
    rows = _Rows.of(ordered, policy, routed_days)
    site_of_row = np.array([site_number[ordered[k].site] for k in rows.need], dtype=np.int64)
    order = np.argsort(site_of_row, kind="stable")
    rows = rows.take(order)
    site_of_row = site_of_row[order]
    present, first_row = np.unique(site_of_row, return_index=True)

    travel = travel_cost_estimate([s.place for s in sites], bases, policy=policy, road=road)[present]
    fixed = policy.visit_cost + policy.removal_minutes * policy.working_cost_per_minute
    visit_price = fixed + travel

    weekly = rows.weekly_costs(policy.bundling_weeks)
    weekly += rows.cost_of_going_early(weekly, visit_price[np.searchsorted(present, site_of_row)])
    interval_weeks = _intervals(ordered, rows, first_row, policy)
    visited = best_patterns(weekly, first_row, visit_price, interval_weeks)
    return _write_proposals(
        ordered=ordered,
        sites=[sites[k] for k in present],
        rows=rows,
        weekly=weekly,
        first_row=first_row,
        visited=visited,
        visit_price=visit_price,
        interval_weeks=interval_weeks,
        travel=travel,
        policy=policy,
        routed_days=routed_days,
        cost_days=routed_days if cost_days is None else cost_days,
    )


def _intervals(ordered: Sequence[Need], rows: _Rows, first_row: IntArray, policy: Policy) -> FloatArray:
    """Weeks between visits to each site: the life of what wears out first there, or the policy's where none is told."""
    lives = np.array([need.fresh_life_days for need in ordered])[rows.need] / 7.0
    usual = policy.visit_interval_weeks
    shortest = np.minimum.reduceat(np.where(lives > 0.0, lives, np.inf), first_row)
    return np.where(np.isfinite(shortest), np.clip(shortest, usual / 4.0, usual * 2.0), usual)


def travel_cost_estimate(
    places: Sequence[Place], bases: Sequence[Place] = (), *, policy: Policy, road: RoadModel | None = None
) -> FloatArray:
    r"""Driving money of visiting each place in a usual round.

    One leg to a neighbour that is due as well, plus the drive out and back shared by the stops of a round. With sites
    scattered at random (a Poisson field) of which one in T is due in a week, the nearest due one is on average as far
    as the (pi/4) T-th nearest of all, which is what is taken.

    Returns
    -------
    array ``(places,)`` in money.
    """
    model = road or RoadModel()
    n = len(places)
    degrees = np.array([(p.latitude_deg, p.longitude_deg) for p in places], dtype=np.float64).reshape(-1, 2)
    lat, lon = np.radians(degrees[:, 0]), np.radians(degrees[:, 1])
    leg_m = np.zeros(n)
    k = min(max(1, round(math.pi / 4.0 * policy.visit_interval_weeks)), n - 1)
    if k >= 1:
        xyz = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
        chord, _ = cKDTree(xyz).query(xyz, k=[k + 1])
        leg_m = 2.0 * EARTH_RADIUS_M * np.arcsin(np.clip(chord[:, 0] / 2.0, 0.0, 1.0))
    cost = _driving_money(model, leg_m, policy)
    if bases:
        stem = np.min(
            [great_circle_m(degrees[:, 0], degrees[:, 1], b.latitude_deg, b.longitude_deg) for b in bases], axis=0
        )
        cost = cost + 2.0 * _driving_money(model, stem, policy) / policy.stops_per_round
    return np.asarray(cost)


def _driving_money(model: RoadModel, straight_m: FloatArray, policy: Policy) -> FloatArray:
    road_m = model.road_m(straight_m)
    minutes = model.driving_s(road_m) / 60.0
    return np.asarray(minutes * policy.driving_cost_per_minute + road_m / 1_000.0 * policy.driving_cost_per_km)


def best_patterns(
    weekly: FloatArray, first_row: IntArray, visit_price: FloatArray, interval_weeks: FloatArray | float
) -> NDArray[np.bool_]:
    """The least-cost set of weeks to visit each site in.

    Parameters
    ----------
    weekly
        ``(rows, weeks + 1)`` cost of meeting each row in each week, the last column being 'after them all'; infinite
        where it is not allowed. Rows of a site stand together; each row has one valley.
    first_row
        ``(sites,)`` where each site's rows begin.
    visit_price
        ``(sites,)`` price of one visit.
    interval_weeks
        Time a visit usually lasts, of each site or of all; what lasts beyond the weeks is credited.

    Returns
    -------
    array ``(sites, weeks)``, True where the site is visited.

    Notes
    -----
    Shortest path over the weeks, O(weeks^2) for each row. Between two neighbouring visits a < b stand the rows whose
    best week lies in (a, b]; each takes the cheaper of the two.
    """
    n_sites, weeks = first_row.size, weekly.shape[1] - 1
    best_week = np.argmin(weekly, axis=1)
    # path[b]: least cost of everything with best week <= b, given a visit in week b; came[b]: the visit before it
    path = np.empty((weeks, n_sites))
    previous_visit = np.full((weeks + 1, n_sites), -1, dtype=np.int64)
    for b in range(weeks + 1):
        best = np.add.reduceat(np.where(best_week <= b, weekly[:, b], 0.0), first_row)
        for a in range(b):
            between = (best_week > a) & (best_week <= b)
            step = np.add.reduceat(np.where(between, np.minimum(weekly[:, a], weekly[:, b]), 0.0), first_row)
            cost = path[a] + step
            if b == weeks:
                lasts = np.clip((a + interval_weeks - weeks) / interval_weeks, 0.0, 1.0)
                cost = cost - visit_price * lasts
            better = cost < best
            best = np.where(better, cost, best)
            previous_visit[b] = np.where(better, a, previous_visit[b])
        if b < weeks:
            path[b] = best + visit_price
    visited = np.zeros((n_sites, weeks), dtype=np.bool_)
    at = previous_visit[weeks].copy()
    sites = np.arange(n_sites)
    while np.any(at >= 0):
        is_reached = at >= 0
        visited[sites[is_reached], at[is_reached]] = True
        at = np.where(is_reached, previous_visit[np.maximum(at, 0), sites], -1)
    return visited


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Needs as arrays; a need may have successors, which are rows of their own."""

    need: IntArray
    quantiles: FloatArray
    worn: FloatArray
    is_buffered: NDArray[np.bool_]
    share: FloatArray
    price: FloatArray
    rate: FloatArray
    worn_rate: FloatArray
    first_day: FloatArray
    last_day: FloatArray
    deadline: FloatArray
    urgent: NDArray[np.bool_]
    fitted_day: FloatArray

    @classmethod
    def of(cls, needs: Sequence[Need], policy: Policy, routed_days: int) -> _Rows:
        n = len(needs)
        width = max((max(len(need.quantile_days), len(need.worn_quantile_days)) for need in needs), default=0)
        quantiles = quantile_table([need.quantile_days for need in needs], width=width)
        share = np.array([need.remaining_share for need in needs], dtype=np.float64)
        price = np.array([need.price for need in needs], dtype=np.float64)
        rate = np.array([need.late_cost_per_day for need in needs], dtype=np.float64)
        worn_rate = np.array([need.worn_cost_per_day for need in needs], dtype=np.float64)
        # a task without a forecast that costs by the day is late from its first allowed day on
        task = np.isnan(quantiles).any(axis=1) & (rate > 0.0)
        first = np.array([need.not_before_day or 0 for need in needs], dtype=np.float64)
        quantiles[task] = np.maximum(first, 0.0)[task, None]
        is_buffered = np.array([bool(need.worn_quantile_days) for need in needs], dtype=np.bool_)
        worn = quantile_table([need.worn_quantile_days for need in needs], width=width)
        worn = np.where(is_buffered[:, None], worn, quantiles)
        last = np.array(
            [math.inf if need.deadline_day is None else need.deadline_day for need in needs], dtype=np.float64
        )
        # a deadline that has gone by can only be made good: in the days that are routed now
        overdue = last < 0.0
        deadline = np.maximum(np.where(overdue, math.inf, last), np.maximum(first, 0.0))
        urgent = np.array([need.urgent for need in needs], dtype=np.bool_) | overdue
        last = np.where(urgent, np.minimum(np.where(overdue, math.inf, last), routed_days - 1), last)
        first = np.maximum(first, 0.0)
        last = np.maximum(last, first)
        rows = cls(
            need=np.arange(n),
            quantiles=quantiles,
            worn=worn,
            is_buffered=is_buffered,
            share=share,
            price=price,
            rate=rate,
            worn_rate=worn_rate,
            first_day=first,
            last_day=last,
            deadline=deadline,
            urgent=urgent,
            fitted_day=np.array([-need.used_days for need in needs], dtype=np.float64),
        )
        return rows._with_successors(np.array([need.fresh_life_days for need in needs]), policy)

    def take(self, order: IntArray) -> _Rows:
        return _Rows(*(getattr(self, name)[order] for name in self.__dataclass_fields__))

    def _with_successors(self, fresh_life: FloatArray, policy: Policy) -> _Rows:
        """Add the next cartridge, and the one after it, of everything that does not last to the end of the weeks."""
        end = 7.0 * policy.bundling_weeks
        parts = [self]
        life = fresh_life
        start = np.where(life < end, self.best_days(int(end)), math.inf)
        current = self
        while True:
            again = np.flatnonzero(np.isfinite(life) & (life > 0.0) & (start + life < end))
            if again.size == 0:
                break
            life, begin = np.maximum(life[again], 7.0), start[again]
            buffered = current.is_buffered[again]
            width = current.quantiles.shape[1]
            middle, spread = median_column(width), quantile_table([_FRESH_SPREAD], width=width)
            # behind a lead there is still what its lag holds; a single one begins anew on the day it is changed
            late_from = np.where(buffered, np.maximum(begin, current.quantiles[again, middle]), begin)
            worn_from = np.where(buffered, np.maximum(begin, current.worn[again, middle]), begin)
            current = _Rows(
                need=current.need[again],
                quantiles=late_from[:, None] + life[:, None] * spread,
                worn=worn_from[:, None] + life[:, None] * spread,
                is_buffered=buffered,
                # the curves scale with E[X - today]; this makes the whole price the life from the change on
                share=np.ones(again.size),
                price=current.price[again] * (worn_from + life) / life,
                rate=current.rate[again],
                worn_rate=current.worn_rate[again],
                # the next one is never fitted on the visit of the one before it, nor with half of its life to come
                first_day=begin + np.maximum(7.0, 0.5 * life),
                last_day=np.full(again.size, math.inf),
                deadline=np.full(again.size, math.inf),
                urgent=np.zeros(again.size, dtype=np.bool_),
                fitted_day=begin,
            )
            parts.append(current)
            start = current.best_days(int(end))
        return _Rows(*(np.concatenate([getattr(p, name) for p in parts]) for name in self.__dataclass_fields__))

    def curves(self, days: FloatArray) -> CostCurves:
        """Costs on single days, deadlines not looked at."""
        return cost_curves(
            self.quantiles,
            remaining_share=self.share,
            price=self.price,
            late_cost_per_day=self.rate,
            worn_quantile_days=self.worn,
            worn_cost_per_day=self.worn_rate,
            days=days,
        )

    def best_days(self, end: int) -> FloatArray:
        """Cheapest day of each row by itself, in steps of a week, infinite beyond the end."""
        weekly = self.weekly_costs(end // 7)
        best = np.argmin(weekly, axis=1)
        return np.where(best < end // 7, 7.0 * best + 3.0, math.inf)

    def cost_of_going_early(self, weekly: FloatArray, visit_price: FloatArray) -> FloatArray:
        """What meeting each row in each week costs beside its own waste and lateness, by the visits that follow."""
        middles = 7.0 * np.arange(weekly.shape[1]) + 3.0
        best = np.argmin(weekly, axis=1)
        return cost_of_going_early(
            middles,
            best_day=middles[best][:, None],
            best_cost=weekly[np.arange(best.size), best][:, None],
            visit_price=visit_price[:, None],
            fitted_day=self.fitted_day[:, None],
        )

    def weekly_costs(self, weeks: int) -> FloatArray:
        """``(rows, weeks + 1)``: the middle of each week, and the cheapest date after them."""
        grid: FloatArray = np.asarray(7.0 * np.arange(weeks + _LATER_WEEKS) + 3.0)
        total = self.curves(grid).total
        starts, ends = grid - 3.0, grid + 3.0
        allowed = (starts[None, :] <= self.last_day[:, None]) & (ends[None, :] >= self.first_day[:, None])
        total = np.where(allowed, total, math.inf)
        later = total[:, weeks:].min(axis=1)
        # one valley must stay one valley: a row allowed only after all the weeks keeps its date there
        return np.concatenate([total[:, :weeks], later[:, None]], axis=1)


def _write_proposals(
    *,
    ordered: Sequence[Need],
    sites: Sequence[BundlingSite],
    rows: _Rows,
    weekly: FloatArray,
    first_row: IntArray,
    visited: NDArray[np.bool_],
    visit_price: FloatArray,
    interval_weeks: FloatArray,
    travel: FloatArray,
    policy: Policy,
    routed_days: int,
    cost_days: int,
) -> list[VisitProposal]:
    weeks = policy.bundling_weeks
    n_rows = weekly.shape[0]
    site_of_row = np.repeat(np.arange(len(sites)), np.diff([*first_row, n_rows]))
    # the visit each row chose: the cheapest visited week, or the one after them all
    choice = np.where(
        np.concatenate([visited[site_of_row], np.ones((n_rows, 1), dtype=np.bool_)], axis=1), weekly, math.inf
    )
    chosen_week = np.argmin(choice, axis=1)
    chosen_cost = choice[np.arange(n_rows), chosen_week]
    choice[np.arange(n_rows), chosen_week] = math.inf
    other_visit = choice.min(axis=1)
    own_visit = weekly[:, :weeks].min(axis=1) + visit_price[site_of_row]
    saving = np.maximum(np.minimum(other_visit, own_visit) - chosen_cost, 0.0)

    on_visit = np.flatnonzero(chosen_week < weeks)
    if on_visit.size == 0:
        return []
    week_code = site_of_row[on_visit] * weeks + chosen_week[on_visit]
    # a need stands on a visit once, even where its visit came so late that the one after it would fall on the same
    _, once = np.unique(np.column_stack([week_code, rows.need[on_visit]]), axis=0, return_index=True)
    once.sort()
    on_visit, week_code = on_visit[once], week_code[once]
    share = _share_of_week(week_code, rows.first_day[on_visit], rows.last_day[on_visit])
    code = week_code * (share.max() + 1) + share
    by_visit = on_visit[np.argsort(code, kind="stable")]
    codes, first = np.unique(np.sort(code), return_index=True)
    bundle_site, bundle_week = np.divmod(codes // (share.max() + 1), weeks)
    part = rows.take(by_visit)

    span = max(7 * weeks + 28, cost_days)
    grid: FloatArray = np.arange(span).astype(np.float64)
    bundle_of = np.repeat(np.arange(codes.size), np.diff([*first, by_visit.size]))
    own_best = np.empty(by_visit.size, dtype=np.int64)
    visit_best = np.empty(codes.size, dtype=np.int64)
    earliest = np.empty(codes.size, dtype=np.int64)
    latest = np.empty(codes.size, dtype=np.int64)
    by_day = np.empty((codes.size, cost_days))
    if_left = np.empty(codes.size)
    on_day = {name: np.empty(by_visit.size) for name in ("waste", "cost", "later", "probability", "used_up")}
    forced = np.zeros(codes.size, dtype=np.bool_)
    # in blocks, so that a fleet of ten thousand sites does not need the whole days x needs table at once
    for lo in range(0, codes.size, 2_000):
        hi = min(lo + 2_000, codes.size)
        r0, r1 = int(first[lo]), int(first[hi]) if hi < codes.size else by_visit.size
        sub = part.take(np.arange(r0, r1))
        curves = sub.curves(grid)
        total = curves.total
        allowed = (grid <= sub.last_day[:, None]) & (grid >= sub.first_day[:, None])
        starts = first[lo:hi] - r0
        price, interval_days = visit_price[bundle_site[lo:hi]], 7.0 * interval_weeks[bundle_site[lo:hi]]
        # a visit put off is paid for later; one that must be made now gains nothing by that
        must = np.logical_or.reduceat(sub.urgent, starts)
        put_off = np.where(must[:, None], 0.0, np.minimum(grid / interval_days[:, None], 1.0))
        spread = price[:, None] * (1.0 - put_off)
        free = np.add.reduceat(total, starts, axis=0) + spread
        open_day = np.logical_and.reduceat(allowed, starts, axis=0)
        near = (grid >= 7 * (bundle_week[lo:hi, None] - 1)) & (grid < 7 * (bundle_week[lo:hi, None] + 2))
        inside = np.where(open_day & near, free, math.inf)
        best = np.argmin(inside, axis=1)
        rows_here = np.arange(hi - lo)
        at_best = free[rows_here, best]
        due = open_day & (free <= at_best[:, None] + policy.due_window_tolerance)
        risk = np.where(sub.rate[:, None] > 0.0, curves.probability, 0.0)
        worst = np.maximum.reduceat(risk, starts, axis=0)
        within_risk = worst <= policy.target_risk
        last_safe_day = np.where(within_risk.all(axis=1), span, np.argmin(within_risk, axis=1) - 1)
        visit_best[lo:hi] = best
        earliest[lo:hi] = np.where(due.any(axis=1), np.argmax(due, axis=1), best)
        last_due = np.where(due.any(axis=1), span - 1 - np.argmax(due[:, ::-1], axis=1), best)
        latest[lo:hi] = np.maximum(np.minimum(last_due, last_safe_day), best)
        # what is urgent must go into the days that are routed, and still has its cost on a day after them
        is_open = np.logical_and.reduceat((grid <= sub.deadline[:, None]) & (grid >= sub.first_day[:, None]), starts)
        by_day[lo:hi] = np.where(is_open, free - travel[bundle_site[lo:hi], None], math.inf)[:, :cost_days]
        if_left[lo:hi] = free[:, routed_days:].min(axis=1)
        forced[lo:hi] = ~open_day[:, routed_days:].any(axis=1) | must
        local = bundle_of[r0:r1] - lo
        at = best[local]
        idx = np.arange(r1 - r0)
        own_best[r0:r1] = np.argmin(np.where(allowed, total, math.inf), axis=1)
        on_day["waste"][r0:r1] = curves.waste[idx, at]
        on_day["cost"][r0:r1] = total[idx, at]
        on_day["later"][r0:r1] = total[idx, np.minimum(at + 28, span - 1)] - total[idx, at]
        on_day["probability"][r0:r1] = curves.probability[idx, at]
        on_day["used_up"][r0:r1] = curves.used_up[idx, at]

    needs_of_site: dict[str, list[Need]] = defaultdict(list)
    for need in ordered:
        needs_of_site[need.site].append(need)
    proposals: list[VisitProposal] = []
    number, last_site = 0, -1
    for k in range(codes.size):
        s = int(bundle_site[k])
        number = number + 1 if s == last_site else 0
        last_site = s
        members = range(int(first[k]), int(first[k + 1]) if k + 1 < codes.size else by_visit.size)
        bundle_needs = [ordered[int(part.need[m])] for m in members]
        choices = tuple(
            _explain(
                need,
                best_day=int(own_best[m]),
                visit_day=int(visit_best[k]),
                waste=float(on_day["waste"][m]),
                cost=float(on_day["cost"][m]),
                waiting=float(on_day["later"][m]),
                saving=float(saving[by_visit[m]]),
                probability=float(on_day["probability"][m]),
                used_up=float(on_day["used_up"][m]),
                currency=policy.currency,
            )
            for need, m in zip(bundle_needs, members, strict=True)
        )
        proposals.append(
            VisitProposal(
                site=sites[s].key,
                number=number,
                week=int(bundle_week[k]),
                earliest_day=int(earliest[k]),
                best_day=int(visit_best[k]),
                latest_day=int(latest[k]),
                needs=tuple(need.key for need in bundle_needs),
                choices=choices,
                urgent=bool(forced[k]),
                minutes=policy.removal_minutes + sum(need.minutes for need in bundle_needs),
                skills=frozenset().union(*(need.skills for need in bundle_needs)),
                cost_by_day=tuple(by_day[k].tolist()),
                cost_if_unserved=float(if_left[k]),
                travel_cost=float(travel[s]),
                sentence=_summary(choices, float(visit_price[s]), int(visit_best[k]), policy.currency)
                + (_pace(needs_of_site[sites[s].key], float(visit_price[s]), policy.currency) if number == 0 else ""),
            )
        )
    return proposals


def _share_of_week(week_code: IntArray, first_day: FloatArray, last_day: FloatArray) -> IntArray:
    """0 for what can be done on one day with the other needs of its site and week, 1 for what needs a day after that.

    A deadline on Tuesday and a first allowed day on Thursday fall into one week and still ask for two visits.
    """
    share = np.zeros(week_code.size, dtype=np.int64)
    while True:
        _, visit = np.unique(week_code * 8 + share, return_inverse=True)
        last = np.full(visit.max() + 1, math.inf)
        np.minimum.at(last, visit, last_day)
        too_early = first_day > last[visit]
        if not too_early.any():
            return share
        share = share + too_early


def _explain(
    need: Need,
    *,
    best_day: int,
    visit_day: int,
    waste: float,
    cost: float,
    waiting: float,
    saving: float,
    probability: float,
    used_up: float,
    currency: str,
) -> NeedChoice:
    name = need.label or need.position or need.kind.value.replace("_", " ")
    name = name[:1].upper() + name[1:]
    parts = []
    if need.worn_quantile_days:
        parts.append(
            f"{name}: {percent_text(used_up)} likely to be exhausted by the visit, and {percent_text(probability)} "
            "that the lag after it is exhausted too"
        )
    elif need.quantile_days and not math.isnan(need.quantile_days[0]):
        # Only what wears is ever exhausted; a sanitising or a repair falls due.
        state = "exhausted" if need.kind in (NeedKind.REPLACE, NeedKind.ROTATE) else "due"
        parts.append(f"{name}: {percent_text(probability)} likely to be {state} by the visit")
    else:
        parts.append(name)
    if need.deadline_day is not None:
        parts.append(_deadline_words(need.deadline_day))
    if waste >= 0.005:
        parts.append(f"{waste:.2f} {currency} of its remaining life is lost")
    if waiting > 0.005:
        parts.append(f"four more weeks would cost {waiting:.2f} {currency}")
    elif waiting < -0.005:
        parts.append(f"four more weeks would save {-waiting:.2f} {currency}")
    if saving > 0.005:
        parts.append(f"doing it on this visit saves {saving:.2f} {currency} over the next best way")
    apart = abs(visit_day - best_day)
    if apart:
        sooner = "later" if visit_day < best_day else "sooner"
        parts.append(f"by itself its cheapest day would be {apart} day{'' if apart == 1 else 's'} {sooner}")
    return NeedChoice(
        need=need.key,
        best_day=best_day,
        cost_on_visit=cost,
        waste_on_visit=waste,
        cost_of_waiting=waiting,
        saving=saving,
        exhausted_probability=probability,
        sentence="; ".join(parts) + ".",
    )


def _deadline_words(day: int) -> str:
    if day < 0:
        return f"its deadline went by {-day} day{'' if day == -1 else 's'} ago, so it is done now"
    when = "today" if day == 0 else "tomorrow" if day == 1 else f"in {day} days"
    return f"it must be done by its deadline {when}"


def _summary(choices: tuple[NeedChoice, ...], visit_price: float, day: int, currency: str) -> str:
    waiting = sum(c.cost_of_waiting for c in choices)
    when = "today" if day == 0 else "tomorrow" if day == 1 else f"in {day} days"
    tasks = "one task" if len(choices) == 1 else f"{len(choices)} tasks together"
    tail = (
        f"four weeks later would cost {waiting:.2f} {currency} more"
        if waiting > 0.0
        else f"four weeks later would save {-waiting:.2f} {currency} in waste"
    )
    return f"Best {when}: {tasks} on a visit that costs about {visit_price:.2f} {currency}; {tail}."


def _pace(needs: Sequence[Need], visit_price: float, currency: str) -> str:
    """Which cartridge sets the pace of a site's visits, and what one that lasts twice as long would save a year.

    Visits cannot be fewer than what the shortest-lived cartridge asks for, however well they are bundled: where it is
    alone in that, a larger one is the way to fewer. Empty where that saves less than a visit a year, or a life is not
    known.
    """
    worn = [need for need in needs if need.kind in (NeedKind.REPLACE, NeedKind.ROTATE) and need.quantile_days]
    if not worn or not all(need.fresh_life_days > 0.0 for need in worn):
        return ""
    first, *others = sorted(worn, key=lambda need: need.fresh_life_days)
    life = first.fresh_life_days
    then = min([2.0 * life, *(need.fresh_life_days for need in others)])
    saved = 365.0 / life - 365.0 / then
    if saved < 1.0:
        return ""
    name = first.label or first.position
    return (
        f" The pace here is set by: {name}, which lasts about {life:.0f} days; one that lasts twice as long would save "
        f"about {saved:.0f} visit{'' if round(saved) == 1 else 's'} a year, {saved * visit_price:.2f} {currency}."
    )
