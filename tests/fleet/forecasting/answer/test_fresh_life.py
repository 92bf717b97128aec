"""How long a fresh cartridge would last at each position, whatever stands there now."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words
from tests.fleet.forecasting.fleets import NOW, columns, row_of


def answer(**changes):
    fleet, faults = build_fleet(**columns(kind="pair", weekly_demand_l=70.0, **changes))
    assert faults == []
    return fleet, forecast(fleet)


def test_the_levels_rise_and_stand_for_every_cartridge():
    fleet, forecasts = answer(placed=NOW - 60.0)
    lives = forecasts.fresh_life_days
    assert lives.shape == (len(fleet.positions), 3)
    assert (np.diff(lives, axis=1) >= 0).all()
    assert (lives > 0).all()


def test_it_is_that_of_today_and_not_of_what_stands():
    """The age of what stands takes nothing from it; a cartridge placed today is the fresh one."""
    (fleet, old), (_, new) = answer(placed=NOW - 200.0), answer(placed=NOW)
    for stage in ("sediment", "membrane"):
        row = row_of(fleet, stage)
        assert old.fresh_life_days[row] == pytest.approx(new.fresh_life_days[row], rel=0.1)
        ahead = new.quantile_day[row][[1, 3, 5]] - NOW
        assert new.fresh_life_days[row] == pytest.approx(ahead, rel=0.1)


def test_no_carbon_outlives_its_maximum_service_time():
    fleet, forecasts = answer(placed=NOW - 300.0)
    carbon = fleet.positions.stage == words.CARBON
    assert forecasts.fresh_life_days[carbon].max() <= 365.0


def test_the_last_of_two_lasts_longer_than_the_first():
    fleet, forecasts = answer(placed=NOW - 60.0)
    first, last = (forecasts.fresh_life_days[row_of(fleet, "resin", role)] for role in ("lead", "lag"))
    assert (last > first).all()
