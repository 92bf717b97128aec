"""How well a reading, and what is made of it, can be known (JCGM 100:2008, method from memory).

A meter with relative accuracy `a` and resolution `r` gives a reading x the standard uncertainty
u = sqrt((a x/sqrt 3)^2 + (r/sqrt 12)^2): two rectangular distributions.
"""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, as_numbers, in_range, tidy

ACCURACY_FRACTION: Final = 0.02


def reading_standard_uncertainty(
    value: Numbers, *, accuracy_fraction: Numbers = ACCURACY_FRACTION, resolution: Numbers
) -> Result:
    """Return the standard uncertainty of one reading, in the unit of the reading.

    Parameters
    ----------
    value : float or ndarray
        The reading.
    accuracy_fraction : float or ndarray
        Of reading, 0 to 1; 0.02 is common for hand-held meters (common practice, no source).
    resolution : float or ndarray
        Smallest step of the display, 0 or more, in the unit of the reading.

    Returns
    -------
    float or ndarray
        Standard uncertainty.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(reading_standard_uncertainty(4.0, resolution=1.0), 3)
    0.292
    """
    accuracy = in_range(accuracy_fraction, "accuracy_fraction", 0.0, 1.0)
    step = in_range(resolution, "resolution", 0.0)
    return tidy(np.hypot(accuracy * as_numbers(value, "value") / np.sqrt(3.0), step / np.sqrt(12.0)))
