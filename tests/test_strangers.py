"""The fleets of strangers come through the file door, and what the study counts of a forecast is what it says."""

import csv
import sys
from datetime import UTC, date, datetime
from importlib import import_module
from pathlib import Path

import pytest

from fleet.forecasting.files.reading import read_fleet
from tests.benchmarks.stranger_scores import COLUMNS, Row, score, table

CUT = date(2026, 3, 1)
TRUTH: Row = {
    "stage": "resin",
    "role": "lag",
    "nominal_life_days": "100",
    "exhausted_on": "2026-03-31",
    "exhausted_on_rest_served": "2026-03-21",
    "label_exhausted_on": "2026-03-11",
    "fixed_exhausted_on": "2026-02-01",
}
FORECAST: Row = dict(
    zip(COLUMNS, (f"2026-03-{day:02}" for day in (6, 11, 16, 21, 26, 29, 31)), strict=True), state="installed"
)


@pytest.mark.parametrize("fleet", ["harbour_town", "inland_valley", "mountain_lake", "two_rivers"])
def test_every_row_of_a_strangers_fleet_is_read(fleet: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    options = ["--units", "8", "--years", "1", "--seed", "3", "--out", str(tmp_path)]
    monkeypatch.setattr(sys, "argv", [fleet, *options])
    import_module(f"tests.strangers.{fleet}").main()
    read, faults = read_fleet(tmp_path, now=datetime(2026, 1, 1, tzinfo=UTC))
    assert [fault.message for fault in faults if fault.row_dropped] == []
    with (tmp_path / "truth" / "truth.csv").open(newline="", encoding="utf-8") as file:
        truth = list(csv.DictReader(file))
    assert len(read.units) == 8
    assert {row["unit"] for row in truth} <= set(read.units.unit_id)
    assert {"exhausted_on_rest_served", "label_exhausted_on", "fixed_exhausted_on"} <= set(truth[0])


def test_the_loss_is_that_of_the_train_kept_up_and_a_date_before_the_cut_counts_as_the_cut() -> None:
    counted = score(TRUTH, FORECAST, CUT, readings=4, when="served")
    # The truth is 20 days on; the label says 10, the fixed interval the cut itself. A single date's mean loss over
    # quantiles whose mean is a half is half its miss.
    assert counted.losses[1:] == pytest.approx((0.05, 0.10))
    # Misses 15 10 5 0 -5 -8 -10 days, weighed .05 .10 .25 .50 and .25 .10 .05 from above.
    assert counted.losses[0] == pytest.approx((0.75 + 1.0 + 1.25 + 0.0 + 1.25 + 0.8 + 0.5) / 7 / 100)
    assert (counted.richness, counted.side, counted.is_open, counted.is_written) == ("4-20", 0, True, True)


@pytest.mark.parametrize(("day", "side"), [("2026-03-10", -1), ("2026-03-11", 0), ("2026-03-29", 0), ("", 1)])
def test_a_truth_outside_p10_to_p90_is_early_or_late(day: str, side: int) -> None:
    assert score({**TRUTH, "exhausted_on_rest_served": day}, FORECAST, CUT, readings=0, when="served").side == side


def test_a_cartridge_may_be_asked_for_alone() -> None:
    assert score(TRUTH, FORECAST, CUT, readings=0, when="alone").side == 1


@pytest.mark.parametrize(
    ("stage", "role", "side"), [("resin", "lag", 1), ("carbon", "lag", 1), ("resin", "lead", 0), ("sediment", "lag", 0)]
)
def test_only_the_last_of_two_beds_is_dated_as_both_stand(stage: str, role: str, side: int) -> None:
    assert score({**TRUTH, "stage": stage, "role": role}, FORECAST, CUT, readings=0).side == side


@pytest.mark.parametrize(("column", "day"), [("p10", "2026-02-27"), ("p75", "2026-03-31")])
def test_an_interval_that_begins_at_the_cut_or_ends_at_one_date_is_not_open(column: str, day: str) -> None:
    assert not score(TRUTH, {**FORECAST, column: day}, CUT, readings=0).is_open


def test_the_table_marks_a_worse_forecast_and_sets_untold_changes_apart() -> None:
    good = score(TRUTH, FORECAST, CUT, readings=0)
    bad = score(TRUTH, dict.fromkeys(COLUMNS, "2027-03-01"), CUT, readings=0)
    untold = score({**TRUTH, "change_not_written": "yes"}, FORECAST, CUT, readings=0)
    lines = table({"here": [good, untold], "there": [bad]}).splitlines()
    assert [row.split()[-1] == "WORSE" for row in lines if row.startswith("there")] == [True] * 5
    assert not any("WORSE" in row for row in lines if row.startswith("here"))
    # Fleet, line, count: the cartridge of which no file tells is in no other line.
    assert [row.split()[1:3] for row in lines if row.startswith("here")][-1] == ["untold", "1"]
    assert next(row.split()[1:3] for row in lines if row.startswith("here")) == ["all", "1"]
    assert "all fleets     all                            2" in "\n".join(lines)
