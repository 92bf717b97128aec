"""Every quantity the house stores, by its canonical name: its kind, with limits of its own."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from fleet.engineering.errors import EngineeringError
from fleet.engineering.kinds import (
    ALKALINITY,
    CONCENTRATION,
    DAYS,
    EXCHANGE_CAPACITY,
    FLOW,
    FRACTION,
    HARDNESS,
    HOURS,
    KINDS,
    MASS,
    MICRON,
    TEMPERATURE,
    TEMPERATURE_COEFFICIENT,
    TURBIDITY,
    VOLUME,
    Kind,
)
from fleet.engineering.quantities import (
    FEED_CHLORINE,
    FEED_TDS,
    INLET_PRESSURE,
    LINE_PRESSURE,
    PERMEATE_TDS,
    READING_QUANTITIES,
    RUNNING_TIME,
    TANK_PRESSURE,
    TAP_PH,
    WASTE_FLOW,
)

QUANTITY_KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        **{quantity.name: quantity.kind for quantity in (*READING_QUANTITIES, RUNNING_TIME)},
        # a feed water sample
        "ph": TAP_PH,
        "alkalinity_mg_per_l_as_caco3": ALKALINITY.within(0.0, 2000.0, usual_low=5.0, usual_high=500.0),
        "hardness_mg_per_l_as_caco3": HARDNESS.within(0.0, 5000.0, usual_low=0.0, usual_high=800.0),
        "free_chlorine_mg_per_l": FEED_CHLORINE,
        "total_chlorine_mg_per_l": FEED_CHLORINE,
        "iron_mg_per_l": CONCENTRATION.within(0.0, 100.0, usual_low=0.0, usual_high=3.0),
        "manganese_mg_per_l": CONCENTRATION.within(0.0, 50.0, usual_low=0.0, usual_high=1.0),
        "silica_mg_per_l": CONCENTRATION.within(0.0, 300.0, usual_low=0.0, usual_high=100.0),
        "turbidity_ntu": TURBIDITY.within(0.0, 4000.0, usual_low=0.0, usual_high=5.0),
        "tds_mg_per_l": FEED_TDS,
        # an item of the catalogue
        "micron_rating_um": MICRON,
        "rated_volume_l": VOLUME.within(0.0, 1e7),
        "rated_burning_hours": HOURS,
        "carbon_volume_l": VOLUME.within(0.0, 500.0),
        "chlorine_capacity_g": MASS.within(0.0, 1e6),
        "rated_flow_l_per_day": FLOW.within(0.0, 50000.0),
        "rated_pressure_kpa": INLET_PRESSURE,
        "rated_temperature_degc": TEMPERATURE.within(1.0, 45.0),
        "rated_tds_mg_per_l": FEED_TDS,
        "rated_recovery_fraction": FRACTION.within(0.0, 0.95),
        "rejection_fraction": FRACTION.within(0.0, 1.0, usual_low=0.8, usual_high=0.999),
        "water_u_kelvin": TEMPERATURE_COEFFICIENT,
        "resin_volume_l": VOLUME.within(0.0, 500.0),
        "resin_capacity_eq_per_l": EXCHANGE_CAPACITY.within(0.0, 3.0, usual_low=0.35, usual_high=0.7),
        "maximum_service_time_days": DAYS,
        "lead_time_days": DAYS,
        # a unit, its site and its tank
        "static_line_pressure_kpa": LINE_PRESSURE,
        "pump_pressure_kpa": INLET_PRESSURE,
        "tank_volume_l": VOLUME.within(0.0, 1e5),
        "tank_precharge_pressure_kpa": TANK_PRESSURE,
        "tank_precharge_kpa": TANK_PRESSURE,
        "restrictor_flow_l_per_day": WASTE_FLOW,
        "restrictor_pressure_kpa": INLET_PRESSURE,
        "product_tds_target_mg_per_l": PERMEATE_TDS,
        "weekly_demand_l": VOLUME.within(0.0, 1e6),
        "accuracy_fraction": FRACTION,
        "design_recovery_fraction": FRACTION.within(0.0, 0.95, usual_low=0.1, usual_high=0.5),
        "demand_l_per_day": FLOW.within(0.0, 50000.0),
        "aquarium_volume_l": VOLUME.within(0.0, 1e6),
    }
)


def find_kind(kind: Kind | str) -> Kind:
    """Return a kind by itself, by the name of a quantity, or by its own name.

    Raises
    ------
    EngineeringError
        Unknown name.

    Examples
    --------
    >>> find_kind("line_pressure_kpa").canonical_unit
    'kPa'
    """
    if isinstance(kind, Kind):
        return kind
    quantity_kind = QUANTITY_KINDS.get(kind) or KINDS.get(kind)
    if quantity_kind is None:
        raise EngineeringError("kind", f"{kind!r} is not a known quantity or kind.")
    return quantity_kind
