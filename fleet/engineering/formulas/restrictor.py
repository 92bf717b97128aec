"""The flow restrictor: which size to order, and what it passes at another pressure and temperature."""

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import MINUTES_PER_DAY
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.viscosity import water_viscosity_mpa_s


def concentrate_flow_for_ratio(permeate_flow: Numbers, concentrate_to_permeate_ratio: Numbers) -> Result:
    """Return the concentrate flow a restrictor should pass, in the unit of the permeate flow.

    Parameters
    ----------
    permeate_flow : float or ndarray
        Flow expected **at the site**, not the label; 0 or more.
    concentrate_to_permeate_ratio : float or ndarray
        Typically 3 to 5 on hard, 1 to 2 only on soft water (common practice, no source).

    Returns
    -------
    float or ndarray
        Flow in the same unit.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> concentrate_flow_for_ratio(200.0, 4.0)
    800.0
    """
    flow = in_range(permeate_flow, "permeate_flow", 0.0)
    return tidy(flow * in_range(concentrate_to_permeate_ratio, "concentrate_to_permeate_ratio", 0.0))


def restrictor_size_ml_per_min(permeate_flow_l_per_day: Numbers, concentrate_to_permeate_ratio: Numbers) -> Result:
    """Return the size to order, in mL/min as restrictors are labelled.

    Parameters
    ----------
    permeate_flow_l_per_day, concentrate_to_permeate_ratio : float or ndarray
        As `concentrate_flow_for_ratio`, the flow in L/day.

    Returns
    -------
    float or ndarray
        mL/min.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> round(restrictor_size_ml_per_min(100 * 3.785411784, 4.0))
    1052
    """
    return tidy(
        concentrate_flow_for_ratio(permeate_flow_l_per_day, concentrate_to_permeate_ratio) * 1000.0 / MINUTES_PER_DAY
    )


def restrictor_flow(
    rated_flow: Numbers,
    *,
    rated_pressure: Numbers,
    pressure: Numbers,
    restrictor_type: str | None = None,
    rated_temperature_degc: Numbers = 25.0,
    temperature_degc: Numbers = 25.0,
) -> Result:
    """Return what a restrictor passes at another pressure (and temperature).

    Parameters
    ----------
    rated_flow : float or ndarray
        Flow at the rated pressure, any flow unit.
    rated_pressure, pressure : float or ndarray
        Pressure difference across it, in one unit, above 0.
    restrictor_type : {"orifice", "capillary"}
        Orifice: root of pressure. Capillary tube: pressure over viscosity (Hagen-Poiseuille).
    rated_temperature_degc, temperature_degc : float or ndarray
        Only a capillary feels them; 0 to 100 degC.

    Returns
    -------
    float or ndarray
        In the unit of `rated_flow`.

    Raises
    ------
    EngineeringError
        Unknown type when the pressure differs from the rating, out of range.

    Examples
    --------
    >>> round(restrictor_flow(420.0, rated_pressure=60.0, pressure=80.0, restrictor_type="orifice"), 1)
    485.0
    """
    flow = in_range(rated_flow, "rated_flow", 0.0)
    ratio = in_range(pressure, "pressure", 0.0, open_low=True) / in_range(
        rated_pressure, "rated_pressure", 0.0, open_low=True
    )
    if restrictor_type == "orifice":
        return tidy(flow * np.sqrt(ratio))
    if restrictor_type == "capillary":
        return tidy(
            flow * ratio * water_viscosity_mpa_s(rated_temperature_degc) / water_viscosity_mpa_s(temperature_degc)
        )
    if restrictor_type is None and np.all(ratio == 1.0):
        return tidy(flow)
    raise EngineeringError(
        "restrictor_type",
        f"{restrictor_type!r} does not say how the flow follows pressure; use 'orifice' or 'capillary'.",
    )
