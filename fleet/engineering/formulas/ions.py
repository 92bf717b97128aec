"""A water given by its main ions: concentrations, ionic strength and activity coefficients at 25 degC and beyond."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range
from fleet.engineering.constants import (
    MOLAR_MASS_CA,
    MOLAR_MASS_CL,
    MOLAR_MASS_HCO3,
    MOLAR_MASS_MG,
    MOLAR_MASS_NA,
    MOLAR_MASS_SO4,
)
from fleet.engineering.errors import EngineeringError


@dataclass(frozen=True)
class Ion:
    """One ion: molar mass (g/mol), charge, limiting molar conductivity at 25 degC (S cm2/mol, of the whole ion)."""

    molar_mass: float
    charge: int
    limiting_conductivity: float


# Limiting equivalent conductivities at 25 degC: CRC Handbook (from memory), here per mole of ion.
IONS: Final[Mapping[str, Ion]] = {
    "calcium": Ion(MOLAR_MASS_CA, 2, 2 * 59.47),
    "magnesium": Ion(MOLAR_MASS_MG, 2, 2 * 53.0),
    "sodium": Ion(MOLAR_MASS_NA, 1, 50.08),
    "potassium": Ion(39.0983, 1, 73.48),
    "chloride": Ion(MOLAR_MASS_CL, -1, 76.31),
    "sulfate": Ion(MOLAR_MASS_SO4, -2, 2 * 80.0),
    "bicarbonate": Ion(MOLAR_MASS_HCO3, -1, 44.5),
    "nitrate": Ion(62.0049, -1, 71.42),
}


def mol_per_l(mg_per_l: Mapping[str, Numbers]) -> dict[str, FloatArray]:
    """Return the concentrations of named ions in mol/L.

    Parameters
    ----------
    mg_per_l : mapping
        Ion name (``"calcium"``, ``"bicarbonate"`` ...) -> concentration as the ion, mg/L.

    Returns
    -------
    dict of str to ndarray
        Ion name -> mol/L.

    Raises
    ------
    EngineeringError
        Unknown ion, negative or missing concentration, no ion at all.

    Examples
    --------
    >>> {ion: round(float(c), 6) for ion, c in mol_per_l({"sodium": 23.0}).items()}
    {'sodium': 0.001}
    """
    if not mg_per_l:
        raise EngineeringError("ions", "Name at least one ion.")
    molar: dict[str, FloatArray] = {}
    for name, concentration in mg_per_l.items():
        ion = IONS.get(name)
        if ion is None:
            raise EngineeringError(name, f"{name!r} is not a known ion; known are {', '.join(IONS)}.")
        molar[name] = in_range(concentration, f"{name}_mg_per_l", 0.0, 50000.0, unit="mg/L") / ion.molar_mass / 1000.0
    return molar


def ionic_strength_mol_per_l(molar: Mapping[str, FloatArray]) -> Result:
    """Return half the sum of concentration times charge squared.

    Examples
    --------
    >>> round(float(ionic_strength_mol_per_l(mol_per_l({"sodium": 22.98977, "chloride": 35.453}))), 6)
    0.001
    """
    return 0.5 * sum(molar[name] * IONS[name].charge ** 2 for name in molar)


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
