"""What a label and a calendar say of a life, and a forecast that gives them a say.

Where little was seen, a model of wear is seldom better than the plain rules that every company knows: so many litres by
the label, so many years by habit. It errs in other ways than they do, so together they are nearer than each alone; a
fleet that has taught much needs them little. What is pooled are probabilities: of 'spent by then', the mean of what
each holds, by its share.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import ndtri

from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs.tables import Floats
from fleet.forecasting.wear.dates import LEVEL_MASS, weighted_quantiles
from fleet.forecasting.wear.pooling import Hyper

OPINION_SPREAD: Final = 0.5
"""Spread of the logarithm of a life about what a rule says."""

MOST_OF_MEMBRANE_CALENDAR: Final = 0.4
"""Most that the rule of three years has of the say about a membrane that no reading shows, and about the next one."""

MOST_OF_UNREAD_LABEL: Final = 0.2
MOST_OF_UNREAD_CALENDAR: Final = 0.12
"""Most that the label, as far as the fleet has found it right, and the usual interval have of the say about a sediment
filter that no reading shows."""

HALF_SAY: Final = 0.12
"""Where the mean of a fleet is known so well, as a standard deviation of a logarithm, rules have half of that.

No source, all of these: settled on seeds 1 to 18 of the strangers' fleets."""


def share(most: float, hyper: Hyper) -> float:
    """What a rule has of the say: the less, the better the fleet itself has taught what is usual in it."""
    if not hyper.places:
        return most
    return most * hyper.mean_spread**2 / (hyper.mean_spread**2 + HALF_SAY**2)


def rule(middle: Floats, used: Floats) -> Floats:
    """Quantiles at `GRID_LEVELS` of what a rule leaves of a life, shape (rows, levels); below 0 where it is over.

    Parameters
    ----------
    middle
        What the rule gives a fresh cartridge in the middle, in any unit of load.
    used
        What of it has passed, in the same unit.
    """
    return middle[:, None] * np.exp(OPINION_SPREAD * ndtri(GRID_LEVELS)) - used[:, None]


def pooled(forecast: Floats, *others: tuple[float, Floats]) -> Floats:
    """Quantiles at `GRID_LEVELS` of a forecast in which others have a say.

    Parameters
    ----------
    forecast
        Quantiles, shape (rows, levels).
    others
        Share of each and its quantiles, same shape and unit; the forecast keeps what the shares leave.
    """
    shares = [1.0 - sum(share for share, _ in others), *(share for share, _ in others)]
    points: Sequence[Floats] = [forecast, *(quantiles for _, quantiles in others)]
    mass = np.concatenate([share * LEVEL_MASS for share in shares])
    values = np.concatenate(points, axis=1)
    return weighted_quantiles(values, np.broadcast_to(mass, values.shape), GRID_LEVELS)
