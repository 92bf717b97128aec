"""What workers do: each task takes ids by keyword, makes one service call, and can be done twice without harm."""

from datetime import datetime
from typing import Any

from celery import shared_task
from django.utils import timezone

from accounts.jobs import claims
from accounts.models import Company
from fleet.services import hand_over
from fleet.services.findings import findings
from fleet.services.forecasts import forecasts
from fleet.services.forecasts import quality as forecast_quality
from fleet.services.readings import indicators


def follow_up_chunk(work: claims.Work) -> dict[str, int]:
    """Make indicators and findings of units anew, for tasks that could not be put on the queue."""
    # The clock of the work, not of the job: whatever came in while it waited is looked at too.
    now, ids = timezone.now(), work.payload["unit_ids"]
    of_meters = work.payload["of_meters"]
    indicator_counts = indicators.recompute(company=work.company, units=ids, of_meters=of_meters, now=now)
    work.progress(0.5, "looking for findings")
    finding_counts = findings.refresh_findings(company=work.company, units=ids, now=now)
    return {**indicator_counts, **{f"findings_{name}": count for name, count in finding_counts.items()}}


claims.register(hand_over.JOB_KIND, follow_up_chunk)
claims.register(forecasts.JOB_KIND, forecasts.forecast_chunk)
claims.register(forecast_quality.JOB_KIND, forecast_quality.quality_chunk)


@shared_task
def recompute_indicators(
    *,
    company_id: int,
    unit_ids: list[int] | None = None,
    since: str | None = None,
    of_meters: bool = False,
    **_: Any,
) -> dict[str, int]:
    """Bring the indicators of a company's readings up to date; `since` is a moment as ISO 8601 text, and `of_meters`
    says that a meter changed."""
    company = Company.objects.filter(pk=company_id).first()
    if company is None:
        return {}
    start = datetime.fromisoformat(since) if since else None
    return indicators.recompute(company=company, units=unit_ids, since=start, of_meters=of_meters, now=timezone.now())


@shared_task
def refresh_findings(*, company_id: int, unit_ids: list[int] | None = None, **_: Any) -> dict[str, int]:
    """Bring the findings of a company up to date."""
    company = Company.objects.filter(pk=company_id).first()
    return findings.refresh_findings(company=company, units=unit_ids, now=timezone.now()) if company else {}


@shared_task
def forecast_company(*, company_id: int, **_: Any) -> int | None:
    """Start the job that forecasts a company; its id."""
    company = Company.objects.filter(pk=company_id).first()
    return forecasts.start_forecast_job(company=company, by=None, now=timezone.now()).pk if company else None
