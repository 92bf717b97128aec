"""Uncertainty of the indicators against drawing the meters' errors at random and taking the indicators again."""

import math

import numpy as np
import pytest

from fleet.engineering import indicators as room
from fleet.engineering.indicators.uncertainty import METERS, Meter, indicator_uncertainties
from tests.fleet.engineering.indicators.test_indicators import UNIT, WHOLE

DRAWS = 40_000


def drawn(reading: dict[str, object], meters: dict[str, Meter]) -> dict[str, np.ndarray]:
    """The reading, many times over, each quantity off by an accuracy error and a rounding error, both rectangular."""
    rng = np.random.default_rng(11)
    columns: dict[str, np.ndarray] = {}
    for name, value in reading.items():
        column = np.full(DRAWS, value)
        if name in meters and isinstance(value, float) and math.isfinite(value):
            accuracy = meters[name].accuracy_fraction * value
            column = (
                value
                + rng.uniform(-accuracy, accuracy, DRAWS)
                + rng.uniform(-0.5, 0.5, DRAWS) * meters[name].resolution
            )
        columns[name] = column
    return columns


def test_against_random_draws() -> None:
    fine = {name: Meter(0.5 * meter.accuracy_fraction, 0.25 * meter.resolution) for name, meter in METERS.items()}
    reading = {name: value for name, value in WHOLE.items() if name != "product_tds_mg_per_l"}
    uncertainties = indicator_uncertainties({name: [value] for name, value in reading.items()}, UNIT, fine)
    many = room.indicators(drawn(reading, fine), UNIT)
    for name in room.INDICATORS:
        if name == "product_fraction":
            continue
        values = many.values[name]
        assert np.isnan(values).mean() < 0.01, name
        assert uncertainties[name][0] == pytest.approx(np.nanstd(values), rel=0.05), name


def test_a_worse_meter_never_makes_an_indicator_better_known() -> None:
    columns = {name: [value] for name, value in WHOLE.items()}
    usual = indicator_uncertainties(columns, UNIT)
    for quantity, meter in METERS.items():
        worse = {**METERS, quantity: Meter(2 * meter.accuracy_fraction + 0.01, 2 * meter.resolution)}
        other = indicator_uncertainties(columns, UNIT, worse)
        for name in room.INDICATORS:
            assert other[name][0] >= usual[name][0] * (1 - 1e-9), (quantity, name)


def test_no_indicator_no_uncertainty_and_the_reverse() -> None:
    columns = {name: [value, math.nan] if isinstance(value, float) else [value, value] for name, value in WHOLE.items()}
    computed = room.indicators(columns, UNIT)
    uncertainties = indicator_uncertainties(columns, UNIT)
    for name in room.INDICATORS:
        assert np.array_equal(np.isnan(uncertainties[name]), np.isnan(computed.values[name])), name


def test_a_reading_at_the_edge_of_the_possible_still_has_one() -> None:
    """A product of 0 can only be off upwards; an inlet that hardly drives anything must not lose its uncertainty."""
    uncertainties = indicator_uncertainties({"permeate_tds_mg_per_l": [9.0], "product_tds_mg_per_l": [0.0]})
    assert uncertainties["product_fraction"][0] > 0.02
