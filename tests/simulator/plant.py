"""The units as built, the state of their cartridges, and one day of wear.

Slots: two sediment, two carbon, one membrane, two resin; a unit has some of them. Wear follows the engineering
formulas (blocking laws, the Bohart-Adams column, net driving pressure and temperature) written out here a second
time, on purpose: the truth must not share code with what is being tested.
"""

from dataclasses import dataclass, fields

import numpy as np

from tests.simulator.settings import World
from tests.simulator.water import Paths, co2_mg_per_l

SLOT_STAGE = np.array([0, 0, 1, 1, 2, 3, 3])
SED, CARB, MEM, RES = slice(0, 2), slice(2, 4), 4, slice(5, 7)
PSI = 6.894757293168


@dataclass
class Plant:
    """What does not change: one row a unit, `has` and `role` one column a slot (role 0 single, 1 lead, 2 lag)."""

    has: np.ndarray
    role: np.ndarray
    kind_ro_di: np.ndarray
    use: np.ndarray
    rated_flow: np.ndarray
    rated_kpa: np.ndarray
    rejection: np.ndarray
    minimum_rejection: np.ndarray
    waste_ratio: np.ndarray
    restrictor_flow: np.ndarray
    pump: np.ndarray
    water_u: np.ndarray
    salt_u: np.ndarray
    clean_drop: np.ndarray
    carbon_drop: np.ndarray
    sediment_limit: np.ndarray
    curve: np.ndarray
    label: np.ndarray  # (units, 7): litres, grams, -, equivalents
    place: np.ndarray  # (units, 7): log factor of the place, equal for slots of a stage
    transfer_units: np.ndarray  # (units, 2): carbon, resin
    flow_loss: np.ndarray  # per year at usual load, log-normal over units
    salt_gain: np.ndarray
    reference_flow: np.ndarray
    usual_product: np.ndarray
    back_kpa: np.ndarray  # of a pressurised tank, 0 without


@dataclass
class State:
    """What changes: arrays (units, 7)."""

    serial: np.ndarray
    placed: np.ndarray
    first: np.ndarray
    capacity: np.ndarray
    used: (
        np.ndarray
    )  # sediment: share of capacity; carbon, resin: capacity units taken up; membrane: years of usual load
    loss_rate: np.ndarray  # (units,) of the standing membrane
    gain_rate: np.ndarray
    damage: np.ndarray
    exhausted: np.ndarray  # day, NaN while good
    driver: np.ndarray

    def copy(self) -> "State":
        return State(**{f.name: getattr(self, f.name).copy() for f in fields(self)})


@dataclass
class Day:
    """What a perfect instrument would have shown on one day."""

    line: np.ndarray
    prefilter_outlet: np.ndarray
    inlet: np.ndarray
    temperature: np.ndarray
    feed_tds: np.ndarray
    permeate_tds: np.ndarray
    interstage_tds: np.ndarray
    product_tds: np.ndarray
    permeate_flow: np.ndarray
    concentrate_flow: np.ndarray
    chlorine: np.ndarray
    interstage_chlorine: np.ndarray
    carbon_outlet: np.ndarray
    feed_l: np.ndarray
    permeate_l: np.ndarray


def viscosity(t: np.ndarray) -> np.ndarray:
    return np.interp(
        t, [0, 5, 10, 15, 20, 25, 30, 35, 45], [1.79, 1.518, 1.306, 1.138, 1.002, 0.890, 0.797, 0.719, 0.6]
    )


def arrhenius(u: np.ndarray, t: np.ndarray) -> np.ndarray:
    return np.exp(u * (1 / 298.15 - 1 / (t + 273.15)))


def osmotic(tds: np.ndarray, t: np.ndarray) -> np.ndarray:
    return 0.2654 * tds * (t + 273.15) / (1000 - tds / 1000)


def build_plant(world: World, paths: Paths, rng: np.random.Generator) -> Plant:
    n = world.units
    use = rng.choice(5, n, p=[0.4, 0.1, 0.25, 0.15, 0.1])  # reef, planted, drinking, coffee, laboratory
    di = np.isin(use, (0, 4)) | (rng.random(n) < 0.1)
    two_sed, two_carb, two_res = rng.random(n) < 0.15, rng.random(n) < 0.5, di & (rng.random(n) < 0.55)
    ones = np.ones(n, dtype=bool)
    has = np.stack([ones, two_sed, ones, two_carb, ones, di, two_res], axis=1)
    role = np.zeros((n, 7), dtype=int)
    for first, second, two in ((0, 1, two_sed), (2, 3, two_carb), (5, 6, two_res)):
        role[:, first], role[:, second] = np.where(two, 1, 0), 2
    product = paths.product_l[:, :700].mean(axis=1)
    rated = rng.choice([190, 284, 379, 568, 757], n) * 1.0
    rated = np.maximum(rated, np.select([product > 150, product > 60], [757.0, 379.0], 190.0))
    pump = (paths.line_kpa.mean(axis=1) < 50 * PSI) & (rng.random(n) < 0.7)
    ratio = rng.choice([2.0, 3.0, 4.0], n, p=[0.3, 0.4, 0.3])
    line = paths.line_kpa.mean(axis=1)
    inlet = np.where(pump, 80 * PSI, line - 3 * PSI)
    expected = rated * (inlet - 25) / (60 * PSI - 25) * 0.72
    concentrate = expected * ratio * np.exp(0.08 * rng.normal(size=n))
    clean = rng.uniform(0.8, 2.5, n) * PSI
    outlet = line - clean
    limit = np.minimum(10 * PSI, 0.15 * outlet)
    limit = np.where(outlet > 55 * PSI, np.minimum(limit, outlet - 50 * PSI), limit)
    limit = np.maximum(limit, 4 * PSI) * np.where(two_sed, 0.6, 1.0)
    feed_per_year = product * 365 * (1 + ratio)
    label = np.zeros((n, 7))
    label[:, SED] = rng.choice([11_000, 15_000, 23_000, 38_000], n)[:, None]
    # People fit larger filters where more water goes through.
    label[:, SED] *= np.clip(feed_per_year / 40_000, 0.6, 4.0)[:, None] ** 0.8
    label[:, CARB] = (rng.choice([57, 76, 114], n) * np.clip(feed_per_year / 20_000, 0.7, 5.0) ** 0.7)[:, None]
    litres = rng.choice([0.6, 0.75, 1.2], n) * np.clip(product / 5.0, 1.0, 8.0) ** 0.8
    label[:, RES] = (litres * 0.457)[:, None]
    place = np.zeros((n, 7))
    place[:, SED] = (world.sediment_place_spread * rng.normal(size=n))[:, None] + np.log(world.sediment_true_over_label)
    place[:, CARB] = (world.carbon_place_spread * rng.normal(size=n))[:, None] + np.log(world.carbon_true_over_label)
    place[:, RES] = (world.resin_place_spread * rng.normal(size=n))[:, None] + np.log(world.resin_true_over_label)
    rejection = rng.uniform(0.95, 0.985, n)
    return Plant(
        has=has,
        role=role,
        kind_ro_di=di,
        use=use,
        rated_flow=rated,
        rated_kpa=np.full(n, 60 * PSI),
        rejection=rejection,
        minimum_rejection=np.full(n, 0.90),
        waste_ratio=ratio,
        restrictor_flow=concentrate,
        pump=pump,
        water_u=world.water_u_kelvin + 150 * rng.normal(size=n),
        salt_u=world.salt_u_kelvin + 400 * rng.normal(size=n),
        clean_drop=clean,
        carbon_drop=rng.uniform(1.0, 2.5, n) * PSI,
        sediment_limit=limit,
        curve=rng.choice(world.sediment_curves, n),
        label=label,
        place=place,
        transfer_units=np.stack(
            [rng.uniform(*world.carbon_transfer_units, n), rng.uniform(*world.resin_transfer_units, n)], axis=1
        ),
        flow_loss=world.membrane_flow_loss_per_year * np.exp(world.membrane_flow_spread * rng.normal(size=n)),
        salt_gain=world.membrane_salt_gain_per_year * np.exp(world.membrane_salt_spread * rng.normal(size=n)),
        reference_flow=expected * (1 + ratio),
        usual_product=product,
        back_kpa=_back_pressure(world, rng, n),
    )


def _back_pressure(world: World, rng: np.random.Generator, n: int) -> np.ndarray:
    if not world.tank_share:
        return np.zeros(n)
    return np.where(rng.random(n) < world.tank_share, rng.uniform(80.0, 190.0, n), 0.0)


def fresh(world: World, plant: Plant, rng: np.random.Generator, unit: int, slot: int) -> tuple[float, float, float]:
    """Capacity of a new cartridge (label units), and the two rates of a new membrane."""
    spread = (world.sediment_cartridge_spread,) * 2 + (world.carbon_cartridge_spread,) * 2 + (0.0,)
    spread += (world.resin_cartridge_spread,) * 2
    capacity = plant.label[unit, slot] * np.exp(plant.place[unit, slot] + spread[slot] * rng.normal())
    return (
        capacity,
        plant.flow_loss[unit] * np.exp(0.2 * rng.normal()),
        plant.salt_gain[unit] * np.exp(0.25 * rng.normal()),
    )


def blocking(curve: np.ndarray, share: np.ndarray, clean: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """Pressure drop at clean-reference conditions after a share of capacity: limit at 1, by the family y^curve
    linear."""
    share = np.clip(share, 0.0, 1.6)
    power = np.where(curve == 0, 1.0, curve)
    line = clean**power + (limit**power - clean**power) * share
    line = np.maximum(line, 1e-6)
    shaped = np.minimum(line ** (1 / power), 40 * PSI)
    exponential = clean * (limit / clean) ** share
    return np.minimum(np.where(curve == 0, exponential, shaped), 40 * PSI)


def capacity_after(remaining: np.ndarray, load: np.ndarray, per_unit: np.ndarray) -> np.ndarray:
    """Capacity left after a load has passed: exp(k R') = 1 + (exp(k R) - 1) exp(-k load)."""
    kr = np.minimum(per_unit * remaining, 500.0)
    return np.log1p(np.expm1(kr) * np.exp(-per_unit * load)) / per_unit


def run_day(
    world: World, plant: Plant, paths: Paths, state: State, day: int, *, others_are_kept_up: bool = False
) -> Day:
    """Wear of one day; changes `state` and returns what could be seen at the end of it.

    With `others_are_kept_up` no stage suffers from an exhausted one before it: that is what 'when will it be
    exhausted' means at a cut, when nothing is changed any more in the simulated future.
    """
    t = paths.temperature_degc[:, day]
    feed = paths.feed_tds[:, day]
    line = paths.line_kpa[:, day]
    volume = paths.product_l[:, day]
    n = len(t)

    # sediment and pressure
    has_sed = plant.has[:, SED]
    drop_clean_ref = np.zeros(n)
    drops = np.zeros((n, 2))
    for slot in (0, 1):
        drops[:, slot] = np.where(
            has_sed[:, slot],
            blocking(plant.curve, state.used[:, slot], plant.clean_drop, plant.sediment_limit),
            0.0,
        )
        felt = np.minimum(drops[:, slot], 0.7 * plant.sediment_limit) if others_are_kept_up else drops[:, slot]
        drop_clean_ref += felt
    cold = 1 + 0.4 * (arrhenius(plant.water_u, t) / arrhenius(plant.water_u, np.array(15.0)) - 1)
    raw = (drop_clean_ref + plant.carbon_drop) * cold * viscosity(t) / viscosity(np.array(15.0))
    prefilter_outlet = np.maximum(line - raw, 60.0)
    inlet = np.where(plant.pump, 80 * PSI, prefilter_outlet)

    # membrane
    age_years = state.used[:, MEM]
    run_in = 1 - 0.07 * (1 - np.exp(-(day - state.placed[:, MEM]) / 10.0))
    ageing = state.loss_rate * age_years**world.membrane_acceleration
    flow_factor = run_in * np.exp(-ageing)
    salt_factor = np.exp(state.gain_rate * age_years**world.membrane_acceleration + state.damage)
    rejection = 1 - (1 - plant.rejection) * salt_factor
    flow_share = flow_factor / 0.93
    if others_are_kept_up:
        flow_factor = np.maximum(flow_factor, 0.83)
        salt_factor = np.minimum(salt_factor, 1.5)
    recovery = 1 / (1 + plant.waste_ratio)
    for _ in range(2):
        concentrate_tds = feed * np.log(1 / (1 - recovery)) / recovery
        ndp = np.maximum(inlet - osmotic(concentrate_tds, t) - plant.back_kpa, 20.0)
        permeate_flow = plant.rated_flow * ndp / (plant.rated_kpa - 20) * arrhenius(plant.water_u, t) * flow_factor
        concentrate_flow = plant.restrictor_flow * np.sqrt(inlet / (57 * PSI))
        recovery = np.clip(permeate_flow / (permeate_flow + concentrate_flow), 0.02, 0.9)
    ndp_standard = plant.rated_kpa - 20
    passage = (
        (1 - plant.rejection)
        * salt_factor
        * ndp_standard
        / ndp
        * arrhenius(plant.salt_u, t)
        / arrhenius(plant.water_u, t)
    )
    permeate_tds = feed * np.clip(passage * np.log(1 / (1 - recovery)) / recovery / 1.11, 0, 0.95)
    feed_l = volume / recovery

    # the loads
    for slot in (0, 1):
        load = feed_l * paths.dirt[:, day] / state.capacity[:, slot]
        load = load + plant.label[:, slot] / state.capacity[:, slot] / world.sediment_days
        share = 0.55 if slot == 1 else 1.0  # the second filter of two sees what the first lets through
        state.used[:, slot] += np.where(has_sed[:, slot], load * share, 0.0)
    hardness = (feed / 250.0) ** 0.2
    usual = np.maximum(plant.usual_product, 0.5)
    state.used[:, MEM] += (0.4 + 0.6 * volume / usual) * hardness / 365.25
    if world.membrane_fault_share:
        # Drawn from the day's own number, so that a replay of the day sees the same faults.
        fails = np.random.default_rng(day).random(n) < world.membrane_fault_share / 365.25
        state.damage += np.where(fails, 1.0, 0.0)
    chlorine = paths.chlorine[:, day]
    outlet, between = _column(state, plant, CARB.start, feed_l * chlorine / 1000.0, plant.transfer_units[:, 0])
    carbon_outlet = outlet * chlorine
    hours = feed_l / np.maximum(plant.reference_flow, 1.0) * 24
    if not others_are_kept_up:
        state.damage += carbon_outlet * hours / 3000.0 * np.where(paths.chloraminated, 0.02, 1.0)
    co2 = co2_mg_per_l(paths.ph[:, day], paths.alkalinity[:, day], t)
    load_eq = volume * (permeate_tds / 58.443 + co2 / 44.01 + 0.1 / 60.08) / 1000.0
    product_share, interstage_share = _column(state, plant, RES.start, load_eq, plant.transfer_units[:, 1])

    product_tds = np.where(plant.has[:, 5], permeate_tds * product_share, permeate_tds)
    actual = Day(
        line=line,
        prefilter_outlet=prefilter_outlet,
        inlet=inlet,
        temperature=t,
        feed_tds=feed,
        permeate_tds=permeate_tds,
        interstage_tds=permeate_tds * interstage_share,
        product_tds=product_tds,
        permeate_flow=permeate_flow,
        concentrate_flow=concentrate_flow,
        chlorine=chlorine,
        interstage_chlorine=between * chlorine,
        carbon_outlet=carbon_outlet,
        feed_l=feed_l,
        permeate_l=volume,
    )
    _mark(plant, state, day, actual, drops, flow_share, rejection, product_share, interstage_share,
          outlet * chlorine, between)  # fmt: skip
    return actual


def _column(
    state: State, plant: Plant, first: int, load: np.ndarray, transfer_units: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Wear of one or two beds in series; fraction after the last and after the first."""
    per_unit = transfer_units / np.maximum(plant.label[:, first] * np.exp(plant.place[:, first]), 1e-9)
    two = plant.has[:, first + 1]
    lead = np.maximum(state.capacity[:, first] - state.used[:, first], 0.0)
    lag = np.where(two, np.maximum(state.capacity[:, first + 1] - state.used[:, first + 1], 0.0), 0.0)
    both = lead + lag
    lead_after = capacity_after(lead, load, per_unit)
    both_after = capacity_after(both, load, per_unit)
    present = plant.has[:, first]
    state.used[:, first] = np.where(present, state.capacity[:, first] - lead_after, 0.0)
    lag_after = np.maximum(both_after - lead_after, 0.0)
    state.used[:, first + 1] = np.where(two, state.capacity[:, first + 1] - lag_after, 0.0)
    between = np.exp(-per_unit * lead_after)
    after = np.exp(-per_unit * both_after)
    return np.where(two, after, between), between


def _mark(
    plant: Plant,
    state: State,
    day: int,
    actual: Day,
    drops: np.ndarray,
    flow_share: np.ndarray,
    rejection: np.ndarray,
    product_share: np.ndarray,
    interstage_share: np.ndarray,
    carbon_outlet: np.ndarray,
    carbon_between: np.ndarray,
) -> None:
    now = np.zeros((len(flow_share), 7), dtype=bool)
    driver = np.zeros((len(flow_share), 7), dtype=int)
    now[:, SED] = drops >= plant.sediment_limit[:, None]
    driver[:, SED] = 2
    carbon_wear = np.stack(
        [np.where(plant.role[:, 2] == 1, carbon_between >= 0.5, carbon_outlet > 0.1), carbon_outlet > 0.1], axis=1
    )
    carbon_age = day - state.first[:, CARB] >= 365
    now[:, CARB] = carbon_wear | carbon_age
    driver[:, CARB] = np.where(carbon_wear, 3, 5)
    now[:, MEM] = (day - state.placed[:, MEM] > 60) & ((flow_share < 0.85) | (rejection < plant.minimum_rejection))
    driver[:, MEM] = 4
    product = actual.permeate_tds * product_share
    lead = interstage_share >= 0.95
    single = product > 1.0
    now[:, 5] = np.where(plant.role[:, 5] == 1, lead, single)
    now[:, 6] = single
    driver[:, RES] = 3
    new = now & plant.has & np.isnan(state.exhausted)
    state.exhausted[new] = day
    state.driver[new] = driver[new]
