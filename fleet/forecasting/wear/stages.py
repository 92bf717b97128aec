"""How the cartridges of a stage wear along their segments, and what a reading says about their capacity."""

from dataclasses import dataclass, replace

import numpy as np

from fleet.forecasting.inputs.columns import Columns, Segments
from fleet.forecasting.inputs.tables import Bools, Floats, Indexes
from fleet.forecasting.wear.conditions import Conditions
from fleet.forecasting.wear.habits import LAST_READING_DAYS
from fleet.forecasting.wear.pooling import Places
from fleet.forecasting.wear.stage_models import StageModel, StageReadings


@dataclass(frozen=True)
class StageInput:
    """What one stage brings: columns, segments, model, labels and readings.

    `label` is the capacity by label of the first cartridge of every segment (load units), `lag_ratio` that of the
    second over it, `limit` the share or value at which a single or last cartridge is exhausted and `lead_limit` that
    of a lead, per segment;
    `ended_by_age` marks segments whose cartridge left at its age limit, which says nothing of wear. `readings` are the
    readings with their segment. `places` are the columns.
    """

    stage: int
    columns: Columns
    segments: Segments
    model: StageModel
    label: Floats
    lag_ratio: Floats
    limit: Floats
    lead_limit: Floats
    ended_by_age: Bools
    readings: StageReadings
    reading_segment: Indexes
    reading_day: Floats
    places: Places

    @property
    def is_read_at_end(self) -> Bools:
        """Which segments have a reading shortly before their end."""
        near = self.segments.end[self.reading_segment] - self.reading_day <= LAST_READING_DAYS
        return np.bincount(self.reading_segment[near], minlength=len(self.segments)) > 0

    def with_repeated_shapes(self, times: int) -> "StageInput":
        """The same stage with every curve shape repeated, for a further dimension of what is unknown."""
        return replace(self, model=self.model.repeated(times))


def reading_log_likelihood(
    stage: StageInput,
    conditions: Conditions,
    reading: Indexes,
    segment: Indexes,
    lead: Floats,
    both: Floats,
    grid: Floats,
) -> Floats:
    """Log-likelihood of readings given the states (`StageModel.state`) at the start of their segments.

    `grid` is (points,) or (rows, points); the answer (rows, shapes, points) in single precision.
    """
    unit = stage.columns.unit[stage.segments.column[segment]]
    load = conditions.at(stage.stage, unit, stage.reading_day[reading])
    load = np.maximum(load - conditions.at(stage.stage, unit, stage.segments.start[segment]), 0.0)
    scale = np.exp(-grid).astype(np.float32)
    scale = scale[None, None, :] if grid.ndim == 1 else scale[:, None, :]
    throughput = (load / stage.label[segment])[:, None, None].astype(np.float32) * scale
    return stage.model.log_likelihood(lead, both, throughput, stage.readings.take(reading))
