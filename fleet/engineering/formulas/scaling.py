"""Scaling on the concentrate side: calcium carbonate, silica, and the recovery they allow."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    EQUIVALENT_MASS_CACO3,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CO2,
    MOLAR_MASS_SIO2,
    ZERO_CELSIUS_KELVIN,
)
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.carbonate import (
    bicarbonate_mol_per_l,
    co2_mg_per_l,
    ionic_strength_from_tds_mol_per_l,
    pk1_carbonic,
    pk2_carbonic,
    pkw_water,
)
from fleet.engineering.formulas.ions import davies_pfm
from fleet.engineering.formulas.mass_balance import concentration_factor, polarisation_factor

LSI_METHODS: Final = ("standard_methods_2330", "short_log_formula")


def pks_calcite(temperature_degc: Numbers) -> Result:
    """Return pKs of calcite: 8.48 at 25 degC (Plummer and Busenberg 1982). 0 to 100 degC, else raises.

    Examples
    --------
    >>> round(pks_calcite(25.0), 2)
    8.48
    """
    t = in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC") + ZERO_CELSIUS_KELVIN
    return tidy(-(-171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * np.log10(t)))


def langelier_index(
    *,
    ph: Numbers,
    calcium_mg_per_l_as_caco3: Numbers,
    alkalinity_mg_per_l_as_caco3: Numbers,
    tds_mg_per_l: Numbers,
    temperature_degc: Numbers,
    method: str = "standard_methods_2330",
) -> Result:
    """Return the Langelier saturation index of a water.

    Parameters
    ----------
    ph : float or ndarray
        4 to 11.
    calcium_mg_per_l_as_caco3, alkalinity_mg_per_l_as_caco3 : float or ndarray
        Above 0; at 0 there is no index and no scaling.
    tds_mg_per_l : float or ndarray
        Above 0, up to 10000 mg/L (beyond, the Stiff-Davis index is the usual one).
    temperature_degc : float or ndarray
        0 to 45 degC.
    method : {"standard_methods_2330", "short_log_formula"}
        The short formula of the web reads 0.2 low, on the unsafe side: for comparison only.

    Returns
    -------
    float or ndarray
        Above 0: calcium carbonate can form.

    Raises
    ------
    EngineeringError
        Calcium or alkalinity of 0, unknown method, out of range.

    Notes
    -----
    LSI = pH - (pK2 - pKs - log[Ca] - log[HCO3] + 5 pfm), [HCO3] from alkalinity less carbonate and hydroxide.

    Examples
    --------
    >>> round(langelier_index(ph=7.5, calcium_mg_per_l_as_caco3=199.8, alkalinity_mg_per_l_as_caco3=150.1,
    ...     tds_mg_per_l=373.0, temperature_degc=25.0), 2)
    0.21
    """
    calcium = _positive(calcium_mg_per_l_as_caco3, "calcium_mg_per_l_as_caco3")
    alkalinity = _positive(alkalinity_mg_per_l_as_caco3, "alkalinity_mg_per_l_as_caco3")
    acidity = in_range(ph, "ph", 4.0, 11.0)
    solids = in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, 10000.0, unit="mg/L", open_low=True)
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 45.0, unit="degC")
    if method == "short_log_formula":
        a = (np.log10(solids) - 1.0) / 10.0
        b = -13.12 * np.log10(celsius + 273.0) + 34.55
        c = np.log10(calcium) - 0.4
        return tidy(acidity - (9.3 + a + b - c - np.log10(alkalinity)))
    if method != "standard_methods_2330":
        raise EngineeringError("method", f"{method!r} is not a method; use one of {', '.join(LSI_METHODS)}.")
    bicarbonate = bicarbonate_mol_per_l(
        ph=acidity, alkalinity_mg_per_l_as_caco3=alkalinity, temperature_degc=celsius, tds_mg_per_l=solids
    )
    pfm = np.asarray(davies_pfm(ionic_strength_from_tds_mol_per_l(solids), celsius))
    saturation = (
        np.asarray(pk2_carbonic(celsius))
        - pks_calcite(celsius)
        - np.log10(calcium / MOLAR_MASS_CACO3 / 1000.0)
        - np.log10(bicarbonate)
        + 5.0 * pfm
    )
    return tidy(acidity - saturation)


def concentrate_ph(
    *,
    feed_ph: Numbers,
    feed_alkalinity_mg_per_l_as_caco3: Numbers,
    feed_tds_mg_per_l: Numbers,
    temperature_degc: Numbers,
    recovery_fraction: Numbers,
    rejection_fraction: Numbers = 1.0,
) -> Result:
    """Return the pH of the concentrate: carbon dioxide stays as it was, alkalinity is concentrated.

    Parameters
    ----------
    feed_ph : float or ndarray
        4 to 11.
    feed_alkalinity_mg_per_l_as_caco3 : float or ndarray
        Above 0.
    feed_tds_mg_per_l : float or ndarray
        0 to 20000 mg/L in the concentrate.
    temperature_degc : float or ndarray
        0 to 45 degC.
    recovery_fraction : float or ndarray
        0 to below 1.
    rejection_fraction : float or ndarray
        0 to 1.

    Returns
    -------
    float or ndarray
        pH.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Idea of ASTM D3739 (from memory). The pH at which the concentrated alkalinity and the unchanged carbon dioxide
    agree, found by bisection.

    Examples
    --------
    >>> round(concentrate_ph(feed_ph=7.5, feed_alkalinity_mg_per_l_as_caco3=150.1, feed_tds_mg_per_l=373.0,
    ...     temperature_degc=25.0, recovery_fraction=0.5), 2)
    7.78
    """
    alkalinity = _positive(feed_alkalinity_mg_per_l_as_caco3, "feed_alkalinity_mg_per_l_as_caco3")
    factor = np.asarray(concentration_factor(recovery_fraction, rejection_fraction))
    gas = (
        np.asarray(
            co2_mg_per_l(
                ph=feed_ph,
                alkalinity_mg_per_l_as_caco3=alkalinity,
                temperature_degc=temperature_degc,
                tds_mg_per_l=feed_tds_mg_per_l,
            )
        )
        / MOLAR_MASS_CO2
        / 1000.0
    )
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 45.0, unit="degC")
    pfm = np.asarray(davies_pfm(ionic_strength_from_tds_mol_per_l(np.asarray(feed_tds_mg_per_l) * factor), celsius))
    charge = alkalinity * factor / EQUIVALENT_MASS_CACO3 / 1000.0
    return tidy(_acidity_in_balance(charge, gas, celsius, pfm))


def _acidity_in_balance(charge: FloatArray, gas: FloatArray, celsius: FloatArray, pfm: FloatArray) -> FloatArray:
    """The pH at which carbonates, hydroxide and acid carry a charge, eq/L, beside a carbon dioxide in mol/L."""
    k1 = 10.0 ** (-np.asarray(pk1_carbonic(celsius)) + pfm)
    k2 = 10.0 ** (-np.asarray(pk2_carbonic(celsius)) + 3.0 * pfm)
    kw = 10.0 ** (-np.asarray(pkw_water(celsius)) + pfm)

    def surplus(acidity: FloatArray) -> FloatArray:
        h = 10.0**-acidity
        bicarbonate = k1 * gas / h
        return np.asarray(bicarbonate * (1.0 + 2.0 * k2 / h) + kw / h - h * 10.0**pfm - charge)

    low = np.zeros_like(charge + gas + pfm) + 3.0
    high = np.zeros_like(low) + 13.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = surplus(middle) > 0.0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    missing = np.isnan(charge + gas + pfm)
    return np.where(missing, np.nan, 0.5 * (low + high))


def concentrate_langelier_index(
    *,
    feed_ph: Numbers,
    feed_calcium_mg_per_l_as_caco3: Numbers,
    feed_alkalinity_mg_per_l_as_caco3: Numbers,
    feed_tds_mg_per_l: Numbers,
    temperature_degc: Numbers,
    recovery_fraction: Numbers,
    at_the_wall: bool = False,
) -> Result:
    """Return the Langelier index of the concentrate.

    Parameters
    ----------
    feed_ph, feed_alkalinity_mg_per_l_as_caco3, feed_tds_mg_per_l, temperature_degc, recovery_fraction
        As `concentrate_ph`.
    feed_calcium_mg_per_l_as_caco3 : float or ndarray
        Above 0; hardness is the cautious stand-in where calcium is not known.
    at_the_wall : bool
        Raise calcium and alkalinity by the polarisation factor: the conservative side.

    Returns
    -------
    float or ndarray
        Below 0 no scaling; 0 to 0.5 low; 0.5 to 1 raise the waste ratio or soften; above 1 soften
        (common practice, no source).

    Raises
    ------
    EngineeringError
        As `langelier_index`.

    Examples
    --------
    >>> round(concentrate_langelier_index(feed_ph=7.5, feed_calcium_mg_per_l_as_caco3=199.8,
    ...     feed_alkalinity_mg_per_l_as_caco3=150.1, feed_tds_mg_per_l=373.0, temperature_degc=25.0,
    ...     recovery_fraction=0.5), 2)
    1.02
    """
    factor = np.asarray(concentration_factor(recovery_fraction))
    wall = np.asarray(polarisation_factor(recovery_fraction)) if at_the_wall else 1.0
    return langelier_index(
        ph=concentrate_ph(
            feed_ph=feed_ph,
            feed_alkalinity_mg_per_l_as_caco3=feed_alkalinity_mg_per_l_as_caco3,
            feed_tds_mg_per_l=feed_tds_mg_per_l,
            temperature_degc=temperature_degc,
            recovery_fraction=recovery_fraction,
        ),
        calcium_mg_per_l_as_caco3=_positive(feed_calcium_mg_per_l_as_caco3, "feed_calcium_mg_per_l_as_caco3")
        * factor
        * wall,
        alkalinity_mg_per_l_as_caco3=np.asarray(feed_alkalinity_mg_per_l_as_caco3) * factor * wall,
        tds_mg_per_l=np.asarray(feed_tds_mg_per_l) * factor,
        temperature_degc=temperature_degc,
    )


@dataclass(frozen=True)
class ScalingVerdict:
    """What an index of the concentrate asks for: a short code and a sentence."""

    code: str
    sentence: str


def amorphous_silica_solubility_mg_per_l(temperature_degc: Numbers, ph: Numbers | None = None) -> Result:
    """Return the solubility of amorphous silica.

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 60 degC.
    ph : float or ndarray, optional
        4 to 10. Left out, undissociated silica alone is counted, the cautious side: dissociation adds 0.15 % at pH 7,
        5 % at 8.5.

    Returns
    -------
    float or ndarray
        mg/L as SiO2.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    log K = -0.26 - 731/T (Fournier, as in the PHREEQC database), first dissociation pK 9.83.

    Examples
    --------
    >>> round(amorphous_silica_solubility_mg_per_l(25.0))
    117
    """
    kelvin = in_range(temperature_degc, "temperature_degc", 0.0, 60.0, unit="degC") + ZERO_CELSIUS_KELVIN
    neutral = 10.0 ** (-0.26 - 731.0 / kelvin) * MOLAR_MASS_SIO2 * 1000.0
    if ph is None:
        return tidy(neutral)
    acidity = in_range(ph, "ph", 4.0, 10.0)
    # log K1 of H4SiO4 (PHREEQC database, analytical expression, from memory).
    log_k1 = -302.3724 - 0.050698 * kelvin + 15669.69 / kelvin + 108.18466 * np.log10(kelvin) - 1119669.0 / kelvin**2
    return tidy(neutral * (1.0 + 10.0 ** (log_k1 + acidity)))


def max_recovery_by_silica_fraction(
    feed_silica_mg_per_l: Numbers, temperature_degc: Numbers, *, ph: Numbers | None = None
) -> Result:
    """Return the recovery at which silica reaches its solubility: 1 - feed/solubility.

    Parameters
    ----------
    feed_silica_mg_per_l : float or ndarray
        0 or more.
    temperature_degc, ph : float or ndarray
        As `amorphous_silica_solubility_mg_per_l`.

    Returns
    -------
    float or ndarray
        Fraction; below 0 where the feed itself holds more than dissolves, so that no recovery will do.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(max_recovery_by_silica_fraction(20.0, 10.0), 2)
    0.77
    """
    feed = in_range(feed_silica_mg_per_l, "feed_silica_mg_per_l", 0.0, unit="mg/L")
    return tidy(1.0 - feed / np.asarray(amorphous_silica_solubility_mg_per_l(temperature_degc, ph)))


def _positive(value: Numbers, field: str) -> FloatArray:
    return in_range(
        value, field, 0.0, unit="mg/L", open_low=True, why="Without it the index is not defined and nothing scales."
    )
