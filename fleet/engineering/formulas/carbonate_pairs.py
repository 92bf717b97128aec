"""Ion pairs of calcium and magnesium with bicarbonate and carbonate: alkalinity that makes no carbon dioxide."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range
from fleet.engineering.constants import ZERO_CELSIUS_KELVIN

_ROUNDS: Final = 200
_CLOSE_ENOUGH: Final = 1e-11


def pair_log_k(pair: str, temperature_degc: Numbers) -> Result:
    """Return log10 of the formation constant of an ion pair from its free ions.

    Parameters
    ----------
    pair : {"CaHCO3+", "CaCO3", "MgHCO3+", "MgCO3"}
        Which pair.
    temperature_degc : float or ndarray
        0 to 100 degC.

    Returns
    -------
    float or ndarray
        1.106 for CaHCO3+ and 3.224 for CaCO3 at 25 degC.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Calcium: Plummer and Busenberg 1982. Magnesium: the analytical expressions of the PHREEQC database.

    Examples
    --------
    >>> round(float(pair_log_k("CaHCO3+", 25.0)), 2), round(float(pair_log_k("MgCO3", 25.0)), 2)
    (1.11, 2.98)
    """
    t = in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC") + ZERO_CELSIUS_KELVIN
    if pair == "CaHCO3+":
        return 1209.120 + 0.31294 * t - 34765.05 / t - 478.782 * np.log10(t)
    if pair == "CaCO3":
        return -1228.732 - 0.299440 * t + 35512.75 / t + 485.818 * np.log10(t)
    if pair == "MgHCO3+":
        return -59.215 + 2537.455 / t + 20.92298 * np.log10(t)
    return 0.9910 + 0.00667 * t


def unpaired_bicarbonate_mol_per_l(
    carried: FloatArray,
    carbonate_per_bicarbonate: FloatArray,
    *,
    calcium: FloatArray,
    magnesium: FloatArray,
    pfm: FloatArray,
    temperature_degc: FloatArray,
) -> FloatArray:
    """Return the free bicarbonate when calcium and magnesium hold part of it in pairs.

    Parameters
    ----------
    carried : ndarray
        Alkalinity that bicarbonate, carbonate and their pairs carry, eq/L.
    carbonate_per_bicarbonate : ndarray
        Free carbonate over free bicarbonate, mol/mol.
    calcium, magnesium : ndarray
        All there is of each, mol/L.
    pfm : ndarray
        Minus log10 of the activity coefficient of a single-charged ion.
    temperature_degc : ndarray
        0 to 100 degC.

    Returns
    -------
    ndarray
        mol/L.

    Raises
    ------
    EngineeringError
        Temperature out of range.

    Notes
    -----
    Each round takes the metal that the last bicarbonate left free and shares the alkalinity anew. Less bicarbonate
    leaves more metal free, so the rounds fall towards the answer from above and cannot swing.

    Examples
    --------
    >>> none = np.array(0.0)
    >>> beside = {"magnesium": none, "pfm": none, "temperature_degc": none + 25.0}
    >>> alone = unpaired_bicarbonate_mol_per_l(np.array(0.002), none, calcium=none, **beside)
    >>> paired = unpaired_bicarbonate_mol_per_l(np.array(0.002), none, calcium=np.array(0.004), **beside)
    >>> round(float(paired / alone), 3)
    0.953
    """
    upper = carried / (1.0 + 2.0 * carbonate_per_bicarbonate)
    if not (np.any(calcium > 0.0) or np.any(magnesium > 0.0)):
        return upper + 0.0 * (calcium + magnesium)
    pairs = []
    for metal, name in ((calcium, "Ca"), (magnesium, "Mg")):
        # A pair of one charge keeps 4 of the 5 coefficients of its ions; a neutral one all 8.
        with_bicarbonate = 10.0 ** (np.asarray(pair_log_k(f"{name}HCO3+", temperature_degc)) - 4.0 * pfm)
        with_carbonate = 10.0 ** (np.asarray(pair_log_k(f"{name}CO3", temperature_degc)) - 8.0 * pfm)
        carbonate = with_carbonate * carbonate_per_bicarbonate
        pairs.append((metal, with_bicarbonate + carbonate, with_bicarbonate + 2.0 * carbonate))
    bicarbonate = np.asarray(upper)
    for _ in range(_ROUNDS):
        held = sum(metal / (1.0 + bound * bicarbonate) * carrying for metal, bound, carrying in pairs)
        before, bicarbonate = bicarbonate, carried / (1.0 + 2.0 * carbonate_per_bicarbonate + held)
        if not np.any(np.abs(bicarbonate - before) > _CLOSE_ENOUGH * before):
            break
    return bicarbonate
