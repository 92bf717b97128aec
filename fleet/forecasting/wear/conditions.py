"""What went through every unit, step by step: demand, feed, temperature and the loads that wear cartridges.

Levels come from the readings (`levels.follow`), water reports and what the client told; where nothing was read they
return to the unit's, the supply's and the fleet's own means. The future is the last level, the mean level and the
season.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.engineering.stages import HOURS_PER_DAY
from fleet.engineering.usual import FEED_CHLORINE_MG_PER_L, REJECTION_IN_SERVICE
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import Timeline, follow, sum_by, swing_terms
from fleet.forecasting.inputs.matching import match
from fleet.forecasting.inputs.physics import (
    carbon_dioxide_mg_per_l,
    feed_volume_l,
    inverse_temperature_per_kelvin,
    recovery_at_waste_ratio,
    resin_load_meq_per_l,
    waste_ratio,
)
from fleet.forecasting.inputs.tables import FeedWater, Fleet, Floats, Ids, Indexes, Readings
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.nominal import (
    DEFAULT_FEED_TDS_MG_PER_L,
    DEFAULT_L_PER_DAY,
    DEFAULT_RECOVERY,
    current_items,
    current_placements,
)

STEP_DAYS: Final = 14.0
FUTURE_DAYS: Final = 2.5 * DAYS_PER_YEAR
"""Loads are laid out step by step so far ahead; beyond, they go on at the mean of the last year."""

USUAL_SHARE_OF_LABEL: Final = 0.65
"""Permeate flow in service over the label: colder, lower pressure (engineering reference 5.1); common practice."""

WATER_U_KELVIN: Final = 2800.0
"""One slope for the water on both sides of 25 degC, for flows that nobody normalises."""

SALT_U_EXCESS_KELVIN: Final = 1500.0
"""Temperature coefficient of salt over that of water, K; the weakest number (engineering reference 4.4), so its prior
is wide and a unit's own readings move it."""

MEMORY_DAYS: Final = 75.0
DEFAULT_PH: Final = 7.6
DEFAULT_ALKALINITY: Final = 100.0
DEFAULT_TEMPERATURE_DEGC: Final = 15.0


@dataclass(frozen=True)
class Conditions:
    """Levels and loads of every unit at every step of a timeline, shapes (units, steps) or (units, edges).

    `feed_l_per_day`, `product_l_per_day`: volumes. `cumulative` holds, for every stage, the running integral of its
    load at the edges: L of feed, mg of chlorine, days of use, meq on the resin, and of each stage that finishes the
    water L of product or hours. `demand_spread` is the standard
    deviation of the logarithm of the unit's future mean demand that is due to not knowing it now.
    """

    timeline: Timeline
    temperature_degc: Floats
    feed_tds_mg_per_l: Floats
    permeate_tds_mg_per_l: Floats
    chlorine_mg_per_l: Floats
    recovery: Floats
    feed_l_per_day: Floats
    product_l_per_day: Floats
    co2_mg_per_l: Floats
    cumulative: tuple[Floats, ...]
    is_metered: np.ndarray
    is_idle: np.ndarray
    pool: Pool

    def at(self, stage: int, unit: Indexes, day: Floats) -> Floats:
        """Running load of a stage at a day, for each pair of unit and day; linear within steps and beyond the ends."""
        total = self.cumulative[stage]
        line = self.timeline
        place = np.maximum((day - line.start) / line.step_days, 0.0)
        low = np.minimum(place.astype(np.int64), line.count - 1)
        start, end = total[unit, low], total[unit, low + 1]
        inside = start + (end - start) * (np.minimum(place, line.count) - low)
        year = round(DAYS_PER_YEAR / line.step_days)
        rate = (total[unit, -1] - total[unit, -1 - year]) / year
        return inside + rate * np.maximum(place - line.count, 0.0)

    def mean_load(self, stage: int) -> Floats:
        """Mean load of a stage a day at every unit, over the whole timeline."""
        total = self.cumulative[stage]
        return np.asarray((total[:, -1] - total[:, 0]) / (self.timeline.count * self.timeline.step_days))

    def day_when(self, stage: int, unit: Indexes, load: Floats) -> Floats:
        """Day when the running load of a stage reaches a value: the inverse of `at`.

        `unit` has shape (n,), `load` (n, k). Where a unit draws nothing the answer is infinite.
        """
        total = self.cumulative[stage][unit]
        line = self.timeline
        count, width = load.shape
        # One sorted search for all rows: shift every row to its own range.
        scale = np.maximum(total[:, -1:] - total[:, :1], 1e-9)
        level = (total - total[:, :1]) / scale
        scaled_load = (load - total[:, :1]) / scale
        rows = np.arange(count)[:, None]
        flat = (level + rows).ravel()
        insertion = np.searchsorted(flat, (np.clip(scaled_load, 0.0, 1.0) + rows).ravel(), side="right")
        low = np.clip(insertion.reshape(count, width) - 1 - rows * total.shape[1], 0, line.count - 1)
        start, end = level[rows, low], level[rows, low + 1]
        rise = end - start
        share = np.divide(scaled_load - start, rise, out=np.zeros_like(rise), where=rise > 0)
        day = line.start + line.step_days * (low + np.clip(share, 0.0, 1.0))
        year = round(DAYS_PER_YEAR / line.step_days)
        rate = (level[:, -1] - level[:, -1 - year])[:, None] / (year * line.step_days)
        with np.errstate(divide="ignore", invalid="ignore"):
            beyond = line.start + line.step_days * line.count + (scaled_load - 1.0) / rate
        return np.where(scaled_load > 1.0, beyond, day)


def build_conditions(fleet: Fleet, readings: Readings, pool: Pool | None = None) -> Conditions:
    """Levels and loads of every unit from screened readings (in order of unit and time).

    Parameters
    ----------
    fleet
        The fleet; its own readings are not looked at.
    readings
        The screened ones, from `screen.screen`.
    pool
        Means over the fleet, to be held to if known and to be filled if not.
    """
    levels = _Levels(fleet, readings, pool or Pool())
    timeline, pool = levels.timeline, levels.pool
    temperature = _temperature(fleet, readings, timeline, pool)
    # Where nothing was read there is nothing to take a logarithm of.
    with np.errstate(divide="ignore", invalid="ignore"):
        feed_tds, permeate_tds = _salt(levels, temperature)
        chlorine = _chlorine(levels)
        recovery = _recovery(fleet, levels, temperature)
    co2 = _carbon_dioxide(levels, temperature, feed_tds)
    product, is_metered, is_idle = _product(fleet, readings, timeline, recovery, pool)
    feed_volume = feed_volume_l(product, recovery)
    mean_product = np.maximum(product.mean(axis=1, keepdims=True), 1e-9)
    use_days = np.where(is_idle[:, None], 0.0, 0.4 + 0.6 * product / mean_product)
    resin_load = product * resin_load_meq_per_l(np.maximum(permeate_tds, 0.3), co2)
    return Conditions(
        timeline=timeline,
        temperature_degc=temperature,
        feed_tds_mg_per_l=feed_tds,
        permeate_tds_mg_per_l=permeate_tds,
        chlorine_mg_per_l=chlorine,
        recovery=recovery,
        feed_l_per_day=feed_volume,
        product_l_per_day=product,
        co2_mg_per_l=co2,
        cumulative=(
            _running(feed_volume, timeline),
            _running(feed_volume * chlorine, timeline),
            _running(use_days, timeline),
            _running(resin_load, timeline),
            *_finishing_loads(product, timeline),
        ),
        is_metered=is_metered,
        is_idle=is_idle,
        pool=pool,
    )


def _running(load: Floats, timeline: Timeline) -> Floats:
    """Running integral of a load per day at the edges of the steps."""
    return np.concatenate([np.zeros((len(load), 1)), np.cumsum(load * timeline.step_days, axis=1)], axis=1)


def _finishing_loads(product_l_per_day: Floats, timeline: Timeline) -> Iterator[Floats]:
    """Running loads of the stages behind the membrane that finish the water."""
    hours = np.full_like(product_l_per_day, HOURS_PER_DAY)
    for finishing in words.FINISHING_STAGES.values():
        yield _running(product_l_per_day if finishing.load == "product_l" else hours, timeline)


class _Levels:
    """How what was read becomes a level of every unit at every step, about means over unit, supply and fleet.

    `sample` are the water reports, repeated for every unit of their site, whose number is `sample_unit`.
    """

    def __init__(self, fleet: Fleet, readings: Readings, pool: Pool) -> None:
        self.readings, self.pool = readings, pool
        self.timeline = _timeline(fleet, self.pool)
        self.unit = readings.unit_index
        self.step = self.timeline.step_of(readings.day)
        self.sample_unit, self.sample = _samples_by_unit(fleet)
        self._sample_step = self.timeline.step_of(self.sample.day)
        self._count = len(fleet.units)
        self._supply = _supplies(fleet)

    def mean_of_units(self, name: str, value: Floats, *, default: float, noise: float, spread: float) -> Floats:
        """Mean of every unit, from a value of every reading (NaN where it has none)."""
        return self._mean(name, self.unit, value, default, noise, spread)

    def level(self, value: Floats, mean: Floats, prior_weight: float) -> Floats:
        """Level about a mean of every unit, from a value of every reading (NaN where it has none)."""
        return self._follow(self.unit, self.step, value, mean, prior_weight)

    def level_with_samples(
        self, name: str, value: Floats, sampled: Floats, *, default: float, noise: float, spread: float
    ) -> Floats:
        """Level from readings and water reports together, about the mean of both."""
        unit = np.concatenate([self.unit, self.sample_unit])
        step = np.concatenate([self.step, self._sample_step])
        both = np.concatenate([value, sampled])
        return self._follow(unit, step, both, self._mean(name, unit, both, default, noise, spread), 1.0)

    def _mean(self, name: str, unit: Indexes, value: Floats, default: float, noise: float, spread: float) -> Floats:
        ok = np.isfinite(value)
        return self.pool.mean(name, unit[ok], value[ok], self._supply, default=default, noise=noise, spread=spread)

    def _follow(self, unit: Indexes, step: Indexes, value: Floats, mean: Floats, prior_weight: float) -> Floats:
        ok = np.isfinite(value)
        return follow(
            unit[ok],
            step[ok],
            value[ok],
            mean,
            count=self._count,
            steps=self.timeline.count,
            prior_weight=prior_weight,
            memory_steps=MEMORY_DAYS / self.timeline.step_days,
        )


def _salt(levels: _Levels, temperature: Floats) -> tuple[Floats, Floats]:
    """TDS of feed and permeate."""
    log_feed = np.log(levels.readings.feed_tds_mg_per_l)
    feed_tds = np.exp(
        levels.level_with_samples(
            "log_feed_tds",
            log_feed,
            np.log(levels.sample.tds_mg_per_l),
            default=np.log(DEFAULT_FEED_TDS_MG_PER_L),
            noise=0.15,
            spread=0.25,
        )
    )
    # Warm water passes more salt: the season goes through temperature, the rest is a level of the unit.
    warmth = SALT_U_EXCESS_KELVIN * inverse_temperature_per_kelvin(temperature)
    own_feed = np.where(np.isfinite(log_feed), log_feed, np.log(feed_tds[levels.unit, levels.step]))
    passage = np.log(np.maximum(levels.readings.permeate_tds_mg_per_l, 0.5)) - own_feed
    passage -= warmth[levels.unit, levels.step]
    mean = levels.mean_of_units(
        "log_passage", passage, default=np.log(1.0 - REJECTION_IN_SERVICE), noise=0.25, spread=0.35
    )
    return feed_tds, feed_tds * np.exp(levels.level(passage, mean, 1.0) + warmth)


def _chlorine(levels: _Levels) -> Floats:
    """Chlorine in the feed: total or free, whichever was read higher."""
    read = np.fmax(levels.readings.feed_total_chlorine_mg_per_l, levels.readings.feed_free_chlorine_mg_per_l)
    sampled = np.fmax(levels.sample.total_chlorine_mg_per_l, levels.sample.free_chlorine_mg_per_l)
    return np.exp(
        levels.level_with_samples(
            "log_chlorine",
            np.log(np.maximum(read, 0.02)),
            np.log(np.maximum(sampled, 0.02)),
            default=np.log(FEED_CHLORINE_MG_PER_L),
            noise=0.3,
            spread=0.25,
        )
    )


def _carbon_dioxide(levels: _Levels, temperature: Floats, feed_tds: Floats) -> Floats:
    """Carbon dioxide of the feed, from pH and alkalinity; only water reports say alkalinity."""
    ph = levels.level_with_samples(
        "ph", levels.readings.feed_ph, levels.sample.ph, default=DEFAULT_PH, noise=0.15, spread=0.15
    )
    alkalinity = np.exp(
        levels.level_with_samples(
            "log_alkalinity",
            np.full(len(levels.unit), np.nan),
            np.log(np.maximum(levels.sample.alkalinity_mg_per_l_as_caco3, 2.0)),
            default=np.log(DEFAULT_ALKALINITY),
            noise=0.15,
            spread=0.3,
        )
    )
    return carbon_dioxide_mg_per_l(ph, alkalinity, temperature, feed_tds)


def _timeline(fleet: Fleet, pool: Pool) -> Timeline:
    starts = [fleet.as_of_day - DAYS_PER_YEAR]
    if len(fleet.placements):
        starts.append(float(np.quantile(fleet.placements.placed_day, 0.002)))
    # A single clock error must not stretch the timeline over a century.
    start = max(min(starts), fleet.as_of_day - 15 * DAYS_PER_YEAR) - STEP_DAYS
    start = pool.number("first_day", start)
    count = int(np.ceil((fleet.as_of_day + FUTURE_DAYS - start) / STEP_DAYS))
    return Timeline(start=start, step_days=STEP_DAYS, count=count)


def _supplies(fleet: Fleet) -> Ids:
    """Name of the supply of every unit; sites without a named supply share one."""
    return np.asarray(fleet.sites.supply[fleet.units.site_index] if len(fleet.units) else fleet.sites.supply[:0])


def _samples_by_unit(fleet: Fleet) -> tuple[Indexes, FeedWater]:
    """Water samples repeated for every unit of their site."""
    site = fleet.units.site_index
    order = np.argsort(site, kind="stable")
    sample, row = match(site[order], fleet.feed_water.site_index)
    return order[row], fleet.feed_water.take(sample)


def _temperature(fleet: Fleet, readings: Readings, timeline: Timeline, pool: Pool) -> Floats:
    sample_unit, sample = _samples_by_unit(fleet)
    unit = np.concatenate([readings.unit_index, sample_unit])
    day = np.concatenate([readings.day, sample.day])
    value = np.concatenate([readings.temperature_degc, sample.temperature_degc])
    ok = np.isfinite(value)
    unit, day, value = unit[ok], day[ok], value[ok]
    count = len(fleet.units)
    default = np.array([DEFAULT_TEMPERATURE_DEGC, 0.0, 0.0])
    swing = pool.swing("temperature", unit, day, value, count, default, np.array([4.0, 2.0, 2.0]), 1.5)
    base = swing @ swing_terms(timeline.middles).T
    expected = (swing[unit] * swing_terms(day)).sum(axis=1)
    step = timeline.step_of(day)
    deviation = follow(
        unit,
        step,
        value - expected,
        np.zeros(count),
        count=count,
        steps=timeline.count,
        prior_weight=2.0,
        memory_steps=45.0 / timeline.step_days,
    )
    return np.clip(base + deviation, 1.0, 40.0)


def _recovery(fleet: Fleet, levels: _Levels, temperature: Floats) -> Floats:
    """Recovery from measured flows; without them by design, or from the restrictor and the membrane's label."""
    units, readings, pool = fleet.units, levels.readings, levels.pool
    permeate, concentrate = readings.permeate_flow_l_per_day, readings.concentrate_flow_l_per_day
    # Where one of them is none there are no odds: a logarithm without an end, which counts as not read.
    odds = np.log(permeate) - np.log(concentrate)
    design = -np.log(waste_ratio(units.recovery_fraction))
    # Cold water lowers the permeate, hardly the concentrate: odds are kept as at 15 degC.
    warmth = WATER_U_KELVIN * (inverse_temperature_per_kelvin(temperature) - inverse_temperature_per_kelvin(15.0))
    odds = odds - warmth[levels.unit, levels.step]
    is_known = np.isfinite(odds)
    usual = -float(np.log(waste_ratio(DEFAULT_RECOVERY)))
    common = pool.number("log_recovery_odds", float(np.median(odds[is_known])) if is_known.sum() > 20 else usual)
    mean = levels.mean_of_units("log_recovery_odds_of_units", odds, default=common, noise=0.12, spread=0.35)
    has_own = np.bincount(readings.unit_index[is_known], minlength=len(units)) > 0
    by_restrictor = np.log(label_flow(fleet) * USUAL_SHARE_OF_LABEL / units.restrictor_flow_l_per_day)
    guess = np.where(np.isfinite(design), design, np.clip(by_restrictor, -3.5, 0.5))
    # What flows of the fleet say of designed recoveries, with a prior worth five units that the design is right.
    off = (mean - guess)[has_own & np.isfinite(guess)]
    guess = guess + pool.number("recovery_odds_over_design", float(np.median(np.concatenate([off, np.zeros(5)]))))
    mean = np.where(~has_own & np.isfinite(guess), guess, mean)
    return recovery_at_waste_ratio(np.exp(-levels.level(odds, mean, 2.0) - warmth))


def label_flow(fleet: Fleet) -> Floats:
    """Rated permeate flow of the membrane that stands in each unit, NaN where it is not known."""
    out = np.full(len(fleet.units), np.nan)
    item = current_items(fleet, current_placements(fleet))
    rows = np.flatnonzero((fleet.positions.stage == words.MEMBRANE) & (item >= 0))
    out[fleet.positions.unit_index[rows]] = fleet.items.rated_flow_l_per_day[item[rows]]
    return out


def _product(
    fleet: Fleet, readings: Readings, timeline: Timeline, recovery: Floats, pool: Pool
) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Product water per day at every step: from the counter where there is one, else from what the client told.

    Between two counts the mean rate is known exactly; it fills the steps between them. Elsewhere the unit's own mean
    rate holds, which without a counter is the told demand times what counters of the fleet say of told demands.
    """
    units = fleet.units
    count, steps = len(units), timeline.count
    stated = units.weekly_demand_l / 7.0
    positive = stated[stated > 0]
    usual = pool.number("usual_demand", float(np.median(positive)) if len(positive) else DEFAULT_L_PER_DAY)
    expected = np.where(np.isfinite(stated), stated, usual)
    covered, volume = _counted(fleet, readings, timeline, recovery)
    enough = covered.sum(axis=1) > 42.0
    mean_rate = volume.sum(axis=1) / np.maximum(covered.sum(axis=1), 1e-9)
    moves = enough & (mean_rate > 0.02 * np.maximum(expected, 1.0))
    compared = moves & (expected > 0)
    ratio = np.log(mean_rate[compared] / expected[compared])
    # What counters say of told demands, with a prior worth five units that the client is right.
    bias = pool.number("told_demand_bias", float(np.median(np.concatenate([ratio, np.zeros(5)]))))
    base = expected * np.exp(bias)
    # A counter that stands still is evidence of no use, whatever the client told.
    recent = int(timeline.step_of(np.array(fleet.as_of_day - 60.0)))
    stands = (covered[:, recent:].sum(axis=1) > 30.0) & (volume[:, recent:].sum(axis=1) <= 0.01)
    is_idle = (expected <= 0) & ~(moves & ~stands) | stands & (mean_rate <= 0.05 * np.maximum(expected, 1.0))
    rate, share = volume / np.maximum(covered, 1e-9), covered / timeline.step_days
    group, at = np.nonzero(covered > 0)
    logs = np.log(np.maximum(rate[group, at], 0.05 * np.maximum(base[group], 0.1)))
    # More water is drawn in one season than in another: what counters show of it holds for units without one.
    moving = moves[group]
    about = logs[moving] - np.log(mean_rate[group[moving]])
    swing = pool.swing(
        "demand", group[moving], timeline.middles[at[moving]], about, count, np.zeros(3), np.array([0.1, 0.1, 0.1]), 0.5
    )
    season = swing[:, 1:] @ swing_terms(timeline.middles)[:, 1:].T
    prior = np.log(np.maximum(np.where(moves, mean_rate, base), 1e-3))
    level = follow(
        group,
        at,
        logs - season[group, at],
        prior,
        count=count,
        steps=steps,
        prior_weight=2.0,
        memory_steps=100.0 / timeline.step_days,
        weight=share[group, at],
    )
    smooth = np.exp(level + season)
    product = share * rate + (1.0 - share) * smooth
    product = np.where(is_idle[:, None] & (share <= 0), 0.0, product)
    return product, enough, is_idle


def _counted(fleet: Fleet, readings: Readings, timeline: Timeline, recovery: Floats) -> tuple[Floats, Floats]:
    """Days of every step that lie between two counts, and the product volume counted in them."""
    units = fleet.units
    count, steps = len(units), timeline.count
    has = np.isfinite(readings.totaliser_l) & (units.totaliser[readings.unit_index] > 0)
    rows = np.flatnonzero(has)
    unit, day, value = readings.unit_index[rows], readings.day[rows], readings.totaliser_l[rows]
    pair = (unit[1:] == unit[:-1]) & (day[1:] - day[:-1] > 0.2) & (value[1:] >= value[:-1])
    unit, start, end = unit[:-1][pair], day[:-1][pair], day[1:][pair]
    rise = (value[1:] - value[:-1])[pair]
    middle = timeline.step_of(0.5 * (start + end))
    stream = units.totaliser[unit]
    y = recovery[unit, middle]
    to_product = np.select([stream == 1, stream == 4], [y, 1.0 / waste_ratio(y)], 1.0)
    rate = rise * to_product / (end - start)
    first, last = timeline.step_of(start), timeline.step_of(end)
    spans = last - first + 1
    pairs = np.repeat(np.arange(len(first)), spans)
    at = first[pairs] + np.arange(len(pairs)) - np.repeat(np.cumsum(spans) - spans, spans)
    days = np.minimum(end[pairs], timeline.edges[at + 1]) - np.maximum(start[pairs], timeline.edges[at])
    cell = unit[pairs] * steps + at
    return (
        sum_by(cell, days, count * steps).reshape(count, steps),
        sum_by(cell, days * rate[pairs], count * steps).reshape(count, steps),
    )
