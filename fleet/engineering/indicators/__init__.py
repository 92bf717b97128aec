"""What engineering makes of readings: every indicator for every reading at once, or the reason it cannot be had.

Readings come as a struct of arrays under the house's names, NaN where a quantity was not read. Nothing raises for a
single bad reading: the value is left out and its reason says why. No loop runs over readings.
"""

from fleet.engineering.indicators.baseline import baseline_of_groups
from fleet.engineering.indicators.compute import indicators
from fleet.engineering.indicators.context import UnitContext
from fleet.engineering.indicators.result import INDICATORS, Indicators, ReasonArray
from fleet.engineering.indicators.table import FLAGS, QUANTITIES, TEXTS

__all__ = [
    "FLAGS",
    "INDICATORS",
    "QUANTITIES",
    "TEXTS",
    "Indicators",
    "ReasonArray",
    "UnitContext",
    "baseline_of_groups",
    "indicators",
]
