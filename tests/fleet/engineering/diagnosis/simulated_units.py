"""Invented units with known faults, by equations of their own, for judging the diagnosis.

Nothing here comes from the room under test: van 't Hoff for osmotic pressure, an Arrhenius water flow whose coefficient
differs from unit to unit, a constant salt flow, an orifice for the restrictor, viscosity by a three-constant law. All
numbers are invented. Meters read with a few per cent of error and round to their display.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

KPA_PER_PSI = 6.894757


@dataclass(frozen=True)
class State:
    """One unit on one day."""

    line_kpa: float
    temperature_degc: float
    feed_tds: float
    prefilter_kpa: float  # differential at 1000 L/day and 25 degC
    water: float  # L/day per kPa at 25 degC
    salt: float  # mg/day per mg/L of feed-brine at 25 degC
    restrictor: float  # L/day per root kPa
    u_kelvin: float
    tank_kpa: float = 0.0
    tank_open: bool = False
    chlorine_total: float = 0.0
    chlorine_free: float = 0.0
    lead_share: float = 0.0
    product_share: float = 0.0
    creep: float = 1.5
    channel_pressure_ratio: float = 1.0
    observed: dict[str, Any] = field(default_factory=dict)
    no_permeate: bool = False
    swap_probes: bool = False
    pump_kpa: float = 0.0  # inlet a running pump keeps; 0 without a pump
    pump_runs: bool = True
    misread: dict[str, float] = field(default_factory=dict)  # quantity -> factor on what is written down


def run(state: State) -> dict[str, Any]:
    """What perfect gauges would show."""
    cold = math.exp(state.u_kelvin * (1 / 298.15 - 1 / (state.temperature_degc + 273.15)))
    thick = 10 ** (247.8 / (state.temperature_degc + 133.15) - 247.8 / 158.15)
    permeate, drain = 200.0, 800.0
    inlet, outlet, passed = state.line_kpa, state.line_kpa, 10.0
    for _ in range(60):
        outlet = state.line_kpa - state.prefilter_kpa * thick * (permeate + drain) / 1000.0
        inlet = state.pump_kpa if state.pump_kpa and state.pump_runs else max(outlet - 3.0, 1.0)
        drain = 0.5 * (drain + state.restrictor * math.sqrt(inlet))
        recovery = permeate / (permeate + drain)
        brine = state.feed_tds * (1.0 + 1.0 / (1.0 - min(recovery, 0.9))) / 2.0
        osmotic = 2 * 8.314 * (state.temperature_degc + 273.15) * (brine - passed) / 58443.0
        back = state.tank_kpa if state.tank_open else 0.0
        flow = max(state.water * cold * (inlet - back - osmotic), 0.0)
        permeate = 0.5 * (permeate + (0.0 if state.no_permeate else flow))
        # Salt takes to warmth more than water does.
        passed = state.salt * cold**1.5 * brine / max(permeate, 1.0)
    passed = min(passed, 0.9 * state.feed_tds)
    shown: dict[str, Any] = {
        "line_pressure_kpa": state.line_kpa,
        "prefilter_outlet_pressure_kpa": outlet,
        "inlet_pressure_kpa": inlet,
        "tank_pressure_kpa": state.tank_kpa,
        "temperature_degc": state.temperature_degc,
        "feed_tds_mg_per_l": state.feed_tds,
        "permeate_tds_mg_per_l": passed,
        "permeate_tds_at_start_mg_per_l": passed * state.creep,
        "interstage_tds_mg_per_l": passed * state.lead_share,
        "product_tds_mg_per_l": passed * state.product_share,
        "concentrate_tds_mg_per_l": ((permeate + drain) * state.feed_tds - permeate * passed) / max(drain, 1.0),
        "permeate_flow_l_per_day": 0.0 if state.no_permeate else permeate,
        "concentrate_flow_l_per_day": drain,
        "feed_total_chlorine_mg_per_l": 1.5,
        "carbon_outlet_total_chlorine_mg_per_l": state.chlorine_total,
        "carbon_outlet_free_chlorine_mg_per_l": state.chlorine_free,
        "minutes_since_start": 15.0,
        "state": "flowing",
        "tank_valve": "open" if state.tank_open else "closed",
    }
    for name, factor in state.misread.items():
        shown[name] = shown[name] * factor
    if state.swap_probes:
        shown["feed_tds_mg_per_l"], shown["permeate_tds_mg_per_l"] = passed, state.feed_tds
    return shown


def measured(shown: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """What a person writes down: each gauge a little off, rounded to its display."""
    read: dict[str, Any] = {}
    for name, value in shown.items():
        if not isinstance(value, float) or name == "minutes_since_start":
            read[name] = value
        elif name.endswith("_kpa"):
            read[name] = KPA_PER_PSI * max(round(value * rng.normal(1.0, 0.01) / KPA_PER_PSI), 0)
        elif "tds" in name:
            read[name] = float(max(round(value * rng.normal(1.0, 0.012) + rng.normal(0.0, 0.25)), 0))
        elif name.endswith("_l_per_day"):
            read[name] = float(round(value * rng.normal(1.0, 0.02)))
        elif name == "temperature_degc":
            read[name] = float(round(value + rng.normal(0.0, 0.3)))
        else:
            read[name] = round(max(value + rng.normal(0.0, 0.01), 0.0) / 0.05) * 0.05 if value > 0.0 else 0.0
    return read


def new_unit(rng: np.random.Generator) -> State:
    """A unit in good health on the day of its baseline."""
    water = rng.uniform(0.5, 1.2)
    return State(
        line_kpa=rng.uniform(360, 480),
        temperature_degc=rng.uniform(10, 22),
        feed_tds=rng.uniform(150, 500),
        prefilter_kpa=rng.uniform(10, 25),
        water=water,
        salt=water * rng.uniform(8.0, 14.0),
        restrictor=water * rng.uniform(52, 75),
        u_kelvin=rng.uniform(2600, 3300),
    )


def later(unit: State, rng: np.random.Generator) -> State:
    """The same unit on another day: weather, supply and a little wear, no fault."""
    return replace(
        unit,
        line_kpa=unit.line_kpa * rng.uniform(0.96, 1.03),
        temperature_degc=float(np.clip(unit.temperature_degc + rng.uniform(-3, 3), 5, 28)),
        feed_tds=unit.feed_tds * rng.uniform(0.94, 1.06),
        prefilter_kpa=unit.prefilter_kpa * rng.uniform(1.0, 1.5),
        water=unit.water * rng.uniform(0.97, 1.01),
        salt=unit.salt * rng.uniform(0.97, 1.05),
    )


Fault = Callable[[State, np.random.Generator], State]


def _full_tank(unit: State, rng: np.random.Generator) -> State:
    share = rng.uniform(0.69, 0.8)
    facts = {"tank_is_full": True, "has_automatic_shutoff": True}
    return replace(unit, tank_open=True, tank_kpa=share * unit.line_kpa, observed=facts)


def _leaky_check_valve(unit: State, rng: np.random.Generator) -> State:
    facts = {"concentrate_never_stops": True, "tank_pressure_falls_with_feed_shut": True}
    return replace(unit, tank_open=True, tank_kpa=rng.uniform(0.25, 0.5) * unit.line_kpa, observed=facts)


def _tank_stays_low(unit: State, rng: np.random.Generator) -> State:
    facts = {"concentrate_never_stops": True, "tank_pressure_falls_with_feed_shut": False}
    return replace(unit, tank_open=True, tank_kpa=rng.uniform(0.1, 0.4) * unit.line_kpa, observed=facts)


def _full_by_word(unit: State, rng: np.random.Generator, **more: bool) -> State:
    facts = {"concentrate_never_stops": True, "tank_is_full": True, **more}
    return replace(unit, observed=facts)


def colder(unit: State, by_degc: float) -> float:
    """The temperature of a unit's feed, that much colder and short of freezing."""
    return max(unit.temperature_degc - by_degc, 2.5)


def with_pump(unit: State, rng: np.random.Generator) -> State:
    return replace(unit, pump_kpa=rng.uniform(520, 600))


# Faults of units that have a booster pump, which they must have had on the day of their baseline too.
WITH_PUMP = {"pump stands still", "pump set too high"}

# Fault -> what it does to the unit, and the rule that should find it.
FAULTS: dict[str, tuple[Fault, str]] = {
    "prefilter clogged": (lambda u, r: replace(u, prefilter_kpa=u.prefilter_kpa * r.uniform(8, 12)), "D01"),
    "line pressure low": (lambda u, r: replace(u, line_kpa=u.line_kpa * r.uniform(0.6, 0.75)), "D02"),
    "membrane oxidised": (
        lambda u, r: replace(
            u,
            salt=u.salt * r.uniform(2.6, 4.5),
            water=u.water * r.uniform(1.02, 1.12),
            chlorine_total=r.uniform(0.2, 0.6),
            chlorine_free=r.uniform(0.15, 0.2),
        ),
        "D05",
    ),
    "o-ring leak": (
        lambda u, r: replace(
            u, salt=u.salt * r.uniform(2.4, 5), observed={"salt_passage_ratio_since_last_reading": r.uniform(2.2, 4.5)}
        ),
        "D06",
    ),
    "membrane scaled": (
        lambda u, r: replace(
            u,
            water=u.water * r.uniform(0.6, 0.76),
            salt=u.salt * r.uniform(1.05, 1.4),
            observed={"concentrate_langelier_index": r.uniform(0.3, 1.5)},
        ),
        "D07",
    ),
    "membrane fouled": (
        lambda u, r: replace(
            u,
            water=u.water * r.uniform(0.6, 0.76),
            salt=u.salt * r.uniform(0.6, 0.7),
            channel_pressure_ratio=r.uniform(1.25, 1.8),
        ),
        "D08",
    ),
    "lead resin exhausted": (lambda u, r: replace(u, lead_share=r.uniform(0.99, 1.03)), "D11"),
    "both resins exhausted": (
        lambda u, r: replace(u, lead_share=1.0, product_share=r.uniform(0.99, 1.02)),
        "D12",
    ),
    "creep at standstill": (lambda u, r: replace(u, creep=r.uniform(4, 9)), "D14"),
    "supply changed": (lambda u, r: replace(u, feed_tds=u.feed_tds * r.uniform(1.5, 2.0)), "D15"),
    "probes swapped": (lambda u, r: replace(u, swap_probes=True), "D18"),
    "shut-off valve": (_full_tank, "D21"),
    "check valve": (_leaky_check_valve, "D22"),
    "cold water": (
        lambda u, r: replace(u, temperature_degc=colder(u, r.uniform(9, 12)), line_kpa=1.03 * u.line_kpa),
        "D24",
    ),
    "restrictor blocked": (lambda u, r: replace(u, restrictor=u.restrictor * r.uniform(0.2, 0.45)), "D25"),
    "restrictor lost": (lambda u, r: replace(u, restrictor=u.restrictor * r.uniform(2.2, 3.5)), "D26"),
    "tank pushes back": (
        lambda u, r: replace(u, tank_open=True, tank_kpa=r.uniform(0.35, 0.55) * u.line_kpa),
        "D27",
    ),
    "no permeate": (lambda u, r: replace(u, no_permeate=True), "D28"),
    "chloramine": (
        lambda u, r: replace(u, chlorine_total=r.uniform(0.3, 0.8), chlorine_free=0.0),
        "D30",
    ),
    "pump stands still": (lambda u, r: replace(u, pump_runs=False), "D03"),
    "pump set too high": (lambda u, r: replace(u, pump_kpa=r.uniform(920, 1100)), "D04"),
    "membrane settles in": (
        lambda u, r: replace(
            u,
            water=u.water * r.uniform(0.91, 0.94),
            salt=u.salt * r.uniform(0.88, 0.92),
            observed={"membrane_age_days": 20.0},
        ),
        "D09",
    ),
    "membrane aged": (
        lambda u, r: replace(
            u,
            water=u.water * r.uniform(0.55, 0.66),
            salt=u.salt * r.uniform(2.1, 2.4),
            observed={"membrane_age_days": 1500.0},
        ),
        "D10",
    ),
    "membrane dried out": (
        lambda u, r: replace(
            u, observed={"salt_passage_step_ratio": r.uniform(2.5, 4.0), "flow_step_ratio": r.uniform(0.65, 0.8)}
        ),
        "D62",
    ),
    "resins exchanged": (
        lambda u, r: replace(
            u,
            observed={
                "interstage_tds_mg_per_l": 0.0,
                "product_tds_mg_per_l": r.uniform(3.0, 5.0),
                "has_lag_resin": True,
            },
        ),
        "D63",
    ),
    "one gauge fell": (
        lambda u, r: replace(
            u,
            observed={
                "baseline_line_pressure_kpa": None,
                "clean_prefilter_differential_pressure_kpa": None,
                "line_pressure_kpa": None,
                "prefilter_outlet_pressure_kpa": None,
                "prefilter_differential_pressure_kpa": None,
                "has_booster_pump": False,
                "clean_inlet_pressure_kpa": 420.0,
                "inlet_pressure_kpa": r.uniform(270.0, 330.0),
            },
        ),
        "D49",
    ),
    "line fell, one gauge": (
        lambda u, r: replace(
            u,
            observed={
                "baseline_line_pressure_kpa": None,
                "clean_prefilter_differential_pressure_kpa": None,
                "line_pressure_kpa": None,
                "prefilter_outlet_pressure_kpa": None,
                "prefilter_differential_pressure_kpa": None,
                "has_booster_pump": False,
                "baseline_inlet_pressure_kpa": 420.0,
                "clean_inlet_pressure_kpa": r.uniform(270.0, 300.0),
                "inlet_pressure_kpa": 268.0,
            },
        ),
        "D64",
    ),
    "resin short-lived": (
        lambda u, r: replace(u, lead_share=1.0, observed={"resin_life_share": r.uniform(0.2, 0.5)}),
        "D13",
    ),
    "low driving pressure": (lambda u, r: replace(u, line_kpa=u.line_kpa * r.uniform(0.6, 0.75)), "D16"),
    "meters disagree": (
        lambda u, r: replace(u, observed={"first_meter_tds_mg_per_l": 200.0, "second_meter_tds_mg_per_l": 280.0}),
        "D17",
    ),
    "sample from concentrate": (
        lambda u, r: replace(u, misread={"permeate_tds_mg_per_l": r.uniform(40, 60)}),
        "D19",
    ),
    "a zero too many": (lambda u, r: replace(u, misread={"permeate_flow_l_per_day": 10.0}), "D20"),
    "tank stays low": (_tank_stays_low, "D23"),
    "feed shut": (
        lambda u, r: replace(u, misread={"permeate_flow_l_per_day": 0.0, "concentrate_flow_l_per_day": 0.0}),
        "D29",
    ),
    "carbon bypassed": (
        lambda u, r: replace(
            u, chlorine_total=r.uniform(0.2, 0.6), chlorine_free=0.15, observed={"days_since_carbon_change": 5.0}
        ),
        "D31",
    ),
    "flow misread": (
        lambda u, r: replace(u, misread={"concentrate_flow_l_per_day": r.uniform(0.25, 0.4)}),
        "D36",
    ),
    "warm water": (lambda u, r: replace(u, temperature_degc=u.temperature_degc + r.uniform(8, 11)), "D37"),
    "read too soon": (lambda u, r: replace(u, observed={"minutes_since_start": 1.0}), "D38"),
    "line too weak": (lambda u, r: replace(u, line_kpa=r.uniform(180, 255)), "D42"),
    "carbon exhausted": (lambda u, r: replace(u, chlorine_total=r.uniform(0.2, 0.6), chlorine_free=0.15), "D44"),
    "chlorine test wrong": (
        lambda u, r: replace(u, chlorine_total=r.uniform(0.2, 0.5), chlorine_free=r.uniform(0.8, 1.2)),
        "D43",
    ),
    "lead carbon exhausted": (
        lambda u, r: replace(
            u,
            observed={"interstage_chlorine_mg_per_l": r.uniform(0.55, 0.9), "feed_total_chlorine_mg_per_l": 1.0},
        ),
        "D45",
    ),
    "membrane lets salt through": (lambda u, r: replace(u, salt=u.salt * r.uniform(7.0, 9.0)), "D46"),
    "weak ions through": (lambda u, r: replace(u, observed={"silica_detected": True}), "D33"),
    "open cup": (
        lambda u, r: replace(u, observed={"open_cup_sample": True, "product_tds_mg_per_l": r.uniform(1.0, 2.0)}),
        "D34",
    ),
    "acid permeate": (lambda u, r: replace(u, observed={"permeate_ph": r.uniform(5.0, 6.0)}), "D35"),
    "tank tastes": (lambda u, r: replace(u, observed={"taste_or_odour": True}), "D39"),
    "pump cycles": (lambda u, r: replace(u, observed={"pump_cycles_rapidly": True}), "D40"),
    "housing leaks": (lambda u, r: replace(u, observed={"water_on_floor": True}), "D50"),
    "switched off": (lambda u, r: replace(u, observed={"is_switched_off": True}), "D51"),
    "drain runs on": (_full_by_word, "D52"),
    "float alone": (lambda u, r: _full_by_word(u, r, has_automatic_shutoff=False), "D53"),
    "drain runs on and pump cycles": (lambda u, r: _full_by_word(u, r, pump_cycles_rapidly=True), "D54"),
    "float sticks": (lambda u, r: replace(u, observed={"container_overflows": True}), "D55"),
    "tank without air": (lambda u, r: replace(u, observed={"tap_soon_trickles": True}), "D56"),
    "slow to fill": (lambda u, r: replace(u, observed={"slow_filling": True}), "D57"),
    "pump runs on": (lambda u, r: replace(u, observed={"pump_never_stops": True}), "D61"),
    "new noise": (lambda u, r: replace(u, observed={"unusual_noise": True}), "D58"),
    "slime in a housing": (lambda u, r: replace(u, observed={"smell_or_slime": True}), "D59"),
    "resin discoloured": (
        lambda u, r: replace(
            u,
            observed={
                "resin_colour_changed_fraction": r.uniform(0.76, 1.0),
                "interstage_tds_mg_per_l": None,
                "product_tds_mg_per_l": None,
            },
        ),
        "D60",
    ),
    "not read": (lambda u, r: replace(u, observed={"weeks_since_last_reading": r.uniform(13, 40)}), "D41"),
    "resin gives back": (
        lambda u, r: replace(u, lead_share=1.0, product_share=r.uniform(1.4, 1.8)),
        "D32",
    ),
    "membrane oxidised earlier": (
        lambda u, r: replace(
            u,
            salt=u.salt * r.uniform(2.6, 4.5),
            water=u.water * r.uniform(1.02, 1.12),
            observed={"membrane_exposure_ppm_h": r.uniform(300.0, 900.0)},
        ),
        "D47",
    ),
    "cold water on a weaker line": (
        lambda u, r: replace(u, temperature_degc=colder(u, r.uniform(9, 12)), line_kpa=0.87 * u.line_kpa),
        "D48",
    ),
    "oxidised unseen": (
        lambda u, r: replace(u, observed={"salt_level_ratio": r.uniform(2.5, 4.0)}),
        "D65",
    ),
    "seal gives way": (
        lambda u, r: replace(u, observed={"salt_level_ratio": r.uniform(2.5, 4.0), "membrane_exposure_ppm_h": 0.0}),
        "D80",
    ),
    "permeate meter low": (
        lambda u, r: replace(u, observed={"salt_passage_step_ratio": r.uniform(0.15, 0.3)}),
        "D66",
    ),
    "resin before exhausted early": (
        lambda u, r: replace(u, observed={"previous_resin_life_share": r.uniform(0.05, 0.25)}),
        "D68",
    ),
    "another membrane": (
        lambda u, r: replace(
            u, water=u.water * r.uniform(0.5, 0.6), observed={"first_flow_over_label": r.uniform(0.5, 0.7)}
        ),
        "D70",
    ),
    "resin passed by": (
        lambda u, r: replace(
            u,
            product_share=0.4,
            observed={"fresh_resin_product_tds_mg_per_l": r.uniform(4.0, 6.0), "product_tds_mg_per_l": 5.0},
        ),
        "D73",
    ),
    "gauge hangs": (
        lambda u, r: replace(
            u,
            observed={
                "inlet_pressure_over_usual": r.uniform(0.05, 0.3),
                "permeate_flow_over_usual": r.uniform(0.9, 1.1),
            },
        ),
        "D74",
    ),
    "restrictor too tight": (
        lambda u, r: replace(u, observed={"first_waste_ratio_over_design": r.uniform(0.3, 0.6)}),
        "D71",
    ),
    "restrictor too wide": (
        lambda u, r: replace(u, observed={"first_waste_ratio_over_design": r.uniform(1.6, 3.0)}),
        "D72",
    ),
    "water past its limit": (
        lambda u, r: replace(u, observed={"has_resin": False, "product_tds_mg_per_l": r.uniform(4.0, 6.0)}),
        "D76",
    ),
    "fines of new carbon": (
        lambda u, r: replace(
            u,
            water=u.water * r.uniform(0.45, 0.65),
            observed={"flow_over_before_new_carbon": r.uniform(0.45, 0.7)},
        ),
        "D75",
    ),
    "nothing comes": (lambda u, r: replace(u, observed={"no_water": True}), "D77"),
    "lamp dark": (lambda u, r: replace(u, observed={"has_uv": True, "uv_alarm": True}), "D78"),
    "minerals gone": (
        lambda u, r: replace(u, observed={"has_remineralisation": True, "remineralised_ph": r.uniform(5.5, 6.4)}),
        "D79",
    ),
}
