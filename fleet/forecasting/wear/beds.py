"""One or two beds in series as one column: how much capacity is left after a load has passed.

With R the capacity left upstream of a point, in capacities of one cartridge, and N transfer units of one cartridge, the
water at that point stands at c = C / C_in = exp(-N R) (engineering reference 9.4, Bohart-Adams in its mass-exact form).
What is taken up upstream is what does not pass: dR/dx = -(1 - exp(-N R)), hence

    exp(N R(x)) - 1 = (exp(N R(0)) - 1) exp(-N x),

for the lead alone as for lead and lag together, whatever the history, as long as the feed concentration is the same
along the column. Rotation and a fresh lag only set new starting values.

It is the closed form of `fleet.engineering.formulas.resin`, in logarithms of what is left: a fleet asks it for every
cartridge, shape and point of its grid, in single precision, and past exhaustion too, where the formula refuses.
"""

import numpy as np

from fleet.engineering.formulas.resin import remaining_capacities_at
from fleet.forecasting.inputs.tables import Floats


def remaining_after(remaining: Floats, throughput: Floats, transfer_units: Floats) -> Floats:
    """Capacity left upstream of a point after a throughput; arrays broadcast.

    Parameters
    ----------
    remaining
        Capacity left at the start, in capacities of one cartridge, 0 or more.
    throughput
        Load passed since, in capacities of one cartridge, 0 or more.
    transfer_units
        N of one cartridge, above 0.

    >>> round(float(remaining_after(np.array(1.0), np.array(1.0), np.array(20.0))), 4)
    0.0347
    """
    start = transfer_units * np.maximum(remaining, 1e-9)
    return np.logaddexp(0.0, log_expm1(start) - transfer_units * throughput) / transfer_units


def log_expm1(value: Floats) -> Floats:
    """Logarithm of exp(value) - 1 without overflow; values below 1e-9 count as 1e-9."""
    value = np.maximum(value, 1e-9)
    return value + np.log(-np.expm1(-value))


def throughput_until(remaining: Floats, target: Floats, transfer_units: Floats) -> Floats:
    """Throughput that takes the capacity left from `remaining` to `target`, both as in `remaining_after`.

    It is negative when past it.
    """

    return (log_expm1(transfer_units * remaining) - log_expm1(transfer_units * target)) / transfer_units


def remaining_at_fraction(fraction: Floats, transfer_units: Floats) -> Floats:
    """Capacity left upstream of a point whose water stands at a fraction of the feed: -ln(c) / N.

    It has the precision of what came in: the curves of a fleet are held in single precision, and a double one among
    them would double all that follows.
    """
    shares = np.clip(np.asarray(fraction, np.float64), 1e-6, 0.999)
    left = remaining_capacities_at(np.asarray(transfer_units, np.float64), shares)
    return np.asarray(left, dtype=np.result_type(fraction, transfer_units))
