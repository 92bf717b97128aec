"""Carbon dioxide, pH and alkalinity: the load no TDS meter sees."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    EQUIVALENT_MASS_CACO3,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CO2,
    ZERO_CELSIUS_KELVIN,
)
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.carbonate_pairs import unpaired_bicarbonate_mol_per_l
from fleet.engineering.formulas.ions import davies_pfm

IONIC_STRENGTH_PER_TDS: Final = 2.5e-5


def pk1_carbonic(temperature_degc: Numbers) -> Result:
    """Return pK1 of carbonic acid (CO2 + H2CO3).

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 100 degC.

    Returns
    -------
    float or ndarray
        6.352 at 25 degC.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Plummer and Busenberg 1982.

    Examples
    --------
    >>> round(pk1_carbonic(15.0), 3)
    6.419
    """
    t = _kelvin(temperature_degc)
    return tidy(-(-356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * np.log10(t) - 1684915.0 / t**2))


def pk2_carbonic(temperature_degc: Numbers) -> Result:
    """Return pK2 of carbonic acid: 10.329 at 25 degC (Plummer and Busenberg 1982). 0 to 100 degC, else raises.

    Examples
    --------
    >>> round(pk2_carbonic(25.0), 3)
    10.329
    """
    t = _kelvin(temperature_degc)
    return tidy(-(-107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * np.log10(t) - 563713.9 / t**2))


def pkw_water(temperature_degc: Numbers) -> Result:
    """Return pKw of water at atmospheric pressure: 14.0 at 25 degC. 0 to 100 degC, else raises.

    Marshall and Franck 1981 (from memory), with the density of water by Kell 1975 (from memory).

    Examples
    --------
    >>> round(pkw_water(25.0), 2)
    14.0
    """
    t = _kelvin(temperature_degc)
    density = water_density_kg_per_l(temperature_degc)
    constant_term = -4.098 - 3245.2 / t + 2.2362e5 / t**2 - 3.984e7 / t**3
    right = 13.957 - 1262.3 / t + 8.5641e5 / t**2
    return tidy(-(constant_term + right * np.log10(density)))


def water_density_kg_per_l(temperature_degc: Numbers) -> Result:
    """Return the density of water at atmospheric pressure, kg/L; 0 to 100 degC, else raises. Kell 1975 (from memory).

    Examples
    --------
    >>> round(water_density_kg_per_l(25.0), 4)
    0.997
    """
    c = in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC")
    top = (
        999.83952
        + 16.945176 * c
        - 7.9870401e-3 * c**2
        - 46.170461e-6 * c**3
        + 105.56302e-9 * c**4
        - 280.54253e-12 * c**5
    )
    return tidy(top / (1.0 + 16.879850e-3 * c) / 1000.0)


def ionic_strength_from_tds_mol_per_l(tds_mg_per_l: Numbers) -> Result:
    """Return the ionic strength of a natural water from its TDS: 2.5e-5 x TDS (Standard Methods 2330).

    Parameters
    ----------
    tds_mg_per_l : float or ndarray
        0 to 20000 mg/L (beyond, 0.5 mol/L is passed and the activity equation does not hold).

    Returns
    -------
    float or ndarray
        mol/L.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> ionic_strength_from_tds_mol_per_l(400.0)
    0.01
    """
    return tidy(IONIC_STRENGTH_PER_TDS * in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, 20000.0, unit="mg/L"))


def bicarbonate_mol_per_l(
    *,
    ph: Numbers,
    alkalinity_mg_per_l_as_caco3: Numbers,
    temperature_degc: Numbers,
    tds_mg_per_l: Numbers,
    calcium_mg_per_l_as_caco3: Numbers = 0.0,
    magnesium_mg_per_l_as_caco3: Numbers = 0.0,
) -> Result:
    """Return the free bicarbonate of a water: alkalinity less what carbonate, hydroxide and ion pairs carry.

    Parameters
    ----------
    ph : float or ndarray
        4 to 11.
    alkalinity_mg_per_l_as_caco3 : float or ndarray
        0 or more.
    temperature_degc : float or ndarray
        0 to 45 degC.
    tds_mg_per_l : float or ndarray
        0 to 20000 mg/L, for the activity coefficients.
    calcium_mg_per_l_as_caco3, magnesium_mg_per_l_as_caco3 : float or ndarray
        0 or more; left at 0, ion pairs are left out and the bicarbonate is an upper bound.

    Returns
    -------
    float or ndarray
        mol/L.

    Raises
    ------
    EngineeringError
        Out of range; a pH that the alkalinity cannot carry (hydroxide alone exceeds it).

    Notes
    -----
    Pairs with bicarbonate and carbonate by `carbonate_pairs`.

    Examples
    --------
    >>> round(1000 * bicarbonate_mol_per_l(ph=7.5, alkalinity_mg_per_l_as_caco3=100.0, temperature_degc=25.0,
    ...     tds_mg_per_l=250.0), 3)
    1.99
    """
    acidity, alkalinity, pfm, celsius = _inputs(ph, alkalinity_mg_per_l_as_caco3, temperature_degc, tds_mg_per_l)
    hydrogen = 10.0 ** (-acidity)
    hydroxide = 10.0 ** (-np.asarray(pkw_water(celsius)) + pfm) / hydrogen
    # {H} is an activity; concentrations of H and OH in the charge balance carry their own coefficient.
    carbonate_per_bicarbonate = 10.0 ** (-np.asarray(pk2_carbonic(celsius)) + 3.0 * pfm) / hydrogen
    free = alkalinity - hydroxide + hydrogen * 10.0**pfm
    if np.any(free < 0.0):
        raise EngineeringError(
            "ph", "So high a pH needs more alkalinity than was measured; check the pH and the alkalinity."
        )
    metals = (
        _metal_mol_per_l(calcium_mg_per_l_as_caco3, "calcium_mg_per_l_as_caco3"),
        _metal_mol_per_l(magnesium_mg_per_l_as_caco3, "magnesium_mg_per_l_as_caco3"),
    )
    return tidy(
        unpaired_bicarbonate_mol_per_l(
            free, carbonate_per_bicarbonate, calcium=metals[0], magnesium=metals[1], pfm=pfm, temperature_degc=celsius
        )
    )


def co2_mg_per_l(
    *,
    ph: Numbers,
    alkalinity_mg_per_l_as_caco3: Numbers,
    temperature_degc: Numbers,
    tds_mg_per_l: Numbers,
    calcium_mg_per_l_as_caco3: Numbers = 0.0,
    magnesium_mg_per_l_as_caco3: Numbers = 0.0,
) -> Result:
    """Return the dissolved carbon dioxide of a water from pH and alkalinity.

    Parameters
    ----------
    ph : float or ndarray
        4 to 11; taken at the tap within minutes, by meter: an error of 0.1 is 26 % in the result.
    alkalinity_mg_per_l_as_caco3 : float or ndarray
        0 or more.
    temperature_degc : float or ndarray
        0 to 45 degC.
    tds_mg_per_l : float or ndarray
        0 to 20000 mg/L.
    calcium_mg_per_l_as_caco3, magnesium_mg_per_l_as_caco3 : float or ndarray
        0 or more. Where only the hardness is known, give it as calcium.

    Returns
    -------
    float or ndarray
        mg/L of CO2.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    {H} gamma [HCO3]/K1, K1 of Plummer and Busenberg 1982, Davies activity, I = 2.5e-5 TDS. With the hardness,
    within 0.5 % of PHREEQC up to 600 mg/L hardness, 500 mg/L alkalinity and pH 8.5, 1.5 % at pH 9 (tests). Without
    it the ion pairs are left out and the result is too high, never too low: by at most 2 % up to 130 mg/L hardness
    and pH 7.6, 6.5 % up to 300 mg/L and pH 8, 11 % at 600 mg/L and pH 8, 50 % there at pH 9.

    Examples
    --------
    >>> round(co2_mg_per_l(ph=7.5, alkalinity_mg_per_l_as_caco3=100.0, temperature_degc=25.0, tds_mg_per_l=250.0), 2)
    5.73
    """
    bicarbonate = bicarbonate_mol_per_l(
        ph=ph,
        alkalinity_mg_per_l_as_caco3=alkalinity_mg_per_l_as_caco3,
        temperature_degc=temperature_degc,
        tds_mg_per_l=tds_mg_per_l,
        calcium_mg_per_l_as_caco3=calcium_mg_per_l_as_caco3,
        magnesium_mg_per_l_as_caco3=magnesium_mg_per_l_as_caco3,
    )
    acidity, _, pfm, celsius = _inputs(ph, alkalinity_mg_per_l_as_caco3, temperature_degc, tds_mg_per_l)
    molar = 10.0 ** (np.asarray(pk1_carbonic(celsius)) - acidity - pfm) * bicarbonate
    return tidy(molar * 1000.0 * MOLAR_MASS_CO2)


def _inputs(
    ph: Numbers, alkalinity: Numbers, temperature: Numbers, tds: Numbers
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    acidity = in_range(ph, "ph", 4.0, 11.0)
    alkaline = in_range(alkalinity, "alkalinity_mg_per_l_as_caco3", 0.0, unit="mg/L as CaCO3")
    celsius = in_range(temperature, "temperature_degc", 0.0, 45.0, unit="degC")
    pfm = np.asarray(davies_pfm(ionic_strength_from_tds_mol_per_l(tds), celsius))
    return acidity, alkaline / EQUIVALENT_MASS_CACO3 / 1000.0, pfm, celsius


def _metal_mol_per_l(mg_per_l_as_caco3: Numbers, field: str) -> FloatArray:
    return in_range(mg_per_l_as_caco3, field, 0.0, 50000.0, unit="mg/L as CaCO3") / MOLAR_MASS_CACO3 / 1000.0


def _kelvin(temperature_degc: Numbers) -> FloatArray:
    return in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC") + ZERO_CELSIUS_KELVIN
