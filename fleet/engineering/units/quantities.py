"""Every quantity the house stores, by its canonical name: its kind, with limits of its own."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units.kinds import (
    ALKALINITY,
    CHLORINE,
    CONCENTRATION,
    DAYS,
    EXCHANGE_CAPACITY,
    FLOW,
    FRACTION,
    HARDNESS,
    KINDS,
    MASS,
    MICRON,
    MINUTES,
    PH,
    PRESSURE,
    TDS,
    TEMPERATURE,
    TEMPERATURE_COEFFICIENT,
    TURBIDITY,
    VOLUME,
    Kind,
)

_PSI: Final = KILOPASCAL_PER_PSI
# Hard limits: 0-150 psi gauge on a house line, membrane limit 45 degC and freezing, TDS 0-50000 mg/L. The line
# pressure is worth a flag above 80 psi (common practice, no source).
_LINE = PRESSURE.within(0.0, 150 * _PSI, usual_low=20 * _PSI, usual_high=80 * _PSI)
_INLET = PRESSURE.within(0.0, 300 * _PSI, usual_low=25 * _PSI, usual_high=125 * _PSI)
_TANK = PRESSURE.within(0.0, 150 * _PSI, usual_low=0.0, usual_high=80 * _PSI)
_WATER_TEMPERATURE = TEMPERATURE.within(0.0, 45.0, usual_low=2.0, usual_high=35.0)
_FEED_TDS = TDS.within(0.0, 50000.0, usual_low=5.0, usual_high=2000.0)
_PERMEATE_TDS = TDS.within(0.0, 50000.0, usual_low=0.0, usual_high=300.0)
_PRODUCT_FLOW = FLOW.within(0.0, 50000.0, usual_low=0.0, usual_high=4000.0)
_WASTE_FLOW = FLOW.within(0.0, 100000.0, usual_low=0.0, usual_high=12000.0)
_CHLORINE = CHLORINE.within(0.0, 20.0, usual_low=0.0, usual_high=5.0)
_CHLORINE_AFTER = CHLORINE.within(0.0, 20.0, usual_low=0.0, usual_high=3.0)
_TAP_PH = PH.within(4.0, 11.0, usual_low=6.0, usual_high=9.5)
_PRODUCT_PH = PH.within(3.0, 12.0, usual_low=4.5, usual_high=9.5)

QUANTITY_KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        # a reading
        "line_pressure_kpa": _LINE,
        "prefilter_outlet_pressure_kpa": _LINE,
        "inlet_pressure_kpa": _INLET,
        "tank_pressure_kpa": _TANK,
        "temperature_degc": _WATER_TEMPERATURE,
        "feed_tds_mg_per_l": _FEED_TDS,
        "permeate_tds_mg_per_l": _PERMEATE_TDS,
        "permeate_tds_at_start_mg_per_l": _PERMEATE_TDS,
        "interstage_tds_mg_per_l": _PERMEATE_TDS,
        "product_tds_mg_per_l": _PERMEATE_TDS,
        "concentrate_tds_mg_per_l": TDS.within(0.0, 50000.0, usual_low=5.0, usual_high=6000.0),
        "permeate_flow_l_per_day": _PRODUCT_FLOW,
        "concentrate_flow_l_per_day": _WASTE_FLOW,
        "feed_free_chlorine_mg_per_l": _CHLORINE,
        "feed_total_chlorine_mg_per_l": _CHLORINE,
        "interstage_chlorine_mg_per_l": _CHLORINE_AFTER,
        "carbon_outlet_free_chlorine_mg_per_l": _CHLORINE_AFTER,
        "carbon_outlet_total_chlorine_mg_per_l": _CHLORINE_AFTER,
        "feed_ph": _TAP_PH,
        "product_ph": _PRODUCT_PH,
        "totaliser_l": VOLUME.within(0.0, 1e9),
        "minutes_since_start": MINUTES,
        # a feed water sample
        "ph": _TAP_PH,
        "alkalinity_mg_per_l_as_caco3": ALKALINITY.within(0.0, 2000.0, usual_low=5.0, usual_high=500.0),
        "hardness_mg_per_l_as_caco3": HARDNESS.within(0.0, 5000.0, usual_low=0.0, usual_high=800.0),
        "free_chlorine_mg_per_l": _CHLORINE,
        "total_chlorine_mg_per_l": _CHLORINE,
        "iron_mg_per_l": CONCENTRATION.within(0.0, 100.0, usual_low=0.0, usual_high=3.0),
        "manganese_mg_per_l": CONCENTRATION.within(0.0, 50.0, usual_low=0.0, usual_high=1.0),
        "silica_mg_per_l": CONCENTRATION.within(0.0, 300.0, usual_low=0.0, usual_high=100.0),
        "turbidity_ntu": TURBIDITY.within(0.0, 4000.0, usual_low=0.0, usual_high=5.0),
        "tds_mg_per_l": _FEED_TDS,
        # an item of the catalogue
        "micron_rating_um": MICRON,
        "rated_volume_l": VOLUME.within(0.0, 1e7),
        "carbon_volume_l": VOLUME.within(0.0, 500.0),
        "chlorine_capacity_g": MASS.within(0.0, 1e6),
        "rated_flow_l_per_day": FLOW.within(0.0, 50000.0),
        "rated_pressure_kpa": _INLET,
        "rated_temperature_degc": TEMPERATURE.within(1.0, 45.0),
        "rated_tds_mg_per_l": _FEED_TDS,
        "rated_recovery_fraction": FRACTION.within(0.0, 0.95),
        "rejection_fraction": FRACTION.within(0.0, 1.0, usual_low=0.8, usual_high=0.999),
        "water_u_kelvin": TEMPERATURE_COEFFICIENT,
        "resin_volume_l": VOLUME.within(0.0, 500.0),
        "resin_capacity_eq_per_l": EXCHANGE_CAPACITY.within(0.0, 3.0, usual_low=0.35, usual_high=0.7),
        "life_cap_days": DAYS,
        "lead_time_days": DAYS,
        # a unit, its site and its tank
        "static_line_pressure_kpa": _LINE,
        "pump_pressure_kpa": _INLET,
        "tank_volume_l": VOLUME.within(0.0, 1e5),
        "tank_precharge_pressure_kpa": _TANK,
        "tank_precharge_kpa": _TANK,
        "restrictor_flow_l_per_day": _WASTE_FLOW,
        "restrictor_pressure_kpa": _INLET,
        "product_tds_target_mg_per_l": _PERMEATE_TDS,
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
