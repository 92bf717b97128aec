"""Conductivity of known waters: salts, tap waters, calibration standards, pure water and water in air."""

from typing import Final

import numpy as np
from scipy.interpolate import PchipInterpolator

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    MOLAR_MASS_CO2,
    MOLAR_MASS_NACL,
    MOLAR_MASS_NAHCO3,
)
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.carbonate import pk1_carbonic, pkw_water, water_density_kg_per_l
from fleet.engineering.formulas.ions import IONS, ionic_strength_mol_per_l, mol_per_l

# Limiting molar conductivities at 25 degC, S cm2/mol (CRC Handbook, from memory).
LAMBDA_HYDROGEN: Final = 349.8
LAMBDA_HYDROXIDE: Final = 198.6
CO2_IN_AIR_ATM: Final = 10.0**-3.38

# NIST, J. Res. NIST 96, 191 (1991) and 99, 241 (1994), as tabulated in the CRC Handbook: degC, then uS/cm.
_KCL_DEGC: Final = np.array([0, 5, 10, 15, 18, 20, 25, 30, 35, 40, 45, 50], dtype=float)
_KCL_US_PER_CM: Final = {
    0.01: np.array(
        [772.92, 890.96, 1013.95, 1141.45, 1219.93, 1273.03, 1408.23, 1546.63, 1687.79, 1831.27, 1976.62, 2123.43]
    ),
    0.1: np.array(
        [7116.85, 8183.70, 9291.72, 10437.1, 11140.6, 11615.9, 12824.6, 14059.2, 15316.0, 16591.0, 17880.6, 19180.9]
    ),
    1.0: np.array([63488, 72030, 80844, 89900, np.nan, 99170, 108620, 118240, 127970, 137810, 147720, 157670]),
}
# Common practice, no source: printed with many meters; uS/cm at 25 degC, then mg/L.
_TDS_TABLE_US_PER_CM: Final = np.array([23.0, 447.0, 1413.0, 8974.0, 12880.0, 15000.0])
_TDS_TABLE: Final = {
    "kcl": np.array([11.6, 225.6, 744.7, 5101.0, 7447.0, 8759.0]),
    "mixed_salts": np.array([14.74, 300.0, 1000.0, 7608.0, 11367.0, 13455.0]),
}
# Water per litre of a 0.001, 0.01, 0.1 and 1 mol/L KCl solution at 25 degC, kg (from densities, from memory).
_KCL_WATER_KG_PER_L: Final = {0.001: 0.99702, 0.01: 0.99678, 0.1: 0.99423, 1.0: 0.9667}
# Slope of ln(conductivity) on ln(molality) between the tabulated concentrations.
_KCL_EXPONENT: Final = {0.001: 0.985, 0.01: 0.975, 0.1: 0.955, 1.0: 0.93}


def nacl_conductivity_us_per_cm(nacl_mg_per_l: Numbers) -> Result:
    """Return the conductivity of a sodium chloride solution at 25 degC.

    Parameters
    ----------
    nacl_mg_per_l : float or ndarray
        0 to 5000 mg/L.

    Returns
    -------
    float or ndarray
        uS/cm.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Debye-Huckel-Onsager law with an ion-size term; within 0.5 % of handbook values to 0.1 mol/L (tests).

    Examples
    --------
    >>> round(nacl_conductivity_us_per_cm(750.0) / 1500.0, 2)
    1.01
    """
    salt = in_range(nacl_mg_per_l, "nacl_mg_per_l", 0.0, 5000.0, unit="mg/L")
    return tidy(_one_to_one_us_per_cm(salt / MOLAR_MASS_NACL / 1000.0, 126.39))


def nacl_from_conductivity_mg_per_l(conductivity_25_us_per_cm: Numbers) -> Result:
    """Return the sodium chloride that has a conductivity at 25 degC: the true NaCl scale, not a fixed factor.

    Parameters
    ----------
    conductivity_25_us_per_cm : float or ndarray
        0 to 8000 uS/cm.

    Returns
    -------
    float or ndarray
        mg/L of NaCl: 0.47 of the conductivity at 30 uS/cm, 0.50 at 1413.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(nacl_from_conductivity_mg_per_l(1413.0) / 1413.0, 3)
    0.496
    """
    target = in_range(conductivity_25_us_per_cm, "conductivity_25_us_per_cm", 0.0, 8000.0, unit="uS/cm")
    # Fixed point: conductivity per mg/L falls slowly, so each round divides the error by more than ten.
    guess = target * 0.48
    for _ in range(50):
        shown = _one_to_one_us_per_cm(guess / MOLAR_MASS_NACL / 1000.0, 126.39)
        guess = np.where(target == 0.0, 0.0, guess * target / np.where(shown == 0.0, 1.0, shown))
    return tidy(guess)


def tds_by_published_table_mg_per_l(conductivity_25_us_per_cm: Numbers, salt: str) -> Result:
    """Return the TDS of a conductivity by the table printed in the manuals of many meters.

    Parameters
    ----------
    conductivity_25_us_per_cm : float or ndarray
        23 to 15000 uS/cm, the span of the table.
    salt : {"kcl", "mixed_salts"}
        Potassium chloride, or 40 % sodium sulfate, 40 % sodium bicarbonate, 20 % sodium chloride.

    Returns
    -------
    float or ndarray
        mg/L.

    Raises
    ------
    EngineeringError
        Unknown salt, out of range.

    Notes
    -----
    Interpolated between the logarithms. The rows for 84, 1500 and 2070 uS/cm are left out: printings differ in them.

    Examples
    --------
    >>> round(tds_by_published_table_mg_per_l(1413.0, "mixed_salts"))
    1000
    """
    table = _TDS_TABLE.get(salt)
    if table is None:
        raise EngineeringError("salt", f"{salt!r} is not in the table; use one of {', '.join(_TDS_TABLE)}.")
    low, high = _TDS_TABLE_US_PER_CM[0], _TDS_TABLE_US_PER_CM[-1]
    cond = in_range(conductivity_25_us_per_cm, "conductivity_25_us_per_cm", low, high, unit="uS/cm")
    return tidy(np.exp(_monotone_cubic(np.log(cond), np.log(_TDS_TABLE_US_PER_CM), np.log(table))))


def conductivity_of_ions_us_per_cm(**ions_mg_per_l: Numbers) -> Result:
    """Return the conductivity at 25 degC of a water given by its main ions.

    Parameters
    ----------
    **ions_mg_per_l : float or ndarray
        ``calcium=80, bicarbonate=183 ...``, mg/L as the ion; ionic strength up to 0.1 mol/L.

    Returns
    -------
    float or ndarray
        uS/cm.

    Raises
    ------
    EngineeringError
        Unknown ion, out of range.

    Notes
    -----
    Limiting conductivities (CRC Handbook, from memory) times the activity coefficient of a single-charged ion to the
    power 1.5, as Standard Methods 2510 (from memory). Within 4 % of PHREEQC up to 300 uS/cm, 8 % up to 1400 (tests).

    Examples
    --------
    >>> round(conductivity_of_ions_us_per_cm(calcium=80.0, magnesium=10.0, sodium=20.0, chloride=65.71, sulfate=40.0,
    ...     bicarbonate=183.0), -1)
    580.0
    """
    molar = mol_per_l(ions_mg_per_l)
    strength = in_range(ionic_strength_mol_per_l(molar), "ionic_strength_mol_per_l", 0.0, 0.1, unit="mol/L")
    limiting = sum(molar[name] * IONS[name].limiting_conductivity for name in molar) * 1.0e3
    root = np.sqrt(strength)
    gamma = 10.0 ** (-0.5 * (root / (1.0 + root) - 0.3 * strength))
    return tidy(limiting * gamma**1.5)


def kcl_standard_us_per_cm(
    *, kcl_mol_per_kg: float | None = None, kcl_mol_per_l: float | None = None, temperature_degc: Numbers = 25.0
) -> Result:
    """Return the conductivity of a potassium chloride calibration standard.

    Parameters
    ----------
    kcl_mol_per_kg : {0.01, 0.1, 1.0}, optional
        Molality, the NIST primary standards, 0 to 50 degC.
    kcl_mol_per_l : {0.001, 0.01, 0.1, 1.0}, optional
        Molarity, the usual bottles, at 25 degC only.
    temperature_degc : float or ndarray
        Between tabulated temperatures the table is interpolated by a monotone cubic.

    Returns
    -------
    float or ndarray
        uS/cm. 0.01 mol/L (bottles print 1413) is 0.3 % stronger than 0.01 mol/kg.

    Raises
    ------
    EngineeringError
        Neither or both concentrations, one that is not a standard, temperature out of range.

    Notes
    -----
    NIST 1991 and 1994 as tabulated in the CRC Handbook. Molar solutions are converted by their water content.

    Examples
    --------
    >>> kcl_standard_us_per_cm(kcl_mol_per_kg=0.01)
    1408.23
    >>> round(kcl_standard_us_per_cm(kcl_mol_per_l=0.01), -1)
    1410.0
    """
    if (kcl_mol_per_kg is None) == (kcl_mol_per_l is None):
        raise EngineeringError("kcl_mol_per_kg", "Give the concentration either in mol/kg or in mol/L.")
    if kcl_mol_per_l is not None:
        return _kcl_molar(float(kcl_mol_per_l), temperature_degc)
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 50.0, unit="degC")
    table = _KCL_US_PER_CM.get(float(kcl_mol_per_kg or 0.0))
    if table is None:
        raise EngineeringError("kcl_mol_per_kg", f"{kcl_mol_per_kg} mol/kg is not a standard; use 0.01, 0.1 or 1.0.")
    is_tabulated = ~np.isnan(table)
    return tidy(_monotone_cubic(celsius, _KCL_DEGC[is_tabulated], table[is_tabulated]))


def pure_water_conductivity_us_per_cm(temperature_degc: Numbers) -> Result:
    """Return the conductivity of water itself, with nothing dissolved.

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 50 degC.

    Returns
    -------
    float or ndarray
        uS/cm: 0.0550 at 25 degC.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    pKw (Marshall and Franck) with ion mobilities that grow with temperature (handbook values, from memory). Light et
    al. 2005 give 0.05501 at 25 degC. Within 2 % of published values from 10 degC up, 5 % at 0 degC.

    Examples
    --------
    >>> round(pure_water_conductivity_us_per_cm(25.0), 3)
    0.055
    """
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 50.0, unit="degC")
    mobilities = _lambda_h_oh(celsius)
    density = np.asarray(water_density_kg_per_l(celsius))
    return tidy(10.0 ** (-np.asarray(pkw_water(celsius)) / 2.0) * density * mobilities * 1.0e3)


def air_equilibrated_water_conductivity_us_per_cm(
    *, co2_partial_pressure_atm: Numbers = CO2_IN_AIR_ATM, temperature_degc: Numbers = 25.0
) -> Result:
    """Return the conductivity of perfect water that has taken up carbon dioxide from the air.

    Parameters
    ----------
    co2_partial_pressure_atm : float or ndarray
        0 to 0.1 atm; indoor air holds more than the default 10^-3.38.
    temperature_degc : float or ndarray
        25 degC only.

    Returns
    -------
    float or ndarray
        uS/cm: about 1, so an open cup of perfect water shows about half a mg/L.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Henry constant 10^-1.468 mol/(L atm) (Plummer and Busenberg 1982), K1 of the same. CRC Handbook gives 1.10.

    Examples
    --------
    >>> round(air_equilibrated_water_conductivity_us_per_cm(), 1)
    1.0
    """
    pressure = in_range(co2_partial_pressure_atm, "co2_partial_pressure_atm", 0.0, 0.1, unit="atm")
    celsius = _at_25(temperature_degc)
    dissolved = 10.0**-1.468 * pressure
    hydrogen = np.sqrt(10.0 ** -np.asarray(pk1_carbonic(celsius)) * dissolved + 10.0 ** -np.asarray(pkw_water(celsius)))
    hydroxide = 10.0 ** -np.asarray(pkw_water(celsius)) / hydrogen
    bicarbonate = hydrogen - hydroxide
    return tidy(1.0e6 * (LAMBDA_HYDROGEN * hydrogen + LAMBDA_HYDROXIDE * hydroxide + 44.5 * bicarbonate) / 1000.0)


def conductivity_rise_by_co2_us_per_cm(
    *,
    nacl_mg_per_l: Numbers,
    nahco3_mg_per_l: Numbers,
    co2_added_mg_per_l: Numbers,
    temperature_degc: Numbers = 25.0,
) -> Result:
    """Return by how much a conductivity meter moves when carbon dioxide is added to a permeate: hardly at all.

    Parameters
    ----------
    nacl_mg_per_l, nahco3_mg_per_l, co2_added_mg_per_l : float or ndarray
        0 to 1000 mg/L.
    temperature_degc : float or ndarray
        25 degC only.

    Returns
    -------
    float or ndarray
        uS/cm.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Charge balance with and without the gas and limiting conductivities. The gas stays a molecule; the little hydrogen
    it makes is all a meter sees, while the resin takes up every mole.

    Examples
    --------
    >>> round(conductivity_rise_by_co2_us_per_cm(nacl_mg_per_l=5.0, nahco3_mg_per_l=5.0, co2_added_mg_per_l=5.0), 1)
    0.1
    """
    salt = in_range(nacl_mg_per_l, "nacl_mg_per_l", 0.0, 1000.0, unit="mg/L") / MOLAR_MASS_NACL / 1000.0
    base = in_range(nahco3_mg_per_l, "nahco3_mg_per_l", 0.0, 1000.0, unit="mg/L") / MOLAR_MASS_NAHCO3 / 1000.0
    added = in_range(co2_added_mg_per_l, "co2_added_mg_per_l", 0.0, 1000.0, unit="mg/L") / MOLAR_MASS_CO2 / 1000.0
    celsius = _at_25(temperature_degc)
    return tidy(_dilute_us_per_cm(salt, base, base + added, celsius) - _dilute_us_per_cm(salt, base, base, celsius))


def _one_to_one_us_per_cm(molar: FloatArray, limiting: float) -> FloatArray:
    """Debye-Huckel-Onsager for a 1:1 salt in water at 25 degC (60.2 and 0.229), ion size 4 angstrom."""
    root = np.sqrt(molar)
    return np.asarray(1.0e6 * molar * (limiting - (60.2 + 0.229 * limiting) * root / (1.0 + 1.31 * root)) / 1000.0)


def _dilute_us_per_cm(salt: FloatArray, base: FloatArray, carbonic: FloatArray, celsius: FloatArray) -> FloatArray:
    """Conductivity of NaCl + NaHCO3 + CO2 with total carbon `carbonic`; pH from the charge balance by bisection."""
    k1 = 10.0 ** -np.asarray(pk1_carbonic(celsius))
    kw = 10.0 ** -np.asarray(pkw_water(celsius))
    k2 = 10.0**-10.329
    low = np.zeros_like(base + carbonic) + 3.0
    high = np.zeros_like(low) + 11.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        h = 10.0**-middle
        denominator = 1.0 + h / k1 + k2 / h
        excess = base + h - kw / h - carbonic * (1.0 + 2.0 * k2 / h) / denominator
        low, high = np.where(excess > 0.0, middle, low), np.where(excess > 0.0, high, middle)
    h = 10.0 ** (-0.5 * (low + high))
    denominator = 1.0 + h / k1 + k2 / h
    bicarbonate = carbonic / denominator
    return np.asarray(
        1.0e3
        * (
            50.08 * (salt + base)
            + 76.31 * salt
            + 44.5 * bicarbonate
            + 138.6 * bicarbonate * k2 / h
            + LAMBDA_HYDROGEN * h
            + LAMBDA_HYDROXIDE * kw / h
        )
    )


def _lambda_h_oh(celsius: FloatArray) -> FloatArray:
    """Sum of the limiting conductivities of H+ and OH- (handbook table of Robinson and Stokes, from memory)."""
    degrees = np.array([0.0, 5.0, 15.0, 18.0, 25.0, 35.0, 45.0, 55.0])
    hydrogen = np.array([225.0, 250.1, 300.6, 315.0, 349.8, 397.0, 441.4, 483.1])
    hydroxide = np.array([105.0, 124.0, 165.9, 175.8, 198.6, 233.0, 267.2, 301.4])
    return _monotone_cubic(celsius, degrees, hydrogen + hydroxide)


def _kcl_molar(kcl_mol_per_l: float, temperature_degc: Numbers) -> Result:
    water = _KCL_WATER_KG_PER_L.get(kcl_mol_per_l)
    if water is None:
        raise EngineeringError(
            "kcl_mol_per_l", f"{kcl_mol_per_l} mol/L is not a standard; use 0.001, 0.01, 0.1 or 1.0."
        )
    celsius = _at_25(temperature_degc)
    if kcl_mol_per_l == 0.001:
        return tidy(_one_to_one_us_per_cm(np.asarray(0.001), 149.79) + 0.0 * celsius)
    table = _KCL_US_PER_CM[kcl_mol_per_l][list(_KCL_DEGC).index(25.0)]
    return tidy(table * (1.0 / water) ** _KCL_EXPONENT[kcl_mol_per_l] + 0.0 * celsius)


def _at_25(temperature_degc: Numbers) -> FloatArray:
    celsius = in_range(temperature_degc, "temperature_degc")
    if np.any(np.abs(celsius - 25.0) > 1e-6):
        raise EngineeringError("temperature_degc", "This value is known at 25 degC only.")
    return celsius


def _monotone_cubic(at: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Interpolate a table by the monotone piecewise cubic of Fritsch and Carlson."""

    return np.asarray(PchipInterpolator(x, y)(at))
