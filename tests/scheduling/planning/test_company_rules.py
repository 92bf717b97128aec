"""What a company decides beside its prices: what is taken, what is refused, and what holds where nothing is said."""

from __future__ import annotations

import json
import math

import pytest

from scheduling.planning.company_rules import CompanyRules, ServicePolicy
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.policy import Policy

# Field -> lowest and highest value that is taken, and a step that is one too many.
RANGES = {
    "sanitise_every_days": (30, 1_825, 1),
    "sanitise_early_days": (0, 365, 1),
    "unread_after_days": (7, 730, 1),
    "order_horizon_days": (7, 182, 1),
    "order_review_days": (1, 91, 1),
    "parts_service_level": (0.5, 0.999, 0.0005),
    "lead_late_share": (0.0, 1.0, 0.001),
    "membrane_probability": (0.0, 1.0, 0.001),
    "ask_client_cost": (0.0, 1_000.0, 0.1),
    "client_answer_days": (1, 60, 1),
    "client_answer_share": (0.0, 1.0, 0.001),
    "call_back_hours": (1, 12, 1),
}


@pytest.mark.parametrize("name", RANGES)
def test_the_ends_of_a_range_are_taken_and_what_lies_beyond_is_refused(name: str) -> None:
    low, high, step = RANGES[name]
    for value in (low, high):
        assert getattr(CompanyRules.from_mapping({name: value}), name) == value
    for value in (low - step, high + step):
        with pytest.raises(PlanningError, match=f"must be between {low:g} and {high:g}") as caught:
            CompanyRules.from_mapping({name: value})
        assert caught.value.field == name


def test_every_number_has_a_range_here() -> None:
    numbers = {
        name
        for name, value in CompanyRules().to_mapping().items()
        if isinstance(value, int | float) and value is not True
    }
    assert numbers - {"plans_with_van_stock"} == set(RANGES)


def test_what_holds_where_nothing_was_decided() -> None:
    """The figures a company starts with; common practice, no source."""
    assert CompanyRules().to_mapping() == {
        "sanitise_every_days": 365,
        "sanitise_early_days": 60,
        "unread_after_days": 90,
        "order_horizon_days": 56,
        "order_review_days": 7,
        "parts_service_level": 0.9,
        "lead_late_share": 0.03,
        "membrane_probability": 0.25,
        "ask_client_cost": 2.0,
        "client_answer_days": 5,
        "client_answer_share": 0.5,
        "call_back_hours": 4,
        "plans_with_van_stock": False,
        "uses_table_service": True,
        "traffic": [],
        "undone_cost_per_day": {
            "inspect": 0.6, "take_reading": 0.4, "sanitise": 0.5, "repair": 2.5, "fit_booster_pump": 1.5,
            "replace_restrictor": 4.0, "verify_instruments": 0.5, "commission": 5.0, "replace": 2.0, "rotate": 1.0,
        },
        "task_skills": {},
    }  # fmt: skip
    assert set(CompanyRules().undone_cost_per_day) == {kind.value for kind in NeedKind}


def test_what_was_decided_survives_storing_as_json() -> None:
    stated = {
        "sanitise_every_days": 180,
        "parts_service_level": 0.95,
        "plans_with_van_stock": True,
        "uses_table_service": False,
        "traffic": [{"from_s": 25_200, "factor": 1.5}, {"from_s": 57_600, "factor": 1.2}],
        "undone_cost_per_day": {"repair": 9},
        "task_skills": {"repair": [" pump ", "mains", "pump"]},
    }
    rules = CompanyRules.from_mapping(stated)
    assert CompanyRules.from_mapping(json.loads(json.dumps(rules.to_mapping()))) == rules
    assert rules.traffic == ((25_200, 1.5), (57_600, 1.2))
    assert (rules.undone_cost_per_day["repair"], rules.undone_cost_per_day["inspect"]) == (9.0, 0.6)
    assert (rules.plans_with_van_stock, rules.uses_table_service) == (True, False)
    policy = ServicePolicy(Policy(), rules)
    assert policy.skills_for("repair") == ["mains", "pump"]
    assert policy.skills_for("inspect") == []
    assert policy.undone_cost("repair") == 9.0
    assert set(policy.to_mapping()) == set(Policy().to_mapping()) | set(rules.to_mapping())


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"sanitise_every_days": "365"}, "sanitise_every_days"),
        ({"sanitise_every_days": True}, "sanitise_every_days"),
        ({"sanitise_every_days": 365.5}, "sanitise_every_days"),
        ({"sanitise_every_days": math.inf}, "sanitise_every_days"),
        ({"parts_service_level": math.nan}, "parts_service_level"),
        ({"plans_with_van_stock": 1}, "plans_with_van_stock"),
        ({"uses_table_service": "yes"}, "uses_table_service"),
        ({"traffic": {"from_s": 0, "factor": 1}}, "traffic"),
        ({"traffic": [{"from_s": 0}]}, "traffic.0"),
        ({"traffic": [{"from_s": 0, "factor": 1.1}, {"from_s": 0.5, "factor": 1.1}]}, "traffic.1.from_s"),
        ({"traffic": [{"from_s": 0, "factor": "slow"}]}, "traffic.0.factor"),
        ({"traffic": [{"from_s": 0, "factor": 0.9}]}, "traffic"),
        ({"traffic": [{"from_s": 50, "factor": 1.1}, {"from_s": 40, "factor": 1.1}]}, "traffic"),
        ({"undone_cost_per_day": [1]}, "undone_cost_per_day"),
        ({"undone_cost_per_day": {"dance": 1}}, "undone_cost_per_day.dance"),
        ({"undone_cost_per_day": {"repair": -0.01}}, "undone_cost_per_day.repair"),
        ({"task_skills": {"repair": "pump"}}, "task_skills.repair"),
        ({"task_skills": {"repair": ["pump", " "]}}, "task_skills.repair"),
        ({"task_skills": {"repair": ["pump", 3]}}, "task_skills.repair"),
        ({"task_skills": {"dance": ["pump"]}}, "task_skills.dance"),
    ],
)
def test_a_wrong_value_is_named(values: dict[str, object], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        CompanyRules.from_mapping(values)
    assert caught.value.field == field
    assert caught.value.message.endswith(".")


def test_a_day_undone_may_cost_nothing() -> None:
    assert CompanyRules.from_mapping({"undone_cost_per_day": {"repair": 0}}).undone_cost_per_day["repair"] == 0.0
