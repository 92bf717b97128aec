"""Activity coefficients of ions in water, from its ionic strength."""

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range


def debye_huckel_a(temperature_degc: Numbers) -> Result:
    """Return the Debye-Huckel constant A of water (log10 form): about 0.51 at 25 degC.

    A = 1.82e6 (E T)^-1.5, dielectric constant E = 60954/(T + 116) - 68.937 (Standard Methods 2330, from memory).

    Examples
    --------
    >>> round(debye_huckel_a(25.0), 2)
    0.51
    """
    kelvin = np.asarray(in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC")) + 273.15
    dielectric = 60954.0 / (kelvin + 116.0) - 68.937
    value = 1.82e6 * (dielectric * kelvin) ** -1.5
    return float(value) if value.ndim == 0 else value


def davies_pfm(ionic_strength: Numbers, temperature_degc: Numbers) -> Result:
    """Return minus log10 of the activity coefficient of a single-charged ion (Davies); times z squared for others.

    Parameters
    ----------
    ionic_strength : float or ndarray
        mol/L, 0 to 0.5 (beyond that the equation is not valid).
    temperature_degc : float or ndarray
        0 to 100 degC.

    Returns
    -------
    float or ndarray
        Dimensionless, 0 or more.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(davies_pfm(0.01, 25.0), 3)
    0.045
    """
    strength = in_range(ionic_strength, "ionic_strength_mol_per_l", 0.0, 0.5, unit="mol/L")
    root = np.sqrt(strength)
    value = debye_huckel_a(temperature_degc) * (root / (1.0 + root) - 0.3 * strength)
    return float(value) if np.ndim(value) == 0 else value
