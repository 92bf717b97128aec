"""Every kind of quantity: how it may be written, how it is shown, and what is refused by name."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Final

import numpy as np


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
GALLON_SENTENCE = "'gal' alone may be US or imperial, which differ by 20 %; say 'US gal' or 'imperial gal'"
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
HOURS: Final = Kind(
    "burning_time", "h", {"h": "hour", "hours": "hour", "hour": "hour", "days": "day"}, {"us": "h", "metric": "h"},
    ("9000", "9000 h"), low=0.0, high=200000.0, bare_number_ok=True,
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
        "minutes": MINUTES, "burning_time": HOURS, "temperature_coefficient": TEMPERATURE_COEFFICIENT,
    }
)  # fmt: skip
