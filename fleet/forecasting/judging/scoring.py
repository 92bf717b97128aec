"""How good were forecasts? Pinball loss, coverage, error of the median, the driver named."""

from dataclasses import dataclass

import numpy as np

from fleet.forecasting.distribution import LEVELS, SHOWN
from fleet.forecasting.inputs.tables import Bools, Floats


def pinball_loss(quantile_day: Floats, true_day: Floats, levels: Floats = LEVELS) -> Floats:
    """Mean pinball loss over the levels, in days, one per row.

    Loss of quantile q at level p against truth y: p (y - q) where the truth is later, (1 - p)(q - y) where earlier.

    Parameters
    ----------
    quantile_day
        Shape (rows, levels).
    true_day
        Shape (rows,).

    >>> pinball_loss(np.array([[8.0]]), np.array([10.0]), np.array([0.5])).item()
    1.0
    """
    off = true_day[:, None] - quantile_day
    return np.where(off >= 0, levels * off, (levels - 1.0) * off).mean(axis=1)


def is_degenerate(grid_day: Floats, as_of_day: float, service_time_end_day: Floats) -> Bools:
    """Whether the 80 % interval is already over, or ended by the maximum service time.

    An interval that reaches that age has no upper end of its own: all that wear leaves lies on that one day, so such an
    interval covers more than it claims.
    """
    low, high = grid_day[:, SHOWN[1]], grid_day[:, SHOWN[5]]
    return (high - low < 1.0) | (high <= as_of_day) | (high >= service_time_end_day - 0.5)


@dataclass(frozen=True)
class Score:
    """Scores of a set of forecasts.

    `pinball` and `median_error` as a share of nominal life; `median_error_days`; coverage of the 50, 80 and 90 %
    intervals on the rows whose interval is not degenerate; `count` rows, `count_open` of them not degenerate.
    """

    count: int
    count_open: int
    pinball: float
    median_error: float
    median_error_days: float
    coverage_50: float
    coverage_80: float
    coverage_90: float


def score(grid_day: Floats, true_day: Floats, nominal_life_days: Floats, is_open: Bools) -> Score:
    """Score forecasts against what happened.

    Parameters
    ----------
    grid_day
        Quantiles at `GRID_LEVELS`, shape (rows, levels); rows without a date must be left out before.
    true_day
        Day of exhaustion.
    nominal_life_days
        Life by the label, the yardstick of relative scores.
    is_open
        Rows whose interval is not degenerate.
    """
    shown = grid_day[:, SHOWN]
    if not len(shown):
        nothing = float("nan")
        return Score(0, 0, nothing, nothing, nothing, nothing, nothing, nothing)
    loss = pinball_loss(shown, true_day) / nominal_life_days
    off = np.abs(shown[:, 3] - true_day)

    def inside(low: int, high: int) -> float:
        hit = (true_day >= shown[:, low] - 0.5) & (true_day <= shown[:, high] + 0.5)
        return float(hit[is_open].mean()) if is_open.any() else float("nan")

    return Score(
        count=len(shown),
        count_open=int(is_open.sum()),
        pinball=float(loss.mean()),
        median_error=float(np.median(off / nominal_life_days)),
        median_error_days=float(np.median(off)),
        coverage_50=inside(2, 4),
        coverage_80=inside(1, 5),
        coverage_90=inside(0, 6),
    )
