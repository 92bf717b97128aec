"""Sediment cartridges: the differential pressure that only the dirt is left to change."""

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.formulas.viscosity import water_viscosity_mpa_s


def normalised_differential_pressure(
    differential_pressure: Numbers,
    *,
    flow: Numbers,
    reference_flow: Numbers,
    temperature_degc: Numbers,
    reference_temperature_degc: Numbers = 25.0,
) -> Result:
    """Return the differential pressure a cartridge would show at a reference flow and temperature.

    Parameters
    ----------
    differential_pressure : float or ndarray
        Any pressure unit, 0 or more.
    flow, reference_flow : float or ndarray
        In one unit, above 0.
    temperature_degc, reference_temperature_degc : float or ndarray
        0 to 100 degC.

    Returns
    -------
    float or ndarray
        dP (Qref/Q) (mu_ref/mu_T), as for any medium (Darcy).

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Cold water alone makes a clean filter look 47 % worse at 10 than at 25 degC.

    Examples
    --------
    >>> round(normalised_differential_pressure(6.0, flow=0.8, reference_flow=1.0, temperature_degc=10.0), 2)
    5.11
    """
    measured = in_range(differential_pressure, "differential_pressure", 0.0)
    ratio = in_range(reference_flow, "reference_flow", 0.0, open_low=True) / in_range(flow, "flow", 0.0, open_low=True)
    viscosities = water_viscosity_mpa_s(reference_temperature_degc) / water_viscosity_mpa_s(temperature_degc)
    return tidy(measured * ratio * viscosities)
