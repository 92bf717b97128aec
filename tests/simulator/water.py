"""The water and the demand of every unit, day by day, for the whole run and the years after it."""

from dataclasses import dataclass

import numpy as np

from tests.simulator.settings import World


@dataclass
class Paths:
    """Arrays of shape (units, days) and unit constants."""

    supply: np.ndarray
    temperature_degc: np.ndarray
    feed_tds: np.ndarray
    alkalinity: np.ndarray
    ph: np.ndarray
    chlorine: np.ndarray
    chloraminated: np.ndarray
    turbidity: np.ndarray
    dirt: np.ndarray
    line_kpa: np.ndarray
    product_l: np.ndarray
    told_weekly_l: np.ndarray


def co2_mg_per_l(ph: np.ndarray, alkalinity: np.ndarray, temperature_degc: np.ndarray) -> np.ndarray:
    """Free carbon dioxide from pH and alkalinity with a straight line through the pK1 values of the usual table."""
    pk1 = np.interp(
        temperature_degc, [0, 5, 10, 15, 20, 25, 30, 40], [6.58, 6.516, 6.463, 6.419, 6.382, 6.352, 6.328, 6.30]
    )
    return 44.0 * (alkalinity / 50.0) * 10.0 ** (pk1 - ph) * 0.93


def make_paths(world: World, rng: np.random.Generator, days: int) -> Paths:
    count = world.units
    supplies = max(2, count // world.units_per_supply)
    supply = rng.integers(0, supplies, count)
    t = np.arange(days)
    year = 2 * np.pi * t / 365.25

    mean_t = rng.uniform(10, 19, supplies)[:, None]
    amplitude = world.temperature_amplitude_degc * rng.uniform(0.6, 1.4, supplies)[:, None]
    wander = np.cumsum(rng.normal(0, 0.25, (supplies, days)), axis=1)
    wander -= np.array([np.convolve(w, np.ones(180) / 180, mode="same") for w in wander])
    temperature = np.clip(mean_t - amplitude * np.cos(year - 0.6) + wander, 2, 32)

    tds0 = np.clip(world.feed_tds_median_mg_per_l * np.exp(world.feed_tds_spread * rng.normal(size=supplies)), 50, 900)
    swing = rng.uniform(0.02, 0.25, supplies)[:, None] * np.cos(year + rng.uniform(0, 6.28, supplies)[:, None])
    change = np.ones((supplies, days))
    alkalinity_change = np.ones((supplies, days))
    for row in range(supplies):
        if rng.random() < world.source_change_share:
            at = int(rng.uniform(0.3, 1.0) * world.years * 365)
            change[row, at:] = np.exp(rng.normal(0, 0.3))
            alkalinity_change[row, at:] = np.exp(rng.normal(0, 0.3))
    tds = tds0[:, None] * np.exp(swing) * change
    alkalinity0 = np.clip(world.alkalinity_share * tds0 * rng.uniform(0.25, 0.6, supplies), 15, 400)
    alkalinity = alkalinity0[:, None] * np.exp(swing) * alkalinity_change
    ph = (
        world.ph_median
        + rng.uniform(-0.55, 0.55, supplies)[:, None]
        + 0.08 * np.cos(year + rng.uniform(0, 6.28, supplies)[:, None])
    )
    chlorine = rng.uniform(0.3, 1.8, supplies)[:, None] * (1 + 0.2 * np.cos(year))
    chloraminated = rng.random(supplies) < world.chloraminated_share
    turbidity = np.exp(np.log(0.35) + 0.6 * rng.normal(size=supplies))
    storm = np.ones((supplies, days))
    for row in range(supplies):
        for at in rng.integers(0, days, rng.poisson(world.storms_per_year * days / 365.25)):
            storm[row, at : at + int(rng.integers(2, 6))] += rng.exponential(world.storm_strength)
    storm *= np.exp(world.dirt_season * np.cos(year - 1.8))[None, :]

    def per_unit(values: np.ndarray) -> np.ndarray:
        return values[supply]

    feed_tds = (
        per_unit(tds) * np.exp(0.04 * rng.normal(size=count))[:, None] * np.exp(0.03 * rng.normal(size=(count, days)))
    )
    unit_turbidity = per_unit(turbidity) * np.exp(0.4 * rng.normal(size=count))
    dirt = unit_turbidity[:, None] ** world.sediment_turbidity_power * per_unit(storm)
    line = rng.normal(60, 9, count).clip(35, 90) * 6.895
    line_kpa = line[:, None] + 10 * rng.normal(size=(count, days)) + 8 * np.cos(year)[None, :]

    stated_weekly_l = np.clip(np.exp(np.log(90) + 0.6 * rng.normal(size=count)), 14, 900)
    stated_weekly_l = np.round(stated_weekly_l / 5) * 5
    true_l_per_day = (
        stated_weekly_l / 7 * world.told_demand_bias * np.exp(world.told_demand_spread * rng.normal(size=count))
    )
    growth = np.exp(np.outer(world.demand_growth_spread * rng.normal(size=count), t / 365.25 - world.years / 2))
    slow = rng.normal(size=(count, days // 30 + 2)) * 0.12
    slow = np.repeat(slow, 30, axis=1)[:, :days]
    daily = np.exp(world.demand_noise_spread * rng.normal(size=(count, days)) - world.demand_noise_spread**2 / 2)
    season = (1 + world.demand_season * np.sin(year - 1.2))[None, :]
    product = true_l_per_day[:, None] * growth * np.exp(slow) * daily * season
    for row in np.flatnonzero(rng.random(count) < world.demand_step_share):
        product[row, int(rng.uniform(0.2, 1.0) * world.years * 365) :] *= np.exp(rng.normal(0, 0.5))
    for row in range(count):
        for at in rng.integers(0, days, rng.poisson(world.holiday_days_per_year / 9 * days / 365.25)):
            product[row, at : at + int(rng.integers(4, 15))] = 0.0
    return Paths(
        supply=supply,
        temperature_degc=np.maximum(per_unit(temperature) + rng.normal(0, 0.8, count)[:, None], 1.0),
        feed_tds=feed_tds,
        alkalinity=per_unit(alkalinity),
        ph=per_unit(ph) + 0.03 * rng.normal(size=(count, 1)),
        chlorine=per_unit(chlorine) * np.exp(0.2 * rng.normal(size=count))[:, None],
        chloraminated=chloraminated[supply],
        turbidity=unit_turbidity,
        dirt=dirt,
        line_kpa=line_kpa,
        product_l=product,
        told_weekly_l=stated_weekly_l,
    )
