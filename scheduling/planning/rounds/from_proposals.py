"""From a proposed visit to a candidate of the round planner: money to whole cents, minutes to whole seconds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from scheduling.planning.policy import Policy
from scheduling.planning.rounds.problem import Appointment, Candidate, Lunch, Rates, Window
from scheduling.planning.travel.trips import Place
from scheduling.planning.visits.bundling import VisitProposal

#: Stands for 'not allowed' in the price list of the days; such days have no window, so it is never paid.
NOT_ALLOWED_CENTS = 10**9


def candidate_from_proposal(
    proposal: VisitProposal,
    *,
    place: Place,
    windows: Iterable[Window],
    key: str | None = None,
    label: str = "",
    parts: Mapping[str, int] | None = None,
    appointment: Appointment | None = None,
    installers: frozenset[str] | None = None,
) -> Candidate:
    """A candidate visit, with the days on which a need forbids it taken out of the windows.

    Parameters
    ----------
    proposal
        What :func:`scheduling.planning.visits.bundling.bundle_visits` proposes; as many routed days as the rounds have.
    place, windows
        Where, and when the site can be entered.
    key, label
        Names of the visit; the site's key when not given.
    parts
        Item key to quantity.
    appointment
        Set when the client has a confirmed time.
    installers
        When given, only these may go.
    """
    allowed = {day for day, cost in enumerate(proposal.cost_by_day) if math.isfinite(cost)}
    return Candidate(
        key=proposal.site if key is None else key,
        place=place,
        windows=tuple(window for window in windows if window.day in allowed),
        service_s=round(proposal.minutes * 60.0),
        cost_by_day_cents=tuple(
            round(cost * 100.0) if math.isfinite(cost) else NOT_ALLOWED_CENTS for cost in proposal.cost_by_day
        ),
        cost_if_left_cents=round(proposal.cost_if_left * 100.0),
        urgent=proposal.urgent,
        appointment=appointment,
        skills=proposal.skills,
        parts=dict(parts or {}),
        installers=installers,
        label=label,
    )


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
