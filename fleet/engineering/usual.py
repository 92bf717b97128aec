"""What is usual of sound parts and of visits: reckoned with where a unit's own readings do not say it.

Read by indicators, diagnosis, sizing and forecasts, so that they agree. Common practice, no source, all of it. How long
a part serves by the calendar stands in `limits.USUAL_SERVICE_TIME_DAYS`.
"""

from collections.abc import Mapping
from typing import Final

from fleet.engineering.constants import KILOPASCAL_PER_PSI

SOUND_FLOW_LOSS_PER_YEAR: Final = (0.02, 0.06)
"""Share of its normalised flow that a sound membrane loses in a year: least and most."""

SOUND_SALT_GAIN_PER_YEAR: Final = (0.03, 0.12)
"""By how much the normalised salt passage of a sound membrane rises in a year, as a share of it: least and most."""

LABEL_FLOW_TOLERANCE: Final = 0.25
"""By how much the flow of a sound membrane may be off its label, as a share of it; labels carry 15 to 25 % (from
memory)."""

WASTE_RATIO_TOLERANCE: Final = 0.25
"""By how much the waste ratio of a sound unit may be off its design, at the condition of the reading."""

NEW_SALT_PASSAGE_OVER_LABEL: Final = 2.5
"""Salt passage of a new membrane over that of its label from which it is not sound: a label holds for the least, real
water is no sodium chloride, and the first days rinse."""

LAYOUT_TEMPERATURE_DEGC: Final = 14.0
"""Of the water that a restrictor is taken to be chosen for where nobody said; mains water of a temperate place over the
year."""

COLD_AND_WARM_DEGC: Final = (4.0, 25.0)
"""Between which mains water may be where nobody read how warm it was."""

FIRST_WEEKS_DAYS: Final = 45.0
"""A fresh part counts as fresh for so long. A membrane is run in by then: its baseline, its commissioning and what it
passed when it was fitted are read before. Prefilters are clean until then: what they take and leave is their level."""

NEW_MEMBRANE_RINSES_DAYS: Final = 2.0
"""So long what preserved a new membrane may come out of it at a unit that runs a few hours a day: what it passes then
is not what it will pass (common practice, no source)."""

SAME_VISIT_DAYS: Final = 0.75
"""Readings and changes so close together belong to one visit; dates are often no finer than a day."""

CAPACITY_LOG_SD: Final = 0.5
"""Standard deviation of the log of a capacity, or of a life, around that of a label: right within a factor of 1.6 two
times in three."""

FEED_CHLORINE_MG_PER_L: Final = 1.0
"""Of a supply whose chlorine was not measured."""

LABEL_REJECTION: Final = 0.96
"""Of a membrane whose label names none, at the conditions of a label."""

LABEL_PRESSURE_KPA: Final = 414.0
"""At which the flow of a small membrane is rated where the label names no pressure, 60 psi; labels carry 50 to 65."""

LABEL_TEMPERATURE_DEGC: Final = 25.0
LABEL_TDS_MG_PER_L: Final = 250.0
"""As NaCl; of small membranes, labels carry 250 or 500."""

LABEL_RECOVERY: Final = 0.15

RESIN_VOLUME_L: Final = 0.6
"""Bed of a cartridge of 10 inch; 0.5 to 0.75 L."""

RESIN_CAPACITY_EQ_PER_L: Final = 0.457
"""New mixed bed, 10 kilograin/ft3; 0.35 to 0.6 eq/L."""

REJECTION_IN_SERVICE: Final = 0.95
"""As a meter reads it over a whole life, colder, at less pressure and older than a label has it."""

METER_STEP_MG_PER_L: Final = 1.0
"""Smallest step of a TDS meter of which nothing is recorded."""

CLEAN_FILTER_KPA: Final = 14.0
"""Differential pressure over one clean sediment filter, 2 psi."""

CLEAN_PREFILTERS_KPA: Final = 3.0 * KILOPASCAL_PER_PSI
"""Differential pressure over all that stands before the membrane, clean: the carbon takes its part as well."""

PUMP_CUSTOMARY_BELOW_KPA: Final = 50.0 * KILOPASCAL_PER_PSI
"""Membrane inlet below which a booster pump is customary, whoever made the unit. What a demand asks for is computed
(`formulas/needed_pressure.py`); this rule of thumb stands beside it."""

RUN_HOURS_PER_DAY: Final = 8.0
"""How long a unit is taken to run a day in winter at most, by who sizes it and by who judges its line."""

TANK_PRECHARGE_KPA: Final = 7.0 * KILOPASCAL_PER_PSI
"""Pressure of the air in an empty tank of which nobody read it."""

PUMP_STOPS_AT_KPA: Final = 40.0 * KILOPASCAL_PER_PSI
"""Pressure of the tank at which the switch of a booster pump stops it."""

WEEKLY_DEMAND_L: Final[Mapping[str, float]] = {
    "reef": 60.0,
    "planted": 60.0,
    "drinking": 40.0,
    "coffee": 150.0,
    "laboratory": 80.0,
    "hydroponics": 100.0,
    "fish": 100.0,
    "other": 60.0,
}
"""Product water a week of a small unit by its use, where nobody said how much: an aquarium of 400 L with a tenth
changed a week and a little top-up, two persons who drink and cook, a bar of a hundred cups a day, rinsing
included."""
