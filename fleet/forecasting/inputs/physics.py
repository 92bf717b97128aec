"""The engineering formulas, for whole columns of levels and readings: held to where they are defined instead of
refused.

A level is a mean of logarithms of noisy readings, and one odd unit must not stop the forecast of a fleet; so what lies
outside a formula's range is moved to its edge. Values that could not be are taken out before, by `screen`.
"""

import numpy as np

from fleet.engineering.formulas import carbonate, mass_balance, normalisation, resin, sediment, temperature_correction
from fleet.forecasting.inputs.tables import Floats


def carbon_dioxide_mg_per_l(ph: Floats, alkalinity: Floats, temperature_degc: Floats, tds_mg_per_l: Floats) -> Floats:
    """Free carbon dioxide from pH and alkalinity (mg/L as CaCO3); see `formulas.carbonate.co2_mg_per_l`."""
    return np.asarray(
        carbonate.co2_mg_per_l(
            ph=_within(ph, 4.5, 8.6),
            alkalinity_mg_per_l_as_caco3=_within(alkalinity, 5.0, 2000.0),
            temperature_degc=_within(temperature_degc, 1.0, 40.0),
            tds_mg_per_l=_within(tds_mg_per_l, 1.0, 19_000.0),
        )
    )


def net_driving_pressure_kpa(
    inlet_kpa: Floats, back_kpa: Floats | float, feed_tds_mg_per_l: Floats, recovery: Floats, temperature_degc: Floats
) -> Floats:
    """Net driving pressure, negative where nothing drives; see `formulas.normalisation`.

    The osmotic pressure of the permeate, some thousandths of it, is left out: not every reading has its TDS.
    """
    recovery = _within(recovery, 0.0, 0.999)
    brine = np.asarray(mass_balance.feed_brine_factor(recovery))
    point = normalisation.OperatingPoint(
        inlet_pressure_kpa=_within(inlet_kpa, 0.0, 10_000.0),
        feed_tds_mg_per_l=np.minimum(_within(feed_tds_mg_per_l, 0.0, 50_000.0), 49_999.0 / brine),
        permeate_tds_mg_per_l=0.0,
        recovery_fraction=recovery,
        temperature_degc=_within(temperature_degc, 1.0, 45.0),
        permeate_pressure_kpa=_within(back_kpa, 0.0, 10_000.0),
    )
    return np.asarray(normalisation.signed_net_driving_pressure_kpa(point))


def feed_brine_factor(recovery: Floats) -> Floats:
    """Mean concentration along the membrane over that of the feed; see `formulas.mass_balance.feed_brine_factor`."""
    return np.asarray(mass_balance.feed_brine_factor(_within(recovery, 0.0, 0.999)))


def normalised_differential_kpa(
    differential_kpa: Floats,
    *,
    flow_over_reference: Floats,
    temperature_degc: Floats,
    reference_temperature_degc: Floats,
) -> Floats:
    """Differential pressure of a filter at a reference flow and temperature, by the formula of `formulas.sediment`.

    A gauge that reads a little less before the filter than behind it leaves one below zero, which scales alike.
    """
    scale = sediment.normalised_differential_pressure(
        1.0,
        flow=_within(flow_over_reference, 1e-3, 1e3),
        reference_flow=1.0,
        temperature_degc=_within(temperature_degc, 0.5, 45.0),
        reference_temperature_degc=_within(reference_temperature_degc, 0.5, 45.0),
    )
    return differential_kpa * np.asarray(scale)


def recovery_fraction(permeate_flow: Floats, concentrate_flow: Floats) -> Floats:
    """Permeate over feed, of two flows in one unit; see `formulas.mass_balance.recovery_fraction`."""
    permeate, concentrate = _within(permeate_flow, 1e-9, 1e12), _within(concentrate_flow, 0.0, 1e12)
    return np.asarray(mass_balance.recovery_fraction(permeate, concentrate))


def recovery_at_waste_ratio(concentrate_to_permeate_ratio: Floats) -> Floats:
    """Recovery that belongs to a waste ratio; see `formulas.mass_balance.recovery_from_waste_ratio`."""
    return np.asarray(mass_balance.recovery_from_waste_ratio(_within(concentrate_to_permeate_ratio, 0.0, 1e6)))


def waste_ratio(recovery: Floats | float) -> Floats:
    """Concentrate over permeate at a recovery; see `formulas.mass_balance.waste_ratio`."""
    return np.asarray(mass_balance.waste_ratio(_within(recovery, 1e-6, 1.0)))


def feed_volume_l(permeate_volume_l: Floats, recovery: Floats) -> Floats:
    """Feed behind a volume of permeate; see `formulas.mass_balance.feed_volume_l`."""
    return np.asarray(mass_balance.feed_volume_l(_within(permeate_volume_l, 0.0, 1e12), _within(recovery, 1e-6, 1.0)))


def inverse_temperature_per_kelvin(temperature_degc: Floats | float) -> Floats:
    """What a temperature coefficient multiplies; see `formulas.temperature_correction`."""
    return np.asarray(temperature_correction.inverse_temperature_per_kelvin(_within(temperature_degc, 0.0, 45.0)))


def water_u_kelvin(temperature_degc: Floats, stated_u_kelvin: Floats | float = np.nan) -> Floats:
    """Temperature coefficient of the water, as stated or of two slopes; see `formulas.temperature_correction`."""
    stated = _within(stated_u_kelvin, 500.0, 10_000.0)
    return np.asarray(temperature_correction.water_u_kelvin(_within(temperature_degc, 1.0, 45.0), stated))


def resin_load_meq_per_l(permeate_tds_mg_per_l: Floats, co2_mg_per_l: Floats | float = 0.0) -> Floats:
    """Load that ions and carbon dioxide put on resin; see `formulas.resin.governing_load_meq_per_l`."""
    ions = resin.ionic_load_meq_per_l(_within(permeate_tds_mg_per_l, 0.0, 50_000.0))
    return np.asarray(resin.governing_load_meq_per_l(ions, co2_mg_per_l=_within(co2_mg_per_l, 0.0, 1e6)))


def resin_capacity_meq(resin_volume_l: Floats, capacity_eq_per_l: Floats) -> Floats:
    """Capacity of cartridges by their label; see `formulas.resin.capacity_eq`."""
    volume, capacity = _within(resin_volume_l, 1e-3, 1e6), _within(capacity_eq_per_l, 1e-3, 3.0)
    return 1000.0 * np.asarray(resin.capacity_eq(volume, capacity))


def _within(values: Floats | float, low: float, high: float) -> "np.ndarray[tuple[int, ...], np.dtype[np.float64]]":
    return np.clip(np.asarray(values, dtype=np.float64), low, high)
