"""Units at the border: what a person writes becomes the SI-derived float the house stores, and back.

One pint registry does all conversions; inside the house there are only floats whose names carry the unit.

Decisions, each because a wrong guess would be silent:

* **gallons** must say which: ``US gal`` or ``imperial gal``; a bare ``gal`` or ``gpm`` is refused. ``gpd`` alone is
  accepted as US gallons per day, because membranes are labelled in it the world over and the label means US gallons.
* **ppm** of hardness or alkalinity is refused: it may be as CaCO3 or as the ion. Say ``mg/L as CaCO3``.
* **ppm** of TDS is what a meter shows, on the meter's own factor; it is rebased to the house scale of
  0.5 mg/L per uS/cm with `tds_factor`. A conductivity in uS/cm at 25 degC needs no factor.
* a **temperature difference** (``delta_degF``) given for a temperature is refused by name, and the reverse.
* a **bare number** for a quantity with a dimension is refused.
"""

import re
import tokenize
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import pint

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.constants import (
    EQUIVALENT_MASS_CACO3,
    LITRE_PER_CUBIC_FOOT,
    LITRE_PER_IMPERIAL_GALLON,
    LITRE_PER_US_GALLON,
    MILLIGRAM_PER_GRAIN,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CAO,
)
from fleet.engineering.errors import EngineeringError

HOUSE_TDS_FACTOR: Final = 0.5
TDS_FACTOR_LOW: Final = 0.4
TDS_FACTOR_HIGH: Final = 1.0
SYSTEMS: Final = ("us", "metric")

registry: "Final[pint.UnitRegistry[Any]]" = pint.UnitRegistry(cache_folder=None)
# Dimensions of their own for amounts "as" something, so that milligrams of calcium never pass for milligrams of CaCO3.
registry.define("mg_per_L_as_CaCO3 = [amount_as_caco3]")
registry.define(f"grain_per_US_gallon = {MILLIGRAM_PER_GRAIN / LITRE_PER_US_GALLON!r} * mg_per_L_as_CaCO3")
registry.define(f"grain_per_imperial_gallon = {MILLIGRAM_PER_GRAIN / LITRE_PER_IMPERIAL_GALLON!r} * mg_per_L_as_CaCO3")
registry.define(f"german_degree = {10.0 * MOLAR_MASS_CACO3 / MOLAR_MASS_CAO!r} * mg_per_L_as_CaCO3")
registry.define("french_degree = 10 * mg_per_L_as_CaCO3")
registry.define(f"mmol_per_L_of_CaCO3 = {MOLAR_MASS_CACO3!r} * mg_per_L_as_CaCO3")
registry.define(f"meq_per_L_as_CaCO3 = {EQUIVALENT_MASS_CACO3!r} * mg_per_L_as_CaCO3")
registry.define("mg_per_L_on_the_house_scale = [meter_tds]")
registry.define(f"us_per_cm_at_25 = {HOUSE_TDS_FACTOR!r} * mg_per_L_on_the_house_scale")
registry.define("eq_per_L_of_resin = [exchange_capacity]")
_EQ_PER_L_IN_A_KILOGRAIN_PER_FT3 = MILLIGRAM_PER_GRAIN / EQUIVALENT_MASS_CACO3 / LITRE_PER_CUBIC_FOOT
registry.define(f"kilograin_per_cubic_foot = {_EQ_PER_L_IN_A_KILOGRAIN_PER_FT3!r} * eq_per_L_of_resin")
registry.define("nephelometric_unit = [turbidity]")
registry.define("ph_unit = [acidity]")


@dataclass(frozen=True)
class Kind:
    """What one quantity is, how it may be written, and between which limits it can be true.

    Attributes
    ----------
    name : str
        The kind: ``"pressure"``, ``"temperature"``, ``"flow"``, ``"tds"`` and so on.
    canonical_unit : str
        Unit the house stores, as it is written to people.
    spellings : mapping of str to str
        Accepted spelling -> pint expression.
    display_units : mapping of str to str
        ``"us"`` and ``"metric"`` -> the spelling shown in that system.
    forms : tuple of str
        Examples of accepted input, for the sentences.
    low, high : float
        Hard limits in the canonical unit; a value outside cannot be true and is refused.
    usual_low, usual_high : float
        Limits of the plausible; a value outside is accepted and can be flagged with `plausibility`.
    bare_number_ok : bool
        True where the quantity has no dimension (pH) or its name already fixes the unit (``..._days``).
    """

    name: str
    canonical_unit: str
    spellings: Mapping[str, str]
    display_units: Mapping[str, str]
    forms: tuple[str, ...]
    low: float = -np.inf
    high: float = np.inf
    usual_low: float = -np.inf
    usual_high: float = np.inf
    bare_number_ok: bool = False
    refused: Mapping[str, str] = field(default_factory=dict)
    open_to_pint: bool = False

    def within(
        self, low: float, high: float, usual_low: float | None = None, usual_high: float | None = None
    ) -> "Kind":
        """Return the same kind with its own limits, in the canonical unit."""
        return replace(
            self,
            low=low,
            high=high,
            usual_low=low if usual_low is None else usual_low,
            usual_high=high if usual_high is None else usual_high,
        )


_DELTA = "a temperature difference is not a temperature; say 'degC' or 'degF'"
_POINT = "a temperature is not a temperature difference; say 'delta_degC' or 'delta_degF'"
_GALLON = "'gal' alone may be US or imperial, which differ by 20 %; say 'US gal' or 'imperial gal'"
_AS_WHAT = "does not say as what; write 'mg/L as CaCO3', 'gpg', 'dH', 'Clark', 'fH' or 'mmol/L'"

PRESSURE: Final = Kind(
    "pressure",
    "kPa",
    {
        "kPa": "kilopascal", "kpa": "kilopascal", "psi": "psi", "psig": "psi", "psi gauge": "psi", "bar": "bar",
        "barg": "bar", "mbar": "millibar", "MPa": "megapascal", "Pa": "pascal", "hPa": "hectopascal",
        "kgf/cm2": "kilogram_force / centimeter ** 2", "kg/cm2": "kilogram_force / centimeter ** 2", "atm": "atm",
    },
    {"us": "psi", "metric": "bar"},
    ("60 psi", "4.1 bar", "414 kPa"),
    refused={
        "mpa": "write 'MPa' for megapascal or 'mbar' for millibar",
        "psia": "give gauge pressure ('psi'), not absolute",
        "bara": "give gauge pressure ('bar'), not absolute",
    },
    open_to_pint=True,
)  # fmt: skip
PRESSURE_DIFFERENCE: Final = replace(PRESSURE, name="pressure_difference", forms=("10 psi", "0.7 bar", "69 kPa"))
TEMPERATURE: Final = Kind(
    "temperature",
    "degC",
    {
        "degC": "degC", "C": "degC", "celsius": "degC", "deg C": "degC", "degF": "degF", "F": "degF", "deg F": "degF",
        "fahrenheit": "degF", "K": "kelvin", "kelvin": "kelvin",
    },
    {"us": "degF", "metric": "degC"},
    ("59 degF", "15 degC", "288.15 K"),
    refused=dict.fromkeys(("delta_degC", "delta_degF", "delta degC", "delta degF", "delta_C", "delta_F"), _DELTA),
)  # fmt: skip
TEMPERATURE_DIFFERENCE: Final = Kind(
    "temperature_difference",
    "delta_degC",
    {
        "delta_degC": "delta_degC", "delta degC": "delta_degC", "delta_C": "delta_degC", "K": "kelvin",
        "kelvin": "kelvin", "delta_degF": "delta_degF", "delta degF": "delta_degF", "delta_F": "delta_degF",
    },
    {"us": "delta_degF", "metric": "delta_degC"},
    ("9 delta_degF", "5 delta_degC", "5 K"),
    refused=dict.fromkeys(("degC", "degF", "C", "F", "deg C", "deg F", "celsius", "fahrenheit"), _POINT),
)  # fmt: skip
FLOW: Final = Kind(
    "flow",
    "L/day",
    {
        "L/day": "liter / day", "L/d": "liter / day", "L/h": "liter / hour", "L/hr": "liter / hour",
        "L/min": "liter / minute", "lpm": "liter / minute", "L/s": "liter / second", "L/week": "liter / week",
        "mL/min": "milliliter / minute", "ml/min": "milliliter / minute", "cc/min": "milliliter / minute",
        "m3/day": "meter ** 3 / day", "m3/d": "meter ** 3 / day", "m3/h": "meter ** 3 / hour",
        "gpd": "gallon / day", "US gpd": "gallon / day", "US gal/day": "gallon / day", "US gpm": "gallon / minute",
        "US gal/min": "gallon / minute", "US gal/week": "gallon / week", "imperial gpd": "imperial_gallon / day",
        "imperial gal/day": "imperial_gallon / day", "imperial gpm": "imperial_gallon / minute",
        "imperial gal/min": "imperial_gallon / minute", "imperial gal/week": "imperial_gallon / week",
    },
    {"us": "US gpd", "metric": "L/day"},
    ("75 US gpd", "284 L/day", "197 mL/min"),
    low=0.0,
    refused={
        "gpm": "gallons per minute may be US or imperial; say 'US gpm' or 'imperial gpm'",
        "gph": "gallons per hour may be US or imperial; say 'US gpd', 'imperial gpd' or 'L/h'",
    },
)  # fmt: skip
VOLUME: Final = Kind(
    "volume",
    "L",
    {
        "L": "liter", "l": "liter", "litre": "liter", "litres": "liter", "liter": "liter", "liters": "liter",
        "mL": "milliliter", "ml": "milliliter", "m3": "meter ** 3", "cubic metre": "meter ** 3", "ft3": "foot ** 3",
        "cu ft": "foot ** 3", "US gal": "gallon", "US gallon": "gallon", "US gallons": "gallon",
        "imperial gal": "imperial_gallon", "imperial gallon": "imperial_gallon", "imperial gallons": "imperial_gallon",
        "UK gal": "imperial_gallon", "US qt": "gallon / 4", "US pint": "gallon / 8",
    },
    {"us": "US gal", "metric": "L"},
    ("40 L", "10 US gal", "8 imperial gal"),
    low=0.0,
)  # fmt: skip
TDS: Final = Kind(
    "tds",
    "mg/L",
    {
        "mg/L": "mg_per_L_on_the_house_scale", "ppm": "mg_per_L_on_the_house_scale",
        "mg/L as NaCl": "mg_per_L_on_the_house_scale", "ppm as NaCl": "mg_per_L_on_the_house_scale",
        "g/L": "1000 * mg_per_L_on_the_house_scale", "ppt": "1000 * mg_per_L_on_the_house_scale",
        "uS/cm": "us_per_cm_at_25", "mS/cm": "1000 * us_per_cm_at_25", "mS/m": "10 * us_per_cm_at_25",
        "S/m": "10000 * us_per_cm_at_25",
    },
    {"us": "ppm", "metric": "mg/L"},
    ("210 ppm", "210 mg/L", "420 uS/cm"),
    low=0.0,
    high=50000.0,
)  # fmt: skip
CONDUCTIVITY: Final = Kind(
    "conductivity",
    "uS/cm",
    {
        "uS/cm": "microsiemens / centimeter", "mS/cm": "millisiemens / centimeter", "mS/m": "millisiemens / meter",
        "S/m": "siemens / meter",
    },
    {"us": "uS/cm", "metric": "uS/cm"},
    ("420 uS/cm", "0.42 mS/cm"),
    low=0.0,
    high=100000.0,
    refused={"ppm": "ppm is a TDS; give the conductivity in 'uS/cm'", "mg/L": "mg/L is a TDS; give 'uS/cm'"},
)  # fmt: skip
_CACO3_SPELLINGS: Final = {
    "mg/L as CaCO3": "mg_per_L_as_CaCO3", "mg/L CaCO3": "mg_per_L_as_CaCO3", "ppm as CaCO3": "mg_per_L_as_CaCO3",
    "ppm CaCO3": "mg_per_L_as_CaCO3", "gpg": "grain_per_US_gallon", "US gpg": "grain_per_US_gallon",
    "grains per US gal": "grain_per_US_gallon", "Clark": "grain_per_imperial_gallon",
    "Clark degree": "grain_per_imperial_gallon",
    "grains per imperial gal": "grain_per_imperial_gallon", "dH": "german_degree", "German degree": "german_degree",
    "dKH": "german_degree", "dGH": "german_degree", "fH": "french_degree", "French degree": "french_degree",
    "mmol/L": "mmol_per_L_of_CaCO3", "meq/L": "meq_per_L_as_CaCO3",
}  # fmt: skip
HARDNESS: Final = Kind(
    "hardness",
    "mg/L as CaCO3",
    _CACO3_SPELLINGS,
    {"us": "gpg", "metric": "mg/L as CaCO3"},
    ("12 gpg", "11.5 dH", "205 mg/L as CaCO3"),
    low=0.0,
    high=5000.0,
    refused={unit: f"'{unit}' {_AS_WHAT}" for unit in ("ppm", "mg/L", "degree", "degrees", "deg")},
)
ALKALINITY: Final = replace(
    HARDNESS,
    name="alkalinity",
    # A millimole of alkalinity is one equivalent, half of what a millimole of hardness is: too easy to mix up.
    spellings={spelling: expression for spelling, expression in _CACO3_SPELLINGS.items() if spelling != "mmol/L"},
    display_units={"us": "mg/L as CaCO3", "metric": "mg/L as CaCO3"},
    forms=("120 mg/L as CaCO3", "6.7 dKH", "2.4 meq/L"),
    refused={
        "ppm": "'ppm' does not say as what; write 'ppm as CaCO3', 'dKH' or 'meq/L'",
        "mg/L": "'mg/L' does not say as what; write 'mg/L as CaCO3', 'dKH' or 'meq/L'",
        "mmol/L": "a millimole of alkalinity is read in two ways; write 'meq/L' or 'mg/L as CaCO3'",
    },
)
_MASS_CONCENTRATION: Final = {
    "mg/L": "milligram / liter", "ppm": "milligram / liter", "ug/L": "microgram / liter", "ppb": "microgram / liter",
    "g/m3": "gram / meter ** 3", "g/L": "gram / liter",
}  # fmt: skip
CHLORINE: Final = Kind(
    "chlorine",
    "mg/L",
    {
        **_MASS_CONCENTRATION, "mg/L as Cl2": "milligram / liter", "ppm as Cl2": "milligram / liter",
        "mg/L Cl2": "milligram / liter", "ppm Cl2": "milligram / liter",
    },
    {"us": "ppm", "metric": "mg/L"},
    ("0.5 mg/L", "0.5 ppm", "0.5 mg/L as Cl2"),
    low=0.0,
    high=100.0,
)  # fmt: skip
CONCENTRATION: Final = Kind(
    "concentration",
    "mg/L",
    _MASS_CONCENTRATION,
    {"us": "ppm", "metric": "mg/L"},
    ("0.2 mg/L", "0.2 ppm", "200 ug/L"),
    low=0.0,
    high=1000.0,
)
PH: Final = Kind(
    "ph", "pH", {"pH": "ph_unit", "": "ph_unit"}, {"us": "pH", "metric": "pH"}, ("7.4", "7.4 pH"),
    low=0.0, high=14.0, bare_number_ok=True,
)  # fmt: skip
TURBIDITY: Final = Kind(
    "turbidity", "NTU", {"NTU": "nephelometric_unit", "FNU": "nephelometric_unit", "FTU": "nephelometric_unit"},
    {"us": "NTU", "metric": "NTU"}, ("0.4 NTU", "0.4 FNU"), low=0.0, high=4000.0,
)  # fmt: skip
MICRON: Final = Kind(
    "length", "um",
    {"um": "micrometer", "micron": "micrometer", "microns": "micrometer", "mm": "millimeter", "nm": "nanometer"},
    {"us": "um", "metric": "um"}, ("5 um", "5 micron"), low=0.0, high=1000.0,
)  # fmt: skip
LENGTH: Final = Kind(
    "length", "m", {"m": "meter", "metre": "meter", "cm": "centimeter", "mm": "millimeter", "ft": "foot", "in": "inch"},
    {"us": "ft", "metric": "m"}, ("1.5 m", "5 ft"),
)  # fmt: skip
MASS: Final = Kind(
    "mass", "g", {"g": "gram", "kg": "kilogram", "mg": "milligram", "lb": "pound", "oz": "ounce"},
    {"us": "g", "metric": "g"}, ("75 g", "0.075 kg"), low=0.0,
)  # fmt: skip
EXCHANGE_CAPACITY: Final = Kind(
    "exchange_capacity", "eq/L",
    {
        "eq/L": "eq_per_L_of_resin", "meq/mL": "eq_per_L_of_resin", "kgr/ft3": "kilograin_per_cubic_foot",
        "kilograin/ft3": "kilograin_per_cubic_foot",
    },
    {"us": "kgr/ft3", "metric": "eq/L"}, ("0.46 eq/L", "10 kgr/ft3"), low=0.0, high=3.0,
)  # fmt: skip
FRACTION: Final = Kind(
    "fraction", "fraction", {"": "dimensionless", "fraction": "dimensionless", "%": "percent", "percent": "percent"},
    {"us": "%", "metric": "%"}, ("0.96 fraction", "96 %"), low=0.0, high=1.0,
)  # fmt: skip
DAYS: Final = Kind(
    "duration", "days",
    {"days": "day", "day": "day", "d": "day", "weeks": "week", "week": "week", "hours": "hour", "h": "hour"},
    {"us": "days", "metric": "days"}, ("180", "180 days", "26 weeks"), low=0.0, high=36525.0, bare_number_ok=True,
)  # fmt: skip
MINUTES: Final = Kind(
    "duration", "min", {"min": "minute", "minutes": "minute", "s": "second", "h": "hour", "hours": "hour"},
    {"us": "min", "metric": "min"}, ("6", "6 min", "0.5 h"), low=0.0, high=527040.0, bare_number_ok=True,
)  # fmt: skip
TEMPERATURE_COEFFICIENT: Final = Kind(
    "temperature_coefficient", "K", {"K": "kelvin", "kelvin": "kelvin"}, {"us": "K", "metric": "K"}, ("2640 K",),
    low=500.0, high=10000.0, bare_number_ok=True,
)  # fmt: skip

KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "pressure": PRESSURE, "pressure_difference": PRESSURE_DIFFERENCE, "temperature": TEMPERATURE,
        "temperature_difference": TEMPERATURE_DIFFERENCE, "flow": FLOW, "volume": VOLUME, "tds": TDS,
        "conductivity": CONDUCTIVITY, "hardness": HARDNESS, "alkalinity": ALKALINITY, "chlorine": CHLORINE,
        "concentration": CONCENTRATION, "ph": PH, "turbidity": TURBIDITY, "micron": MICRON, "length": LENGTH,
        "mass": MASS, "exchange_capacity": EXCHANGE_CAPACITY, "fraction": FRACTION, "duration": DAYS,
        "minutes": MINUTES, "temperature_coefficient": TEMPERATURE_COEFFICIENT,
    }
)  # fmt: skip

_PSI = 6.894757293168361
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

_NUMBER = re.compile(
    r"^\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)(?![0-9.,])\s*(.*?)\s*$", re.DOTALL
)
_HEADER = re.compile(r"^\s*(.*?)\s*\[\s*([^\[\]]*?)\s*\]\s*$")
_LONE_GALLON = re.compile(r"(?<![A-Za-z])(gal|gals|gallon|gallons)(?![A-Za-z])", re.IGNORECASE)
_PINT_NAME = re.compile(r"^[A-Za-z_]+(?: ?[*/] ?[A-Za-z_]+)*$")
_LONGEST_UNIT = 40
# 150 psi converted to kPa may land a rounding error beyond 150 psi; that is not outside.
_SLACK = 1e-9


def parse_quantity(given: object, kind: "Kind | str", *, field: str, tds_factor: float = HOUSE_TDS_FACTOR) -> float:
    """Turn what a person or a machine sent for one quantity into the float the house stores.

    Parameters
    ----------
    given : str, (value, unit) pair or {"value": ..., "unit": ...}
        ``"60 psi"``, ``("60", "psi")``, ``{"value": 60, "unit": "psi"}``.
    kind : Kind or str
        The kind, the name of a kind (``"pressure"``) or of a quantity (``"line_pressure_kpa"``).
    field : str
        Name to report in an error.
    tds_factor : float
        Factor of the meter that showed a TDS, mg/L per uS/cm (0.4 to 1.0). Used for TDS in ppm or mg/L only.

    Returns
    -------
    float
        The value in the canonical unit of the kind.

    Raises
    ------
    EngineeringError
        Naming the field: a bare number, an unknown or ambiguous unit, a value that is not finite or cannot be true.

    Examples
    --------
    >>> round(parse_quantity("60 psi", "line_pressure_kpa", field="line_pressure"), 6)
    413.685438
    >>> parse_quantity({"value": 140, "unit": "ppm"}, "tds", field="feed_tds", tds_factor=0.7)
    100.0
    >>> parse_quantity("60", "pressure", field="inlet_pressure")
    Traceback (most recent call last):
    ...
    fleet.engineering.errors.EngineeringError: inlet_pressure: A number alone does not say its unit; write ...
    """
    found = _find_kind(kind)
    value, unit = _split(given, found, field)
    return convert_number(value, unit, found, field=field, tds_factor=tds_factor)


def convert_number(
    value: float | str, unit: str, kind: "Kind | str", *, field: str, tds_factor: float = HOUSE_TDS_FACTOR
) -> float:
    """Convert one number in a named unit to the canonical unit, refusing what cannot be true.

    Parameters
    ----------
    value : float or str
        The number, or digits.
    unit : str
        Its unit; an empty string is accepted only where the kind allows a bare number.
    kind, field, tds_factor
        As in `parse_quantity`.

    Returns
    -------
    float
        Value in the canonical unit.

    Raises
    ------
    EngineeringError
        As `parse_quantity`.

    Examples
    --------
    >>> convert_number(10, "degC", "temperature", field="temperature")
    10.0
    """
    found = _find_kind(kind)
    number = _number(value, found, field)
    converted = float(_convert(np.asarray(number), unit, found, field, tds_factor))
    outside = _outside_sentence(converted, found, f"{number:.9g} {unit}".strip())
    if outside:
        raise EngineeringError(field, outside)
    return converted


def convert_column(
    values: FloatArray, unit: str, kind: "Kind | str", *, field: str, tds_factor: float | FloatArray = HOUSE_TDS_FACTOR
) -> FloatArray:
    """Convert a whole column in one unit; ``NaN`` stays missing and limits are left to `outside_limits`.

    Parameters
    ----------
    values : ndarray
        Numbers in `unit`; NaN where the cell was empty.
    unit, kind, field
        As in `convert_number`.
    tds_factor : float or ndarray
        One factor, or one a row.

    Returns
    -------
    ndarray
        Values in the canonical unit.

    Raises
    ------
    EngineeringError
        If the unit cannot be used for this kind or a value is infinite.

    Examples
    --------
    >>> convert_column(np.array([50.0, np.nan, 60.0]), "psi", "pressure", field="inlet pressure").round(3)
    array([344.738,     nan, 413.685])
    """
    column = np.asarray(values, dtype=np.float64)
    if np.any(np.isinf(column)):
        raise EngineeringError(field, "An infinite value is not a measurement; give a finite number.")
    return _convert(column, unit, _find_kind(kind), field, tds_factor)


def outside_limits(values: FloatArray, kind: "Kind | str") -> BoolArray:
    """Return a boolean array, true where a canonical value cannot be true (NaN is not outside).

    Examples
    --------
    >>> outside_limits(np.array([10.0, -1.0, np.nan]), "flow")
    array([False,  True, False])
    """
    found = _find_kind(kind)
    column = np.asarray(values, dtype=np.float64)
    return np.asarray(_below(column, found) | _above(column, found))


def limits_sentence(value: float, kind: "Kind | str") -> str:
    """Return the sentence that refuses a canonical value outside the hard limits, or an empty string.

    Examples
    --------
    >>> limits_sentence(80.0, "temperature_degc")
    '80 degC is outside what this can be, 0 to 45 degC (32 to 113 degF); check the digits and the unit.'
    """
    found = _find_kind(kind)
    return _outside_sentence(float(value), found, f"{value:.9g} {found.canonical_unit}")


def plausibility(value: float, kind: "Kind | str") -> str:
    """Return a sentence when a canonical value is possible but unusual, otherwise an empty string.

    Examples
    --------
    >>> plausibility(655.0, "line_pressure_kpa")
    '655 kPa is unusual here: between 138 and 552 kPa is common. It is kept; check the gauge and the unit.'
    >>> plausibility(400.0, "line_pressure_kpa")
    ''
    """
    found = _find_kind(kind)
    if not (value < found.usual_low or value > found.usual_high):
        return ""
    return (
        f"{value:.6g} {found.canonical_unit} is unusual here: between {found.usual_low:.3g} and {found.usual_high:.3g} "
        f"{found.canonical_unit} is common. It is kept; check the gauge and the unit."
    )


def parse_header(header: str, *, field: str = "header") -> tuple[str, str]:
    """Split a column header such as ``inlet pressure [psi]`` into its name and its unit.

    A header without brackets has an empty unit. Names come back in lower case with single underscores.

    Raises
    ------
    EngineeringError
        If the header is empty or its brackets do not close.

    Examples
    --------
    >>> parse_header("Inlet pressure [psi]")
    ('inlet_pressure', 'psi')
    >>> parse_header("feed pH")
    ('feed_ph', '')
    """
    match = _HEADER.match(header)
    name, unit = (match.group(1), match.group(2)) if match else (header, "")
    if "[" in name or "]" in name:
        raise EngineeringError(
            field, f"The header {header!r} should carry one unit in brackets, as 'inlet pressure [psi]'."
        )
    tidy_name = re.sub(r"[^a-z0-9]+", "_", name.strip().lower()).strip("_")
    if not tidy_name:
        raise EngineeringError(field, "A column header is empty; name the quantity, as 'inlet pressure [psi]'.")
    return tidy_name, unit


def to_display(value: float, kind: "Kind | str", system: str) -> tuple[float, str]:
    """Express a stored value in the caller's system, rounded so that the digits once sent come back.

    Parameters
    ----------
    value : float
        Canonical value.
    kind : Kind or str
        The kind or its name.
    system : {"us", "metric"}
        Which units to show.

    Returns
    -------
    (float, str)
        Value at nine significant digits, and its unit.

    Raises
    ------
    EngineeringError
        If the system is unknown.

    Examples
    --------
    >>> to_display(parse_quantity("60 psi", "pressure", field="p"), "pressure", "us")
    (60.0, 'psi')
    >>> to_display(15.0, "temperature", "us")
    (59.0, 'degF')
    """
    found = _find_kind(kind)
    if system not in SYSTEMS:
        raise EngineeringError("unit_system", f"{system!r} is not a unit system; use 'us' or 'metric'.")
    unit = found.display_units[system]
    return to_unit(value, unit, found), unit


def to_unit(value: float, unit: str, kind: "Kind | str") -> float:
    """Express a canonical value in a named unit of its kind, at nine significant digits.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    unit : str
        Any accepted spelling.
    kind : Kind or str
        The kind or its name.

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    EngineeringError
        Unknown kind, a unit the kind cannot be in.

    Examples
    --------
    >>> to_unit(283.9058838, "US gpd", "flow")
    75.0
    """
    return float(f"{express(value, unit, kind):.9g}")


def express(value: float, unit: str, kind: "Kind | str") -> float:
    """Express a canonical value in a named unit of its kind, without rounding.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    unit : str
        Any accepted spelling.
    kind : Kind or str
        The kind or its name.

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    EngineeringError
        Unknown kind, a unit the kind cannot be in.

    Examples
    --------
    >>> round(express(100.0, "dH", "hardness"), 3)
    5.603
    """
    found = _find_kind(kind)
    expression = _expression(unit, found, "unit")
    return float(_magnitude(np.asarray(float(value)), _canonical_expression(found), expression))


def accepted_forms(kind: "Kind | str") -> str:
    """Return the accepted ways to write a kind, for messages and documentation.

    Examples
    --------
    >>> accepted_forms("ph")
    "'7.4' or '7.4 pH'"
    """
    forms = [f"'{form}'" for form in _find_kind(kind).forms]
    return forms[0] if len(forms) == 1 else f"{', '.join(forms[:-1])} or {forms[-1]}"


def _find_kind(kind: "Kind | str") -> Kind:
    if isinstance(kind, Kind):
        return kind
    found = QUANTITY_KINDS.get(kind) or KINDS.get(kind)
    if found is None:
        raise EngineeringError("kind", f"{kind!r} is not a known quantity or kind.")
    return found


def _split(given: object, kind: Kind, field: str) -> tuple[Any, str]:
    forms = accepted_forms(kind)
    if isinstance(given, Mapping):
        extra = sorted(str(key) for key in set(given) - {"value", "unit"})
        if extra or "value" not in given:
            raise EngineeringError(field, f"Give an object with 'value' and 'unit', or text such as {forms}.")
        unit = given.get("unit", "")
        return given["value"], _unit_text(unit, kind, field)
    if isinstance(given, list | tuple):
        if len(given) != 2:
            raise EngineeringError(field, f"Give a value and a unit, for example {forms}.")
        return given[0], _unit_text(given[1], kind, field)
    if isinstance(given, str):
        match = _NUMBER.match(given.replace("−", "-"))
        if match is None:
            raise EngineeringError(
                field, f"{_shorten(given)} is not a number with a unit (use a point for decimals); write {forms}."
            )
        return match.group(1), match.group(2)
    return given, ""


def _unit_text(unit: object, kind: Kind, field: str) -> str:
    if unit is None:
        return ""
    if not isinstance(unit, str):
        raise EngineeringError(field, f"The unit must be text; write {accepted_forms(kind)}.")
    return unit


def _number(value: object, kind: Kind, field: str) -> float:
    forms = accepted_forms(kind)
    if isinstance(value, bool) or not isinstance(value, int | float | str | np.integer | np.floating):
        raise EngineeringError(field, f"{_shorten(value)} is not a number; write {forms}.")
    if isinstance(value, str) and not re.fullmatch(r"[+\-−]?[0-9.]+(?:[eE][+-]?[0-9]{1,3})?", value.strip()):
        raise EngineeringError(field, f"{_shorten(value)} is not a number (use a point for decimals); write {forms}.")
    try:
        number = float(value.strip().replace("−", "-") if isinstance(value, str) else value)
    except (ValueError, OverflowError):
        raise EngineeringError(field, f"{_shorten(value)} is not a usable number; write {forms}.") from None
    if not np.isfinite(number):
        raise EngineeringError(field, f"A measurement must be a finite number; write {forms}, or leave it out.")
    return number


def _shorten(given: object) -> str:
    text = repr(given)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _convert(values: FloatArray, unit: str, kind: Kind, field: str, tds_factor: float | FloatArray) -> FloatArray:
    expression = _expression(unit, kind, field)
    converted = _magnitude(values, expression, _canonical_expression(kind))
    if kind.name == "tds" and "us_per_cm" not in expression and "as NaCl" not in unit:
        converted = converted * (HOUSE_TDS_FACTOR / _checked_factor(tds_factor))
    return converted


def _checked_factor(tds_factor: float | FloatArray) -> FloatArray:
    factor = np.asarray(tds_factor, dtype=np.float64)
    if not np.all((factor >= TDS_FACTOR_LOW) & (factor <= TDS_FACTOR_HIGH)):
        raise EngineeringError(
            "tds_factor",
            f"A TDS meter's factor lies between {TDS_FACTOR_LOW} and {TDS_FACTOR_HIGH} mg/L per uS/cm; "
            "0.5 and 0.7 are the common ones.",
        )
    return factor


def _canonical_expression(kind: Kind) -> str:
    return kind.spellings.get(kind.canonical_unit, kind.spellings.get("", ""))


def _expression(unit: str, kind: Kind, field: str) -> str:
    """Find the pint expression for a spelling: exactly, then without regard to case, then by pint itself."""
    text = " ".join(unit.replace("µ", "u").replace("μ", "u").replace("°", "deg").replace("³", "3").split())
    if not text and kind.bare_number_ok:
        return _canonical_expression(kind)
    if not text:
        raise EngineeringError(field, f"A number alone does not say its unit; write {accepted_forms(kind)}.")
    if text in kind.refused:
        raise EngineeringError(field, f"{_first_capital(kind.refused[text])}.")
    if text in kind.spellings:
        return kind.spellings[text]
    folded = text.casefold()
    for spelling, reason in kind.refused.items():
        if folded == spelling.casefold():
            raise EngineeringError(field, f"{_first_capital(reason)}.")
    matches = {expression for spelling, expression in kind.spellings.items() if spelling.casefold() == folded}
    if len(matches) == 1:
        return matches.pop()
    if kind.name in ("flow", "volume") and _LONE_GALLON.search(text) and not re.search(r"us|imp|uk", folded):
        raise EngineeringError(field, f"{_GALLON}.")
    if kind.open_to_pint and len(text) <= _LONGEST_UNIT and _PINT_NAME.match(text):
        expression = _by_pint(text, kind)
        if expression:
            return expression
    units = ", ".join(spelling for spelling in kind.spellings if spelling)
    raise EngineeringError(
        field, f"{_shorten(unit)} is not a unit this can be in; write {accepted_forms(kind)} (known units: {units})."
    )


def _first_capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _by_pint(text: str, kind: Kind) -> str:
    try:
        unit = registry.parse_units(text)
        if unit.dimensionality == registry.parse_units(_canonical_expression(kind)).dimensionality:
            return str(unit)
    except (pint.PintError, ValueError, TypeError, AttributeError, KeyError, tokenize.TokenError):
        return ""
    return ""


def _magnitude(values: FloatArray, source: str, target: str) -> FloatArray:
    if source == target:
        return values
    if source in ("degC", "degF", "kelvin") and target in ("degC", "degF", "kelvin"):
        quantity = registry.Quantity(values, source)
        # An offset conversion loses the last digits (59 degF must be 15 degC and 113 degF must not be above 45 degC).
        return np.asarray(np.round(quantity.to(target).magnitude, 9), dtype=np.float64)
    return values * _factor(source, target)


_factors: dict[tuple[str, str], float] = {}


def _factor(source: str, target: str) -> float:
    """Scale between two multiplicative units; remembered, since a file asks for the same one a million times."""
    key = (source, target)
    if key not in _factors:
        ratio = registry.parse_expression(source) / registry.parse_expression(target)
        _factors[key] = float(ratio.to("dimensionless").magnitude)
    return _factors[key]


def _below(value: Any, kind: Kind) -> Any:
    return value < kind.low - _SLACK * max(1.0, abs(kind.low))


def _above(value: Any, kind: Kind) -> Any:
    return value > kind.high + _SLACK * max(1.0, abs(kind.high))


def _outside_sentence(value: float, kind: Kind, given: str) -> str:
    if not (_below(value, kind) or _above(value, kind)):
        return ""
    unit = f" {kind.canonical_unit}" if kind.canonical_unit not in ("pH", "fraction") else ""
    if value < kind.low and not np.isfinite(kind.high):
        return f"{given} is not possible: this cannot be below {kind.low:g}{unit}."
    limits = f"{kind.low:.6g} to {kind.high:.6g}{unit}"
    other = kind.display_units["us"]
    if other not in (kind.canonical_unit, "%"):
        limits += f" ({to_unit(kind.low, other, kind):.4g} to {to_unit(kind.high, other, kind):.4g} {other})"
    return f"{given} is outside what this can be, {limits}; check the digits and the unit."
