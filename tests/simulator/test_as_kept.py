"""The world of books as they are kept: what people see, do and write there is what the forecasts are held against."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from tests.simulator.as_kept import ServiceAsKept
from tests.simulator.fleet import Simulated, simulate
from tests.simulator.plant import SED, build_plant, run_day
from tests.simulator.water import make_paths
from tests.simulator.worlds import WORLDS

WORLD = replace(WORLDS["as_kept"], units=60, years=3.0)


@pytest.fixture(scope="module")
def kept() -> Simulated:
    return simulate(WORLD, 11, cut_years=(2.5,))


def removals(kept: Simulated) -> list[dict]:
    return [life for life in kept.lives if life["reason"] != "rotated"]


def test_every_row_of_the_books_is_read(kept: Simulated) -> None:
    _, faults = build_fleet(as_of_day=WORLD.start_day + WORLD.years * 365.25, **kept.columns)
    assert faults == []


def test_most_reasons_are_routine_or_blank_and_about_half_of_those_were_exhausted(kept: Simulated) -> None:
    lives = removals(kept)
    untold = [life for life in lives if life["reason"] in (None, "routine")]
    assert len(untold) >= 0.6 * len(lives)
    assert 0.35 <= np.mean([not np.isnan(life["exhausted_after"]) for life in untold]) <= 0.75


def test_some_words_are_wrong(kept: Simulated) -> None:
    is_guessed = [np.isnan(life["exhausted_after"]) for life in removals(kept) if life["reason"] == "exhausted"]
    assert 0.05 <= np.mean(is_guessed) <= 0.5


def test_who_visits_sees_gauges_and_meters_and_nothing_of_the_state() -> None:
    rng = np.random.default_rng(3)
    world = replace(WORLD, units=8, miss_share=0.0, gauge_share=1.0)
    paths = make_paths(world, rng, 400)
    service = ServiceAsKept(world, build_plant(world, paths, rng), paths, rng, 300)
    for day in range(250):
        service.after_day(day, run_day(world, service.plant, paths, service.state, day))
    unit = int(np.flatnonzero(~service.plant.has[:, 1])[0])
    blocked = {"line_pressure_kpa": 400.0, "prefilter_outlet_pressure_kpa": 200.0}
    clean = {"line_pressure_kpa": 400.0, "prefilter_outlet_pressure_kpa": 385.0}
    for exhausted_day in (np.nan, 100.0):
        service.state.exhausted[:, SED] = exhausted_day
        assert service._shown(unit, 0, blocked, 250) == [True]
        assert service._shown(unit, 0, clean, 250) == [False]
        assert service._shown(unit, 0, {}, 250) == [False]


def test_dates_come_late_and_in_order(kept: Simulated) -> None:
    placements = kept.columns["placements"]
    written = {
        placement: (placed, removed)
        for placement, placed, removed in zip(
            placements["placement_id"], placements["placed_day"], placements["removed_day"], strict=True
        )
    }
    true_days = [life["days"] for life in kept.lives]
    days = [written[life["placement"]][1] - written[life["placement"]][0] for life in kept.lives]
    off = np.abs(np.array(days) - np.array(true_days))
    assert min(days) > 0
    assert 0.2 <= np.mean(off > 0.5) <= 0.7
    assert np.max(off) <= 40.0


def test_quantities_and_visits_are_missing_and_counters_are_replaced(kept: Simulated) -> None:
    readings = kept.columns["readings"]
    units, totals = np.array(readings["unit_id"]), np.array(readings["totaliser_l"])
    days, backwards = np.array(readings["day"]), 0
    for unit in np.unique(units):
        rows = np.flatnonzero((units == unit) & ~np.isnan(totals))
        rows = rows[np.argsort(days[rows])]
        backwards += bool((np.diff(totals[rows]) < -0.5 * totals[rows][:-1]).any())
    assert backwards >= 1
    at_visits = np.array(readings["occasion"]) == "as_found"
    pairs = ~np.isnan(readings["line_pressure_kpa"]) & ~np.isnan(readings["prefilter_outlet_pressure_kpa"])
    assert 0.05 <= np.mean(pairs[at_visits]) <= 0.5


def test_a_tank_holds_the_flow_back() -> None:
    rng = np.random.default_rng(4)
    world = replace(WORLD, units=40, tank_share=1.0)
    paths = make_paths(world, rng, 200)
    plant = build_plant(world, paths, rng)
    service = ServiceAsKept(world, plant, paths, rng, 20)
    service.state.placed[:] = 0.0
    with_tank = run_day(world, plant, paths, service.state.copy(), 1)
    without = run_day(world, replace(plant, back_kpa=np.zeros(40)), paths, service.state.copy(), 1)
    assert (with_tank.permeate_flow < 0.9 * without.permeate_flow).all()
    assert (with_tank.permeate_tds > without.permeate_tds).all()
