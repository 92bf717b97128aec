"""The inlet pressure that a demand asks of a membrane in the coldest water: below it a booster pump is needed."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import in_range
from fleet.engineering.formulas.expected_flow import MembraneRating, permeate_flow_under_l_per_day
from fleet.engineering.formulas.normalisation import OperatingPoint, signed_net_driving_pressure_kpa
from fleet.engineering.formulas.tank import shutoff_tank_pressure_kpa, tank_fill_time_multiple
from fleet.engineering.usual import PUMP_CUSTOMARY_BELOW_KPA

_HIGHEST_KPA: Final = 2000.0
_HALVINGS: Final = 22


def needed_inlet_kpa(
    rating: MembraneRating,
    *,
    permeate_l_per_day: float,
    coldest_degc: float,
    feed_tds_mg_per_l: float,
    recovery_fraction: float,
    through_tank_l_per_day: float = 0.0,
    precharge_kpa: float = 0.0,
    tank_full_kpa: float = 0.0,
) -> float | None:
    """Return the lowest inlet pressure at which one membrane makes so much permeate in the coldest water.

    Parameters
    ----------
    rating : MembraneRating
        Label, its flow as far as it is left of it.
    permeate_l_per_day : float
        Flow that is needed while the unit runs, above 0: a day's demand over the share of the day it may run.
    coldest_degc : float
        1 to 45 degC.
    feed_tds_mg_per_l : float
        0.5 scale, 0 or more.
    recovery_fraction : float
        0 to below 1.
    through_tank_l_per_day : float
        How much of that flow is stored in a pressurised tank, which takes longer to fill than an open one.
    precharge_kpa, tank_full_kpa : float
        Of that tank, gauge; it stops filling at two thirds of the inlet, or at `tank_full_kpa` where that is less.

    Returns
    -------
    float or None
        kPa gauge; None where not even 2000 kPa are enough.

    Raises
    ------
    EngineeringError
        A label without flow, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)
    >>> needed = needed_inlet_kpa(label, permeate_l_per_day=284.0, coldest_degc=25.0, feed_tds_mg_per_l=250.0,
    ...     recovery_fraction=0.15)
    >>> round(needed, 1)
    345.0
    """
    wanted = float(in_range(permeate_l_per_day, "permeate_l_per_day", 0.0, unit="L/day", open_low=True))
    passage = 1.0 - float(rating.rejection_fraction)
    at_highest = OperatingPoint(
        inlet_pressure_kpa=_HIGHEST_KPA,
        feed_tds_mg_per_l=feed_tds_mg_per_l,
        permeate_tds_mg_per_l=feed_tds_mg_per_l * passage,
        recovery_fraction=recovery_fraction,
        temperature_degc=coldest_degc,
    )
    osmotic = _HIGHEST_KPA - float(signed_net_driving_pressure_kpa(at_highest))
    rated_driving = float(signed_net_driving_pressure_kpa(rating.point()))
    per_kpa = float(
        permeate_flow_under_l_per_day(
            rating, driving_pressure_kpa=1.0, rated_driving_pressure_kpa=rated_driving, temperature_degc=coldest_degc
        )
    )
    into_open_store = osmotic + wanted / per_kpa
    if into_open_store > _HIGHEST_KPA:
        return None
    if not through_tank_l_per_day > 0.0:
        return into_open_store

    def serves(inlet_kpa: float) -> bool:
        driving = inlet_kpa - osmotic
        shutoff = min(float(shutoff_tank_pressure_kpa(inlet_kpa)), tank_full_kpa)
        if shutoff <= precharge_kpa or driving <= shutoff:
            return False
        longer = tank_fill_time_multiple(
            precharge_pressure_kpa=precharge_kpa,
            shutoff_pressure_kpa=shutoff,
            net_driving_pressure_at_zero_kpa=driving,
        )
        return driving * per_kpa >= wanted + through_tank_l_per_day * (longer - 1.0)

    low, high = into_open_store, _HIGHEST_KPA
    if not serves(high):
        return None
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if serves(middle) else (middle, high)
    return high


def pump_is_due_below_kpa(needed_kpa: float | None, customary_kpa: float = PUMP_CUSTOMARY_BELOW_KPA) -> float:
    """Return the membrane inlet below which a weak line calls for a booster pump.

    What the demand asks for, as long as the rule of thumb calls the line weak as well: a unit that is too small for its
    demand at a good pressure needs a larger membrane. Where the need is not known the rule of thumb stands alone.

    Examples
    --------
    >>> [round(pump_is_due_below_kpa(needed)) for needed in (200.0, 500.0, None)]
    [200, 345, 345]
    """
    if needed_kpa is None or np.isnan(needed_kpa):
        return customary_kpa
    return min(needed_kpa, customary_kpa)
