"""Building the tables: bad rows are named and left out, good rows stay."""

import numpy as np

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words


def small_fleet(**changes):
    columns = {
        "as_of_day": 20_000.0,
        "units": {"unit_id": ["u1", "u2"], "site_id": ["s1", "s2"], "weekly_demand_l": [140.0, 0.0]},
        "positions": {
            "position_id": ["u1-sed", "u1-res", "u2-res"],
            "unit_id": ["u1", "u1", "u2"],
            "order": [1, 4, 4],
            "stage": ["sediment", "resin", "resin"],
            "role": ["single", "single", "single"],
        },
        "items": {"item_id": ["sed", "res"], "stage": ["sediment", "resin"], "resin_volume_l": [None, 0.6]},
        "placements": {
            "position_id": ["u1-sed", "u1-res", "u1-res", "u2-res"],
            "item_id": ["sed", "res", "res", "res"],
            "placed_day": [19_900.0, 19_700.0, 19_900.0, 19_950.0],
            "removed_day": [None, 19_900.0, None, None],
            "reason": [None, "exhausted", None, None],
        },
        "readings": {"unit_id": ["u1"], "day": [19_990.0], "permeate_tds_mg_per_l": [9.0]},
    }
    columns.update(changes)
    return build_fleet(**columns)


def test_a_clean_fleet_has_no_faults():
    fleet, faults = small_fleet()
    assert faults == []
    assert (len(fleet.units), len(fleet.positions), len(fleet.placements), len(fleet.readings)) == (2, 3, 4, 1)
    assert fleet.placements.reason.tolist() == [0, words.EXHAUSTED, 0, 0]


def test_an_unknown_unit_drops_the_reading_only():
    fleet, faults = small_fleet(
        readings={"unit_id": ["u1", "u9"], "day": [19_990.0, 19_991.0], "permeate_tds_mg_per_l": [9.0, "wet"]}
    )
    assert len(fleet.readings) == 1
    assert {(f.table, f.row, f.field, f.code) for f in faults} == {
        ("readings", 1, "unit_id", "unknown"),
        ("readings", 1, "permeate_tds_mg_per_l", "not_a_number"),
    }


def test_a_value_out_of_range_is_missing_and_named():
    fleet, faults = small_fleet(
        units={"unit_id": ["u1", "u2"], "site_id": ["s1", "s2"], "weekly_demand_l": [-3.0, 70.0], "use": ["moat", ""]}
    )
    assert np.isnan(fleet.units.weekly_demand_l[0])
    assert [(f.row, f.field, f.code, f.row_dropped) for f in faults] == [
        (0, "use", "unknown_word", False),
        (0, "weekly_demand_l", "out_of_range", False),
    ]


def test_removed_before_placed_is_left_out():
    fleet, faults = small_fleet(
        placements={"position_id": ["u1-res"], "item_id": ["res"], "placed_day": [19_900.0], "removed_day": [19_800.0]}
    )
    assert len(fleet.placements) == 0
    assert [f.code for f in faults] == ["contradiction"]


def test_an_item_of_another_stage_is_left_out():
    fleet, faults = small_fleet(placements={"position_id": ["u1-res"], "item_id": ["sed"], "placed_day": [19_900.0]})
    assert len(fleet.placements) == 0
    assert [(f.field, f.code) for f in faults] == [("item_id", "contradiction")]


def test_known_at_undoes_what_came_later():
    fleet, _ = small_fleet()
    before = fleet.known_at(19_800.0)
    assert len(before.placements) == 1
    assert np.isnan(before.placements.removed_day[0])
    assert before.placements.reason[0] == words.NOT_REMOVED
    assert len(before.readings) == 0


def test_no_consumption_gives_no_date_and_never_infinity():
    fleet, _ = small_fleet()
    answer = forecast(fleet)
    assert answer.state[2] == words.NO_CONSUMPTION
    assert np.isnan(answer.grid_day[2]).all()
    assert answer.no_date_reason[2]
    assert np.isfinite(answer.grid_day[:2]).all()


def test_an_empty_fleet_is_answered_with_no_rows():
    fleet, faults = build_fleet(as_of_day=20_000.0, units={}, positions={}, placements={})
    assert faults == []
    assert len(forecast(fleet)) == 0


def test_a_rotated_cartridge_keeps_its_age_where_only_the_dates_tell_of_it():
    fleet, _ = small_fleet(
        positions={
            "position_id": ["lead", "lag", "other-lead", "other-lag"],
            "unit_id": ["u1", "u1", "u2", "u2"],
            "order": [1, 2, 1, 2],
            "stage": ["carbon"] * 4,
            "role": ["lead", "lag"] * 2,
        },
        items={"item_id": ["block"], "stage": ["carbon"]},
        placements={
            "placement_id": ["a", "b", "b moved", "c", "d", "e"],
            "position_id": ["lead", "lag", "lead", "lag", "other-lead", "other-lag"],
            "item_id": ["block"] * 6,
            "placed_day": [19_600.0, 19_600.0, 19_800.2, 19_800.2, 19_800.2, 19_800.2],
            "removed_day": [19_800.0, 19_800.0, None, None, None, None],
            "reason": ["exhausted", "rotated", None, None, None, None],
        },
    )
    row = {name: number for number, name in enumerate(fleet.placements.placement_id)}
    source = fleet.placements.continued_from
    assert source[row["b moved"]] == row["b"]
    assert all(source[row[name]] == -1 for name in ("a", "b", "c", "d", "e"))
    assert fleet.placements.first_installed_day[row["b moved"]] == 19_600.0
    assert all(fleet.placements.first_installed_day[row[name]] == 19_800.2 for name in ("c", "d", "e"))
    answer = forecast(fleet)
    # Past its 365 days: exhausted now, while the lag beside it has its time before it.
    assert answer.grid_day[0].max() == fleet.as_of_day
    assert answer.grid_day[1].max() > fleet.as_of_day + 100.0
