from __future__ import annotations

import json

import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.policy import STAGES, USES, Policy


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
