from __future__ import annotations

import json

import pytest

from fleet.engineering.stages import STAGES
from scheduling.planning.errors import PlanningError
from scheduling.planning.policy import USES, Policy


def test_it_survives_storing_as_json() -> None:
    policy = Policy.from_mapping({"visit_cost": 20, "task_minutes": {"replace": 9}, "horizon_days": 10})
    assert Policy.from_mapping(json.loads(json.dumps(policy.to_mapping()))).to_mapping() == policy.to_mapping()
    assert policy.minutes_for("replace") == 9.0
    assert policy.minutes_for("rotate") == Policy().minutes_for("rotate")


def test_every_stage_has_a_price_for_every_use() -> None:
    assert all(Policy().late_cost(stage, use) > 0.0 for stage in STAGES for use in USES)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"visit_price": 3}, "visit_price"),
        ({"visit_cost": -1}, "visit_cost"),
        ({"visit_cost": "12"}, "visit_cost"),
        ({"visit_cost": True}, "visit_cost"),
        ({"visit_cost": float("nan")}, "visit_cost"),
        ({"target_risk": 1.2}, "target_risk"),
        ({"horizon_days": 2.5}, "horizon_days"),
        ({"bundling_weeks": 0}, "bundling_weeks"),
        ({"late_cost_per_day": {"resine": {"reef": 1}}}, "late_cost_per_day"),
        ({"late_cost_per_day": {"resin": {"pond": 1}}}, "late_cost_per_day.resin"),
        ({"late_cost_per_day": {"resin": {"reef": -1}}}, "late_cost_per_day.resin.reef"),
        ({"late_cost_per_day": 3}, "late_cost_per_day"),
        ({"task_minutes": {"replace": "long"}}, "task_minutes.replace"),
        ({"lunch_latest_start_s": 3}, "lunch_latest_start_s"),
        ({"currency": 3}, "currency"),
    ],
)
def test_a_wrong_value_is_named(values: dict[str, object], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        Policy.from_mapping(values)
    assert caught.value.field == field
    assert caught.value.message.endswith(".")


def test_an_unknown_pair_is_named() -> None:
    with pytest.raises(PlanningError, match=r"'resin'.*'pond'"):
        Policy().late_cost("resin", "pond")
    with pytest.raises(PlanningError, match="'dance'"):
        Policy().minutes_for("dance")


# Field -> lowest and highest value that is taken; None: no highest. What lies a hair beyond is refused.
RANGES: dict[str, tuple[float, float | None]] = {
    **dict.fromkeys(
        (
            "visit_cost", "driving_cost_per_minute", "driving_cost_per_km", "working_cost_per_minute",
            "overtime_cost_per_hour", "removal_minutes", "urgent_late_cost_per_day", "due_window_tolerance",
            "lunch_minutes", "missed_urgent_cost", "missed_appointment_cost",
        ),
        (0.0, None),
    ),
    "target_risk": (0.0, 1.0),
    "urgent_probability": (0.0, 1.0),
    "bundling_weeks": (1, 104),
    "horizon_days": (1, 60),
    "visit_interval_weeks": (1.0, 520.0),
    "stops_per_round": (1.0, 50.0),
    "lunch_earliest_start_s": (0, 48_600),
    "lunch_latest_start_s": (41_400, 86_400),
}  # fmt: skip


@pytest.mark.parametrize("name", RANGES)
def test_the_ends_of_a_range_are_taken_and_what_lies_beyond_is_refused(name: str) -> None:
    low, high = RANGES[name]
    step = 1 if isinstance(getattr(Policy(), name), int) else 0.001
    for value in (low, 1e6 if high is None else high):
        assert getattr(Policy.from_mapping({name: value}), name) == value
    for value in (low - step, *([high + step] if high is not None else [])):
        with pytest.raises(PlanningError, match="must be") as caught:
            Policy.from_mapping({name: value})
        assert caught.value.field in (name, "lunch_latest_start_s")


def test_lunch_may_begin_as_late_as_the_day_ends() -> None:
    late = Policy.from_mapping({"lunch_earliest_start_s": 86_400, "lunch_latest_start_s": 86_400})
    assert late.lunch_earliest_start_s == 86_400
    for wrong in (-1, 86_401):
        with pytest.raises(PlanningError) as caught:
            Policy.from_mapping({"lunch_earliest_start_s": wrong, "lunch_latest_start_s": 86_400})
        assert caught.value.field == "lunch_earliest_start_s"


def test_every_number_has_a_range_here() -> None:
    assert {name for name, value in Policy().to_mapping().items() if isinstance(value, int | float)} == set(RANGES)


def test_task_minutes_last_at_most_a_day() -> None:
    assert Policy.from_mapping({"task_minutes": {"replace": 1_440}}).minutes_for("replace") == 1_440.0
    assert Policy.from_mapping({"task_minutes": {"replace": 0}}).minutes_for("replace") == 0.0
    for minutes in (-0.1, 1_440.1):
        with pytest.raises(PlanningError, match="between 0 and 1440"):
            Policy.from_mapping({"task_minutes": {"replace": minutes}})


def test_what_holds_where_nothing_was_decided() -> None:
    """The figures a company starts with; common practice, no source."""
    assert Policy().to_mapping() == {
        "currency": "EUR", "visit_cost": 12.0, "driving_cost_per_minute": 0.6, "driving_cost_per_km": 0.3,
        "working_cost_per_minute": 0.6, "overtime_cost_per_hour": 54.0, "removal_minutes": 15.0, "target_risk": 0.3,
        "urgent_probability": 0.8, "urgent_late_cost_per_day": 5.0, "bundling_weeks": 26, "horizon_days": 5,
        "visit_interval_weeks": 26.0, "due_window_tolerance": 6.0, "stops_per_round": 8.0, "lunch_minutes": 30.0,
        "lunch_earliest_start_s": 41_400, "lunch_latest_start_s": 48_600, "missed_urgent_cost": 1_000.0,
        "missed_appointment_cost": 3_000.0,
        "late_cost_per_day": {
            "sediment": {"reef": 3.0, "planted": 2.0, "drinking": 3.0, "coffee": 25.0, "laboratory": 8.0,
                "hydroponics": 3.0, "fish": 3.0, "other": 3.0},
            "carbon": {"reef": 8.0, "planted": 6.0, "drinking": 5.0, "coffee": 8.0, "laboratory": 8.0,
                "hydroponics": 3.0, "fish": 8.0, "other": 6.0},
            "membrane": {"reef": 1.0, "planted": 0.5, "drinking": 0.5, "coffee": 3.0, "laboratory": 1.5,
                "hydroponics": 0.5, "fish": 1.0, "other": 1.0},
            "resin": {"reef": 6.0, "planted": 2.0, "drinking": 1.0, "coffee": 2.0, "laboratory": 15.0,
                "hydroponics": 2.0, "fish": 4.0, "other": 4.0},
            "post_carbon": {"reef": 0.2, "planted": 0.2, "drinking": 1.0, "coffee": 2.0, "laboratory": 0.5,
                "hydroponics": 0.2, "fish": 0.2, "other": 0.5},
            "remineralisation": {"reef": 0.5, "planted": 2.0, "drinking": 1.0, "coffee": 4.0, "laboratory": 0.5,
                "hydroponics": 1.0, "fish": 2.0, "other": 1.0},
            "uv": {"reef": 2.0, "planted": 2.0, "drinking": 25.0, "coffee": 25.0, "laboratory": 10.0,
                "hydroponics": 2.0, "fish": 4.0, "other": 10.0},
        },
        "task_minutes": {
            "replace": 12.0, "rotate": 15.0, "inspect": 10.0, "sanitise": 25.0, "fit_booster_pump": 45.0,
            "replace_restrictor": 15.0, "repair": 40.0, "take_reading": 8.0, "commission": 120.0,
            "verify_instruments": 10.0,
        },
    }  # fmt: skip


def test_one_changed_price_leaves_the_others() -> None:
    policy = Policy.from_mapping({"late_cost_per_day": {"resin": {"reef": 9}}})
    assert policy.late_cost("resin", "reef") == 9.0
    assert policy.late_cost("resin", "coffee") == Policy().late_cost("resin", "coffee")
    assert policy.late_cost("carbon", "reef") == Policy().late_cost("carbon", "reef")
    assert Policy.from_mapping({"currency": "CHF"}).currency == "CHF"
    with pytest.raises(PlanningError):
        Policy.from_mapping({"currency": "  "})
