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

from fleet.engineering.kinds import (
    ALKALINITY,
    CHLORINE,
    CONCENTRATION,
    CONDUCTIVITY,
    DAYS,
    EXCHANGE_CAPACITY,
    FLOW,
    FRACTION,
    HARDNESS,
    HOURS,
    KINDS,
    LENGTH,
    MASS,
    MICRON,
    MINUTES,
    PH,
    PRESSURE,
    PRESSURE_DIFFERENCE,
    TDS,
    TEMPERATURE,
    TEMPERATURE_COEFFICIENT,
    TEMPERATURE_DIFFERENCE,
    TURBIDITY,
    VOLUME,
    Kind,
)
from fleet.engineering.units.limits import is_unusual, outside_limits, plausibility
from fleet.engineering.units.quantities import QUANTITY_KINDS
from fleet.engineering.units.receiving import convert_column, convert_number, parse_header, parse_quantity
from fleet.engineering.units.registry import STORED_TDS_FACTOR, SYSTEMS, TDS_FACTOR_HIGH, TDS_FACTOR_LOW, registry
from fleet.engineering.units.showing import express, to_display, to_unit
from fleet.engineering.units.spelling import accepted_forms

__all__ = [
    "ALKALINITY",
    "CHLORINE",
    "CONCENTRATION",
    "CONDUCTIVITY",
    "DAYS",
    "EXCHANGE_CAPACITY",
    "FLOW",
    "FRACTION",
    "HARDNESS",
    "HOURS",
    "KINDS",
    "LENGTH",
    "MASS",
    "MICRON",
    "MINUTES",
    "PH",
    "PRESSURE",
    "PRESSURE_DIFFERENCE",
    "QUANTITY_KINDS",
    "STORED_TDS_FACTOR",
    "SYSTEMS",
    "TDS",
    "TDS_FACTOR_HIGH",
    "TDS_FACTOR_LOW",
    "TEMPERATURE",
    "TEMPERATURE_COEFFICIENT",
    "TEMPERATURE_DIFFERENCE",
    "TURBIDITY",
    "VOLUME",
    "Kind",
    "accepted_forms",
    "convert_column",
    "convert_number",
    "express",
    "is_unusual",
    "outside_limits",
    "parse_header",
    "parse_quantity",
    "plausibility",
    "registry",
    "to_display",
    "to_unit",
]
