"""What a company holds worth what: the prices, risks and times every decision of planning rests on.

Every default below is common practice, no source: a figure to start from and to edit, not a finding.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.engineering.stages import STAGES
from scheduling.planning.errors import PlanningError

USES = ("reef", "planted", "drinking", "coffee", "laboratory", "hydroponics", "fish", "other")

_LATE_COST_PER_DAY: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        # a blocked prefilter starves the membrane: little water, which hurts most where water is sold
        "sediment": MappingProxyType(
            {
                "reef": 3.0,
                "planted": 2.0,
                "drinking": 3.0,
                "coffee": 25.0,
                "laboratory": 8.0,
                "hydroponics": 3.0,
                "fish": 3.0,
                "other": 3.0,
            }
        ),
        # chlorine that gets past the carbon eats a polyamide membrane within weeks, and reaches tank and cup
        "carbon": MappingProxyType(
            {
                "reef": 8.0,
                "planted": 6.0,
                "drinking": 5.0,
                "coffee": 8.0,
                "laboratory": 8.0,
                "hydroponics": 3.0,
                "fish": 8.0,
                "other": 6.0,
            }
        ),
        # a tired membrane fades over months: at its limit it still gives 85 % of the water and holds back 90 % of the
        # salt, so a day costs little; what chlorine does to it is in the price of the carbon
        "membrane": MappingProxyType(
            {
                "reef": 1.0,
                "planted": 0.5,
                "drinking": 0.5,
                "coffee": 3.0,
                "laboratory": 1.5,
                "hydroponics": 0.5,
                "fish": 1.0,
                "other": 1.0,
            }
        ),
        # exhausted resin lets silica, nitrate and phosphate into the tank, or fails the method in a laboratory
        "resin": MappingProxyType(
            {
                "reef": 6.0,
                "planted": 2.0,
                "drinking": 1.0,
                "coffee": 2.0,
                "laboratory": 15.0,
                "hydroponics": 2.0,
                "fish": 4.0,
                "other": 4.0,
            }
        ),
        # the water tastes of its tank: nobody is harmed, somebody complains
        "post_carbon": MappingProxyType(
            {
                "reef": 0.2,
                "planted": 0.2,
                "drinking": 1.0,
                "coffee": 2.0,
                "laboratory": 0.5,
                "hydroponics": 0.2,
                "fish": 0.2,
                "other": 0.5,
            }
        ),
        # soft, slightly acid water: flat in the cup, and hard on metal and machine
        "remineralisation": MappingProxyType(
            {
                "reef": 0.5,
                "planted": 2.0,
                "drinking": 1.0,
                "coffee": 4.0,
                "laboratory": 0.5,
                "hydroponics": 1.0,
                "fish": 2.0,
                "other": 1.0,
            }
        ),
        # where a lamp was fitted, somebody drinks a water that nothing else makes safe
        "uv": MappingProxyType(
            {
                "reef": 2.0,
                "planted": 2.0,
                "drinking": 25.0,
                "coffee": 25.0,
                "laboratory": 10.0,
                "hydroponics": 2.0,
                "fish": 4.0,
                "other": 10.0,
            }
        ),
    }
)

_MINUTES: Mapping[str, float] = MappingProxyType(
    {
        "replace": 12.0,
        "rotate": 15.0,
        "inspect": 10.0,
        "sanitise": 25.0,
        "fit_booster_pump": 45.0,
        "replace_restrictor": 15.0,
        "repair": 40.0,
        "take_reading": 8.0,
        "commission": 120.0,
        "verify_instruments": 10.0,
    }
)


@dataclass(frozen=True, slots=True)
class Policy:
    """A company's prices, risks and times. All money is in one currency, amounts not cents.

    Attributes
    ----------
    currency
        What to write behind an amount in a sentence.
    visit_cost
        What a visit costs before anyone drives or works: booking, arriving, signing off.
    driving_cost_per_minute, driving_cost_per_km
        The installer's minute of driving and the van's kilometre.
    working_cost_per_minute
        The installer's minute at the unit.
    overtime_cost_per_hour
        What an hour after the shift's end costs on top.
    late_cost_per_day
        Stage, then use, to the money one day with that stage exhausted costs.
    removal_minutes
        Minutes at a site before and after any task: access, flushing, readings as found and as left.
    task_minutes
        Kind of task to its minutes.
    target_risk
        Highest acceptable probability (0-1) that a cartridge is exhausted before its visit; closes the due window.
    urgent_probability, urgent_late_cost_per_day
        A need is urgent when it is exhausted today with at least this probability AND a late day costs at least this.
    bundling_weeks
        How far ahead visits are chosen, weeks.
    horizon_days
        How many days the router plans by default.
    visit_interval_weeks
        The usual time between visits to a site, over which the price of a visit is spread where the life of what wears
        out first there is not known; where it is known, a quarter to twice this. See ``bundling``.
    due_window_tolerance
        A visit is 'due' on every day whose expected cost is within this much of its best day.
    stops_per_round
        Stops a round usually has, over which the drive out and back is shared when travel is estimated.
    lunch_minutes, lunch_earliest_start_s, lunch_latest_start_s
        The break, and the second of the day between which it must start.
    missed_urgent_cost, missed_appointment_cost
        What the router is told an urgent visit or a confirmed appointment left out would cost.
    """

    currency: str = "EUR"
    visit_cost: float = 12.0
    driving_cost_per_minute: float = 0.60
    driving_cost_per_km: float = 0.30
    working_cost_per_minute: float = 0.60
    overtime_cost_per_hour: float = 54.0
    late_cost_per_day: Mapping[str, Mapping[str, float]] = field(default_factory=lambda: _LATE_COST_PER_DAY)
    removal_minutes: float = 15.0
    task_minutes: Mapping[str, float] = field(default_factory=lambda: _MINUTES)
    target_risk: float = 0.30
    urgent_probability: float = 0.80
    urgent_late_cost_per_day: float = 5.0
    bundling_weeks: int = 26
    horizon_days: int = 5
    visit_interval_weeks: float = 26.0
    due_window_tolerance: float = 6.0
    stops_per_round: float = 8.0
    lunch_minutes: float = 30.0
    lunch_earliest_start_s: int = 41_400
    lunch_latest_start_s: int = 48_600
    missed_urgent_cost: float = 1_000.0
    missed_appointment_cost: float = 3_000.0

    def __post_init__(self) -> None:
        for name in (
            "visit_cost",
            "driving_cost_per_minute",
            "driving_cost_per_km",
            "working_cost_per_minute",
            "overtime_cost_per_hour",
            "removal_minutes",
            "urgent_late_cost_per_day",
            "due_window_tolerance",
            "lunch_minutes",
            "missed_urgent_cost",
            "missed_appointment_cost",
        ):
            _require(name, getattr(self, name), low=0.0)
        for name in ("target_risk", "urgent_probability"):
            _require(name, getattr(self, name), low=0.0, high=1.0)
        _require("bundling_weeks", self.bundling_weeks, low=1, high=104)
        _require("horizon_days", self.horizon_days, low=1, high=60)
        _require("visit_interval_weeks", self.visit_interval_weeks, low=1.0, high=520.0)
        _require("stops_per_round", self.stops_per_round, low=1.0, high=50.0)
        _require("lunch_earliest_start_s", self.lunch_earliest_start_s, low=0, high=SECONDS_PER_DAY)
        _require(
            "lunch_latest_start_s", self.lunch_latest_start_s, low=self.lunch_earliest_start_s, high=SECONDS_PER_DAY
        )
        for stage, by_use in self.late_cost_per_day.items():
            if stage not in STAGES:
                raise PlanningError("late_cost_per_day", f"{stage!r} is no stage; use one of {', '.join(STAGES)}.")
            for use, money in by_use.items():
                if use not in USES:
                    raise PlanningError(
                        f"late_cost_per_day.{stage}", f"{use!r} is not a use; take one of {', '.join(USES)}."
                    )
                _require(f"late_cost_per_day.{stage}.{use}", money, low=0.0)
        for kind, minutes in self.task_minutes.items():
            _require(f"task_minutes.{kind}", minutes, low=0.0, high=1_440.0)

    def late_cost(self, stage: str, use: str) -> float:
        """Money one day with ``stage`` exhausted costs at a site of this use.

        Raises
        ------
        PlanningError
            When the policy has no figure for the pair.

        Examples
        --------
        >>> Policy().late_cost("resin", "reef")
        6.0
        """
        try:
            return self.late_cost_per_day[stage][use]
        except KeyError:
            raise PlanningError(
                "late_cost_per_day", f"no figure for stage {stage!r} and use {use!r}; add one to the policy."
            ) from None

    def visit_price(self, travel_cost: float) -> float:
        """Money that one visit costs before anything is done on it, with what driving there costs.

        Examples
        --------
        >>> Policy().visit_price(9.0)
        30.0
        """
        return self.visit_cost + self.removal_minutes * self.working_cost_per_minute + travel_cost

    def minutes_for(self, kind: str) -> float:
        """Minutes a task of this kind takes at the unit.

        Raises
        ------
        PlanningError
            When the policy has no figure for the kind.
        """
        try:
            return self.task_minutes[kind]
        except KeyError:
            raise PlanningError("task_minutes", f"no minutes for task {kind!r}; add them to the policy.") from None

    def to_mapping(self) -> dict[str, Any]:
        """The policy as plain dicts, numbers and strings, for storing and showing."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        values["late_cost_per_day"] = {stage: dict(by_use) for stage, by_use in self.late_cost_per_day.items()}
        values["task_minutes"] = dict(self.task_minutes)
        return values

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> Policy:
        """A policy from what :meth:`to_mapping` gave, or from any part of it; what is absent keeps its default.

        Nested tables are merged entry by entry, so that one changed price does not need the whole table.

        Raises
        ------
        PlanningError
            Naming the field that is unknown, of the wrong type or out of range.

        Examples
        --------
        >>> Policy.from_mapping({"late_cost_per_day": {"resin": {"reef": 9}}}).late_cost("resin", "reef")
        9.0
        """
        field_of = {f.name: f for f in fields(cls)}
        changes: dict[str, Any] = {}
        base = cls()
        for name, value in values.items():
            if name not in field_of:
                raise PlanningError(name, f"is no field of the policy; known are {', '.join(sorted(field_of))}.")
            if name == "currency":
                if not isinstance(value, str) or not value.strip():
                    raise PlanningError(name, "must be a short text such as 'EUR'.")
                changes[name] = value
            elif name == "late_cost_per_day":
                table = {stage: dict(by_use) for stage, by_use in base.late_cost_per_day.items()}
                for stage, by_use in _table(name, value).items():
                    if stage not in STAGES:
                        raise PlanningError(name, f"{stage!r} is no stage; use one of {', '.join(STAGES)}.")
                    for use, money in _table(f"{name}.{stage}", by_use).items():
                        table[stage][use] = _number(f"{name}.{stage}.{use}", money)
                changes[name] = table
            elif name == "task_minutes":
                minutes = dict(base.task_minutes)
                minutes.update({kind: _number(f"{name}.{kind}", m) for kind, m in _table(name, value).items()})
                changes[name] = minutes
            else:
                number = _number(name, value)
                if isinstance(getattr(base, name), int):
                    if number != int(number):
                        raise PlanningError(name, f"must be a whole number, not {value!r}.")
                    changes[name] = int(number)
                else:
                    changes[name] = number
        return dataclasses.replace(base, **changes)


def _require(name: str, value: float, *, low: float, high: float = math.inf) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        bounds = f"at least {low:g}" if high == math.inf else f"between {low:g} and {high:g}"
        raise PlanningError(name, f"must be {bounds}, not {value!r}.")


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise PlanningError(name, f"must be a number, not {value!r}.")
    return float(value)


def _table(name: str, value: Any) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise PlanningError(name, f"must be a table of names to values, not {value!r}.")
    return value
