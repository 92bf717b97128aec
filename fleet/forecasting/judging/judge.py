"""Scores of forecasts against what happened, for every method, by stage and by how much was read; as rows and as
text."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.forecasting.distribution import LEVELS, SHOWN
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Bools, Floats
from fleet.forecasting.judging.integrals import BINS, coverage, integral_bounds, integral_shares
from fleet.forecasting.judging.replay import METHODS, Replay
from fleet.forecasting.judging.scoring import pinball_loss

RICHNESS: Final = (("no reading", 0, 0), ("1 to 3 readings", 1, 3), ("4 to 20", 4, 20), ("more than 20", 21, 10**9))


@dataclass(frozen=True)
class QualityRow:
    """One method on one group of forecasts.

    `pinball` and `median_error` as shares of nominal life; `median_error_days`; coverages of the 50, 80 and 90 %
    intervals that are not degenerate, from observed ends and lives that were still good when last seen alike (see
    `integrals`), NaN when no end was observed; `observed` exhaustions, `censored` lives that were still good when last
    seen. `driver_named` is the share of the observed exhaustions whose limiting driver was named: the maximum service
    time, or the wear of the stage; NaN where none is named.
    """

    group: str
    method: str
    observed: int
    censored: int
    pinball: float
    coverage_50: float
    coverage_80: float
    coverage_90: float
    median_error: float
    median_error_days: float
    driver_named: float


def censored_pinball(quantile_day: Floats, seen_good_day: Floats) -> Floats:
    """Least pinball loss of a life that was still good on a day: quantiles before it are too early by at least the
    rest."""
    short = np.maximum(seen_good_day[:, None] - quantile_day, 0.0)
    return (LEVELS * short).mean(axis=1)


def judge(replayed: Replay) -> list[QualityRow]:
    """Rows for every method: all together, each stage, leads and lags apart, and each richness of readings."""
    everything = np.ones(len(replayed), dtype=bool)
    groups: list[tuple[str, Bools]] = [("all", everything)]
    groups += [(name, replayed.stage == code) for code, name in enumerate(words.STAGES)]
    groups += [
        (f"{words.ROLES[role]} {words.STAGES[stage]}", (replayed.stage == stage) & (replayed.role == role))
        for stage in (words.SEDIMENT, words.CARBON, words.RESIN)
        for role in (words.LEAD, words.LAG)
    ]
    groups += [(name, (replayed.readings >= low) & (replayed.readings <= high)) for name, low, high in RICHNESS]
    return [_row(replayed, name, mask, method) for name, mask in groups for method in METHODS if mask.any()]


def _row(replayed: Replay, group: str, mask: Bools, method: str) -> QualityRow:
    quantiles = replayed.grid_day[method][mask][:, SHOWN]
    truth, nominal = replayed.true_day[mask], replayed.nominal_life_days[mask]
    observed = replayed.is_observed[mask]
    loss = np.where(observed, pinball_loss(quantiles, truth), censored_pinball(quantiles, truth)) / nominal
    error = np.abs(quantiles[:, 3] - truth)[observed]
    # A life that ended by its maximum service time would have been good for longer: for wear it is one more that was
    # still good.
    ended = observed & (replayed.true_driver[mask] != words.MAXIMUM_SERVICE_TIME)
    open_ = replayed.is_open[method][mask]
    low, high = integral_bounds(
        replayed.grid_day[method][mask][open_],
        replayed.low_day[mask][open_],
        replayed.high_day[mask][open_],
        ended[open_],
    )
    shares = integral_shares(low, high) if ended[open_].any() else np.full(BINS, np.nan)
    nothing = float("nan")
    return QualityRow(
        group=group,
        method=method,
        observed=int(observed.sum()),
        censored=int((~observed).sum()),
        pinball=float(loss.mean()),
        coverage_50=coverage(shares, 0.5),
        coverage_80=coverage(shares, 0.8),
        coverage_90=coverage(shares, 0.9),
        median_error=float(np.median(error / nominal[observed])) if observed.any() else nothing,
        median_error_days=float(np.median(error)) if observed.any() else nothing,
        driver_named=_driver_named(replayed, mask & replayed.is_observed) if method == METHODS[0] else nothing,
    )


def _driver_named(replayed: Replay, rows: Bools) -> float:
    """Each stage wears in one way, so what is to be told apart is wear and the maximum service time."""
    if not rows.any():
        return float("nan")
    forecast_by_age, true_by_age = (
        driver[rows] == words.MAXIMUM_SERVICE_TIME for driver in (replayed.driver, replayed.true_driver)
    )
    return float((forecast_by_age == true_by_age).mean())


def quality_text(rows: Iterable[QualityRow]) -> str:
    """The rows as a table for a terminal."""
    lines = [
        f"{'':16s} {'method':16s} {'seen':>6s} {'good':>6s} {'pinball':>8s} {'50 %':>5s} {'80 %':>5s} {'90 %':>5s} "
        f"{'median error':>14s} {'driver':>7s}"
    ]
    group = ""
    for row in rows:
        shown = row.group if row.group != group else ""
        group = row.group
        lines.append(
            f"{shown:16s} {row.method:16s} {row.observed:6d} {row.censored:6d} {row.pinball:8.3f} "
            f"{row.coverage_50:5.2f} {row.coverage_80:5.2f} {row.coverage_90:5.2f} "
            f"{row.median_error_days:9.0f} days {row.driver_named:7.2f}"
        )
    return "\n".join(lines)


__all__ = ["RICHNESS", "QualityRow", "censored_pinball", "judge", "quality_text"]
