"""What a company decides beside its prices: intervals, chances it takes, and what each kind of work asks for.

Together with the prices, risks and times of `policy` they are all that a decision about needs and orders rests on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.travel.traffic import Traffic

# Every default is common practice, no source: a figure to start from and to edit.
_UNDONE_COST_PER_DAY: Mapping[str, float] = MappingProxyType(
    {
        "inspect": 0.6,
        "take_reading": 0.4,
        "sanitise": 0.5,
        "repair": 2.5,
        "fit_booster_pump": 1.5,
        "replace_restrictor": 4.0,
        "verify_instruments": 0.5,
        "commission": 5.0,
        "replace": 2.0,
        "rotate": 1.0,
    }
)


_KINDS = tuple(kind.value for kind in NeedKind)
_FRACTIONS = frozenset(
    {"ask_client_cost", "client_answer_share", "lead_late_share", "membrane_probability", "parts_service_level"}
)


@dataclass(frozen=True, slots=True)
class CompanyRules:
    """What turns forecasts, findings and the calendar into needs, and needs into orders.

    Attributes
    ----------
    sanitise_every_days
        Days between two sanitisings of a unit with a pressurised tank; common practice, no source.
    sanitise_early_days
        How many days before that it may be done along with something else.
    unread_after_days
        Days without a reading after which a unit is to be inspected.
    order_horizon_days
        How many days ahead parts are listed for ordering.
    order_review_days
        Days between two looks at what is to be ordered: what is ordered at one lasts until an order of the next is
        here.
    parts_service_level
        Probability (0.5-0.999) with which no piece is missing in those days: from it and the forecasts follows how many
        pieces beyond those of the visits are ordered. Also the share of the pieces that is there when it is wanted,
        where only what cannot wait for the next look is ordered. Worth most at Cu / (Cu + Co), with Cu what a missing
        piece costs (a second drive, late days) and Co what a piece too many does (its money, shelf and age); common
        practice, no source.
    lead_late_share
        Share (0-1) of the cost of a late day that counts while a lag still polishes behind an exhausted lead. Waiting
        for a visit then wastes nothing of the lead.
    membrane_probability
        A membrane is replaced when readings have shown it past its limit, or from this probability (0-1) of being
        exhausted at the visit on. It is the dearest cartridge and fades over months while every reading tells how far
        it is, so what is most likely good is read again and not thrown away. Waiting for more than a quarter cost more
        bad water than membranes, on simulated fleets; common practice, no source.
    ask_client_cost
        Money that asking a client for a reading costs: some minutes of the office; common practice, no source.
    client_answer_days, client_answer_share
        Days that a client who is asked is waited for, and the share (0-1) of clients who answer; common practice, no
        source.
    call_back_hours
        Hours within which a client who reports what cannot wait is called; common practice, no source.
    plans_with_van_stock
        Whether rounds may only use what the vans hold by the last count; off: vans are loaded for their round.
    uses_table_service
        Whether driving times are asked of the table service, where the server is set up with one.
    traffic
        (From this second of the day on, factor of at least 1) by which driving is slowed down; before the first, 1.
    undone_cost_per_day
        Kind of need to what a day costs on which it is due and undone, where no forecast speaks of it.
    task_skills
        Kind of need to the skills its installer must have.
    """

    sanitise_every_days: int = 365
    sanitise_early_days: int = 60
    unread_after_days: int = 90
    order_horizon_days: int = 56
    order_review_days: int = 7
    parts_service_level: float = 0.9
    lead_late_share: float = 0.03
    membrane_probability: float = 0.25
    ask_client_cost: float = 2.0
    client_answer_days: int = 5
    client_answer_share: float = 0.5
    call_back_hours: int = 4
    plans_with_van_stock: bool = False
    uses_table_service: bool = True
    traffic: tuple[tuple[int, float], ...] = ()
    undone_cost_per_day: Mapping[str, float] = field(default_factory=lambda: _UNDONE_COST_PER_DAY)
    task_skills: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        for name, low, high in (
            ("sanitise_every_days", 30, 1_825),
            ("sanitise_early_days", 0, 365),
            ("unread_after_days", 7, 730),
            ("order_horizon_days", 7, 182),
            ("order_review_days", 1, 91),
            ("parts_service_level", 0.5, 0.999),
            ("lead_late_share", 0.0, 1.0),
            ("membrane_probability", 0.0, 1.0),
            ("ask_client_cost", 0.0, 1_000.0),
            ("client_answer_days", 1, 60),
            ("client_answer_share", 0.0, 1.0),
            ("call_back_hours", 1, 12),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise PlanningError(name, f"must be between {low:g} and {high:g}, not {value!r}.")

    def to_mapping(self) -> dict[str, Any]:
        """The rules as plain values, for storing and showing."""
        values: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        values["undone_cost_per_day"] = dict(self.undone_cost_per_day)
        values["traffic"] = [{"from_s": from_s, "factor": factor} for from_s, factor in self.traffic]
        values["task_skills"] = {kind: list(skills) for kind, skills in self.task_skills.items()}
        return values

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> CompanyRules:
        """Rules from any part of `to_mapping`; what is absent keeps its default.

        Raises
        ------
        PlanningError
            Naming the field that is of the wrong type or out of range.
        """
        changes: dict[str, Any] = {}
        for name, value in values.items():
            if name == "undone_cost_per_day":
                changes[name] = {**_UNDONE_COST_PER_DAY, **_costs_by_kind(name, value)}
            elif name == "task_skills":
                changes[name] = _skills_by_kind(name, value)
            elif name == "traffic":
                changes[name] = _periods(name, value)
            elif name in ("plans_with_van_stock", "uses_table_service"):
                if not isinstance(value, bool):
                    raise PlanningError(name, f"must be true or false, not {value!r}.")
                changes[name] = value
            else:
                changes[name] = _number(name, value, must_be_whole=name not in _FRACTIONS)
        return replace(cls(), **changes)


@dataclass(frozen=True, slots=True)
class ServicePolicy:
    """Everything a company has decided, with defaults where it has not."""

    planning: Policy
    rules: CompanyRules

    def undone_cost(self, kind: str) -> float:
        """What a day costs on which a task of this kind is due and undone."""
        return self.rules.undone_cost_per_day[kind]

    def skills_for(self, kind: str) -> list[str]:
        """Skills a task of this kind asks for, in order."""
        return sorted(self.rules.task_skills.get(kind, ()))

    def to_mapping(self) -> dict[str, Any]:
        """Both layers as one flat table of plain values."""
        return self.planning.to_mapping() | self.rules.to_mapping()


def _number(name: str, value: Any, *, must_be_whole: bool) -> float | int:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise PlanningError(name, f"must be a number, not {value!r}.")
    if must_be_whole and value != int(value):
        raise PlanningError(name, f"must be a whole number, not {value!r}.")
    return int(value) if must_be_whole else float(value)


def _periods(name: str, value: Any) -> tuple[tuple[int, float], ...]:
    """Periods of the day with their factors, in order of time, as the planner takes them."""
    if not isinstance(value, list | tuple):
        raise PlanningError(name, f"must be a list of periods, not {value!r}.")
    periods = []
    for place, row in enumerate(value):
        at = f"{name}.{place}"
        if not isinstance(row, Mapping) or set(row) != {"from_s", "factor"}:
            raise PlanningError(at, "must hold from_s, a second of the day, and factor.")
        from_s = int(_number(f"{at}.from_s", row["from_s"], must_be_whole=True))
        periods.append((from_s, float(_number(f"{at}.factor", row["factor"], must_be_whole=False))))
    try:
        return Traffic(tuple(periods)).periods
    except PlanningError as error:
        raise PlanningError(name, error.message) from error


def _costs_by_kind(name: str, value: Any) -> dict[str, float]:
    costs = {}
    for kind, cost in _by_kind(name, value).items():
        number = float(_number(f"{name}.{kind}", cost, must_be_whole=False))
        if number < 0:
            raise PlanningError(f"{name}.{kind}", f"must be at least 0, not {cost!r}.")
        costs[kind] = number
    return costs


def _skills_by_kind(name: str, value: Any) -> dict[str, tuple[str, ...]]:
    table = {}
    for kind, skills in _by_kind(name, value).items():
        if not isinstance(skills, list | tuple) or not all(isinstance(s, str) and s.strip() for s in skills):
            raise PlanningError(f"{name}.{kind}", f"must be a list of names of skills, not {skills!r}.")
        table[kind] = tuple(sorted({s.strip() for s in skills}))
    return table


def _by_kind(name: str, value: Any) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise PlanningError(name, f"must be a table from kinds of need to values, not {value!r}.")
    for kind in value:
        if kind not in _KINDS:
            raise PlanningError(f"{name}.{kind}", f"{kind!r} is no kind of need; use {', '.join(_KINDS)}.")
    return value
