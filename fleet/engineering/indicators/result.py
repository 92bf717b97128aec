"""The indicators of many readings, as arrays with reasons."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.indicators import reasons

ReasonArray = NDArray[np.uint8]

INDICATORS: Final = (
    "rejection_fraction",
    "salt_passage_fraction",
    "recovery_fraction",
    "waste_ratio",
    "net_driving_pressure_kpa",
    "normalised_permeate_flow_l_per_day",
    "normalised_flow_ratio",
    "normalised_salt_passage_fraction",
    "normalised_salt_passage_ratio",
    "flow_over_expected",
    "prefilter_differential_pressure_kpa",
    "normalised_prefilter_differential_pressure_kpa",
    "lead_outlet_fraction",
    "product_fraction",
    "carbon_removal_fraction",
    "lead_carbon_removal_fraction",
    "salt_balance_closure_fraction",
    "creep_ratio",
)


@dataclass(frozen=True)
class Indicators:
    """Arrays of indicators, one entry a reading, and why an entry is missing.

    Attributes
    ----------
    values : mapping of str to ndarray
        Indicator name -> values, NaN where there is none. Names are `INDICATORS`.
    reason_numbers : mapping of str to ndarray
        Indicator name -> index into `reasons.CODES`, 0 where the value is there.
    valid_for_trend : ndarray of bool
        Whether the reading may enter a trend of the membrane.
    trend_reason_numbers : ndarray
        Why not, as an index into `reasons.CODES`.
    assumed : mapping of str to ndarray of bool
        What had to be taken from the design instead of the reading, for the driving pressure only.
    """

    values: Mapping[str, FloatArray]
    reason_numbers: Mapping[str, ReasonArray]
    valid_for_trend: BoolArray
    trend_reason_numbers: ReasonArray
    assumed: Mapping[str, BoolArray] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.valid_for_trend.size)

    def row(self, index: int) -> tuple[dict[str, float], dict[str, str]]:
        """Return the indicators of one reading and the reason code of each one missing."""
        values: dict[str, float] = {}
        missing: dict[str, str] = {}
        for name, column in self.values.items():
            if np.isnan(column[index]):
                missing[name] = reasons.CODES[self.reason_numbers[name][index]]
            else:
                values[name] = float(column[index])
        return values, missing

    def reason_code(self, name: str, index: int) -> str:
        """Return why an indicator of one reading is missing; empty when it is there."""
        return reasons.CODES[self.reason_numbers[name][index]]

    def trend_reason_code(self, index: int) -> str:
        """Return why a reading may not enter a trend; empty when it may."""
        return reasons.CODES[self.trend_reason_numbers[index]]
