"""Which readings count, and how much each of them, by hand."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.evidence import gather, reading_weights, thin
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.pooling import GRID
from fleet.forecasting.wear.stage_inputs import resin_input
from tests.fleet.forecasting.fleets import NOW, columns, readings


def test_few_readings_are_all_kept():
    segment, day = np.repeat([0, 2], [30, 5]), np.arange(35.0)
    assert sorted(thin(segment, day)) == list(range(35))


def test_of_many_the_newest_half_is_kept_and_the_rest_is_spread():
    day = np.random.default_rng(3).permutation(200).astype(float)
    kept_days = np.sort(day[thin(np.zeros(200, dtype=np.int64), day)])
    assert len(kept_days) <= 30
    assert kept_days[-15:].tolist() == list(range(185, 200))
    older = kept_days[:-15]
    # 185 older ones, every thirteenth of them
    assert np.unique(np.diff(older)).tolist() == [13.0]
    assert (older[-1], len(older)) == (184.0, 15)


def test_each_segment_keeps_its_own():
    segment, day = np.repeat([0, 1], [100, 3]), np.arange(103.0)
    kept_days = thin(segment, day, most=10)
    assert (segment[kept_days] == 1).sum() == 3
    assert (segment[kept_days] == 0).sum() <= 10


def test_readings_of_one_window_share_part_of_their_error():
    """The second reading of twenty days adds little: 1/(1 + 0.35) of one for each of the two."""
    day = np.array([5.0, 12.0, 25.0, 5.0])
    weights = reading_weights(np.array([0, 0, 0, 1]), day, np.zeros(4), np.zeros(4), 2)
    assert weights == pytest.approx([1 / 1.35, 1 / 1.35, 1.0, 1.0])


def test_beyond_ten_readings_weight_grows_as_a_root():
    day = 20.0 * np.arange(40.0)
    weights = reading_weights(np.zeros(40, dtype=np.int64), day, np.zeros(40), np.zeros(40), 1)
    assert weights == pytest.approx(np.full(40, 0.5))
    assert weights.sum() == pytest.approx(np.sqrt(10.0 * 40.0))
    assert reading_weights(np.zeros(10, dtype=np.int64), day[:10], np.zeros(10), np.zeros(10), 1) == pytest.approx(
        np.ones(10)
    )


def test_what_a_meter_is_off_by_is_not_averaged_away():
    """Error shared by all twice that of each alone (squares): ten readings say as much as 3 x 10 / 21 of one, and ever
    so many no more than 1.5."""
    day = 60.0 * np.arange(10.0)
    weights = reading_weights(np.zeros(10, dtype=np.int64), day, np.full(10, 2.0), np.zeros(10), 1)
    assert weights.sum() == pytest.approx(30.0 / 21.0)
    assert reading_weights(np.zeros(1, dtype=np.int64), day[:1], np.full(1, 2.0), np.zeros(1), 1) == pytest.approx(
        [1.0]
    )
    # what was read at another level does not share it: nine at one level say 27/19, the tenth is one of its own
    level = np.append(np.zeros(9), 3.0)
    weights = reading_weights(np.zeros(10, dtype=np.int64), day, np.full(10, 2.0), level, 1)
    assert weights.sum() == pytest.approx(27.0 / 19.0 + 1.0)


def test_half_of_ten_are_the_newest_and_of_what_is_older_every_so_many():
    """Of 12 readings the newest five, and of the seven before them every second from the newest on."""
    day = np.arange(12.0)
    assert sorted(day[thin(np.zeros(12, dtype=np.int64), day, most=10)]) == [0, 2, 4, 6, 7, 8, 9, 10, 11]
    assert sorted(day[thin(np.zeros(10, dtype=np.int64), day[:10], most=10)]) == list(range(10))
    assert len(thin(np.zeros(0, dtype=np.int64), np.zeros(0))) == 0


def test_a_reading_that_counts_less_than_one_shares_no_more_than_one_does():
    """Two of one window at two levels: each 1/1.35 alone, and nothing is added to that by its meter."""
    day = np.array([5.0, 12.0])
    weights = reading_weights(np.zeros(2, dtype=np.int64), day, np.full(2, 3.0), np.array([0.0, 4.0]), 1)
    assert weights == pytest.approx([1 / 1.35, 1 / 1.35])
    together = reading_weights(np.zeros(2, dtype=np.int64), day, np.full(2, 3.0), np.zeros(2), 1)
    assert together == pytest.approx(np.full(2, 4.0 / 1.35 / (1.0 + 3.0 * 2.0 / 1.35)))


def evidence_of(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    conditions = build_conditions(fleet, fleet.readings)
    stage = resin_input(fleet, fleet.readings, conditions, limits_of_fleet(fleet))
    return gather(stage, conditions, find_visits(fleet), stage.model.prior.start()), stage, conditions


@pytest.mark.parametrize(("days_before", "visits"), [(1.5, 0), (2.5, 1), (3.5, 1), (150.0, 1)])
def test_the_visit_of_the_last_two_days_is_the_removal_itself(days_before, visits):
    """A resin of so little capacity that it was exhausted at once stood for 200 days; who came in them passed it by."""
    fleet_columns = columns(placed=NOW - 200.0, weekly_demand_l=70.0)
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/resin/single")
    table["removed_day"][row], table["reason"][row] = NOW - 10.0, "exhausted"
    fleet_columns["readings"] = readings([NOW - 10.0 - days_before], source="installer", permeate_tds_mg_per_l=20.0)
    shown, _, _ = evidence_of(fleet_columns)
    assert shown.lead_visits[0, :, 0].tolist() == [visits] * 4
    # the largest capacity is not exhausted by then: nobody passed it by
    assert (shown.lead_delay[0, :, -1] < 0.0).all()
    assert (shown.lead_visits[0, :, -1] == 0).all()


@pytest.mark.parametrize("stood", [0.9, 60.0])
def test_the_delay_of_a_removal_is_how_long_what_passed_too_much_took_to_pass(stood):
    """At a steady load: exhausted after the share until / load of its time, whatever its time was."""
    fleet_columns = columns(placed=NOW - 300.0, weekly_demand_l=700.0)
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/resin/single")
    table["removed_day"][row], table["reason"][row] = NOW - 300.0 + stood, "damaged"
    shown, stage, conditions = evidence_of(fleet_columns)
    ends = np.array([NOW - 300.0, NOW - 300.0 + stood])
    load = np.diff(conditions.at(words.RESIN, np.zeros(2, dtype=np.int64), ends))[0]
    until = stage.model.until_exhausted(np.ones((1, 4, len(GRID))), stage.limit[:1])[0] * np.exp(GRID) * stage.label[0]
    delay = stood * (load - until) / load
    near = np.abs(delay) < 3000.0
    assert near.sum() > 20
    assert shown.lead_delay[0][near] == pytest.approx(delay[near], rel=2e-3, abs=0.2)


def test_more_visits_than_can_be_told_apart_are_as_many_as_can():
    fleet_columns = columns(placed=NOW - 600.0, weekly_demand_l=70.0)
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/resin/single")
    table["removed_day"][row], table["reason"][row] = NOW - 10.0, "exhausted"
    fleet_columns["readings"] = readings(NOW - np.arange(20.0, 590.0, 2.0), source="installer", temperature_degc=15.0)
    shown, _, _ = evidence_of(fleet_columns)
    assert (shown.lead_visits[0, :, 0] == 127).all()
    assert (shown.lead_visits >= 0).all()
