"""Which quantities tell of a cartridge, and how well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from fleet.engineering.stages import FINISHING
from scheduling.planning.needs.need import FloatArray

_LEAST_SPREAD = 1e-9


@dataclass(frozen=True, slots=True)
class LevelGauge:
    """It moves with wear: it shows which share of a life is used.

    Attributes
    ----------
    reads
        Names of the quantities that have to be read together.
    error
        Standard deviation of the share used (0-1) that is read from it.
    pace_error
        Standard deviation, as a share of the life, of how fast the rest is used.
    """

    reads: tuple[str, ...]
    error: float = 0.15
    pace_error: float = 0.15

    def answers(self, exhausted_day: ArrayLike, *, used_days: float, day: float) -> FloatArray:
        """Chance of each answer in each state, see `Gauge.answers`: the share used, as fine as the states are."""
        end = np.asarray(exhausted_day, dtype=np.float64)
        lives = np.maximum(used_days + end, 1.0)
        used = np.clip((used_days + day) / lives, 0.0, None) if np.isfinite(used_days) else np.zeros_like(end)
        shown, place = np.unique(used, return_inverse=True)
        edges = np.concatenate([[-np.inf], (shown[:-1] + shown[1:]) / 2.0, [np.inf]])
        spread = np.maximum(np.hypot(self.error, self.pace_error * shown), _LEAST_SPREAD)
        reached = ndtr((edges[None, :] - shown[:, None]) / spread[:, None])
        return np.asarray(np.diff(reached, axis=1)[place])


@dataclass(frozen=True, slots=True)
class BreakthroughGauge:
    """It shows nothing until the cartridge is exhausted: past its limit, or not.

    Attributes
    ----------
    reads
        Names of the quantities that have to be read together.
    missed, false_alarm
        Probability (0-1) that it shows an exhausted one as sound, and a sound one as exhausted.
    """

    reads: tuple[str, ...]
    missed: float = 0.10
    false_alarm: float = 0.05

    def answers(self, exhausted_day: ArrayLike, *, used_days: float, day: float) -> FloatArray:
        """Chance of 'past its limit' and of 'within it' in each state, see `Gauge.answers`."""
        del used_days
        ended = np.asarray(exhausted_day, dtype=np.float64) <= day
        past = np.where(ended, 1.0 - self.missed, self.false_alarm)
        return np.column_stack([past, 1.0 - past])


Gauge = LevelGauge | BreakthroughGauge
"""A gauge; ``answers(exhausted_day, used_days=, day=)`` is ``(states, answers)``, each row summing to 1.

``exhausted_day`` holds the day from today on which the cartridge is exhausted in each state, ``used_days`` the days it
has served until today (NaN: not known), ``day`` the day from today on which it is read.
"""

# The errors above are common practice, no source. The quantities are those that the limits of each place stand in.
_DIFFERENTIAL_PRESSURE = LevelGauge(("line_pressure_kpa", "prefilter_outlet_pressure_kpa"))
_SALT_PASSAGE = LevelGauge(("feed_tds_mg_per_l", "permeate_tds_mg_per_l"))
_LAST_OF_STAGE: dict[str, Gauge] = {
    "sediment": _DIFFERENTIAL_PRESSURE,
    "carbon": BreakthroughGauge(("carbon_outlet_total_chlorine_mg_per_l",)),
    "membrane": _SALT_PASSAGE,
    "resin": BreakthroughGauge(("product_tds_mg_per_l",)),
    **{
        stage: BreakthroughGauge(finishing.signs[0].quantities if finishing.signs else ())
        for stage, finishing in FINISHING.items()
    },
}
_LEAD: dict[str, Gauge] = {
    "carbon": BreakthroughGauge(("feed_total_chlorine_mg_per_l", "interstage_chlorine_mg_per_l")),
    "resin": BreakthroughGauge(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l")),
}

#: Every gauge that tells of a cartridge.
GAUGES: tuple[Gauge, ...] = tuple(gauge for gauge in (*_LAST_OF_STAGE.values(), *_LEAD.values()) if gauge.reads)


def gauge_of(stage: str, *, is_before_lag: bool = False) -> Gauge:
    """The gauge that tells of a cartridge in a stage; of a lead before its lag, the one between the two.

    It reads nothing where no gauge tells: of post-carbon people tell, by its taste.

    Examples
    --------
    >>> gauge_of("resin", is_before_lag=True).reads
    ('permeate_tds_mg_per_l', 'interstage_tds_mg_per_l')
    """
    return _LEAD.get(stage, _LAST_OF_STAGE[stage]) if is_before_lag else _LAST_OF_STAGE[stage]
