"""Forecasts of simulated fleets, whose truth is known, against baselines and against their own claims.

The simulator shares no code with what is tested. Fleets are small here to be quick;
`tests/benchmarks/study_forecasts.py` prints the same table for larger ones and other worlds.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.judging.judge import judge, quality_text
from fleet.forecasting.judging.replay import METHODS, monthly_cuts, outcomes, replay
from fleet.forecasting.judging.scoring import pinball_loss
from tests.simulator.fleet import simulate
from tests.simulator.study import study
from tests.simulator.worlds import WORLDS


@pytest.fixture(scope="module")
def usual():
    return study(replace(WORLDS["usual"], units=140), seeds=(61, 62), cut_years=(1.6, 3.2))


def test_pinball_loss_is_less_than_half_that_of_the_baselines(usual):
    own = usual.score("learned").pinball
    assert own <= 0.48 * usual.score("label over load").pinball
    assert own <= 0.52 * usual.score("fixed interval").pinball
    assert own <= 0.48 * usual.score("straight line").pinball
    error = usual.score("learned").median_error
    assert error <= 0.55 * usual.score("label over load").median_error


def test_no_stage_is_worse_than_a_baseline(usual):
    for name, mask in usual.groups():
        own = usual.score("learned", mask).pinball
        for method in METHODS[1:]:
            assert own < usual.score(method, mask).pinball, (name, method)


def test_intervals_cover_what_they_claim(usual):
    score = usual.score("learned")
    assert 0.75 <= score.coverage_80 <= 0.86
    assert 0.45 <= score.coverage_50 <= 0.62
    assert 0.84 <= score.coverage_90 <= 0.95


def test_the_driver_is_named_rightly(usual):
    assert usual.driver_right() >= 0.90


@pytest.mark.long
@pytest.mark.parametrize("world", ["hard", "bare", "restless"])
def test_a_world_with_other_physics_and_habits_is_forecast_as_well(world):
    score = study(replace(WORLDS[world], units=120), seeds=(63,), cut_years=(2.5,))
    assert score.score("learned").pinball <= 0.52 * score.score("label over load").pinball
    assert score.score("learned").pinball <= 0.56 * score.score("fixed interval").pinball
    assert 0.72 <= score.score("learned").coverage_80 <= 0.90
    assert score.driver_right() >= 0.90


@pytest.mark.long
def test_a_young_company_with_hardly_a_past_life_is_forecast_better_than_by_labels():
    score = study(WORLDS["young"], seeds=(63, 64, 65, 66))
    assert score.score("learned").pinball <= 0.75 * score.score("label over load").pinball
    assert 0.70 <= score.score("learned").coverage_80 <= 0.90


@pytest.mark.long
def test_more_readings_do_not_make_it_worse():
    """The same fleet with all its readings, a third, a tenth of them and none."""
    world = replace(WORLDS["rich"], units=120)
    simulated = simulate(world, 67, cut_years=(2.5,))
    (truth,) = simulated.truths
    whole_fleet, _ = build_fleet(as_of_day=world.start_day + world.years * 365.25, **simulated.columns)
    known_fleet = whole_fleet.known_at(truth.cut_day)
    unit, slot = np.nonzero((simulated.positions >= 0) & np.isfinite(truth.exhausted_day))
    rows = simulated.positions[unit, slot]
    chance = np.random.default_rng(1).random(len(known_fleet.readings))
    losses = []
    for share in (0.0, 0.1, 0.33, 1.0):
        thinned = replace(known_fleet, readings=known_fleet.readings.take(chance < share))
        days = forecast(thinned).quantile_day[rows]
        loss = pinball_loss(days, truth.exhausted_day[unit, slot]) / truth.nominal_life_days[unit, slot]
        losses.append(float(loss.mean()))
    # A fleet of this size tells such losses apart to about 5 %.
    assert all(after <= 1.05 * before for before, after in pairwise(losses)), losses
    assert losses[-1] < 0.9 * losses[0], losses


@pytest.fixture(scope="module")
def recorded():
    world = replace(WORLDS["usual"], units=60, years=2.5)
    simulated = simulate(world, 64, cut_years=())
    fleet, _ = build_fleet(as_of_day=world.start_day + world.years * 365.25, **simulated.columns)
    return fleet, simulated


def test_outcomes_enclose_the_true_day_of_exhaustion(recorded):
    fleet, simulated = recorded
    happened = outcomes(fleet)
    row_of_placement = {name: row for row, name in enumerate(fleet.placements.placement_id)}
    inside = observed = 0
    for life in simulated.lives:
        row = row_of_placement[life["placement"]]
        if life["reason"] != "exhausted" or not happened.is_observed[row] or happened.by_age[row]:
            continue
        true = fleet.placements.placed_day[row] + life["exhausted_after"]
        observed += 1
        inside += happened.low[row] - 3.0 <= true <= happened.high[row] + 3.0
    assert observed > 50
    assert inside / observed > 0.80


def test_replay_scores_every_method_on_the_same_rows(recorded):
    fleet, _ = recorded
    cuts = monthly_cuts(fleet)
    assert len(cuts) > 12
    replayed = replay(fleet, cuts[3::6])
    assert len(replayed) > 100
    rows = judge(replayed)
    score_of = {row.method: row for row in rows if row.group == "all"}
    assert set(score_of) == set(METHODS)
    assert len({(row.observed, row.censored) for row in score_of.values()}) == 1
    assert score_of["learned"].pinball < 0.7 * score_of["label over load"].pinball
    assert score_of["learned"].pinball < 0.7 * score_of["fixed interval"].pinball
    assert "resin" in quality_text(rows)


def test_a_cut_knows_nothing_of_what_came_later(recorded):
    fleet, _ = recorded
    cut = fleet.as_of_day - 300.0
    known_fleet = fleet.known_at(cut)
    assert known_fleet.readings.day.max() <= cut
    assert known_fleet.placements.placed_day.max() <= cut
    assert not (known_fleet.placements.removed_day > cut).any()
    removed_later = (fleet.placements.removed_day > cut) & (fleet.placements.placed_day <= cut)
    assert removed_later.any()
    assert (known_fleet.placements.reason == words.NOT_REMOVED).sum() >= removed_later.sum()
