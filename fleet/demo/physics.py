"""What a simulated unit does on one day, in equations of its own: pressures, flows, salt, chlorine, resin.

Everything is deliberately simpler than, and separate from, `fleet.engineering`: orifice for the restrictor, exponential
blocking, a captured-share breakthrough. Numbers without a source are invented.
"""

import math
from dataclasses import dataclass

KPA_PER_MG_PER_L = 0.0767
"""Osmotic pressure of sodium chloride near 20 degC, van 't Hoff with two ions per 58.44 g: 2 x 8.314 x 293 / 58443."""

NEVER_CLEAN = 0.004
"""Share of the chlorine that slips through even a fresh carbon."""

RESIN_TRANSFER_UNITS = 14.0
CARBON_TRANSFER_UNITS = 7.0


@dataclass(frozen=True)
class Gauges:
    """What perfect gauges would show while the unit runs."""

    line_pressure_kpa: float
    prefilter_outlet_pressure_kpa: float
    inlet_pressure_kpa: float
    temperature_degc: float
    feed_tds_mg_per_l: float
    permeate_tds_mg_per_l: float
    concentrate_tds_mg_per_l: float
    permeate_flow_l_per_day: float
    concentrate_flow_l_per_day: float


@dataclass(frozen=True)
class Membrane:
    """A membrane's label and its state against new: water and salt permeability."""

    rated_flow_l_per_day: float
    rated_pressure_kpa: float
    rated_tds_mg_per_l: float
    rejection_fraction: float
    water_factor: float = 1.0
    salt_factor: float = 1.0


def relative_viscosity(temperature_degc: float) -> float:
    """Viscosity of water against 25 degC (three-constant exponential law)."""
    return float(10 ** (247.8 / (temperature_degc + 133.15) - 247.8 / (25 + 133.15)))


def operate(
    *,
    line_pressure_kpa: float,
    filter_resistance_kpa: float,
    temperature_degc: float,
    feed_tds_mg_per_l: float,
    membrane: Membrane,
    restrictor_flow_l_per_day: float,
    pump_pressure_kpa: float | None,
) -> Gauges:
    """Find the running point of a unit.

    Parameters
    ----------
    filter_resistance_kpa
        Differential pressure over all prefilters at 1 L/min and 25 degC.
    restrictor_flow_l_per_day
        Concentrate flow of the restrictor at 414 kPa (60 psi).
    pump_pressure_kpa
        Inlet pressure a booster pump keeps, or None without one.
    """
    thickness = relative_viscosity(temperature_degc)
    warmth = math.exp((3020 if temperature_degc < 25 else 2640) * (1 / 298.15 - 1 / (temperature_degc + 273.15)))
    rated_drive = membrane.rated_pressure_kpa - KPA_PER_MG_PER_L * membrane.rated_tds_mg_per_l * 1.08
    feed_flow = restrictor_flow_l_per_day * 1.25
    permeate = concentrate = prefilter_loss = inlet = prefilter_outlet = drive = 0.0
    mean_tds = feed_tds_mg_per_l
    for _ in range(12):
        litres_per_minute = feed_flow / 1440
        prefilter_loss = filter_resistance_kpa * litres_per_minute * thickness
        available = line_pressure_kpa - 12 * litres_per_minute
        prefilter_outlet = max(available - prefilter_loss, 0.12 * available)
        inlet = prefilter_outlet if pump_pressure_kpa is None else max(pump_pressure_kpa, prefilter_outlet)
        if pump_pressure_kpa is not None and prefilter_outlet < 40:
            inlet = prefilter_outlet + 150  # a starved pump
        drive = max(inlet - KPA_PER_MG_PER_L * mean_tds, 5.0)
        permeate = membrane.rated_flow_l_per_day * membrane.water_factor * drive / rated_drive * warmth
        concentrate = restrictor_flow_l_per_day * math.sqrt(inlet / 414)
        recovery = permeate / (permeate + concentrate)
        mean_tds = feed_tds_mg_per_l * math.log(1 / (1 - recovery)) / recovery
        feed_flow = 0.5 * feed_flow + 0.5 * (permeate + concentrate)
    passage = (1 - membrane.rejection_fraction) * membrane.salt_factor / membrane.water_factor * rated_drive / drive
    permeate_tds = mean_tds * passage / (1 + passage)
    recovery = permeate / (permeate + concentrate)
    return Gauges(
        line_pressure_kpa=line_pressure_kpa,
        prefilter_outlet_pressure_kpa=prefilter_outlet,
        inlet_pressure_kpa=inlet,
        temperature_degc=temperature_degc,
        feed_tds_mg_per_l=feed_tds_mg_per_l,
        permeate_tds_mg_per_l=permeate_tds,
        concentrate_tds_mg_per_l=(feed_tds_mg_per_l - recovery * permeate_tds) / (1 - recovery),
        permeate_flow_l_per_day=permeate,
        concentrate_flow_l_per_day=concentrate,
    )


def carbon_dioxide_mg_per_l(ph: float, alkalinity_mg_per_l_as_caco3: float, temperature_degc: float) -> float:
    """Dissolved carbon dioxide from pH and alkalinity, with a parabola for pK1 between 5 and 25 degC."""
    warmer = temperature_degc - 5
    pk1 = 6.516 - 0.0112 * warmer + 0.00015 * warmer**2
    bicarbonate_mol_per_l = alkalinity_mg_per_l_as_caco3 / 50.04 / 1000
    return float(44_010 * bicarbonate_mol_per_l * 10 ** (pk1 - ph) * 0.92)


def resin_load_meq_per_l(permeate_tds_mg_per_l: float, carbon_dioxide: float, silica_mg_per_l: float) -> float:
    """What a litre of permeate costs the anion side: salt as NaCl, carbon dioxide, and 3 % of the feed's silica."""
    return permeate_tds_mg_per_l / 58.44 + carbon_dioxide / 44.01 + 0.03 * silica_mg_per_l / 60.08


def passing_share(captured_share: float, transfer_units: float) -> float:
    """Outlet over inlet of a bed that has captured this share of its capacity.

    The unused capacity of a bed whose outlet stands at c is -ln(c)/N; this is that relation solved for c.
    """
    return math.exp(-transfer_units * max(1.0 - captured_share, 0.0))


def blocking_factor(volume_l: float, volume_to_limit_l: float) -> float:
    """How much a sediment filter's resistance has grown: exponential, times 14 (5 to 69 kPa) at the limit volume."""
    return math.exp(math.log(14.0) * min(volume_l / volume_to_limit_l, 1.7))
