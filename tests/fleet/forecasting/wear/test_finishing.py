"""What finishes the water: litres or hours against a label, the age, past lives, and what a reading shows."""

import math
from typing import Any

import numpy as np
import pytest

from fleet.engineering.stages import FINISHING
from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.answer.explain import sentence_for_client, sentence_for_installer
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.reasons import explain_exhaustion
from fleet.forecasting.answer.results import GRID_LEVELS, Forecasts
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.tables import Fleet
from fleet.forecasting.judging.replay import replay
from fleet.forecasting.wear.nominal import nominal_lives

NOW = 20_000.0
MIDDLE = len(GRID_LEVELS) // 2
ITEMS: dict[str, list[Any]] = {
    "item_id": ["P", "M", "U"],
    "stage": ["post_carbon", "remineralisation", "uv"],
    "rated_volume_l": [5000.0, 2500.0, None],
    "rated_burning_hours": [None, None, 9000.0],
}
ITEM_OF = dict(zip(ITEMS["stage"], ITEMS["item_id"], strict=True))


def fleet_of(*placements: tuple[str, float, float | None, str], **readings: list[float | None]) -> Fleet:
    """A unit that gives 70 L a week, with these cartridges: stage, days ago placed, days ago removed, reason."""
    fleet, faults = build_fleet(
        as_of_day=NOW,
        units={"unit_id": ["a"], "site_id": ["s"], "kind": ["ro"], "weekly_demand_l": [70.0]},
        positions={
            "position_id": list(FINISHING),
            "unit_id": ["a"] * len(FINISHING),
            "order": list(range(5, 5 + len(FINISHING))),
            "stage": list(FINISHING),
        },
        items=ITEMS,
        placements={
            "position_id": [stage for stage, *_ in placements],
            "item_id": [ITEM_OF[stage] for stage, *_ in placements],
            "placed_day": [NOW - ago for _, ago, _, _ in placements],
            "removed_day": [None if gone is None else NOW - gone for _, _, gone, _ in placements],
            "reason": [reason for *_, reason in placements],
        },
        readings={"unit_id": ["a"] * len(next(iter(readings.values()), [])), **readings} if readings else None,
    )
    assert faults == []
    return fleet


def days_ahead(fleet: Fleet, stage: str, answer: Forecasts | None = None) -> np.ndarray:
    row = list(FINISHING).index(stage)
    return np.asarray((answer or forecast(fleet)).grid_day[row] - NOW)


def told(fleet: Fleet, stage: str) -> tuple[str, str]:
    """Why it is exhausted, and the sentence for the client."""
    answer, row, limits = forecast(fleet), list(FINISHING).index(stage), limits_of_fleet(fleet, None)
    assert answer.state[row] == words.EXHAUSTED_NOW
    reason = explain_exhaustion(fleet, answer, Gauges(fleet, answer.exclusions, limits), row, limits)
    return reason.sentence, sentence_for_client(fleet, answer, row, reason.client_sentence)


def test_a_label_over_the_load_worked_by_hand() -> None:
    """10 L a day: 5000 L last 500 days and 2500 L 250; 9000 h are 375 days whatever is drawn."""
    lives = nominal_lives(
        fleet_of(("post_carbon", 10, None, ""), ("remineralisation", 10, None, ""), ("uv", 10, None, ""))
    )
    assert lives.life_days.tolist() == pytest.approx([500.0, 250.0, 375.0])
    assert [words.LOAD_UNITS[unit] for unit in lives.load_unit] == ["L/day product", "L/day product", "h/day"]


def test_carbon_behind_a_tank_goes_by_age_where_its_litres_last_longer() -> None:
    """Half to one year by common practice: after 365 days whatever is left of 5000 L."""
    fleet = fleet_of(("post_carbon", 100, None, ""))
    ahead = days_ahead(fleet, "post_carbon")
    assert ahead[MIDDLE] == pytest.approx(265.0)
    assert ahead[0] < 150.0, "a bad one is exhausted by its litres before"
    assert "maximum service time" in sentence_for_installer(fleet, forecast(fleet), 0)


def test_minerals_go_with_the_litres() -> None:
    """1000 of 2500 L have passed: 150 days are left at 10 L a day."""
    ahead = days_ahead(fleet_of(("remineralisation", 100, None, "")), "remineralisation")
    assert ahead[MIDDLE] == pytest.approx(150.0, abs=15.0)
    assert ahead[1] < 100.0 < 200.0 < ahead[-2]


def test_a_lamp_goes_by_the_clock_and_no_later_than_its_hours() -> None:
    fleet = fleet_of(("uv", 100, None, ""))
    answer = forecast(fleet)
    ahead = days_ahead(fleet, "uv", answer)
    assert ahead[MIDDLE] == ahead[-1] == pytest.approx(275.0)
    assert answer.daily_load[2] == pytest.approx(24.0)
    assert sentence_for_installer(fleet, answer, 2).startswith("UV lamp: ")
    why, to_client = told(fleet_of(("uv", 376, None, "")), "uv")
    assert why.endswith("its maximum service time is 375 days")
    assert (
        to_client
        == "Your UV lamp is exhausted, because it has reached its maximum service time; it should be replaced now."
    )


def test_a_lamp_burns_where_nobody_draws_water() -> None:
    idle = build_fleet(
        as_of_day=NOW,
        units={"unit_id": ["a"], "site_id": ["s"], "kind": ["ro"], "weekly_demand_l": [0.0]},
        positions={"position_id": ["u"], "unit_id": ["a"], "order": [5], "stage": ["uv"]},
        items=ITEMS,
        placements={"position_id": ["u"], "item_id": ["U"], "placed_day": [NOW - 100.0]},
    )[0]
    answer = forecast(idle)
    assert words.STATES[answer.state[0]] == "installed"
    assert answer.grid_day[0, MIDDLE] - NOW == pytest.approx(275.0)


def test_what_was_exhausted_here_before_teaches_the_next_one() -> None:
    lives = [("remineralisation", 400.0 - 100 * n, 300.0 - 100 * n, "exhausted") for n in range(3)]
    fresh = ("remineralisation", 100.0, None, "")
    alone = days_ahead(fleet_of(fresh), "remineralisation")
    taught = forecast(fleet_of(*lives, fresh))
    # each took 1000 L of a label of 2500: this one has taken as much
    assert days_ahead(fleet_of(*lives, fresh), "remineralisation", taught)[MIDDLE] < 0.5 * alone[MIDDLE]
    assert taught.past_lives[1] == 3


@pytest.mark.parametrize(
    ("stage", "readings", "why"),
    [
        ("remineralisation", {"remineralised_ph": [6.2, 6.0]}, "pH behind the cartridge of 6, below the least of 6.5"),
        (
            "remineralisation",
            {"remineralised_tds_mg_per_l": [12.0, 11.0], "permeate_tds_mg_per_l": [8.0, 8.0]},
            "rise of TDS over the cartridge of 3 mg/L, below the least of 10 mg/L",
        ),
        ("uv", {"uv_intensity_fraction": [0.62, 0.55]}, "UV intensity of 55 %, below the least of 70 %"),
    ],
)
def test_two_readings_past_the_limit_say_exhausted_today(
    stage: str, readings: dict[str, list[float | None]], why: str
) -> None:
    fleet = fleet_of((stage, 60, None, ""), day=[NOW - 20.0, NOW - 3.0], **readings)
    installer, client = told(fleet, stage)
    assert installer.endswith(why)
    assert client.startswith("Your ")
    assert forecast(fleet).readings_used[list(FINISHING).index(stage)] == 2


def test_the_surer_sign_decides_where_both_were_read() -> None:
    """A pH of 7.4 stands against a rise of TDS of 3 mg/L."""
    read = {
        "remineralised_ph": [7.4, 7.4], "remineralised_tds_mg_per_l": [11.0, 11.0], "permeate_tds_mg_per_l": [8.0, 8.0]
    }  # fmt: skip
    fleet = fleet_of(("remineralisation", 60, None, ""), day=[NOW - 20.0, NOW - 3.0], **read)
    assert forecast(fleet).state[1] == words.INSTALLED


def test_a_sound_reading_holds_the_date_back() -> None:
    late = ("remineralisation", 260.0, None, "")
    unread = days_ahead(fleet_of(late), "remineralisation")
    sound = fleet_of(late, day=[NOW - 40.0, NOW - 3.0], remineralised_ph=[7.4, 7.3])
    assert days_ahead(sound, "remineralisation")[MIDDLE] > unread[MIDDLE] + 10.0


def test_a_taught_fleet_forecasts_one_unit_as_it_did_all() -> None:
    fleet = fleet_of(*(((stage), 90, None, "") for stage in FINISHING))
    whole = forecast(fleet)
    again = forecast(fleet, learned=type(whole.learned).from_dict(whole.learned.to_dict()))
    assert np.allclose(again.grid_day, whole.grid_day, atol=0.5)
    assert not any(math.isnan(value) for value in whole.remaining_share)


def test_the_past_is_replayed_with_them() -> None:
    lives = [("remineralisation", 400.0 - 100 * n, 300.0 - 100 * n, "exhausted") for n in range(3)]
    replayed = replay(fleet_of(*lives, ("remineralisation", 100.0, None, ""), ("uv", 300.0, None, "")), [NOW - 150.0])
    # of the cartridge that stood then it is known that it was exhausted at most 50 days later
    row = int(np.flatnonzero(replayed.stage == words.STAGES.index("remineralisation"))[0])
    assert replayed.high_day[row] == pytest.approx(NOW - 100.0)
    assert all(np.isfinite(grid[row]).all() for grid in replayed.grid_day.values())
