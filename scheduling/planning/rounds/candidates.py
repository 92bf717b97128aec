"""From money and minutes to what the round planner counts in: whole cents and whole seconds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeGuard

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.policy import Policy
from scheduling.planning.rounds.problem import Appointment, Candidate, Lunch, Rates, Window
from scheduling.planning.travel.trips import Place


def on_allowed_days(windows: Iterable[Window], cost_by_day: Sequence[float | None]) -> tuple[Window, ...]:
    """The windows on days that have a cost; a day is not allowed where it is missing or infinite."""
    return tuple(window for window in windows if _is_allowed(cost_by_day[window.day]))


def candidate_of(
    *,
    key: str,
    place: Place,
    windows: Sequence[Window],
    minutes: float,
    cost_by_day: Sequence[float | None],
    cost_if_unserved: float,
    urgent: bool,
    label: str = "",
    skills: Iterable[str] = (),
    parts: Mapping[str, int] | None = None,
    appointment: Appointment | None = None,
    installers: Iterable[str] | None = None,
) -> Candidate:
    """A visit as the planner is asked about it.

    Parameters
    ----------
    key, label, place
        Its names, and where.
    windows
        When the site can be entered, as `on_allowed_days` leaves them; none for an appointment.
    minutes
        Minutes on site; more than a day are a day.
    cost_by_day, cost_if_unserved
        Money on each of the days, and of leaving it until after them. A day that is not allowed has no cost.
    urgent, skills, parts
        Whether it must be made, what its installer must be able to do, and item key to quantity.
    appointment
        When it is made at a confirmed time.
    installers
        Only these may go; None: anybody.
    """
    # a day that is not allowed has no hours; its price is never paid and only has to be a number
    highest = max(filter(_is_allowed, cost_by_day), default=0.0)
    return Candidate(
        key=key,
        place=place,
        windows=tuple(windows),
        service_s=min(round(minutes * 60.0), SECONDS_PER_DAY),
        cost_by_day_cents=tuple(_cents(cost if _is_allowed(cost) else highest) for cost in cost_by_day),
        cost_if_unserved_cents=_cents(cost_if_unserved),
        urgent=urgent,
        appointment=appointment,
        skills=frozenset(skills),
        parts=dict(parts or {}),
        installers=None if installers is None else frozenset(installers),
        label=label,
    )


def _is_allowed(cost: float | None) -> TypeGuard[float]:
    return cost is not None and math.isfinite(cost)


def _cents(money: float) -> int:
    return round(100.0 * money)


def rates_of(policy: Policy) -> Rates:
    """The policy's prices of driving, overtime and misses, in cents."""
    return Rates(
        driving_minute_cents=round(policy.driving_cost_per_minute * 100.0),
        km_cents=round(policy.driving_cost_per_km * 100.0),
        overtime_hour_cents=round(policy.overtime_cost_per_hour * 100.0),
        missed_urgent_cents=round(policy.missed_urgent_cost * 100.0),
        missed_appointment_cents=round(policy.missed_appointment_cost * 100.0),
        currency=policy.currency,
    )


def lunch_of(policy: Policy) -> Lunch | None:
    """The policy's break; None when it grants none."""
    if policy.lunch_minutes == 0.0:
        return None
    return Lunch(round(policy.lunch_minutes * 60.0), policy.lunch_earliest_start_s, policy.lunch_latest_start_s)
