"""How well each indicator is known, given the meters: first-order propagation through the indicators themselves.

Each quantity is moved up and down by its own standard uncertainty and the indicators are taken again, so that a change
of a formula carries into its uncertainty by itself (JCGM 100:2008, 5.1, method from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers
from fleet.engineering.formulas.uncertainty import reading_standard_uncertainty
from fleet.engineering.indicators import INDICATORS, QUANTITIES, UnitContext, indicators
from fleet.engineering.quantities import READING_QUANTITIES


@dataclass(frozen=True)
class Meter:
    """One kind of instrument: accuracy as a fraction of the reading, and the step of its display; or one a reading.

    Examples
    --------
    >>> Meter(0.02, 1.0).resolution
    1.0
    """

    accuracy_fraction: Numbers
    resolution: Numbers


# Common practice, no source: read the leaflet of the instrument and pass its own figures.
PRESSURE_GAUGE: Final = Meter(0.025, 7.0)
THERMOMETER: Final = Meter(0.0, 1.0)
TDS_METER: Final = Meter(0.02, 1.0)
BUCKET_AND_STOPWATCH: Final = Meter(0.03, 1.0)
CHLORINE_KIT: Final = Meter(0.10, 0.05)

_BY_KIND: Final = {
    "pressure": PRESSURE_GAUGE,
    "temperature": THERMOMETER,
    "tds": TDS_METER,
    "flow": BUCKET_AND_STOPWATCH,
    "chlorine": CHLORINE_KIT,
}

METERS: Final[Mapping[str, Meter]] = {
    quantity.name: _BY_KIND[quantity.kind.name] for quantity in READING_QUANTITIES if quantity.kind.name in _BY_KIND
}


def indicator_uncertainties(
    readings: Mapping[str, Any], context: UnitContext | None = None, meters: Mapping[str, Meter] = METERS
) -> dict[str, FloatArray]:
    """Return the standard uncertainty of every indicator of every reading.

    Parameters
    ----------
    readings : mapping of str to array
        As `indicators`.
    context : UnitContext, optional
        As `indicators`; taken as exact.
    meters : mapping of str to Meter
        Quantity name -> instrument; a quantity left out is taken as exact.

    Returns
    -------
    dict of str to ndarray
        Indicator name -> standard uncertainty in its unit, NaN where there is no indicator.

    Raises
    ------
    EngineeringError
        As `indicators`; a meter with a negative figure.

    Notes
    -----
    Readings are taken as independent. Two readings of one meter share its calibration error, which cancels in a ratio:
    the result is then on the cautious side. The work is twice the number of quantities read times that of `indicators`.

    Examples
    --------
    >>> uncertainties = indicator_uncertainties({"feed_tds_mg_per_l": [200.0], "permeate_tds_mg_per_l": [4.0]})
    >>> round(float(uncertainties["salt_passage_fraction"][0] / 0.02), 3)
    0.074
    """
    columns = {
        name: np.atleast_1d(np.asarray(column, dtype=np.float64)) if name in QUANTITIES else column
        for name, column in readings.items()
    }
    here = indicators(columns, context).values
    variance = {name: np.zeros_like(values) for name, values in here.items()}
    for name, meter in meters.items():
        if name not in columns:
            continue
        measured = np.where(np.isfinite(columns[name]), columns[name], np.nan)
        if np.all(np.isnan(measured)):
            continue
        step = np.asarray(
            reading_standard_uncertainty(
                np.abs(measured), accuracy_fraction=meter.accuracy_fraction, resolution=meter.resolution
            )
        )
        above = indicators({**columns, name: columns[name] + np.nan_to_num(step)}, context).values
        below = indicators({**columns, name: columns[name] - np.nan_to_num(step)}, context).values
        for indicator in INDICATORS:
            up, down = above[indicator] - here[indicator], here[indicator] - below[indicator]
            # At the edge of what is possible only one side exists.
            half = np.where(np.isnan(up), down, np.where(np.isnan(down), up, 0.5 * (up + down)))
            variance[indicator] += np.nan_to_num(half) ** 2
    return {name: np.where(np.isnan(here[name]), np.nan, np.sqrt(variance[name])) for name in INDICATORS}
