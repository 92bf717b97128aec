"""Ion-exchange resin: its load, the litres it serves, and the breakthrough curve of cartridges in series."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import (
    MOLAR_MASS_CO2,
    MOLAR_MASS_NACL,
    MOLAR_MASS_SIO2,
)
from fleet.engineering.errors import EngineeringError

# Prior of the transfer units of one cartridge: 10 to 20 (common practice, no source).
TYPICAL_TRANSFER_UNITS: Final = 15.0
RESOLUTION_STEPS_NEEDED: Final = 3.0


def ionic_load_meq_per_l(tds_mg_per_l: Numbers) -> Result:
    """Return the ionic load of a permeate, from its TDS on the 0.5 scale (as NaCl).

    Parameters
    ----------
    tds_mg_per_l : float or ndarray
        0 to 50000 mg/L.

    Returns
    -------
    float or ndarray
        meq/L.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(ionic_load_meq_per_l(10.0), 4)
    0.1711
    """
    return tidy(in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, 50000.0, unit="mg/L") / MOLAR_MASS_NACL)


def weak_acid_load_meq_per_l(*, co2_mg_per_l: Numbers = 0.0, silica_mg_per_l: Numbers = 0.0) -> Result:
    """Return the load carbon dioxide and silica put on the anion side: one equivalent a mole each.

    Parameters
    ----------
    co2_mg_per_l, silica_mg_per_l : float or ndarray
        In the **permeate**, 0 or more; carbon dioxide passes the membrane whole.

    Returns
    -------
    float or ndarray
        meq/L.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> round(weak_acid_load_meq_per_l(co2_mg_per_l=5.0), 4)
    0.1136
    """
    gas = in_range(co2_mg_per_l, "co2_mg_per_l", 0.0, unit="mg/L")
    silica = in_range(silica_mg_per_l, "silica_mg_per_l", 0.0, unit="mg/L")
    return tidy(gas / MOLAR_MASS_CO2 + silica / MOLAR_MASS_SIO2)


def governing_load_meq_per_l(
    ionic_load_meq_per_l: Numbers,
    *,
    co2_mg_per_l: Numbers = 0.0,
    silica_mg_per_l: Numbers = 0.0,
    ammonium_meq_per_l: Numbers = 0.0,
) -> Result:
    """Return the larger of the anion and the cation load, which decides when a mixed bed is exhausted.

    Parameters
    ----------
    ionic_load_meq_per_l : float or ndarray
        0 or more.
    co2_mg_per_l, silica_mg_per_l : float or ndarray
        In the permeate. Left at 0 when unknown, the result is a lower bound of the load.
    ammonium_meq_per_l : float or ndarray
        Set free from chloramine by the carbon.

    Returns
    -------
    float or ndarray
        meq/L.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> round(governing_load_meq_per_l(0.1711, co2_mg_per_l=5.0, silica_mg_per_l=0.5), 4)
    0.293
    """
    ionic = in_range(ionic_load_meq_per_l, "ionic_load_meq_per_l", 0.0, unit="meq/L")
    anion = ionic + weak_acid_load_meq_per_l(co2_mg_per_l=co2_mg_per_l, silica_mg_per_l=silica_mg_per_l)
    return tidy(np.maximum(anion, ionic + in_range(ammonium_meq_per_l, "ammonium_meq_per_l", 0.0, unit="meq/L")))


def capacity_eq(resin_volume_l: Numbers, capacity_eq_per_l: Numbers) -> Result:
    """Return the capacity of a cartridge.

    Parameters
    ----------
    resin_volume_l : float or ndarray
        Above 0.
    capacity_eq_per_l : float or ndarray
        Above 0, up to 3 eq/L; a mixed bed has 0.35 to 0.6.

    Returns
    -------
    float or ndarray
        eq.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.constants import EQ_PER_L_IN_A_KILOGRAIN_PER_FT3
    >>> round(capacity_eq(0.6, 10 * EQ_PER_L_IN_A_KILOGRAIN_PER_FT3), 4)
    0.2744
    """
    volume = in_range(resin_volume_l, "resin_volume_l", 0.0, unit="L", open_low=True)
    return tidy(volume * in_range(capacity_eq_per_l, "capacity_eq_per_l", 0.0, 3.0, unit="eq/L", open_low=True))


def service_volume_l(capacity_eq: Numbers, load_meq_per_l: Numbers) -> Result:
    """Return the permeate litres a capacity serves at a load.

    Parameters
    ----------
    capacity_eq : float or ndarray
        0 or more.
    load_meq_per_l : float or ndarray
        Above 0, see `governing_load_meq_per_l`.

    Returns
    -------
    float or ndarray
        Litres of **permeate**, not feed.

    Raises
    ------
    EngineeringError
        Load of 0 (the volume is unbounded), negative value.

    Examples
    --------
    >>> round(service_volume_l(0.274364, 0.1711))
    1604
    """
    capacity = in_range(capacity_eq, "capacity_eq", 0.0, unit="eq")
    load = in_range(
        load_meq_per_l, "load_meq_per_l", 0.0, unit="meq/L", open_low=True, why="Without load the volume is unbounded."
    )
    return tidy(1000.0 * capacity / load)


def outlet_fraction(
    transfer_units: Numbers, throughput_capacities: Numbers, remaining_capacities: Numbers = 1.0
) -> Result:
    """Return outlet over inlet concentration of a bed, or of beds in series: the Bohart-Adams closed form.

    Parameters
    ----------
    transfer_units : float or ndarray
        N of **one** cartridge, above 0.
    throughput_capacities : float or ndarray
        x, in capacities of one cartridge, fed since the remaining capacity was counted; 0 or more.
    remaining_capacities : float or ndarray
        A, remaining capacity upstream of the outlet in cartridges: 1 fresh, 2 for two in series; above 0.

    Returns
    -------
    float or ndarray
        c = e^(Nx)/(e^(Nx) + e^(NA) - 1), between 0 and 1; one half at x = A (nearly).

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Often fitted as "Thomas"; mass-exact, the integral of 1 - c over x is A. An idealised rate law: a prior, not proof.

    Examples
    --------
    >>> round(outlet_fraction(10.0, 1.0), 4)
    0.5
    """
    n, x, a = _column(transfer_units, throughput_capacities, remaining_capacities)
    # 1/(1 + e^(N(A - x)) - e^(-Nx)), whose exponent is held where e^700 is still finite.
    exponent = np.minimum(n * (a - x), 700.0)
    return tidy(1.0 / (1.0 + np.exp(exponent) - np.exp(-n * x)))


def throughput_at_breakthrough(
    transfer_units: Numbers, outlet_fraction: Numbers, remaining_capacities: Numbers = 1.0
) -> Result:
    """Return the throughput at which the outlet reaches a fraction of the inlet.

    Parameters
    ----------
    transfer_units, remaining_capacities : float or ndarray
        As `outlet_fraction`.
    outlet_fraction : float or ndarray
        Above what leaks at the very start (e^(-NA)), below 1.

    Returns
    -------
    float or ndarray
        Capacities of one cartridge: A + [logit b + ln(1 - e^(-NA))]/N.

    Raises
    ------
    EngineeringError
        Out of range; a fraction below the leak of a fresh bed.

    Examples
    --------
    >>> round(throughput_at_breakthrough(20.0, 0.01), 4)
    0.7702
    """
    n, _, a = _column(transfer_units, 0.0, remaining_capacities)
    fraction = _inside(outlet_fraction, "outlet_fraction")
    x = a + (_logit(fraction) + np.log1p(-np.exp(-n * a))) / n
    if np.any(x < 0.0):
        raise EngineeringError("outlet_fraction", "So short a bed leaks more than this fraction from the first litre.")
    return tidy(x)


def remaining_capacities_at(transfer_units: Numbers, outlet_fraction: Numbers) -> Result:
    """Return the capacity left upstream of a point, in capacities of one cartridge, from the outlet fraction there.

    Parameters
    ----------
    transfer_units : float or ndarray
        N of one cartridge, above 0.
    outlet_fraction : float or ndarray
        c, outlet over inlet, above 0, up to 1.

    Returns
    -------
    float or ndarray
        -ln(c)/N; with n cartridges upstream, 1 - that/n of their capacity is used. Exact for this rate law at constant
        feed, whatever the history.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(remaining_capacities_at(20.0, 0.01), 4)
    0.2303
    """
    n = in_range(transfer_units, "transfer_units", 0.0, open_low=True)
    fraction = in_range(outlet_fraction, "outlet_fraction", 0.0, 1.0, open_low=True)
    return tidy(-np.log(fraction) / n)


def exhausted_fraction_by_tds(
    permeate_tds_mg_per_l: Numbers, outlet_tds_mg_per_l: Numbers, *, resolution_mg_per_l: Numbers = 0.0
) -> Result:
    """Return outlet over permeate TDS: 1 says the resin is exhausted for ions (carbon dioxide and silica went before).

    Parameters
    ----------
    permeate_tds_mg_per_l : float or ndarray
        Above 0, and at least three steps of the meter.
    outlet_tds_mg_per_l : float or ndarray
        0 or more; may exceed the permeate for a while when an exhausted bed lets weaker ions go.
    resolution_mg_per_l : float or ndarray
        Step of the meter's display.

    Returns
    -------
    float or ndarray
        Fraction, above 1 possible.

    Raises
    ------
    EngineeringError
        Permeate below three steps of the meter, out of range.

    Examples
    --------
    >>> exhausted_fraction_by_tds(8.0, 6.0)
    0.75
    """
    permeate = in_range(permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    outlet = in_range(outlet_tds_mg_per_l, "outlet_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    step = in_range(resolution_mg_per_l, "resolution_mg_per_l", 0.0, unit="mg/L")
    if np.any((permeate <= 0.0) | (permeate < RESOLUTION_STEPS_NEEDED * step)):
        raise EngineeringError(
            "permeate_tds_mg_per_l",
            "The permeate TDS is below what the meter can resolve (three steps), so a ratio to it means nothing.",
        )
    return tidy(outlet / permeate)


def _column(n: Numbers, x: Numbers, a: Numbers) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (
        in_range(n, "transfer_units", 0.0, open_low=True),
        in_range(x, "throughput_capacities", 0.0),
        in_range(a, "remaining_capacities", 0.0, open_low=True),
    )


def _inside(value: Numbers, field: str) -> FloatArray:
    return in_range(value, field, 0.0, 1.0, open_low=True, open_high=True)


def _logit(fraction: FloatArray) -> FloatArray:
    return np.log(fraction) - np.log1p(-fraction)
