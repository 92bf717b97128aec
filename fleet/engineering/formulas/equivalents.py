"""Amounts expressed as something else: ions as CaCO3, and gauge pressure as absolute."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    EQUIVALENT_MASS_CACO3,
    MOLAR_MASS_CA,
    MOLAR_MASS_CL,
    MOLAR_MASS_CO2,
    MOLAR_MASS_HCO3,
    MOLAR_MASS_MG,
    MOLAR_MASS_NA,
    MOLAR_MASS_NACL,
    MOLAR_MASS_SIO2,
    MOLAR_MASS_SO4,
    STANDARD_ATMOSPHERE_KPA,
)
from fleet.engineering.errors import EngineeringError

# Grams in one equivalent. Carbon dioxide and silica count one equivalent a mole, as a strong base resin takes them.
EQUIVALENT_MASSES: Final[Mapping[str, float]] = {
    "calcium": MOLAR_MASS_CA / 2.0,
    "magnesium": MOLAR_MASS_MG / 2.0,
    "sodium": MOLAR_MASS_NA,
    "chloride": MOLAR_MASS_CL,
    "sulfate": MOLAR_MASS_SO4 / 2.0,
    "bicarbonate": MOLAR_MASS_HCO3,
    "carbonate": 60.0089 / 2.0,
    "co2": MOLAR_MASS_CO2,
    "silica": MOLAR_MASS_SIO2,
    "nacl": MOLAR_MASS_NACL,
}


def as_caco3_mg_per_l(species: str, mg_per_l: Numbers) -> Result:
    """Return a concentration in mg/L as CaCO3.

    Parameters
    ----------
    species : str
        ``"calcium"``, ``"magnesium"``, ``"bicarbonate"``, ``"co2"``, ``"silica"``, ``"nacl"`` and so on.
    mg_per_l : float or ndarray
        As the species itself, 0 or more.

    Returns
    -------
    float or ndarray
        mg/L as CaCO3.

    Raises
    ------
    EngineeringError
        Unknown species, negative value.

    Examples
    --------
    >>> round(as_caco3_mg_per_l("calcium", 80.0), 1)
    199.8
    """
    mass = EQUIVALENT_MASSES.get(species)
    if mass is None:
        raise EngineeringError("species", f"{species!r} is not known; use one of {', '.join(EQUIVALENT_MASSES)}.")
    return tidy(in_range(mg_per_l, f"{species}_mg_per_l", 0.0, unit="mg/L") * EQUIVALENT_MASS_CACO3 / mass)


def absolute_pressure_kpa(
    gauge_pressure_kpa: Numbers, atmospheric_kpa_absolute: Numbers = STANDARD_ATMOSPHERE_KPA
) -> Result:
    """Return an absolute pressure, which gas laws need; everything else in the house is gauge.

    Parameters
    ----------
    gauge_pressure_kpa : float or ndarray
        May be negative (vacuum) down to minus the atmosphere.
    atmospheric_kpa_absolute : float or ndarray
        50 to 110 kPa.

    Returns
    -------
    float or ndarray
        kPa absolute.

    Raises
    ------
    EngineeringError
        Below absolute zero pressure, atmosphere out of range.

    Examples
    --------
    >>> absolute_pressure_kpa(100.0)
    201.325
    """
    gauge = in_range(gauge_pressure_kpa, "gauge_pressure_kpa")
    absolute = gauge + in_range(atmospheric_kpa_absolute, "atmospheric_kpa_absolute", 50.0, 110.0, unit="kPa")
    if np.any(absolute < 0.0):
        raise EngineeringError(
            "gauge_pressure_kpa", "No pressure lies below absolute zero; check the sign and the unit."
        )
    return tidy(absolute)
