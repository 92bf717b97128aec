"""From what is known of a cartridge to the dates a need is weighed by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.planning.needs.facts import ForecastFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, day_of_probability, expected_share_left, median_days

# Below this share what is left says nothing of a whole life any more.
_LEAST_SHARE = 0.05

# A cartridge that was exhausted sooner than this says that something is wrong, not how long the next one lasts.
_LEAST_LIFE_DAYS = 14.0


@dataclass(frozen=True, slots=True)
class NeedDates:
    """The dates of a need; the fields are those of `Need`."""

    quantile_days: tuple[float, ...] = ()
    exhausted_quantile_days: tuple[float, ...] = ()
    remaining_share: float = math.nan
    fresh_life_days: float = math.nan


@dataclass(frozen=True, slots=True)
class KnownDates:
    """What the dates of a need are made from.

    Attributes
    ----------
    forecast
        Of the cartridge; of a rotation, that of the lead.
    lag_forecast
        Of the lag behind a lead: the water goes bad when that is exhausted as well.
    is_seen, is_confirmed
        Whether a finding names the cartridge, and whether a person confirmed it.
    due_in_days
        Days from today on which it falls due, where nothing of the others speaks.
    """

    forecast: ForecastFacts | None = None
    lag_forecast: ForecastFacts | None = None
    is_seen: bool = False
    is_confirmed: bool = False
    due_in_days: int | None = None

    @property
    def own_quantile_days(self) -> tuple[float, ...]:
        """When the thing itself is exhausted or due, whatever stands behind it; empty where nothing says."""
        if self.is_seen:
            stands = self.forecast is not None and self.forecast.is_exhausted and not self.is_confirmed
            return (self.forecast.quantile_days if self.forecast is not None and stands else ()) or _on_day(0.0)
        if self.forecast is not None:
            return self.forecast.quantile_days
        return _on_day(float(self.due_in_days)) if self.due_in_days is not None else ()


def need_dates(
    *,
    forecast: ForecastFacts | None = None,
    lag_forecast: ForecastFacts | None = None,
    is_seen: bool = False,
    is_confirmed: bool = False,
    due_in_days: int | None = None,
) -> NeedDates:
    """When a need is late, and when what is thrown away is exhausted; the parameters are those of `KnownDates`."""
    return dates_of_needs([KnownDates(forecast, lag_forecast, is_seen, is_confirmed, due_in_days)])[0]


def dates_of_needs(needs: Sequence[KnownDates]) -> list[NeedDates]:
    """When each need is late, and when what is thrown away is exhausted; many at once cost little more than one.

    A finding that names a cartridge outranks a forecast of more life, and so does a person who confirmed it: what the
    readings show to be exhausted counts as exhausted today. Where the forecast says so as well, its probability stands.
    """
    quantiles = [known.own_quantile_days for known in needs]
    shares = _expected_shares(needs, quantiles)
    return [_dates(*row) for row in zip(needs, quantiles, shares, strict=True)]


def _expected_shares(needs: Sequence[KnownDates], quantiles: Sequence[tuple[float, ...]]) -> list[float | None]:
    """Share of its life that each is expected to have left; None where its forecast does not say."""
    used: list[float | None] = [
        known.forecast.used_days if known.forecast is not None and not known.is_seen and days else None
        for known, days in zip(needs, quantiles, strict=True)
    ]
    shares: list[float | None] = [None] * len(needs)
    for width in {len(days) for days in quantiles}:
        rows = [k for k, days in enumerate(quantiles) if len(days) == width and used[k] is not None]
        if rows:
            left = expected_share_left([quantiles[k] for k in rows], [used[k] or 0.0 for k in rows])
            for k, share in zip(rows, left.tolist(), strict=True):
                shares[k] = share
    return shares


def _dates(known: KnownDates, quantiles: tuple[float, ...], expected_share: float | None) -> NeedDates:
    forecast, lag_forecast = known.forecast, known.lag_forecast
    share, life = math.nan, math.nan
    if known.is_seen:
        share, life = 0.0, _life_had(forecast, 0.0)
    elif forecast is not None:
        if forecast.remaining_share is not None:
            share = min(max(forecast.remaining_share, 0.0), 1.0)
            # what is left lasts until the median; a whole one lasts in proportion
            median = median_days(quantiles) if quantiles else 0.0
            if share > _LEAST_SHARE and median > 0:
                life = median / share
            elif quantiles:
                life = _life_had(forecast, median)
        if expected_share is not None:
            share = expected_share
    if forecast is not None and forecast.fresh_life_days is not None:
        # its place tells how long the next one lasts
        life = max(forecast.fresh_life_days[1], _LEAST_LIFE_DAYS)
    exhausted: tuple[float, ...] = ()
    if lag_forecast is not None and quantiles:
        # a lead is exhausted on its own date; the water goes bad when the lag behind it is exhausted as well
        exhausted = quantiles
        quantiles = tuple(map(max, exhausted, lag_forecast.quantile_days or exhausted))
    return NeedDates(quantiles, exhausted, share, life)


def first_day_on_condition(quantile_days: Sequence[float], probability: float) -> int:
    """First day from today on which what goes on its condition is as likely exhausted as it has to be; today is 0.

    It is the first day of a week from today, as visits are chosen by the week: on a day within one it would hold up
    what else is done on the visit, and while it lasts its day moves on every night.
    """
    weeks = math.ceil(day_of_probability(quantile_days, probability) / 7.0)
    return 7 * max(weeks, 0)


def _life_had(forecast: ForecastFacts | None, median: float) -> float:
    """Days that a cartridge at its end has lasted: the next one is taken to last as long, so that visits will come."""
    if forecast is None or forecast.used_days is None:
        return math.nan
    life = forecast.used_days + max(median, 0.0)
    return life if life >= _LEAST_LIFE_DAYS else math.nan


def _on_day(day: float) -> tuple[float, ...]:
    return (day,) * len(DISTRIBUTION_LEVELS)
