"""How well a reading, and what is made of it, can be known (JCGM 100:2008, method from memory).

A meter with relative accuracy `a` and resolution `r` gives a reading x the standard uncertainty
u = sqrt((a x/sqrt 3)^2 + (r/sqrt 12)^2): two rectangular distributions.
"""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, as_numbers, in_range, tidy

ACCURACY_FRACTION: Final = 0.02
TDS_RESOLUTION_MG_PER_L: Final = 1.0
# Expansion to about 95 %.
COVERAGE_FACTOR: Final = 2.0


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


def ratio_relative_standard_uncertainty(
    numerator: Numbers,
    denominator: Numbers,
    *,
    accuracy_fraction: Numbers = ACCURACY_FRACTION,
    resolution: Numbers = TDS_RESOLUTION_MG_PER_L,
) -> Result:
    """Return the relative standard uncertainty of a ratio of two readings of the same meter, such as salt passage.

    Parameters
    ----------
    numerator, denominator : float or ndarray
        Above 0, in one unit.
    accuracy_fraction, resolution : float or ndarray
        As `reading_standard_uncertainty`.

    Returns
    -------
    float or ndarray
        Fraction of the ratio.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    The two readings are taken as independent; a calibration error common to both would cancel, so this is the
    cautious side.

    Examples
    --------
    >>> round(ratio_relative_standard_uncertainty(4.0, 200.0), 3)
    0.074
    """
    top = in_range(numerator, "numerator", 0.0, open_low=True)
    bottom = in_range(denominator, "denominator", 0.0, open_low=True)
    of_top = reading_standard_uncertainty(top, accuracy_fraction=accuracy_fraction, resolution=resolution) / top
    of_bottom = (
        reading_standard_uncertainty(bottom, accuracy_fraction=accuracy_fraction, resolution=resolution) / bottom
    )
    return tidy(np.hypot(of_top, of_bottom))
