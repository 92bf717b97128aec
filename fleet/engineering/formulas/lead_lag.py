"""Two resin cartridges in series, rotated: how long each lasts when the lag moves to lead."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.resin import outlet_fraction
from fleet.engineering.limits import HOUSE

_SETTLED_CYCLES: Final = 60


@dataclass(frozen=True)
class Rotation:
    """One cycle between two rotations.

    Attributes
    ----------
    throughput_capacities : float or ndarray
        Fed during the cycle, in capacities of one cartridge.
    product_fraction : float or ndarray
        Product over permeate at the rotation.
    carried_capacities : float or ndarray
        Remaining capacity of the cartridge that becomes the next lead.
    """

    throughput_capacities: Result
    product_fraction: Result
    carried_capacities: Result


def rotation(
    transfer_units: Numbers,
    lead_remaining_capacities: Numbers = 1.0,
    *,
    lead_outlet_fraction_at_rotation: Numbers = HOUSE.lead_resin_fraction,
) -> Rotation:
    """Return the next rotation of a lead with a given capacity left and a fresh lag behind it.

    Parameters
    ----------
    transfer_units : float or ndarray
        N of one cartridge, above 0.
    lead_remaining_capacities : float or ndarray
        a, above 0, up to 1; 1 after two fresh cartridges.
    lead_outlet_fraction_at_rotation : float or ndarray
        X, between 0 and 1.

    Returns
    -------
    Rotation
        x = [logit X + ln(e^(Na) - 1)]/N; product from the closed form with A = a + 1; next a = ln(X/c_prod)/N.

    Raises
    ------
    EngineeringError
        Out of range, or a lead that passes X from the first litre.

    Examples
    --------
    >>> first = rotation(10.0)
    >>> round(first.throughput_capacities, 3)
    1.294
    """
    n = in_range(transfer_units, "transfer_units", 0.0, open_low=True)
    remaining = in_range(lead_remaining_capacities, "lead_remaining_capacities", 0.0, 1.0, open_low=True)
    limit = in_range(
        lead_outlet_fraction_at_rotation,
        "lead_outlet_fraction_at_rotation",
        0.0,
        1.0,
        open_low=True,
        open_high=True,
    )
    logit = np.log(limit) - np.log1p(-limit)
    # ln(e^(Na) - 1) = Na + ln(1 - e^(-Na)), which does not overflow.
    fed = (logit + n * remaining + np.log1p(-np.exp(-n * remaining))) / n
    if np.any(fed < 0.0):
        raise EngineeringError("lead_remaining_capacities", "This lead passes the rotation limit from the first litre.")
    product = np.asarray(outlet_fraction(n, fed, remaining + 1.0))
    return Rotation(tidy(fed), tidy(product), tidy(np.log(limit / product) / n))


def steady_throughput_capacities(
    transfer_units: Numbers, *, lead_outlet_fraction_at_rotation: Numbers = HOUSE.lead_resin_fraction
) -> Result:
    """Return the throughput of every later cycle, once rotation has settled: what each cartridge yields.

    Parameters
    ----------
    transfer_units, lead_outlet_fraction_at_rotation : float or ndarray
        As `rotation`.

    Returns
    -------
    float or ndarray
        Capacities of one cartridge.

    Raises
    ------
    EngineeringError
        As `rotation`.

    Notes
    -----
    The first cycle after two fresh cartridges is 15 to 40 % longer; never forecast from it.

    Examples
    --------
    >>> round(steady_throughput_capacities(20.0), 4)
    0.9974
    """
    remaining: Numbers = 1.0
    fed: Numbers = 0.0
    for _ in range(_SETTLED_CYCLES):
        cycle = rotation(transfer_units, remaining, lead_outlet_fraction_at_rotation=lead_outlet_fraction_at_rotation)
        settled = np.all(np.abs(np.asarray(cycle.throughput_capacities) - fed) < 1e-12)
        # A rounding error may put a barely used lag a hair above its own capacity.
        remaining, fed = np.minimum(cycle.carried_capacities, 1.0), cycle.throughput_capacities
        if settled:
            break
    return tidy(fed)
