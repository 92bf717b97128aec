"""Two invented fleets in which nearly everything occurs, and what the forecast makes of them.

    python -m tests.fleet.forecasting.wear.recorded     # writes recorded.json anew, after a change that is meant

One is recorded well; the other holds dates and values and little else. Both come from the simulator, which shares no
code with what is tested, and are made odder here: other counters, an open tank, items and demands that nobody knows.
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from fleet.forecasting import Fleet, build_fleet, forecast
from fleet.forecasting.answer.results import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from tests.simulator.fleet import simulate
from tests.simulator.worlds import WORLDS

FILE = Path(__file__).with_suffix(".json")
COUNTERS = ("feed", "permeate", "product", "concentrate", "")


def recorded_fleet(name: str) -> Fleet:
    """The fleet of one of the two names."""
    kept_well = name == "recorded well"
    world = replace(
        WORLDS["usual" if kept_well else "bare"],
        units=26 if kept_well else 14,
        years=2.2,
        units_per_supply=5,
        totaliser_share=0.6 if kept_well else 0.2,
        chloraminated_share=0.4,
    )
    columns = simulate(world, 71, cut_years=()).columns
    if kept_well:
        _make_odd(columns)
    fleet, faults = build_fleet(as_of_day=world.start_day + world.years * 365.25, **columns)
    assert faults == []
    return fleet


def _make_odd(columns: dict[str, dict[str, list[Any]]]) -> None:
    units, readings, placements = columns["units"], columns["readings"], columns["placements"]
    counter = {unit: COUNTERS[k % 5] for k, unit in enumerate(units["unit_id"])}
    units["totaliser"] = [
        counter[unit] if had else "" for unit, had in zip(units["unit_id"], units["totaliser"], strict=True)
    ]
    units["weekly_demand_l"] = [None if k % 9 == 4 else demand_l for k, demand_l in enumerate(units["weekly_demand_l"])]
    # demand that nobody draws any more
    units["weekly_demand_l"][6] = 0.0
    units["product_tds_target_mg_per_l"] = [(None, 0.4, 3.0)[k % 3] for k in range(len(units["unit_id"]))]
    columns["sites"]["supply"] = ["" if k % 10 == 7 else name for k, name in enumerate(columns["sites"]["supply"])]
    placements["item_id"] = [None if k % 13 == 5 else item for k, item in enumerate(placements["item_id"])]
    with_tank = [unit in set(units["unit_id"][::4]) for unit in readings["unit_id"]]
    readings["tank_pressure_kpa"] = [120.0 + k % 40 if there else None for k, there in enumerate(with_tank)]
    readings["tank_valve"] = [("open", "closed", "")[k % 3] if there else "" for k, there in enumerate(with_tank)]


def figures(fleet: Fleet) -> dict[str, list[list[float]]]:
    """What the forecast makes of a fleet, in rows of figures.

    Days ahead of the positions' quantiles, levels and loads of the units, and what the fleet taught.
    """
    answer = forecast(fleet)
    shown = [int(np.argmin(np.abs(GRID_LEVELS - level))) for level in (0.05, 0.25, 0.5, 0.75, 0.95)]
    days = answer.grid_day[:, shown] - fleet.as_of_day
    conditions = build_conditions(fleet, screen(fleet).readings)
    line = conditions.timeline
    unit = np.arange(len(fleet.units))
    now = np.full(len(unit), fleet.as_of_day)
    steps = line.step_of(fleet.as_of_day + np.array([-500.0, -100.0, 0.0, 150.0]))
    levels = np.concatenate(
        [
            np.concatenate([values[:, steps], values.mean(axis=1, keepdims=True)], axis=1)
            for values in (
                conditions.temperature_degc, conditions.feed_tds_mg_per_l, conditions.permeate_tds_mg_per_l,
                conditions.chlorine_mg_per_l, conditions.recovery, conditions.product_l_per_day,
                conditions.co2_mg_per_l,
            )
        ],
        axis=1,
    )  # fmt: skip
    loads = np.stack(
        [conditions.at(stage, unit, now + off) for stage in range(words.RESIN + 1) for off in (-400.0, 0.0, 1200.0)],
        axis=1,
    )
    taught = answer.learned.to_dict()
    hypers = [
        [
            hyper["mean"], hyper["place_spread"], hyper["cartridge_spread"], *hyper["slopes"], hyper["lateness_days"],
            hyper["notice"], hyper["mean_spread"], hyper["places"], *hyper["shape_weights"],
            *(common["spread"] for common in hyper["common"].values()),
        ]
        for _, hyper in sorted(taught["hypers"].items())
    ]  # fmt: skip
    return {
        "days ahead": days.tolist(),
        "remaining share": answer.remaining_share[:, None].tolist(),
        "daily load": answer.daily_load[:, None].tolist(),
        "readings and past lives": np.stack([answer.readings_used, answer.past_lives], axis=1).astype(float).tolist(),
        "levels": levels.tolist(),
        "loads": loads.tolist(),
        "hypers": hypers,
        "means": [[value] for _, value in sorted(taught["means"].items())],
    }


NAMES = ("recorded well", "recorded badly")


def _rounded(rows: list[list[float]]) -> list[list[float | None]]:
    return [[float(f"{value:.6g}") if np.isfinite(value) else None for value in row] for row in rows]


if __name__ == "__main__":
    recorded = {name: {key: _rounded(rows) for key, rows in figures(recorded_fleet(name)).items()} for name in NAMES}
    FILE.write_text(json.dumps(recorded, indent=0).replace(",\n", ", ").replace("[\n", "[").replace("\n]", "]") + "\n")
