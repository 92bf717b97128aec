"""What a reading says of a capacity: likeliest at the one that was true."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear import beds
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.pooling import GRID
from fleet.forecasting.wear.stage_inputs import resin_input
from fleet.forecasting.wear.stages import reading_log_likelihood
from tests.fleet.forecasting.fleets import NOW, columns, readings


def seen_at(share_of_permeate):
    fleet_columns = columns(placed=NOW - 200.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        [NOW - 1.0], permeate_tds_mg_per_l=20.0, product_tds_mg_per_l=20.0 * share_of_permeate
    )
    fleet, _ = build_fleet(**fleet_columns)
    screened = screen(fleet).readings
    conditions = build_conditions(fleet, screened)
    stage = resin_input(fleet, screened, conditions, limits_of_fleet(fleet))
    start = stage.model.state(np.ones((1, stage.model.shapes, len(GRID))))
    one = np.array([0])
    likelihood = reading_log_likelihood(stage, conditions, one, one, start, start, GRID)
    unit = np.array([0])
    load = conditions.at(words.RESIN, unit, np.array([NOW - 1.0])) - conditions.at(
        words.RESIN, unit, np.array([NOW - 200.0])
    )
    return stage, float(load[0]), likelihood


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_reading_is_likeliest_at_the_capacity_whose_curve_passes_it(share):
    stage, load, likelihood = seen_at(share)
    assert likelihood.shape == (1, stage.model.shapes, len(GRID))
    for number, n in enumerate(stage.model.transfer_units):
        transfer_units = np.array(n)
        passed = beds.throughput_until(
            np.array(1.0), beds.remaining_at_fraction(np.array(share), transfer_units), transfer_units
        )
        # load = throughput x label x exp(g)
        true = np.log(load / (float(passed) * stage.label[0]))
        assert GRID[np.argmax(likelihood[0, number])] == pytest.approx(true, abs=0.09)


def test_nothing_passing_speaks_for_any_large_capacity_and_against_a_small_one():
    stage, load, likelihood = seen_at(0.0)
    used = load / stage.label[0]
    large, small = np.argmin(np.abs(GRID - np.log(4 * used))), np.argmin(np.abs(GRID - np.log(0.7 * used)))
    assert (likelihood[0, :, large] - likelihood[0, :, small] > 2.0).all()
    assert likelihood[0, :, large] == pytest.approx(likelihood[0, :, -1], abs=0.2)


def test_repeated_shapes_say_the_same_again():
    stage, _, _ = seen_at(0.5)
    twice = stage.with_repeated_shapes(2)
    assert twice.model.shapes == 2 * stage.model.shapes
    assert twice.model.transfer_units.tolist() == [*stage.model.transfer_units, *stage.model.transfer_units]
