"""What this room tells outside, in the transaction of the change: findings that opened, forecasts past a limit."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from accounts.webhooks.models import Event
from accounts.webhooks.outbox import Happening, has_receiver, tell
from fleet.models import Finding, Forecast, Position, Unit


def findings_opened(company_id: int, findings: Sequence[Finding], now: datetime) -> None:
    """Findings opened; they are stored, and have their ids."""
    if not findings or not has_receiver(company_id, Event.FINDING_OPENED):
        return
    units = _units({finding.unit_id for finding in findings})
    tell(
        company_id=company_id,
        happenings=[
            Happening(
                Event.FINDING_OPENED,
                f"finding {finding.pk}",
                "opened",
                {
                    "finding": finding.pk,
                    **units[finding.unit_id],
                    "position": finding.position_id,
                    "cause": finding.cause,
                },
            )
            for finding in findings
        ],
        now=now,
    )


def is_past(state: str, p50: date | None, day: date) -> bool:
    """Whether a forecast says that its cartridge is past a limit: seen to be, or as likely as not by that day."""
    return state == Forecast.State.EXHAUSTED or (p50 is not None and p50 <= day)


def forecasts_past_limit(
    company_id: int, forecasts: Sequence[Forecast], was_past: Collection[tuple[int, int | None]], now: datetime
) -> None:
    """Forecasts were stored; told are those past a limit that were not before.

    `was_past` has position and placement of the forecasts before that were; a fresh cartridge begins anew.
    """
    fresh = [
        forecast
        for forecast in forecasts
        if forecast.placement_id is not None
        and is_past(forecast.state, forecast.p50, forecast.as_of)
        and (forecast.position_id, forecast.placement_id) not in was_past
    ]
    if not fresh or not has_receiver(company_id, Event.FORECAST_PAST_LIMIT):
        return
    rows = Position.objects.filter(pk__in={forecast.position_id for forecast in fresh})
    positions = {row["id"]: row for row in rows.values("id", "unit_id", "stage", "role")}
    units = _units({row["unit_id"] for row in positions.values()})
    tell(
        company_id=company_id,
        happenings=[_of_forecast(forecast, positions[forecast.position_id], units) for forecast in fresh],
        now=now,
    )


def _of_forecast(forecast: Forecast, position: Mapping[str, Any], units: Mapping[int, Mapping[str, Any]]) -> Happening:
    return Happening(
        Event.FORECAST_PAST_LIMIT,
        f"placement {forecast.placement_id}",
        "past a limit",
        {
            **units[position["unit_id"]],
            "position": position["id"],
            "stage": position["stage"],
            "role": position["role"],
            "placement": forecast.placement_id,
            "as_of": forecast.as_of.isoformat(),
            "p50": forecast.p50.isoformat() if forecast.p50 is not None else None,
        },
    )


def _units(ids: Collection[int]) -> dict[int, dict[str, Any]]:
    rows = Unit.objects.filter(pk__in=ids).values_list("pk", "code", "site_id")
    return {pk: {"unit": pk, "unit_code": code, "site": site} for pk, code, site in rows}
