"""Sediment cartridges: pressure drop against throughput, what is left, and the silt density index."""

from collections.abc import Callable
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.viscosity import water_viscosity_mpa_s

LAWS: Final = ("complete_blocking", "standard_blocking", "intermediate", "cake")
MAX_PLUGGING_PERCENT: Final = 75.0


def pressure_drop(
    clean_drop: Numbers,
    throughput_l: Numbers,
    *,
    law: str = "intermediate",
    rate_per_l: Numbers | None = None,
    limit_throughput_l: Numbers | None = None,
) -> Result:
    """Return the pressure drop of a cartridge after a throughput at constant rate.

    Parameters
    ----------
    clean_drop : float or ndarray
        Drop of the clean cartridge, any pressure unit, above 0.
    throughput_l : float or ndarray
        **Feed** litres since it was fitted, 0 or more.
    law : {"intermediate", "complete_blocking", "standard_blocking", "cake"}
        Intermediate dP0 exp(kV) (default: two parameters, well behaved); complete dP0/(1 - V/Vm); standard
        dP0/(1 - V/Vm)^2; cake dP0 (1 + kV).
    rate_per_l : float or ndarray
        k of the intermediate and cake laws, 0 or more.
    limit_throughput_l : float or ndarray
        Vm of the blocking laws, above the throughput.

    Returns
    -------
    float or ndarray
        In the unit of `clean_drop`.

    Raises
    ------
    EngineeringError
        Throughput at or beyond the limit, the parameter of the law missing, unknown law, out of range.

    Notes
    -----
    Hermia; Hlavacek and Bouchet (from memory).

    Examples
    --------
    >>> round(pressure_drop(2.0, 2000.0, rate_per_l=0.0005), 3)
    5.437
    """
    clean = in_range(clean_drop, "clean_drop", 0.0, open_low=True)
    volume = in_range(throughput_l, "throughput_l", 0.0, unit="L")
    if law in ("complete_blocking", "standard_blocking"):
        if limit_throughput_l is None:
            raise EngineeringError("limit_throughput_l", f"The law {law!r} needs the throughput at which it blocks.")
        limit = in_range(limit_throughput_l, "limit_throughput_l", 0.0, unit="L", open_low=True)
        if np.any(volume >= limit):
            raise EngineeringError(
                "throughput_l", "The throughput is at or beyond the limit: the cartridge is blocked."
            )
        return tidy(clean / (1.0 - volume / limit) ** (1 if law == "complete_blocking" else 2))
    if law not in LAWS:
        raise EngineeringError("law", f"{law!r} is not a blocking law; use one of {', '.join(LAWS)}.")
    if rate_per_l is None:
        raise EngineeringError("rate_per_l", f"The law {law!r} needs a rate per litre.")
    grown = in_range(rate_per_l, "rate_per_l", 0.0, unit="1/L") * volume
    return tidy(clean * (np.exp(grown) if law == "intermediate" else 1.0 + grown))


def throughput_at_limit_l(
    *,
    throughput_1_l: Numbers,
    drop_1: Numbers,
    throughput_2_l: Numbers,
    drop_2: Numbers,
    limit_drop: Numbers,
    law: str = "intermediate",
) -> Result:
    """Return the throughput at which the drop reaches a limit, from two readings.

    Parameters
    ----------
    throughput_1_l, throughput_2_l : float or ndarray
        Feed litres, the second above the first.
    drop_1, drop_2, limit_drop : float or ndarray
        Normalised drops in one unit, rising.
    law : str
        As `pressure_drop`.

    Returns
    -------
    float or ndarray
        Litres.

    Raises
    ------
    EngineeringError
        Readings that do not rise, limit not above the first drop, unknown law.

    Examples
    --------
    >>> round(throughput_at_limit_l(throughput_1_l=1000.0, drop_1=2.0, throughput_2_l=3000.0, drop_2=4.0,
    ...     limit_drop=10.0), 1)
    5643.9
    """
    first = in_range(throughput_1_l, "throughput_1_l", 0.0, unit="L")
    second = in_range(throughput_2_l, "throughput_2_l", 0.0, unit="L")
    low = in_range(drop_1, "drop_1", 0.0, open_low=True)
    high = in_range(drop_2, "drop_2", 0.0, open_low=True)
    limit = in_range(limit_drop, "limit_drop", 0.0, open_low=True)
    if np.any(second <= first):
        raise EngineeringError("throughput_2_l", "The second reading must come after the first.")
    if np.any(high <= low):
        raise EngineeringError(
            "drop_2", "The differential pressure does not rise between the readings, so there is no date for the limit."
        )
    if np.any(limit < low):
        raise EngineeringError(
            "limit_drop", "The limit is below the first differential pressure: it is exceeded already."
        )
    if law not in LAWS:
        raise EngineeringError("law", f"{law!r} is not a blocking law; use one of {', '.join(LAWS)}.")
    # Each law is a straight line in V after its own transform of dP.
    transforms: dict[str, Callable[[FloatArray], FloatArray]] = {
        "intermediate": np.log,
        "cake": lambda drop: drop,
        "complete_blocking": lambda drop: -1.0 / drop,
        "standard_blocking": lambda drop: -1.0 / np.sqrt(drop),
    }
    transform = transforms[law]
    share = (transform(limit) - transform(low)) / (transform(high) - transform(low))
    return tidy(first + share * (second - first))


def normalised_drop(
    differential_pressure: Numbers,
    *,
    flow: Numbers,
    reference_flow: Numbers,
    temperature_degc: Numbers,
    reference_temperature_degc: Numbers = 25.0,
    flow_exponent: Numbers = 1.0,
) -> Result:
    """Return the drop a cartridge would show at a reference flow and temperature.

    Parameters
    ----------
    differential_pressure : float or ndarray
        Any pressure unit, 0 or more.
    flow, reference_flow : float or ndarray
        In one unit, above 0.
    temperature_degc, reference_temperature_degc : float or ndarray
        0 to 100 degC.
    flow_exponent : float or ndarray
        1 for media (Darcy), up to 2 for fittings.

    Returns
    -------
    float or ndarray
        dP (Qref/Q)^n (mu_ref/mu_T).

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Cold water alone makes a clean filter look 47 % worse at 10 than at 25 degC.

    Examples
    --------
    >>> round(normalised_drop(6.0, flow=0.8, reference_flow=1.0, temperature_degc=10.0), 2)
    5.11
    """
    measured = in_range(differential_pressure, "drop", 0.0)
    ratio = in_range(reference_flow, "reference_flow", 0.0, open_low=True) / in_range(flow, "flow", 0.0, open_low=True)
    exponent = in_range(flow_exponent, "flow_exponent", 0.5, 2.0)
    viscosities = water_viscosity_mpa_s(reference_temperature_degc) / water_viscosity_mpa_s(temperature_degc)
    return tidy(measured * ratio**exponent * viscosities)


def normalised_feed_brine_drop(
    differential_pressure: Numbers, *, feed_brine_flow: Numbers, reference_flow: Numbers, temperature_degc: Numbers
) -> Result:
    """Return the feed-to-concentrate drop of an element at a reference flow and 25 degC.

    Parameters
    ----------
    differential_pressure : float or ndarray
        Any pressure unit, 0 or more.
    feed_brine_flow, reference_flow : float or ndarray
        Mean of feed and concentrate flow, in one unit, above 0.
    temperature_degc : float or ndarray
        1 to 45 degC.

    Returns
    -------
    float or ndarray
        dP (Qref/Q)^1.5 [1 + 0.017 (T - 25)]; for the feed channel of an element, not for cartridges.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> round(normalised_feed_brine_drop(3.0, feed_brine_flow=0.8, reference_flow=1.0, temperature_degc=12.0), 3)
    3.266
    """
    measured = in_range(differential_pressure, "drop", 0.0)
    ratio = in_range(reference_flow, "reference_flow", 0.0, open_low=True) / in_range(
        feed_brine_flow, "feed_brine_flow", 0.0, open_low=True
    )
    celsius = in_range(temperature_degc, "temperature_degc", 1.0, 45.0, unit="degC")
    return tidy(measured * ratio**1.5 * (1.0 + 0.017 * (celsius - 25.0)))


def prefilter_drop(static_pressure: Numbers, flowing_pressure: Numbers, *, supply_sag: Numbers = 0.0) -> Result:
    """Return the drop across the prefilters from one gauge at the membrane inlet, read at rest and while flowing.

    Parameters
    ----------
    static_pressure, flowing_pressure : float or ndarray
        In one unit; at rest the inlet shows the line pressure, because no flow means no loss.
    supply_sag : float or ndarray
        What the supply itself loses while flowing, 0 or more.

    Returns
    -------
    float or ndarray
        static - flowing - sag, in the same unit.

    Raises
    ------
    EngineeringError
        Flowing above static (a pump runs, or the gauge is at fault), or a sag larger than the difference.

    Examples
    --------
    >>> prefilter_drop(62.0, 48.0, supply_sag=3.0)
    11.0
    """
    static = in_range(static_pressure, "static_pressure", 0.0)
    flowing = in_range(flowing_pressure, "flowing_pressure", 0.0)
    sag = in_range(supply_sag, "supply_sag", 0.0)
    if np.any(flowing > static):
        raise EngineeringError(
            "flowing_pressure",
            "The flowing pressure is above the static one: a booster pump runs or a gauge is at fault.",
        )
    if np.any(static - flowing < sag):
        raise EngineeringError("supply_sag", "The supply cannot sag by more than the whole loss; check the readings.")
    return tidy(static - flowing - sag)


def silt_density_index_per_min(t_initial_s: Numbers, t_final_s: Numbers, elapsed_min: Numbers = 15.0) -> Result:
    """Return the silt density index of ASTM D4189 (0.45 um, 47 mm, 207 kPa, 500 mL).

    Parameters
    ----------
    t_initial_s, t_final_s : float or ndarray
        Time for the first and the last 500 mL, s.
    elapsed_min : float or ndarray
        5, 10 or 15 min usually.

    Returns
    -------
    float or ndarray
        100 (1 - ti/tf)/T, % a minute.

    Raises
    ------
    EngineeringError
        Final time shorter than the initial one, plugging above 75 % (use a shorter interval), out of range.

    Examples
    --------
    >>> round(silt_density_index_per_min(26.0, 45.0, 15.0), 2)
    2.81
    """
    first = in_range(t_initial_s, "t_initial_s", 0.0, unit="s", open_low=True)
    last = in_range(t_final_s, "t_final_s", 0.0, unit="s", open_low=True)
    minutes = in_range(elapsed_min, "elapsed_min", 0.0, unit="min", open_low=True)
    if np.any(last < first):
        raise EngineeringError("t_final_s", "The last 500 mL cannot pass faster than the first; check the two times.")
    plugging = 100.0 * (1.0 - first / last)
    if np.any(plugging > MAX_PLUGGING_PERCENT):
        raise EngineeringError(
            "elapsed_min", "More than 75 % of the flow is lost: the index is not valid, repeat with a shorter interval."
        )
    return tidy(plugging / minutes)


def largest_valid_sdi_per_min(elapsed_min: Numbers, max_plugging_percent: Numbers = MAX_PLUGGING_PERCENT) -> Result:
    """Return the largest index that can be reported for an interval: 5 at 15 min.

    Parameters
    ----------
    elapsed_min : float or ndarray
        Above 0.
    max_plugging_percent : float or ndarray
        Above 0, up to 100; 75 by ASTM D4189 (from memory).

    Returns
    -------
    float or ndarray
        % a minute.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> largest_valid_sdi_per_min(15.0)
    5.0
    """
    limit = in_range(max_plugging_percent, "max_plugging_percent", 0.0, 100.0, open_low=True)
    return tidy(limit / in_range(elapsed_min, "elapsed_min", 0.0, unit="min", open_low=True))
