"""What must be known about the units behind the readings."""

from dataclasses import dataclass

import numpy as np

from fleet.engineering.arrays import BoolArray, Numbers
from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.formulas.normalisation import OperatingPoint
from fleet.engineering.usual import LABEL_REJECTION, METER_STEP_MG_PER_L


@dataclass(frozen=True)
class UnitContext:
    """What must be known about the unit behind each reading: scalars, or arrays of one value a reading.

    Attributes
    ----------
    standard_inlet_pressure_kpa, standard_temperature_degc, standard_feed_tds_mg_per_l,
    standard_permeate_tds_mg_per_l, standard_recovery_fraction : float or ndarray
        The condition normalised values refer to. The default is 60 psi, 25 degC, 300 and 10 mg/L, 0.2; give the unit's
        own baseline condition to stay close to it.
    baseline_normalised_flow_l_per_day, baseline_normalised_salt_passage_fraction : float or ndarray
        Normalised values after running-in, at the same standard; NaN where there is none yet.
    design_recovery_fraction : float or ndarray
        Stands in for the recovery where flows were not read (it moves the driving pressure by very little).
    u_kelvin : float or ndarray
        Temperature coefficient of the membrane; NaN for the default of two slopes.
    rejection_fraction : float or ndarray
        Stands in for the permeate TDS inside the driving pressure where it was not read.
    rated_flow_l_per_day, rated_pressure_kpa, rated_temperature_degc, rated_tds_mg_per_l,
    rated_recovery_fraction : float or ndarray
        The label with its test conditions; NaN where unknown.
    has_pressurised_tank, has_booster_pump : bool or ndarray
        Facts of the unit.
    reference_feed_flow_l_per_day : float or ndarray
        Flow the differential pressure over the prefilters is brought to; NaN where unknown.
    tds_resolution_mg_per_l : float or ndarray
        Step of the meter.
    """

    standard_inlet_pressure_kpa: Numbers = 60.0 * KILOPASCAL_PER_PSI
    standard_temperature_degc: Numbers = 25.0
    standard_feed_tds_mg_per_l: Numbers = 300.0
    standard_permeate_tds_mg_per_l: Numbers = 10.0
    standard_recovery_fraction: Numbers = 0.2
    baseline_normalised_flow_l_per_day: Numbers = np.nan
    baseline_normalised_salt_passage_fraction: Numbers = np.nan
    design_recovery_fraction: Numbers = 0.2
    u_kelvin: Numbers = np.nan
    rejection_fraction: Numbers = LABEL_REJECTION
    rated_flow_l_per_day: Numbers = np.nan
    rated_pressure_kpa: Numbers = np.nan
    rated_temperature_degc: Numbers = np.nan
    rated_tds_mg_per_l: Numbers = np.nan
    rated_recovery_fraction: Numbers = np.nan
    has_pressurised_tank: bool | BoolArray = False
    has_booster_pump: bool | BoolArray = False
    reference_feed_flow_l_per_day: Numbers = np.nan
    tds_resolution_mg_per_l: Numbers = METER_STEP_MG_PER_L

    def standard_point(self) -> OperatingPoint:
        """Return the condition normalised values refer to."""
        return OperatingPoint(
            inlet_pressure_kpa=self.standard_inlet_pressure_kpa,
            feed_tds_mg_per_l=self.standard_feed_tds_mg_per_l,
            permeate_tds_mg_per_l=self.standard_permeate_tds_mg_per_l,
            recovery_fraction=self.standard_recovery_fraction,
            temperature_degc=self.standard_temperature_degc,
        )
