"""Losses and coverage of forecasts of strangers' fleets, and their table by stage, role and richness of readings."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np

QUANTILES: Final = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
COLUMNS: Final = ("p05", "p10", "p25", "p50", "p75", "p90", "p95")
TEN_YEARS: Final = 3652.0
STAGES: Final = ("sediment", "carbon", "membrane", "resin")
ROLES: Final = ("single", "lead", "lag")
RICHNESS: Final = ("0", "1-3", "4-20", "more")

Row = dict[str, str]


@dataclass(frozen=True)
class Score:
    """A cartridge at a cut.

    Attributes
    ----------
    stage, role
        Where it stands.
    richness
        Readings of its unit in the year before the cut, one of RICHNESS.
    is_written
        Whether the files tell of the change that brought it in.
    losses
        Of the forecast, the label's date and the fixed interval: mean pinball loss over nominal life.
    is_open
        Whether the interval of 80 % neither begins at the cut nor ends at the maximum service time.
    side
        Where the truth is: -1 below p10, 0 in the interval, 1 above p90.
    """

    stage: str
    role: str
    richness: str
    is_written: bool
    losses: tuple[float, float, float]
    is_open: bool
    side: int


def richness_of(readings: int) -> str:
    """The class of RICHNESS of a number of readings.

    >>> [richness_of(count) for count in (0, 1, 3, 4, 20, 21)]
    ['0', '1-3', '1-3', '4-20', '4-20', 'more']
    """
    return RICHNESS[int(np.searchsorted((0, 3, 20), readings))]


def pinball(days: float, forecast_days: np.ndarray) -> float:
    """Mean loss over the quantiles in days.

    >>> pinball(10.0, np.full(7, 10.0))
    0.0
    >>> pinball(20.0, np.full(7, 10.0))
    5.0
    """
    miss = days - forecast_days
    return float(np.mean(np.maximum(QUANTILES * miss, (QUANTILES - 1.0) * miss)))


def days_after(cut: date, text: str) -> float:
    """Days from the cut to a date, none before it; an empty cell is ten years on."""
    if not text:
        return TEN_YEARS
    return min(max(float((date.fromisoformat(text[:10]) - cut).days), 0.0), TEN_YEARS)


TRUTHS: Final = ("told", "served", "alone")
"""When a cartridge is exhausted: as `forecast --columns` tells the date; while the others of its unit are kept up; when
nothing at all is changed."""


def _truth(row: Row, when: str) -> str:
    """The date of a row of truth, for one of TRUTHS."""
    is_last_bed = row["role"] == "lag" and row["stage"] in ("carbon", "resin")
    is_alone = when == "alone" or (when == "told" and is_last_bed)
    return row["exhausted_on" if is_alone else "exhausted_on_rest_served"]


def score(truth: Row, forecast: Row, cut: date, readings: int, *, when: str = "told") -> Score:
    """Hold a row of forecasts against its row of truth, one of TRUTHS; a single date counts as all quantiles."""
    life = float(truth["nominal_life_days"])
    days = days_after(cut, _truth(truth, when))
    dates = np.array([days_after(cut, forecast[name]) for name in COLUMNS])
    label, fixed = (np.full(7, days_after(cut, truth[name])) for name in ("label_exhausted_on", "fixed_exhausted_on"))
    low, high = dates[1], dates[5]
    return Score(
        stage=truth["stage"],
        role=truth["role"],
        richness=richness_of(readings),
        is_written=truth.get("change_not_written") != "yes",
        losses=(pinball(days, dates) / life, pinball(days, label) / life, pinball(days, fixed) / life),
        # An interval that ends at one date is that of the maximum service time.
        is_open=bool(low > 0.0 and dates[4] < dates[6]),
        side=int(days > high) - int(days < low),
    )


HEADINGS: Final = (
    f"{'fleet':14} {'stage':9} {'role':6} {'readings':8} {'count':>6} {'forecast':>8} {'label':>7} {'fixed':>7} "
    f"{'/label':>6} {'/fixed':>6} {'open':>6} {'held':>5} {'early':>5} {'late':>5}"
)


def line(names: Sequence[str], scores: Sequence[Score]) -> str:
    """One line of the table under HEADINGS."""
    forecast, label, fixed = np.array([each.losses for each in scores]).mean(axis=0)
    sides = np.array([each.side for each in scores if each.is_open])
    shares = [f"{np.mean(sides == side):5.2f}" if len(sides) else f"{'-':>5}" for side in (0, -1, 1)]
    fleet, stage, role, readings = names
    # A cell of equal losses is no worse.
    flag = "  WORSE" if forecast > min(label, fixed) else ""
    return (
        f"{fleet:14} {stage:9} {role:6} {readings:8} {len(scores):6} {forecast:8.3f} {label:7.3f} {fixed:7.3f} "
        f"{_ratio(forecast, label)} {_ratio(forecast, fixed)} {len(sides):6} {' '.join(shares)}{flag}"
    )


def _ratio(loss: float, other: float) -> str:
    """The share in six characters; none where the other is without loss."""
    return f"{loss / other:6.2f}" if other else f"{'-':>6}"


def _cells() -> Iterator[tuple[str, str, str, Callable[[Score], bool]]]:
    """Stage, role and richness as the table names them, and which scores belong there."""
    yield "all", "", "", lambda each: True
    for stage in STAGES:
        yield stage, "", "", lambda each, stage=stage: each.stage == stage
    for stage in STAGES:
        for role in ROLES:
            yield stage, role, "", lambda each, at=(stage, role): (each.stage, each.role) == at
    for rich in RICHNESS:
        yield "all", "", rich, lambda each, rich=rich: each.richness == rich
    for stage in STAGES:
        for rich in RICHNESS:
            yield stage, "", rich, lambda each, at=(stage, rich): (each.stage, each.richness) == at


def table(scores_of: dict[str, list[Score]]) -> str:
    """Lines of every fleet, then of all together; changes that the files do not tell of stand in lines of their own."""
    lines = [HEADINGS]
    everything = [each for scores in scores_of.values() for each in scores]
    for fleet, scores in (*scores_of.items(), ("all fleets", everything)):
        written = [each for each in scores if each.is_written]
        for stage, role, rich, belongs in _cells():
            here = [each for each in written if belongs(each)]
            if here:
                lines.append(line((fleet, stage, role, rich), here))
        untold = [each for each in scores if not each.is_written]
        if untold:
            lines.append(line((fleet, "untold", "", ""), untold))
        lines.append("")
    return "\n".join(lines)
