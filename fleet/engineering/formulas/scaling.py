"""Scaling on the concentrate side: calcium carbonate, silica, gypsum, and the recovery they allow."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    EQUIVALENT_MASS_CACO3,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CASO4,
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
from fleet.engineering.formulas.ions import davies_pfm, debye_huckel_a, ionic_strength_mol_per_l, mol_per_l
from fleet.engineering.formulas.mass_balance import concentration_factor, polarisation_factor

LSI_METHODS: Final = ("standard_methods_2330", "short_log_formula")
SOFTEN_ABOVE_HARDNESS_MG_PER_L: Final = 171.0
# Linear terms of calcium (0.165) and sulfate (-0.04) in the WATEQ activity equation, PHREEQC database.
_WATEQ_SUM: Final = 0.125


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
    return tidy(np.where(missing, np.nan, 0.5 * (low + high)))


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


def scaling_verdict(concentrate_langelier: float) -> ScalingVerdict:
    """Return what to do about a Langelier index of the concentrate (common practice, no source).

    Parameters
    ----------
    concentrate_langelier : float
        Index, finite.

    Returns
    -------
    ScalingVerdict
        Code ``"none"``, ``"low"``, ``"raise_waste_ratio"`` or ``"soften"``.

    Raises
    ------
    EngineeringError
        If the index is missing.

    Examples
    --------
    >>> scaling_verdict(1.2).code
    'soften'
    """
    index = float(in_range(concentrate_langelier, "concentrate_langelier"))
    if np.isnan(index):
        raise EngineeringError("concentrate_langelier", "The index is missing, so there is no verdict.")
    if index < 0.0:
        return ScalingVerdict("none", "The concentrate does not deposit calcium carbonate.")
    if index <= 0.5:
        return ScalingVerdict("low", "A little calcium carbonate may form: flush the membrane after each run.")
    if index <= 1.0:
        return ScalingVerdict(
            "raise_waste_ratio", "Calcium carbonate will form: raise the waste ratio or soften the feed."
        )
    return ScalingVerdict("soften", "Calcium carbonate will form quickly: soften the feed.")


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
        0 up to the solubility.
    temperature_degc, ph : float or ndarray
        As `amorphous_silica_solubility_mg_per_l`.

    Returns
    -------
    float or ndarray
        Fraction.

    Raises
    ------
    EngineeringError
        Feed above the solubility, out of range.

    Examples
    --------
    >>> round(max_recovery_by_silica_fraction(20.0, 10.0), 2)
    0.77
    """
    feed = in_range(feed_silica_mg_per_l, "feed_silica_mg_per_l", 0.0, unit="mg/L")
    limit = np.asarray(amorphous_silica_solubility_mg_per_l(temperature_degc, ph))
    if np.any(feed > limit):
        raise EngineeringError("feed_silica_mg_per_l", "The feed itself is above the solubility of silica.")
    return tidy(1.0 - feed / limit)


def gypsum_log_k(temperature_degc: Numbers) -> Result:
    """Return log K of gypsum: -4.58 at 25 degC (PHREEQC database). 0 to 60 degC, else raises.

    Examples
    --------
    >>> round(gypsum_log_k(25.0), 2)
    -4.58
    """
    t = in_range(temperature_degc, "temperature_degc", 0.0, 60.0, unit="degC") + ZERO_CELSIUS_KELVIN
    return tidy(68.2401 - 3221.51 / t - 25.0627 * np.log10(t))


def gypsum_solubility_mg_per_l_as_caso4(temperature_degc: Numbers) -> Result:
    """Return the solubility of gypsum in pure water.

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 60 degC.

    Returns
    -------
    float or ndarray
        mg/L as CaSO4.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Free ions by the extended Debye-Huckel equation plus the ion pair CaSO4 (log K 2.25 at 25 degC,
    1.325 kcal/mol); constants of the PHREEQC database.

    Examples
    --------
    >>> round(gypsum_solubility_mg_per_l_as_caso4(25.0) / 2055.0, 2)
    1.0
    """
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 60.0, unit="degC")
    ksp = 10.0 ** np.asarray(gypsum_log_k(celsius))
    free = np.sqrt(ksp) * 2.0
    for _ in range(200):
        log_gamma = _divalent_log_gamma(4.0 * free, celsius)
        # Damped: the plain fixed point swings where the activity coefficient is steep.
        free = 0.5 * (free + np.sqrt(ksp / 10.0 ** (2.0 * log_gamma + _WATEQ_SUM * 4.0 * free)))
    pair = ksp * 10.0 ** _pair_log_k(celsius)
    return tidy((free + pair) * MOLAR_MASS_CASO4 * 1000.0)


def concentrate_gypsum_saturation_index(
    *, temperature_degc: Numbers, recovery_fraction: Numbers, **feed_ions_mg_per_l: Numbers
) -> Result:
    """Return the gypsum saturation index of the concentrate: below 0 none forms.

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 60 degC.
    recovery_fraction : float or ndarray
        0 to below 1.
    **feed_ions_mg_per_l : float or ndarray
        ``calcium=..., sulfate=...`` and the other ions of the feed, mg/L as the ion.

    Returns
    -------
    float or ndarray
        log10(IAP/K).

    Raises
    ------
    EngineeringError
        Calcium or sulfate missing or 0, unknown ion, out of range.

    Notes
    -----
    Ion pairs CaSO4 and MgSO4 are taken into account; within 0.1 of PHREEQC for tap waters.

    Examples
    --------
    >>> concentrate_gypsum_saturation_index(temperature_degc=25.0, recovery_fraction=0.5, calcium=80.0,
    ...     sulfate=40.0, bicarbonate=183.0, sodium=20.0, chloride=65.7) < -1
    True
    """
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 60.0, unit="degC")
    for ion in ("calcium", "sulfate"):
        if ion not in feed_ions_mg_per_l:
            raise EngineeringError(f"{ion}_mg_per_l", f"Without {ion} there is no gypsum index; give it in mg/L.")
        _positive(feed_ions_mg_per_l[ion], f"{ion}_mg_per_l")
    factor = np.asarray(concentration_factor(recovery_fraction))
    molar = {name: value * factor for name, value in mol_per_l(feed_ions_mg_per_l).items()}
    calcium, sulfate = molar["calcium"], molar["sulfate"]
    magnesium = molar.get("magnesium", np.zeros_like(calcium))
    free_ca, free_mg, free_so4 = calcium, magnesium, sulfate
    strength = np.asarray(ionic_strength_mol_per_l(molar))
    for _ in range(100):
        log_gamma = _divalent_log_gamma(strength, celsius)
        pairing = 10.0 ** (_pair_log_k(celsius) + 2.0 * log_gamma)
        free_so4 = sulfate / (1.0 + pairing * (free_ca + free_mg))
        free_ca = calcium / (1.0 + pairing * free_so4)
        free_mg = magnesium / (1.0 + pairing * free_so4)
        paired = sulfate - free_so4
        strength = np.asarray(ionic_strength_mol_per_l(molar)) - 4.0 * paired
    product = np.log10(free_ca * free_so4) + 2.0 * _divalent_log_gamma(strength, celsius) + _WATEQ_SUM * strength
    return tidy(product - np.asarray(gypsum_log_k(celsius)))


def _pair_log_k(celsius: FloatArray) -> FloatArray:
    """Association of CaSO4 (and nearly MgSO4): 2.25 at 25 degC, enthalpy 1.325 kcal/mol (PHREEQC database)."""
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    return np.asarray(2.25 - 1.325 * 4184.0 / (8.31446 * np.log(10.0)) * (1.0 / kelvin - 1.0 / 298.15))


def _divalent_log_gamma(strength: FloatArray, celsius: FloatArray) -> FloatArray:
    root = np.sqrt(in_range(strength, "ionic_strength_mol_per_l", 0.0, 0.5, unit="mol/L"))
    return np.asarray(-4.0 * debye_huckel_a(celsius) * root / (1.0 + 0.3286 * 5.0 * root))


def _positive(value: Numbers, field: str) -> FloatArray:
    return in_range(
        value, field, 0.0, unit="mg/L", open_low=True, why="Without it the index is not defined and nothing scales."
    )
