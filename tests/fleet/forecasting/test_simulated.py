"""Forecasts of simulated fleets, whose truth is known, against baselines and against their own claims.

The simulator shares no code with what is tested. Fleets are small here to be quick;
`tests/benchmarks/study_forecasts.py` prints the same table for larger ones and other worlds.
"""

from dataclasses import replace

import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting import vocabulary as words
from fleet.forecasting.judge import judge, quality_text
from fleet.forecasting.replay import METHODS, monthly_cuts, outcomes, replay
from tests.simulator.fleet import simulate
from tests.simulator.study import study
from tests.simulator.worlds import WORLDS


@pytest.fixture(scope="module")
def usual():
    return study(replace(WORLDS["usual"], units=140), seeds=(61, 62), cut_years=(1.6, 3.2))


def test_pinball_loss_is_about_half_that_of_the_baselines(usual):
    own = usual.score("learned").pinball
    assert own <= 0.52 * usual.score("label over load").pinball
    assert own <= 0.52 * usual.score("fixed interval").pinball
    assert own <= 0.52 * usual.score("straight line").pinball


def test_no_stage_is_worse_than_a_baseline(usual):
    for name, mask in usual.groups():
        own = usual.score("learned", mask).pinball
        for method in METHODS[1:]:
            assert own < usual.score(method, mask).pinball, (name, method)


def test_intervals_cover_what_they_claim(usual):
    got = usual.score("learned")
    assert 0.75 <= got.coverage_80 <= 0.87
    assert 0.45 <= got.coverage_50 <= 0.62
    assert 0.84 <= got.coverage_90 <= 0.95


def test_the_driver_is_named_rightly(usual):
    assert usual.driver_right() >= 0.90


def test_a_world_with_other_physics_and_habits_is_forecast_as_well():
    hard = study(replace(WORLDS["hard"], units=120), seeds=(63,), cut_years=(2.5,))
    assert hard.score("learned").pinball <= 0.55 * hard.score("label over load").pinball
    assert 0.70 <= hard.score("learned").coverage_80 <= 0.90


@pytest.fixture(scope="module")
def recorded():
    world = replace(WORLDS["usual"], units=60, years=2.5)
    simulated = simulate(world, 64, cut_years=())
    fleet, _ = build_fleet(as_of_day=world.start_day + world.years * 365.25, **simulated.columns)
    return fleet, simulated


def test_outcomes_enclose_the_true_day_of_exhaustion(recorded):
    fleet, simulated = recorded
    happened = outcomes(fleet)
    inside = seen = 0
    for life in simulated.lives:
        row = life["placement"]
        if life["reason"] != "exhausted" or not happened.is_observed[row] or happened.by_cap[row]:
            continue
        true = fleet.placements.placed_day[row] + life["exhausted_after"]
        seen += 1
        inside += happened.low[row] - 3.0 <= true <= happened.high[row] + 3.0
    assert seen > 50
    assert inside / seen > 0.80


def test_replay_scores_every_method_on_the_same_rows(recorded):
    fleet, _ = recorded
    cuts = monthly_cuts(fleet)
    assert len(cuts) > 12
    replayed = replay(fleet, cuts[3::6])
    assert len(replayed) > 100
    rows = judge(replayed)
    whole = {row.method: row for row in rows if row.group == "all"}
    assert set(whole) == set(METHODS)
    assert len({(row.observed, row.censored) for row in whole.values()}) == 1
    assert whole["learned"].pinball < 0.7 * whole["label over load"].pinball
    assert whole["learned"].pinball < 0.7 * whole["fixed interval"].pinball
    assert "resin" in quality_text(rows)


def test_a_cut_knows_nothing_of_what_came_later(recorded):
    fleet, _ = recorded
    cut = fleet.as_of_day - 300.0
    known = fleet.known_at(cut)
    assert known.readings.day.max() <= cut
    assert known.placements.placed_day.max() <= cut
    assert not (known.placements.removed_day > cut).any()
    removed_later = (fleet.placements.removed_day > cut) & (fleet.placements.placed_day <= cut)
    assert removed_later.any()
    assert (known.placements.reason == words.NOT_REMOVED).sum() >= removed_later.sum()
