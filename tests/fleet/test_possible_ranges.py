"""What can be true is one range for the door, the indicators and the forecast."""

import numpy as np
import pytest

from fleet.engineering.indicators.table import Table
from fleet.engineering.quantities import READING_QUANTITIES, Quantity
from fleet.engineering.units import outside_limits
from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from tests.fleet.forecasting.fleets import NOW, columns, readings

BY_NAME = pytest.mark.parametrize("quantity", READING_QUANTITIES, ids=lambda quantity: quantity.name)


def is_screened(name: str, value: float) -> bool:
    """Whether the forecast calls a lone value impossible."""
    fleet, faults = build_fleet(**columns(), readings=readings(np.array([NOW - 10.0]), **{name: [value]}))
    assert faults == []
    reasons = {words.EXCLUSION_REASONS[reason] for reason in screen(fleet).exclusions.reason}
    return "impossible_value" in reasons


@BY_NAME
def test_what_lies_beyond_is_refused_at_the_door_and_counts_nowhere(quantity: Quantity) -> None:
    span = quantity.kind.high - quantity.kind.low
    for value in (quantity.kind.low - 1e-6 * span, quantity.kind.high + 1e-6 * span):
        assert outside_limits(np.array([value]), quantity.kind).all()
        assert Table({quantity.name: [value]}).bad[quantity.name].all()
        if not (quantity.name == "temperature_degc" and value > 0.0):  # degrees of the other scale, by its own reason
            assert is_screened(quantity.name, value)


@BY_NAME
def test_what_the_door_lets_in_is_not_called_impossible_behind_it(quantity: Quantity) -> None:
    span = quantity.kind.high - quantity.kind.low
    for value in (quantity.kind.low + 1e-6 * span, quantity.kind.high - 1e-6 * span, quantity.kind.high * (1 + 1e-12)):
        assert not outside_limits(np.array([value]), quantity.kind).any()
        assert not is_screened(quantity.name, value)
        if not (quantity.name == "temperature_degc" and value < 1.0):  # where the temperature correction ends
            assert not Table({quantity.name: [value]}).bad[quantity.name].any()


@BY_NAME
def test_the_usual_range_lies_within_the_possible_one(quantity: Quantity) -> None:
    kind = quantity.kind
    assert kind.low <= kind.usual_low < kind.usual_high <= kind.high
    assert not outside_limits(np.array([kind.usual_low, kind.usual_high]), kind).any()


@BY_NAME
def test_zero_of_a_probe_in_air_is_stored_and_counts_nowhere(quantity: Quantity) -> None:
    if quantity.kind.low <= 0.0:
        assert not outside_limits(np.array([0.0]), quantity.kind).any()
        assert is_screened(quantity.name, 0.0) == quantity.zero_is_no_reading


def test_numbers_within_a_rounding_error_of_a_limit_are_brought_to_it() -> None:
    assert Table({"temperature_degc": [45.0 * (1 + 1e-12)]})["temperature_degc"][0] == 45.0
