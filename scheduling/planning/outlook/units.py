"""A unit in one draw: what stands in it, when that is truly exhausted, and what is known of it."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from scheduling.planning.needs.dates import need_dates
from scheduling.planning.needs.facts import ForecastFacts, PositionFacts, Role, UnitFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, median_days
from scheduling.planning.outlook.inputs import OutlookUnit
from scheduling.planning.outlook.lives import Dates, FreshLife

#: The probability (0-1) that a draw gives to a cartridge: number of the position within the site, and how many
#: cartridges stood there before it.
Chance = Callable[[int, int], float]


@dataclass(slots=True, eq=False)
class Cartridge:
    """What stands in a position.

    Attributes
    ----------
    key
        Of the cartridge.
    fitted_on, exhausted_on
        Days from the first of the outlook; what is known is only a distribution of the second.
    dates
        That distribution.
    life_days
        A whole life, by the median; NaN: not known.
    alive_on
        Last day on which it was seen not to be exhausted; None: never in the outlook.
    is_seen_exhausted
        Whether it was seen to be exhausted.
    forecast
        What was stored of it before the outlook; None: it was fitted later.
    """

    key: int
    fitted_on: float
    exhausted_on: float
    dates: Dates
    life_days: float
    alive_on: float | None = None
    is_seen_exhausted: bool = False
    forecast: ForecastFacts | None = None

    def forecast_on(self, day: float) -> ForecastFacts:
        """What would be stored of it on a day, from what has been seen by then."""
        if self.is_seen_exhausted:
            zeros, used = (0.0,) * len(DISTRIBUTION_LEVELS), max(day - self.fitted_on, 0.0)
            return ForecastFacts(self.key, self.key, zeros, is_exhausted=True, remaining_share=0.0, used_days=used)
        quantiles = self.dates.quantiles_from(day, self.alive_on)
        median = median_days(quantiles)
        share = min(max(median / self.life_days, 0.0), 1.0) if self.life_days > 0.0 else None
        return ForecastFacts(
            self.key,
            self.key,
            quantiles,
            is_exhausted=median <= 0.0,
            is_maximum_service_time=self.forecast is not None and self.forecast.is_maximum_service_time,
            remaining_share=share,
            used_days=max(day - self.fitted_on, 0.0),
        )


@dataclass(frozen=True, slots=True)
class Stage:
    """A position that stands alone, or a lead and its lag: the water is bad when all of it is exhausted."""

    name: str
    positions: tuple[PositionFacts, ...]


class SimulatedUnit:
    """A unit that goes through the days of one draw."""

    def __init__(self, unit: OutlookUnit, chance: Chance, first_position: int) -> None:
        self.unit, self.facts, self.chance = unit, unit.facts, chance
        self.numbers = {p.key: first_position + k for k, p in enumerate(unit.facts.positions)}
        self.generation = dict.fromkeys(self.numbers, 0)
        self.cartridges: dict[int, Cartridge] = {}
        self.fresh: dict[int, FreshLife] = {}
        self.last_visit: float | None = None
        self.sanitised_on: float | None = None
        lags = {lag.key: lead for lead, lag in unit.facts.pairs if lag is not None}
        for position in unit.facts.positions:
            forecast = position.forecast
            if forecast is None:
                continue
            # a lead and its lag are exhausted early or late together: one water, one load
            pair = lags.get(position.key, position)
            dates = Dates.of(forecast.quantile_days)
            cartridge = Cartridge(
                key=position.cartridge or 0,
                fitted_on=-(forecast.used_days if forecast.used_days is not None else 0.0),
                exhausted_on=dates.at(chance(self.numbers[pair.key], 0)),
                dates=dates,
                life_days=need_dates(forecast=forecast).fresh_life_days,
                forecast=forecast,
            )
            self.cartridges[position.key] = cartridge
            self.fresh[position.key] = _fresh_from(forecast, cartridge.life_days)
        self.stages = self._stages()

    def _stages(self) -> tuple[Stage, ...]:
        with_date = self.cartridges.keys()
        stages = [Stage(p.stage, (p,)) for p in self.facts.positions if p.role == Role.SINGLE and p.key in with_date]
        for lead, lag in self.facts.pairs:
            positions = tuple(p for p in (lead, lag) if p is not None and p.key in with_date)
            if positions:
                stages.append(Stage(lead.stage, positions))
        return tuple(stages)

    def late_on(self, stage: Stage) -> float:
        """The day on which the last cartridge of a stage is exhausted."""
        return max(self.cartridges[p.key].exhausted_on for p in stage.positions)

    def facts_on(self, day: float, today: datetime.date) -> UnitFacts:
        """What planning would know of it on a day."""
        positions = tuple(
            self._position_on(position, day)
            for position in self.facts.positions
            # where nothing is on record, the first visit records what is installed
            if position.cartridge is not None or self.last_visit is None
        )
        first_day = today - datetime.timedelta(days=round(day))
        return replace(
            self.facts,
            positions=positions,
            findings=self.facts.findings if self.last_visit is None else (),
            last_read_on=self.last_read_on(day, today),
            last_sanitised_on=first_day + datetime.timedelta(days=math.floor(self.sanitised_on))
            if self.sanitised_on is not None
            else self.facts.last_sanitised_on,
        )

    def last_read_on(self, day: float, today: datetime.date) -> datetime.date | None:
        """The date on which planning would know it to have been read last; None: never."""
        read = self._last_read(day)
        if read is None:
            return self.facts.last_read_on
        return today - datetime.timedelta(days=round(day) - math.floor(read))

    def _position_on(self, position: PositionFacts, day: float) -> PositionFacts:
        cartridge = self.cartridges.get(position.key)
        if cartridge is None or (cartridge.forecast is not None and day == 0.0):
            return position  # as it is stored
        return replace(position, cartridge=cartridge.key, newest_forecast=cartridge.forecast_on(day))

    def _last_read(self, day: float) -> float | None:
        reads = [self.last_visit] if self.last_visit is not None else []
        interval = self.unit.reading_interval_days
        if interval is not None:
            count = math.floor((day + self.unit.last_read_days_ago) / interval)
            reads += [count * interval - self.unit.last_read_days_ago] if count > 0 else []
        return max(reads) if reads else None

    def reading_after(self, day: float) -> float:
        """The first day from ``day`` on with a reading that somebody takes without a visit; infinite without any."""
        interval = self.unit.reading_interval_days
        if interval is None:
            return math.inf
        since = self.unit.last_read_days_ago
        return max(math.ceil((max(day, 0.0) + since) / interval), 1) * interval - since

    def seen_on(self) -> float:
        """The next day on which a reading shows a stage to be exhausted that nobody saw yet; infinite: never."""
        unseen = [
            self.late_on(stage)
            for stage in self.stages
            if not all(self.cartridges[p.key].is_seen_exhausted for p in stage.positions)
        ]
        return self.reading_after(min(unseen)) if unseen else math.inf

    def read_gauges(self, day: float, *, is_visit: bool) -> None:
        """Take a reading: what is exhausted is seen to be, and what is not is known to last still."""
        for stage in self.stages:
            for position in stage.positions:
                cartridge = self.cartridges[position.key]
                # a reading of the water shows a stage; who opens the housings sees each cartridge
                at = cartridge.exhausted_on if is_visit else self.late_on(stage)
                if at <= day:
                    cartridge.is_seen_exhausted = True
                elif is_visit or len(stage.positions) == 1:
                    cartridge.alive_on = day
        if is_visit:
            self.last_visit = day

    def read_until(self, day: float) -> None:
        """Take over what readings without a visit have shown by a day."""
        interval = self.unit.reading_interval_days
        read = self._last_read(day)
        if interval is not None and read is not None and read > (self.last_visit or 0.0):
            self.read_gauges(read, is_visit=False)

    def fit_new(self, position: PositionFacts, day: float) -> None:
        """Fit a new cartridge on a day; one behind a lead is loaded from the lead's exhaustion on."""
        begins, expected = day, day
        for lead, lag in self.facts.pairs:
            if lag is not None and lag.key == position.key and lead.key in self.cartridges:
                ahead = self.cartridges[lead.key]
                begins = max(day, ahead.exhausted_on)
                expected = day + max(median_days(ahead.dates.quantiles_from(day, ahead.alive_on)), 0.0)
        self._fit(position, day, begins, expected)

    def rotate(self, lead: PositionFacts, lag: PositionFacts, day: float) -> None:
        """Discard the lead, move the lag up, and fit a new one behind it.

        The one that moves up loses the days that the discarded lead still had: it is loaded from today on.
        """
        gone, moved = self.cartridges[lead.key], self.cartridges[lag.key]
        sooner = max(gone.exhausted_on - day, 0.0)
        known_sooner = max(median_days(gone.dates.quantiles_from(day, gone.alive_on)), 0.0)
        self.cartridges[lead.key] = replace(
            moved,
            exhausted_on=max(moved.exhausted_on - sooner, min(moved.exhausted_on, day + 1.0)),
            dates=moved.dates.later(-known_sooner),
            forecast=None,
        )
        self.fit_new(lag, day)

    def _fit(self, position: PositionFacts, day: float, begins: float, expected: float) -> None:
        self.generation[position.key] += 1
        life = self.fresh[position.key].dates
        self.cartridges[position.key] = Cartridge(
            key=-(1 + self.numbers[position.key] + 1_000 * self.generation[position.key]),
            fitted_on=day,
            exhausted_on=begins + life.at(self.chance(self.numbers[position.key], self.generation[position.key])),
            dates=life.later(expected),
            life_days=self.fresh[position.key].p50,
        )

    def lag_behind(self, position: PositionFacts) -> PositionFacts | None:
        """The lag that moves up when this lead is discarded; an exhausted one does not."""
        for lead, lag in self.facts.pairs:
            if lead.key == position.key and lag is not None and lag.key in self.cartridges:
                return None if self.cartridges[lag.key].is_seen_exhausted else lag
        return None


def _fresh_from(forecast: ForecastFacts, life_days: float) -> FreshLife:
    """The life of a new cartridge, as its position's forecast says, or from that of the one that stands there."""
    if forecast.fresh_life_days is not None and forecast.fresh_life_days[0] > 0.0:
        return FreshLife(*forecast.fresh_life_days)
    if life_days > 0.0:
        return FreshLife.around(life_days)
    whole = (forecast.used_days or 0.0) + median_days(forecast.quantile_days)
    return FreshLife.around(max(whole, 30.0))
