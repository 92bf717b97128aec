"""The order of the rows, and rows given twice, say nothing: the forecasts are the same."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.inputs import vocabulary as words
from tests.simulator.fleet import simulate
from tests.simulator.worlds import WORLDS


@pytest.fixture(scope="module")
def books() -> dict[str, Any]:
    """A small fleet as its office keeps it: days without an hour, so that what was found and what was left coincide."""
    world = replace(WORLDS["calendar"], units=25, years=2.0)
    columns = simulate(world, 7, (1.9,)).columns
    columns["readings"]["day"] = np.floor(columns["readings"]["day"])
    for name in ("placed_day", "removed_day"):
        columns["placements"][name] = [
            None if day is None or np.isnan(day) else float(np.floor(day)) for day in columns["placements"][name]
        ]
    return {"as_of_day": world.start_day + 1.9 * 365.25, **columns}


def mixed(books: dict[str, Any], table: str, rows: np.ndarray) -> dict[str, Any]:
    """The same books with other rows in one table."""
    return {**books, table: {name: np.asarray(values, dtype=object)[rows].tolist() if table == "placements"
                             else np.asarray(values)[rows] for name, values in books[table].items()}}  # fmt: skip


def medians(books: dict[str, Any]) -> dict[Any, float]:
    fleet, _ = build_fleet(**books)
    answer = forecast(fleet)
    return dict(zip(fleet.positions.position_id, answer.grid_day[:, answer.grid_day.shape[1] // 2], strict=True))


def same(one: dict[Any, float], other: dict[Any, float]) -> bool:
    return one.keys() == other.keys() and all(
        np.isclose(day, other[key], atol=0.01, equal_nan=True) for key, day in one.items()
    )


@pytest.mark.parametrize("table", ["readings", "placements"])
def test_shuffled_rows_give_the_same_dates(books: dict[str, Any], table: str) -> None:
    count = len(next(iter(books[table].values())))
    shuffled = mixed(books, table, np.random.default_rng(3).permutation(count))
    assert same(medians(books), medians(shuffled))


def test_rows_given_twice_give_the_same_dates_and_are_reported(books: dict[str, Any]) -> None:
    count = len(books["readings"]["day"])
    twice = mixed(books, "readings", np.concatenate([np.arange(count), np.arange(0, count, 20)]))
    assert same(medians(books), medians(twice))
    fleet, _ = build_fleet(**twice)
    repeated = forecast(fleet).exclusions.reason == words.REPEATED
    assert repeated.sum() == (books["readings"]["day"][::20] <= books["as_of_day"]).sum()


def test_placements_given_twice_are_reported_and_change_nothing(books: dict[str, Any]) -> None:
    count = len(books["placements"]["placed_day"])
    twice = mixed(books, "placements", np.concatenate([np.arange(count), np.arange(0, count, 20)]))
    del twice["placements"]["placement_id"], twice["placements"]["continued_from"]
    once = {
        **books,
        "placements": {k: v for k, v in books["placements"].items() if k not in ("placement_id", "continued_from")},
    }
    assert same(medians(once), medians(twice))
    _, faults = build_fleet(**twice)
    assert sum(fault.code == "duplicate" and fault.row >= count for fault in faults) == len(range(0, count, 20))
