"""A need as the pure planning room sees it, and what each day of waiting costs."""

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from fleet.models import Finding, Forecast
from scheduling.models import Need
from scheduling.planning.needs import need as planning
from scheduling.services.needs.wanted import quantile_days
from scheduling.services.policy import ServicePolicy

_EVERY_LEVEL = len(planning.DISTRIBUTION_LEVELS)


def planning_need(need: Need, *, key: str, today: date) -> planning.Need:
    """The need in the words of the planning room.

    A finding that names a cartridge outranks a forecast of more life, and so does a person who confirmed it: what the
    readings show to be spent is spent today. Where the forecast calls it exhausted as well, its probability stands.
    """
    quantiles: tuple[float, ...] = ()
    worn: tuple[float, ...] = ()
    share, life = math.nan, math.nan
    forecast = need.forecast
    if need.finding is not None and need.position_id is not None:
        is_confirmed = need.finding.state == Finding.State.CONFIRMED
        if forecast is not None and forecast.state == Forecast.State.SPENT and not is_confirmed:
            quantiles = quantile_days(forecast, today)
        quantiles, share = quantiles or (0.0,) * _EVERY_LEVEL, 0.0
    elif forecast is not None:
        quantiles = quantile_days(forecast, today)
        if forecast.remaining_share is not None:
            share = min(max(forecast.remaining_share, 0.0), 1.0)
            # what is left lasts until the median; a whole one lasts in proportion. Near its end that says nothing.
            median = planning.median_days(quantiles) if quantiles else 0.0
            if share > 0.05 and median > 0:
                life = median / share
    elif need.due_on is not None:
        quantiles = (float((need.due_on - today).days),) * _EVERY_LEVEL
    if need.lag_forecast is not None and quantiles:
        # a lead is used up on its own date; the water goes bad when the lag behind it is spent as well
        worn = quantiles
        quantiles = tuple(map(max, worn, quantile_days(need.lag_forecast, today) or worn))
    first, last = _allowed(need, today)
    return planning.Need(
        key=key,
        site=str(need.site_id),
        unit=str(need.unit_id),
        kind=planning.NeedKind(need.kind),
        position=str(need.position_id or ""),
        label=need.label if need.position_id else ", ".join(filter(None, (need.get_kind_display(), need.about))),
        minutes=float(need.minutes),
        skills=frozenset(need.skills),
        urgent=need.is_urgent,
        not_before_day=first,
        deadline_day=last,
        quantile_days=quantiles,
        remaining_share=share,
        price=need.price,
        late_cost_per_day=need.late_cost_per_day,
        fresh_life_days=life,
        worn_quantile_days=worn,
        worn_cost_per_day=need.worn_cost_per_day,
    )


def _allowed(need: Need, today: date) -> tuple[int | None, int | None]:
    """First and last allowed day from today; a deadline that has gone by is negative, and forbids no day any more."""
    first = (need.not_before - today).days if need.not_before is not None else None
    last = (need.deadline - today).days if need.deadline is not None else None
    if last is not None and last < 0:
        return None, last
    if first is not None and last is not None and first > last:
        return None, None
    return (None if first is not None and first <= 0 else first), last


def price_needs(needs: Sequence[Need], *, policy: ServicePolicy, today: date) -> None:
    """Write each need's cost-by-date curve, its best day and the money into its row; nothing is saved.

    Parameters
    ----------
    needs
        Rows, saved or not.
    policy
        Prices and thresholds.
    today
        First day of the curves, which reach over the weeks that visits are weighed for.
    """
    if not needs:
        return
    span = 7 * policy.planning.bundling_weeks
    days = np.arange(span)
    asked = [planning_need(need, key=need.key, today=today) for need in needs]
    quantiles = planning.quantile_table([one.quantile_days for one in asked], width=_EVERY_LEVEL)
    for row, one in enumerate(asked):
        if not one.quantile_days and one.late_cost_per_day > 0.0:
            # due from its first allowed day on
            quantiles[row] = float(one.not_before_day or 0)
    curves = planning.cost_curves(
        quantiles,
        remaining_share=[one.remaining_share for one in asked],
        price=[one.price for one in asked],
        late_cost_per_day=[one.late_cost_per_day for one in asked],
        days=days,
        worn_quantile_days=[one.worn_quantile_days or row for one, row in zip(asked, quantiles, strict=True)],
        worn_cost_per_day=[one.worn_cost_per_day for one in asked],
    ).total
    for row, (need, as_planned) in enumerate(zip(needs, asked, strict=True)):
        first = as_planned.not_before_day or 0
        deadline = as_planned.deadline_day
        last = span if deadline is None or deadline < 0 else deadline
        allowed = (days >= first) & (days <= last)
        costs = np.where(allowed, curves[row], np.inf)
        best = int(np.argmin(costs))
        need.curve_first_day = today
        need.cost_curve = [round(float(cost), 2) if math.isfinite(cost) else None for cost in costs]
        need.best_day = today + timedelta(days=best if allowed.any() else first)
        if allowed.any():
            need.reason = " ".join(filter(None, [need.reason, _money(need, best, policy.planning.currency)]))


def _money(need: Need, best: int, currency: str) -> str:
    """What the best day and waiting beyond it cost."""
    cost = need.cost_curve[best]
    later = need.cost_curve[min(best + 28, len(need.cost_curve) - 1)]
    said = f"Cheapest on {need.best_day:%d %b %Y}: {cost:.2f} {currency} of waste and lateness"
    return f"{said}; four weeks later it would be {later:.2f} {currency}." if later is not None else f"{said}."
